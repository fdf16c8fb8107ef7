"""A process beside the page's, for whatever takes longer than a moment.

It is warm: it has loaded what it needs before it is asked.  It ends with its parent, however that
ends, and when a call is cancelled; what it had begun to write is then gone.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
import traceback
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from tonewright.errors import FileError, TonewrightError

_T = TypeVar("_T")
Progress = Callable[[int, int], None]
"""Told how much is done, of how much."""
WARM_AFTER_SECONDS = 1.5
"""So long the bench and the browser have the processor to themselves."""


class Cancelled(Exception):
    """The call was cancelled."""


class Overtaken(Exception):
    """A newer call took the place of this one before it began."""


def fault(error: Exception) -> TonewrightError:
    """What is said of an error that nobody foresaw; the terminal shows where it came from."""
    what = f"{type(error).__name__}: {error}".strip(" :")
    return TonewrightError(
        f"tonewright has made a mistake ({what})",
        "nothing half-finished was written, and what you typed is still here",
        "try it again; if it comes back, report it with the lines that the terminal shows",
        code="fault")


class Worker:
    """One process, one call at a time; the others wait.

    Parameters
    ----------
    folder:
        Where the process works: paths that it is given count from there.
    warm:
        What it does before it is asked: load what it will need.
    """

    def __init__(self, folder: Path, warm: Callable[[], object] | None = None) -> None:
        self._folder, self._warm = folder, warm or _nothing
        self._turn = asyncio.Lock()
        self._newest = WeakKeyDictionary[object, object]()
        self._closed = False
        self._start()

    def _start(self) -> None:
        spawn = get_context("spawn")
        self._ours, theirs = spawn.Pipe()
        self._process = spawn.Process(
            target=_serve, args=(theirs, str(self._folder), self._warm), daemon=True)
        self._process.start()
        theirs.close()

    async def call(
        self, function: Callable[..., _T], *args: Any, progress: Progress | None = None,
        **more: Any,
    ) -> _T:
        """What the function returns there, or the `TonewrightError` that it raises; any other
        error comes as a `fault`.

        The function is one of a module, its arguments and result can be pickled.  Where it takes
        ``progress``, that is called here, in the event loop.

        Raises
        ------
        Cancelled
            As soon as `cancel` is called.
        FileError
            The process ended without an answer.
        """
        async with self._turn:
            found: _T = await self._ask(function, args, more, progress)
            return found

    async def call_newest(
        self, caller: object, function: Callable[..., _T], *args: Any, **more: Any
    ) -> _T:
        """The same, unless a later call of the same caller, which is one page, waits by the time it
        is this one's turn: then `Overtaken` is raised."""
        self._newest[caller] = mine = object()
        async with self._turn:
            if self._newest[caller] is not mine:
                raise Overtaken
            found: _T = await self._ask(function, args, more, None)
            return found

    async def _ask(
        self, function: Callable[..., Any], args: tuple[Any, ...], more: dict[str, Any],
        progress: Progress | None,
    ) -> Any:
        ours, loop = self._ours, asyncio.get_running_loop()
        try:
            ours.send((function, args, more, progress is not None))
            while True:
                kind, found = await loop.run_in_executor(None, ours.recv)
                if kind != "progress":
                    break
                if progress is not None:
                    progress(*found)
        except asyncio.CancelledError:  # nobody waits any more; no other call may get the answer
            self.cancel()
            raise
        except (EOFError, OSError) as error:
            if self._closed or ours is not self._ours:
                raise Cancelled from None
            self._start()
            raise FileError("the work ended without an answer",
                            "this should not happen; the machine may have run out of memory",
                            "try it again, with other programs closed", code="worker_lost"
                            ) from error
        if ours is not self._ours:  # what was stopped may still have complained of its files
            raise Cancelled
        if kind == "refused":
            raise found
        return found

    def cancel(self) -> None:
        """End the call that is running; another process takes the place of this one."""
        if self._closed:
            return
        process, ours = self._process, self._ours
        self._start()
        _end(process, ours)

    def close(self) -> None:
        """End the process."""
        self._closed = True
        _end(self._process, self._ours)


def _end(process: Any, ours: Connection) -> None:
    """Have a process tidy up and leave; its pipe ends, for whoever waits for an answer."""
    with contextlib.suppress(OSError, ValueError):
        ours.send(None)

    def wait() -> None:
        process.join(3.0)
        if process.is_alive():
            process.kill()
            process.join()

    threading.Thread(target=wait, daemon=True).start()


def _nothing() -> None:
    """Load nothing before it is asked for."""


def _serve(theirs: Connection, folder: str, warm: Callable[[], object]) -> None:
    """Be the process: do what is asked until nobody can ask any more."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the parent, which ends this one
    os.dup2(2, 1)  # the first line of stdout is the bench's address; nothing mixes with it
    os.chdir(folder)
    asked: SimpleQueue[Any] = SimpleQueue()
    threading.Thread(target=_listen, args=(theirs, asked), daemon=True).start()
    try:
        _answer(theirs, *asked.get(timeout=WARM_AFTER_SECONDS))
    except Empty:
        warm()
    while True:
        _answer(theirs, *asked.get())


def _listen(theirs: Connection, asked: SimpleQueue[Any]) -> None:
    """Pass on what is asked; leave when told to, when the parent has gone, or with a call that
    cannot be read here."""
    with contextlib.suppress(Exception):
        while (one := theirs.recv()) is not None:
            asked.put(one)
    from tonewright.files.safe import abandon

    abandon()
    os._exit(0)


def _answer(
    theirs: Connection, function: Callable[..., Any], args: tuple[Any, ...], more: dict[str, Any],
    tells: bool,
) -> None:
    from tonewright.files.safe import one_call

    if tells:
        more = {**more, "progress": lambda done, total: theirs.send(("progress", (done, total)))}
    try:
        with one_call():
            theirs.send(("result", function(*args, **more)))
    except TonewrightError as error:
        theirs.send(("refused", error))
    except Exception as error:
        traceback.print_exc()
        theirs.send(("refused", fault(error)))
