"""A second process that makes negatives beside this one, for many images at once.

Two threads contend for the interpreter lock thousands of times a second, and worst on a busy
machine; two processes do not.  It is started before this process has loaded what it needs itself,
so that starting costs no time.

The second process exits with its parent, however that ends.  It puts no file in place itself: when
one is finished it asks its parent to, so that after the parent's end none can appear.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import sys
import threading
from collections.abc import Iterable, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, BinaryIO

from tonewright.errors import TonewrightError
from tonewright.files.opening import Closing
from tonewright.files.safe import Finished, abandon, place_by, put_in_place

if TYPE_CHECKING:
    from tonewright.files.negative.make import NegativeReport, NegativeSettings
    from tonewright.negative.tones import LevelCurve

FEWEST, LEAST_BYTES = 4, 100_000_000
"""Images, and bytes of all their files, from which it is worth its memory."""
_PROGRAM = "import sys; sys.path[:] = sys.argv[1:]; from tonewright.files.negative import"
_PROGRAM += " second; second.serve()"


def second_for(images: Iterable[Path]) -> Second | None:
    """Start one if there are enough images and a core for it; None if not."""
    paths = list(images)
    if len(paths) < FEWEST or _cores() < 2 or not sys.executable:
        return None
    if sum(_size(path) for path in paths) < LEAST_BYTES:
        return None
    try:
        return Second()
    except OSError:
        return None


def _cores() -> int:
    """Of those that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except (OSError, ValueError):  # whoever opens it says what is wrong
        return 0


class Second(Closing):
    """The second process, seen from this one, for whichever thread finds it free."""

    def __init__(self) -> None:
        """Start it; `OSError` if that is not possible."""
        import subprocess

        # a keyboard interrupt is for this process, which then tells the other one to end
        apart: dict[str, Any] = {"process_group": 0}
        if sys.platform == "win32":
            apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
        self._process = subprocess.Popen(
            [sys.executable, "-c", _PROGRAM, *sys.path],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, **apart,
        )  # fmt: skip
        self._first, self._lost, self._free = b"", False, threading.Lock()

    def prepare(self, curve: LevelCurve, settings: NegativeSettings) -> None:
        """Set what all negatives are made with.

        It is sent with the first image: sending it sooner would wait until the process has loaded.
        """
        try:
            self._first, self._lost = pickle.dumps((curve, settings)), False
        except (pickle.PicklingError, AttributeError, TypeError):
            self._lost = True

    def make(self, source: Path, output: Path) -> NegativeReport | None:
        """What `make.make_negative` gives or raises there; None if it has to be made here: it is
        busy, or not there (any more)."""
        if not self._free.acquire(blocking=False):
            return None
        try:
            kind, found = self._ask(source, output)
        except (EOFError, OSError, ValueError, pickle.UnpicklingError):
            self._lost = True  # it was killed, or could not start
            return None
        finally:
            self._free.release()
        if kind == "fault":
            raise found
        report: NegativeReport | None = found
        return report

    def _ask(self, source: Path, output: Path) -> tuple[str, Any]:
        if self._lost:
            return "report", None
        assert self._process.stdout is not None
        self._send(self._first + pickle.dumps((source, output)))
        self._first = b""
        kind, found = pickle.load(self._process.stdout)
        while kind == "finished":
            self._send(pickle.dumps(_placed(found)))
            kind, found = pickle.load(self._process.stdout)
        return kind, found

    def _send(self, data: bytes) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(data)
        self._process.stdin.flush()

    def close(self) -> None:
        """End it at once."""
        assert self._process.stdin is not None and self._process.stdout is not None
        for stream in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):  # it has ended already
                stream.close()
        self._process.wait()


def _placed(files: Sequence[Finished]) -> TonewrightError | None:
    """Put files in place that the second process has finished; or why that was not done."""
    try:
        put_in_place(files)
    except TonewrightError as error:
        return error
    return None


def serve() -> None:
    """Be the second process: make what is asked for on stdin until that ends."""
    asked, said = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # stray prints must not mix with the answers
    messages: SimpleQueue[Any] = SimpleQueue()
    threading.Thread(target=_listen, args=(asked, messages), daemon=True).start()
    with contextlib.suppress(OSError):  # nobody listens any more
        _answer(messages, said)
    _leave()


def _listen(asked: BinaryIO, messages: SimpleQueue[Any]) -> None:
    """Pass on what is asked; end the process as soon as nobody can ask any more, or with a curve
    of a class that is known there alone: the parent makes the rest."""
    with contextlib.suppress(Exception):
        while True:
            messages.put(pickle.load(asked))
    _leave()


def _leave() -> None:
    abandon()
    os._exit(0)  # there is nothing to tidy up, and doing so takes a while


def _answer(messages: SimpleQueue[Any], said: BinaryIO) -> None:
    from tonewright.files.negative.make import make_negative
    from tonewright.files.raster.bands import one_thread

    def say(kind: str, what: Any) -> None:
        said.write(pickle.dumps((kind, what)))
        said.flush()

    def place(files: Sequence[Finished]) -> None:
        say("finished", files)
        answer = messages.get()
        if answer is not None:
            raise answer

    place_by(place)
    curve, settings = messages.get()
    while True:
        source, output = messages.get()
        try:
            with one_thread():
                report = make_negative(source, curve, output, settings)
        except Exception as error:
            say("fault", error)
        else:
            say("report", report)
