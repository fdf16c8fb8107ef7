"""Files that are still being written: beside the target, and removed if their run is killed."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

if sys.platform != "win32":
    import fcntl

_LEFTOVER_AGE = 3600.0
"""Seconds: a temporary file nobody has written to for this long belongs to a run that was killed,
where nothing surer can be known."""
UNFINISHED: set[Path] = set()
"""Temporary files, and folders that were made and may still be empty."""
PLACING = threading.Lock()
"""Held while temporary files are made and finished ones get their names."""


@contextmanager
def temporary(target: Path) -> Iterator[Path]:
    """A new empty file beside ``target``, removed at the end if it is still there.

    As long as this run lives it holds a lock on the file, where the system has such locks: that
    tells other runs that it does, and ends with the run, however that ends.  What killed runs left
    for this target is removed first.
    """
    _remove_leftovers(target)
    suffix = target.suffix if len(os.fsencode(target.suffix)) <= 16 else ""
    while True:
        mark = f"{_machine():08x}{os.urandom(4).hex()}"
        temp = target.with_name(f"{_prefix(target)}{mark}.part{suffix}")
        with PLACING:  # whoever abandons knows of it
            file = os.open(temp, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666)
            UNFINISHED.add(temp)
        if sys.platform == "win32":  # a file that is open could not be renamed there
            os.close(file)
            break
        with contextlib.suppress(OSError):  # no locks here: its age must tell
            fcntl.flock(file, fcntl.LOCK_EX)
        if temp.exists():
            break
        UNFINISHED.discard(temp)
        os.close(file)  # another run came between and took it for a leftover
    try:
        yield temp
    finally:
        with contextlib.suppress(OSError):
            temp.unlink(missing_ok=True)
        UNFINISHED.discard(temp)
        if sys.platform != "win32":
            os.close(file)


def _prefix(target: Path) -> str:
    # A hash instead of the name itself: the name may already be as long as the disk allows.
    return f".tonewright-{zlib.crc32(os.fsencode(target.name)):08x}-"


@cache
def _machine() -> int:
    """A number for this machine as it is running now: a lock says something only here."""
    try:
        mark = Path("/proc/sys/kernel/random/boot_id").read_bytes()
    except OSError:
        import platform

        mark = os.fsencode(platform.node())
    return zlib.crc32(mark)


def _remove_leftovers(target: Path) -> None:
    """Remove what killed runs left for this target, and nothing that a live one is writing."""
    prefix = _prefix(target)
    with contextlib.suppress(OSError), os.scandir(target.parent) as entries:
        for entry in entries:
            if entry.name.startswith(prefix):
                with contextlib.suppress(OSError):
                    _remove_if_dead(Path(entry.path), entry.name.removeprefix(prefix))


def _remove_if_dead(part: Path, mark: str) -> None:
    """Remove a temporary file whose run has ended: its lock says so, or its age."""
    old = time.time() - part.stat().st_mtime > _LEFTOVER_AGE
    if sys.platform == "win32" or not mark.startswith(f"{_machine():08x}"):
        if old:
            part.unlink()
        return
    file = os.open(part, os.O_RDWR)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        pass
    except OSError:  # no locks here
        if old:
            part.unlink()
    else:
        part.unlink()  # while it is locked, so that no run takes it for its own
    finally:
        os.close(file)
