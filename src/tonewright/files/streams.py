"""The streams that a process starts with.  It is loaded first of all, and loads nothing."""

from __future__ import annotations

import os
import sys


def fill_in_streams() -> None:
    """Open standard streams that are closed, or the next file would get the number of one.

    What is said on stderr is then lost; on stdout it fails, for that may be the result.
    """
    for name, number in (("stdin", 0), ("stdout", 1), ("stderr", 2)):
        if getattr(sys, name) is None:
            nothing = os.open(os.devnull, os.O_WRONLY if name == "stderr" else os.O_RDONLY)
            if nothing != number:
                os.dup2(nothing, number)
                os.close(nothing)
            mode = "r" if name == "stdin" else "w"
            setattr(sys, name, os.fdopen(number, mode, encoding="utf-8", closefd=False))
