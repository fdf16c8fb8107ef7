"""The ``tonewright`` command, also as ``python -m tonewright``.

Little is imported here: before Ctrl-C is watched for, it interrupts imports.
"""

from __future__ import annotations

import os
import sys

INTERRUPTED = 130
"""Exit status of a command that Ctrl-C ended, as shells have it."""


def _end() -> None:
    abandon = getattr(sys.modules.get("tonewright.files.safe"), "abandon", None)
    said = "tonewright: stopped; files are whole or not there\n"
    try:
        if abandon is not None:  # else nothing was written yet
            abandon()
        os.write(2, ("\r\x1b[K" * os.isatty(2) + said).encode("ascii"))
    finally:
        os._exit(INTERRUPTED)


sys.excepthook = lambda kind, *rest: (_end() if kind is KeyboardInterrupt
                                      else sys.__excepthook__(kind, *rest))

import _thread  # noqa: E402
import signal  # noqa: E402

from tonewright.files.streams import fill_in_streams  # noqa: E402


def run() -> None:
    """Run what was typed; Ctrl-C ends it at once, whatever it is at."""
    fill_in_streams()  # first: a pipe would get the number of a closed one
    _watch_for_interrupt()
    # all our matrices are worked on by one thread: starting others takes a tenth of a second
    for threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(threads, "1")
    from tonewright.cli import main  # from here on, loading may be interrupted too

    main(prog_name="tonewright")


def _watch_for_interrupt() -> None:
    """Let a thread of its own end the process: an exception would wait for whatever is running,
    and imports may swallow it or turn it into another."""
    if signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        return  # a shell has it ignored, for what runs in the background
    if sys.platform == "win32":
        signal.signal(signal.SIGINT, lambda *_: _end())
        return
    read, write = os.pipe()
    os.set_blocking(write, False)
    signal.set_wakeup_fd(write)
    signal.signal(signal.SIGINT, lambda *_: None)
    _thread.start_new_thread(_end_after, (read,))


def _end_after(read: int) -> None:
    os.read(read, 1)
    _end()


if __name__ == "__main__":
    run()
