"""Files written whole or not at all, and never over another one without being told to.

Everything tonewright writes goes through `whole_file`.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from dataclasses import field
from pathlib import Path
from typing import NamedTuple

from tonewright.errors import FileError, OptionError
from tonewright.files.temporary import PLACING, UNFINISHED, temporary
from tonewright.frozen import dataclass
from tonewright.record.provenance import DOCUMENTS

if sys.platform != "win32":
    import fcntl

_SYNCED = 16 << 20
"""Bytes of the largest file that is sent to the disk before it is put in place."""


_read: ContextVar[dict[tuple[int, int], str] | None] = ContextVar("_read", default=None)
"""The files that this call has read, by device and number: a name may be one of several."""


@contextmanager
def one_call() -> Iterator[None]:
    """From here on, what is read is remembered, and never written over within the same call."""
    if _read.get() is not None:  # part of a larger call
        yield
        return
    before = _read.set({})
    try:
        yield
    finally:
        _read.reset(before)


@contextmanager
def no_call() -> Iterator[None]:
    """From here on nothing is remembered: what goes on is no call, but waits for many."""
    before = _read.set(None)
    try:
        yield
    finally:
        _read.reset(before)


def remember_read(path: str | os.PathLike[str]) -> None:
    """Note a file that is read, so that nothing of this call replaces it."""
    inputs = _read.get()
    if inputs is not None:
        with contextlib.suppress(OSError, ValueError):
            found = os.stat(path)  # noqa: PTH116 - a Path for each of thousands takes longer
            inputs[found.st_dev, found.st_ino] = str(path)


def refuse_read(target: Path) -> None:
    """Raise `OptionError` for an output that was read, under whatever name."""
    with contextlib.suppress(FileNotFoundError):
        found = target.stat()
        if (found.st_dev, found.st_ino) in (_read.get() or {}):
            raise OptionError(f"the output {target} is also what is being read",
                              "what is read is never written over",
                              "give the output another name")


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Hold off other runs that write a pair of files into this folder, where there are locks: each
    pair is of one run.
    """
    with contextlib.ExitStack() as stack:
        if sys.platform != "win32":
            with contextlib.suppress(OSError):  # no locks here
                place = os.open(folder, os.O_RDONLY)
                stack.callback(os.close, place)
                fcntl.flock(place, fcntl.LOCK_EX)
        yield


class Finished(NamedTuple):
    """A file that is written and not yet in its place."""

    temp: Path
    target: Path
    force: bool


@dataclass
class _Group:
    """Files that are put in place together."""

    finished: list[Finished] = field(default_factory=list)
    stack: ExitStack = field(default_factory=ExitStack)
    """Removes what was not put in place."""
    ended: bool = False
    """A copy of its context may outlive it: a server reads the next request in one."""


_group: ContextVar[_Group | None] = ContextVar("_group", default=None)


@contextmanager
def whole_file(path: str | os.PathLike[str], *, force: bool = False) -> Iterator[Path]:
    """Yield a temporary path beside ``path``; what is written there becomes ``path`` at the end.

    The temporary file exists and is empty when the body starts; the body opens it, writes and
    closes it.  It keeps the suffix of ``path``.  If the body raises, whatever the reason, the
    temporary file is removed and ``path`` is as it was.

    Of files that are nested none is put in place before the outermost is whole: they are there
    together or not at all.

    Raises `FileError`: ``path`` exists and ``force`` is false; its folder is missing or not
    writable; the disk is full; any other `OSError` from the body.
    """
    target = Path(path)
    refuse_existing(target, force)
    with together() as group:
        place = len(group.finished)
        try:
            temp = group.stack.enter_context(temporary(target))
            yield temp
        except OSError as error:
            raise writing_error(target, error) from error
        group.finished.insert(place, Finished(temp, target, force))


@contextmanager
def together() -> Iterator[_Group]:
    """Put what is written in here in place at the end, all of it or, after an error, nothing."""
    group = _group.get()
    if group is not None and not group.ended:
        yield group
        return
    group = _Group()
    before = _group.set(group)
    try:
        with group.stack:
            yield group
            if group.finished:
                _placer(group.finished)
    finally:
        group.ended = True
        _group.reset(before)


def put_in_place(files: Sequence[Finished]) -> None:
    """Give finished files their names, in one go.

    The first never stands beside an older one of the others: those go before it comes.  Documents,
    tables and pictures of curves are on the disk when this returns; larger files are left to the
    system, which may take as long to write them as they took to make.

    Raises `FileError` or `OptionError` as `refuse_existing`; then none of them is in place.
    """
    for file in files:
        refuse_existing(file.target, file.force)  # it may have appeared meanwhile
    target = files[0].target
    placed: list[Path] = []
    try:
        synced = [file for file in files if _sync_small(file.temp)]
        with PLACING:
            for file in files[1:]:
                if file.force:
                    file.target.unlink(missing_ok=True)
            for file in files:
                target = file.target
                _give_name(file)
                placed.append(target)
                UNFINISHED.discard(file.temp)
        for folder in {file.target.parent for file in synced}:
            _sync_folder(folder)
    except FileExistsError as error:  # another run gave the name away in this very moment
        for path in placed:
            path.unlink(missing_ok=True)
        raise _there_already(target) from error
    except OSError as error:
        raise writing_error(target, error) from error


def _give_name(file: Finished) -> None:
    """Move a finished file; without ``force`` `FileExistsError` if the name is taken by then."""
    if file.force:
        file.temp.replace(file.target)
    elif sys.platform == "win32":  # there a file is never renamed over another
        file.temp.rename(file.target)
    else:
        try:
            file.target.hardlink_to(file.temp)
        except FileExistsError:
            raise
        except OSError:  # a disk without hard links: the name is taken first, then filled
            file.target.touch(exist_ok=False)
            file.temp.replace(file.target)
        else:
            file.temp.unlink()


_placer: Callable[[Sequence[Finished]], None] = put_in_place


def place_by(placer: Callable[[Sequence[Finished]], None]) -> None:
    """Have finished files put in place otherwise: by the process that this one works for."""
    global _placer
    _placer = placer


def abandon() -> None:
    """Remove what is unfinished, and put nothing in place any more: the process ends now.

    Whatever is just being put in place is waited for.
    """
    PLACING.acquire(timeout=1.0)
    for path in sorted(UNFINISHED, key=lambda path: -len(path.parts)):
        with contextlib.suppress(OSError):
            path.rmdir() if path.is_dir() else path.unlink()


def _sync_small(temp: Path) -> bool:
    """Send a file to the disk if it is small."""
    with temp.open("rb+", buffering=0) as stream:
        if stream.seek(0, os.SEEK_END) > _SYNCED:
            return False
        os.fsync(stream.fileno())
    return True


def _sync_folder(folder: Path) -> None:
    """Send the names in a folder to the disk, where that is asked of a folder."""
    if sys.platform != "win32":
        with contextlib.suppress(OSError):  # some network disks do not know it
            place = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(place)
            finally:
                os.close(place)


def refuse_existing(path: str | os.PathLike[str], force: bool) -> None:
    """Raise `FileError` if ``path`` may not be written: it exists without ``force``, is a folder
    or is no ordinary file (a device, a pipe), or its folder is missing; `OptionError` if this call
    has read it.

    For a check before long work; `whole_file` makes it as well.
    """
    target = Path(path)
    try:
        if "\0" in str(target):
            raise ValueError("a name cannot hold a NUL")
        refuse_read(target)
        if target.is_dir():
            raise FileError(
                f"the output {target} is a folder",
                "the output is a file",
                f"name a file in it, for example {target / 'NAME'}",
            )
        link = target.is_symlink()  # in /dev it may stand for a file now, and is a device
        if link or (target.exists() and not target.is_file()):
            raise FileError(
                f"the output {target} is {'a link' if link else 'not an ordinary file'}",
                "output goes to a file on disk",
                "name the file that it points to" if link else "give another output name",
            )
        if os.path.lexists(target) and not force:
            raise _there_already(target)
        if not target.parent.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "no folder")
    except (OSError, ValueError) as error:
        raise writing_error(target, error) from error


def _there_already(target: Path) -> FileError:
    return FileError(
        f"the file {target} is there already",
        "an existing file is replaced only if you ask for it",
        "give another output name, or have it replaced",
        code="output_exists",
    )


def check_outputs(
    output: Path | None, plot: Path | None, inputs: Iterable[Path | None], force: bool,
    document: str | None = None,
) -> None:
    """Refuse, before any work, what may not be written: existing files without ``force``, and
    with it the files that are being read or one file for two things; and a picture, or a
    ``document`` such as ``.curve.json``, whose name says that it is none.
    """
    outputs = [path for path in (output, plot) if path is not None]
    with one_call():
        for source in filter(None, inputs):
            remember_read(source)
        for path in outputs:
            with contextlib.suppress(OSError, ValueError):  # told below
                refuse_read(path)
    if plot is not None:
        refuse_ending(plot, (".png",), "a picture is written as a PNG", what="the picture")
    for path in outputs:
        refuse_existing(path, force)
    if len({os.path.realpath(path) for path in outputs}) < len(outputs):
        raise OptionError(f"the output and the picture are both to go to {output}",
                          "a file holds one thing", "give the picture another name, NAME.png")
    if output is not None and document:
        kind = document.split(".")[1]
        refuse_ending(output, (".json",), f"a {kind} is kept in a JSON file", usual=document)
        *_, other = Path(output.stem).suffixes or [""]
        if other != f".{kind}" and f"{other}.json" in DOCUMENTS:
            raise OptionError(f"the output is {output}, as a {other[1:]} is called",
                              f"a {kind} is kept in a file NAME{document}",
                              f"call it {output.with_suffix('').with_suffix(document)}")


def refuse_ending(
    path: Path, endings: Sequence[str], rule: str, *, what: str = "the output", usual: str = ""
) -> None:
    """Raise `OptionError` for an output whose name says that it is none of its kind: it has none of
    these ``endings``, of which the first, or ``usual``, is proposed."""
    if path.suffix.lower() not in endings:
        ending = usual or endings[0]
        raise OptionError(f"{what} is {path}", rule,
                          f"call it {path.with_suffix(ending) if path.stem else f'NAME{ending}'}")


@contextmanager
def scratch() -> Iterator[Path]:
    """A folder of its own, elsewhere, that is gone afterwards."""
    import tempfile  # most commands do without

    with tempfile.TemporaryDirectory(prefix="tonewright-", ignore_cleanup_errors=True) as folder:
        yield Path(folder)


def make_folder(path: str | os.PathLike[str]) -> bool:
    """Make a folder (not its parents); False if it is there already.

    Raises `FileError` if it cannot be made.
    """
    target = Path(path)
    try:
        if target.is_dir():
            return False
        target.mkdir()
        UNFINISHED.add(target)
    except FileExistsError:
        raise FileError(
            f"the output {target} is a file",
            "the output is a folder here",
            "give another folder name",
        ) from None
    except (OSError, ValueError) as error:
        raise writing_error(target, error) from error
    return True


@contextmanager
def filled_folder(path: Path) -> Iterator[None]:
    """Make a folder, as `make_folder`; at the end it goes again if nothing was put into it."""
    new = make_folder(path)
    try:
        yield
    finally:
        if new:
            with contextlib.suppress(OSError):  # not empty: something was finished
                path.rmdir()


def write_text(path: str | os.PathLike[str], text: str, *, force: bool = False) -> None:
    r"""Write ``text`` as UTF-8 with ``\n`` line ends, whole or not at all.

    Raises `FileError` as `whole_file` does.
    """
    # a file name in the text may hold bytes that are no text; they are escaped, not fatal
    write_bytes(path, text.encode("utf-8", "backslashreplace"), force=force)


def write_bytes(path: str | os.PathLike[str], data: bytes, *, force: bool = False) -> None:
    """Write ``data`` whole or not at all; raises `FileError` as `whole_file` does."""
    with whole_file(path, force=force) as temp:
        temp.write_bytes(data)


def write_together(
    made: Sequence[tuple[str | os.PathLike[str] | None, str | bytes | None]], *,
    force: bool = False,
) -> None:
    """Write several files, all whole before any is put in its place; without a path or without
    content, none.  Raises `FileError` as `whole_file`."""
    with ExitStack() as stack:
        for path, data in made:
            if path is not None and data is not None:
                whole = data.encode("utf-8") if isinstance(data, str) else data
                stack.enter_context(whole_file(path, force=force)).write_bytes(whole)


def writing_error(path: str | os.PathLike[str], error: OSError | ValueError) -> FileError:
    """The `FileError` that explains why ``path`` could not be written."""
    code = getattr(error, "errno", None)
    target = Path(path)
    if code in (errno.ENOSPC, errno.EDQUOT):
        return FileError(
            f"the file {target} was not written: the disk is full",
            "a file is written whole or not at all",
            "make room, or write to another disk",
        )
    if code in (errno.EACCES, errno.EPERM, errno.EROFS):
        return FileError(
            f"the file {target} was not written: writing in {target.parent} is not allowed",
            "the output folder must be writable and the file not open in another program",
            "choose another folder, or change its permissions",
        )
    if code in (errno.ENOENT, errno.ENOTDIR):
        return FileError(
            f"the file {target} cannot be written: there is no folder {target.parent}",
            "the folder of an output file must exist",
            "make the folder first, or give another output name",
        )
    reason = getattr(error, "strerror", None) or str(error)
    return FileError(
        f"the file {target} was not written: {reason}",
        "a file is written whole or not at all",
        "choose another name or folder",
    )
