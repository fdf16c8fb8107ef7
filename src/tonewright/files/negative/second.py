"""A second process that makes negatives beside this one, for many images at once.

Two threads wait for each other whenever one of them is in the interpreter, thousands of times a
second, and longest where the machine has other work as well; two processes never do.  It is started
before this process has loaded what it needs itself, so that starting costs no time.

The second process works for this one only: it ends when this one does, whatever ends it, and what
it is writing then is finished or not there at all.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from tonewright.files.opening import Closing

if TYPE_CHECKING:
    from tonewright.files.negative.make import Failure, NegativeReport, NegativeSettings
    from tonewright.negative.tones import LevelCurve

FEWEST, LEAST_BYTES = 4, 100_000_000
"""Images, and bytes of their files together, from which it is worth its memory."""
_PROGRAM = "import sys; sys.path[:] = sys.argv[1:]; from tonewright.files.negative import second;"
_PROGRAM += " second.serve()"


class SecondLost(Exception):
    """The second process is not there (any more)."""


def second_for(images: Iterable[Path]) -> Second | None:
    """Start one if there are images enough and a core is free for it; None if not."""
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
    """The second process, seen from this one; one thread at a time may use it."""

    def __init__(self) -> None:
        """Start it; `OSError` if that is not possible."""
        # a keyboard interrupt is for this process, which then tells the other one to end
        apart: dict[str, Any] = {"process_group": 0}
        if sys.platform == "win32":
            apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
        self._process = subprocess.Popen(
            [sys.executable, "-c", _PROGRAM, *sys.path],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, **apart,
        )  # fmt: skip
        self._first = b""

    def prepare(self, curve: LevelCurve, settings: NegativeSettings) -> None:
        """Say what all negatives are made with; `SecondLost` if it cannot be said.

        It is told with the first image: until it has loaded, telling it would have to wait.
        """
        try:
            self._first = pickle.dumps((curve, settings))
        except (pickle.PicklingError, AttributeError, TypeError) as error:
            raise SecondLost from error

    def make(self, source: Path, output: Path) -> NegativeReport | Failure:
        """What `negatives.make_negative` gives there, or the error that it raises.

        Raises `SecondLost`, and any error that is a fault of the program.
        """
        from tonewright.files.negative.make import Failure

        assert self._process.stdin is not None and self._process.stdout is not None
        try:
            self._process.stdin.write(self._first + pickle.dumps((source, output)))
            self._process.stdin.flush()
            self._first = b""
            kind, found = pickle.load(self._process.stdout)
        except (EOFError, OSError, ValueError, pickle.UnpicklingError) as error:
            raise SecondLost from error
        if kind == "report":
            report: NegativeReport = found
            return report
        if kind == "failure":
            name, *parts = found
            return Failure(source, name(*parts))
        raise found

    def close(self) -> None:
        """Let it end: at once, or when the image it is at is finished."""
        assert self._process.stdin is not None and self._process.stdout is not None
        for stream in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):  # it has ended already
                stream.close()
        self._process.wait()


def serve() -> None:
    """Be the second process: make what is asked on stdin until that ends."""
    asked, said = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever is printed by accident is no answer
    # nobody asks any more, or asks for what is known there alone: it is made there
    with contextlib.suppress(EOFError, OSError, pickle.UnpicklingError, ImportError,
                             AttributeError):  # fmt: skip
        _answer(asked, said)
    os._exit(0)  # nothing is left to be tidied up, and that takes a while


def _answer(asked: BinaryIO, said: BinaryIO) -> None:
    from tonewright.errors import TonewrightError
    from tonewright.files.negative.make import make_negative
    from tonewright.files.raster.bands import one_thread

    curve, settings = pickle.load(asked)
    while True:
        source, output = pickle.load(asked)
        answer: tuple[str, Any]
        try:
            with one_thread():
                answer = "report", make_negative(source, curve, output, settings)
        except TonewrightError as error:
            answer = "failure", (type(error), error.given, error.rule, error.way_out)
        except Exception as error:
            answer = "fault", error
        said.write(pickle.dumps(answer))
        said.flush()
