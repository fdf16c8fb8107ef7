"""A second process that makes negatives beside this one, for many images at once.

Two threads contend for the interpreter lock thousands of times a second, and worst on a busy
machine; two processes do not.  It is started before this process has loaded what it needs itself,
so that starting costs no time.

The second process exits with its parent, however that ends; the file it is writing then is finished
or not there at all.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from tonewright.errors import TonewrightError
from tonewright.files.opening import Closing

if TYPE_CHECKING:
    from tonewright.files.negative.make import NegativeReport, NegativeSettings
    from tonewright.negative.tones import LevelCurve

FEWEST, LEAST_BYTES = 4, 100_000_000
"""Images, and bytes of all their files, from which it is worth its memory."""
_PROGRAM = "import sys; sys.path[:] = sys.argv[1:]; from tonewright.files.negative import"
_PROGRAM += " second; second.serve()"


class SecondLost(Exception):
    """The second process is not there (any more)."""


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
    """The second process, seen from this one; one thread at a time may use it."""

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
        self._first = b""

    def prepare(self, curve: LevelCurve, settings: NegativeSettings) -> None:
        """Set what all negatives are made with; `SecondLost` if that cannot be sent.

        It is sent with the first image: sending it sooner would wait until the process has loaded.
        """
        try:
            self._first = pickle.dumps((curve, settings))
        except (pickle.PicklingError, AttributeError, TypeError) as error:
            raise SecondLost from error

    def make(self, source: Path, output: Path) -> NegativeReport:
        """What `make.make_negative` gives or raises there; `SecondLost` if there is no answer."""
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
        if kind == "refused":
            name, parts, code, values = found
            raise name(*parts, code=code, **values)
        raise found

    def close(self) -> None:
        """End it: at once, or when its present image is finished."""
        assert self._process.stdin is not None and self._process.stdout is not None
        for stream in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):  # it has ended already
                stream.close()
        self._process.wait()


def serve() -> None:
    """Be the second process: make what is asked for on stdin until that ends."""
    asked, said = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # stray prints must not mix with the answers
    # nobody asks any more, or the curve is of a class known there alone: the parent makes the rest
    with contextlib.suppress(EOFError, OSError, pickle.UnpicklingError, ImportError,
                             AttributeError):  # fmt: skip
        _answer(asked, said)
    os._exit(0)  # there is nothing to tidy up, and doing so takes a while


def _answer(asked: BinaryIO, said: BinaryIO) -> None:
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
            parts = (error.given, error.rule, error.way_out)
            answer = "refused", (type(error), parts, error.code, error.values)
        except Exception as error:
            answer = "fault", error
        said.write(pickle.dumps(answer))
        said.flush()
