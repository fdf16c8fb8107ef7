"""The folder of the bench: each paper is a sub-folder, its documents and pictures are the files.

Names come from a browser here.  None leads out of the folder: not as it is written, and not by a
link.  Hidden files and those not finished yet are never shown, read or written.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from itertools import count
from pathlib import Path, PurePosixPath
from typing import Literal

from tonewright.errors import UNSEEN, FileError, OptionError, visible
from tonewright.files.opening import refuse_no_folder, setup_bytes
from tonewright.files.safe import write_bytes, write_text, writing_error
from tonewright.record.setup import Setup, setup_toml

HERE = "."
"""The paper that is the folder itself."""

Kind = Literal["curve", "process", "check", "target", "scanner", "table", "image", "setup",
               "page", "other"]
_KINDS: dict[str, Kind] = {
    ".curve.json": "curve", ".process.json": "process", ".check.json": "check",
    ".target.json": "target", ".scanner.json": "scanner", ".csv": "table", ".txt": "table",
    ".tif": "image", ".tiff": "image", ".png": "image", ".jpg": "image", ".jpeg": "image",
    ".toml": "setup", ".html": "page", ".htm": "page",
}  # fmt: skip
SETUP = "setup.toml"
"""What a paper is used with."""
_DOCUMENTS: set[Kind] = {"curve", "process", "check", "target"}
_LONGEST = 200
"""Bytes of a name: disks take 255, and a negative's name is longer than its picture's."""
_RESERVED = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])\s*(\..*)?",
                       re.IGNORECASE | re.DOTALL)
_SIGNS = re.compile(r'[<>:"|?*\\/]')


@dataclass(frozen=True)
class PaperFile:
    """A file of a paper."""

    name: str
    """As `Papers.inside` takes it: a name, or a path below the paper with ``/`` between."""
    kind: Kind
    size: int
    """Bytes."""
    changed: float
    """Seconds since 1970, as the disk says."""


class Papers:
    """The papers of a folder.

    Wherever a paper or a name is given, `OptionError` is raised for one that leads out of the
    folder (code ``outside_folder``) or that not every disk can hold (code ``name_unusable``), and
    `FileError` for a paper that is not there.
    """

    def __init__(self, root: str | os.PathLike[str]) -> None:
        """Raises `FileError` if there is no such folder."""
        self.root = Path(os.path.realpath(root))
        refuse_no_folder(self.root, root, "papers are kept in a folder",
                         "make it first, or name another")

    def names(self) -> tuple[str, ...]:
        """The papers in alphabetical order, before them `HERE` if the folder itself holds
        documents."""
        here = any(kind_of(entry.name) in _DOCUMENTS for entry in self._entries(self.root)
                   if entry.is_file())
        below = sorted(e.name for e in self._entries(self.root)
                       if e.is_dir() and not _fault(e.name) and e.name != "-")
        return (*([HERE] if here else []), *below)

    def folder(self, paper: str) -> Path:
        """Where a paper's files are."""
        path = self._folder(paper)
        if not path.is_dir():
            raise FileError(f"there is no paper {visible(paper)} in {self.root}",
                            "each paper is a folder there", "make it first, or choose another")
        return path

    def is_there(self, paper: str) -> bool:
        """Whether a paper still has its folder."""
        return self._folder(paper).is_dir()

    def inside(self, paper: str, name: str) -> Path:
        """Where a file of a paper is or would be: ``name`` is a file's, or a path below."""
        folder, path = self.folder(paper), PurePosixPath(name)
        if path.is_absolute() or ".." in name.replace("\\", "/").split("/"):
            raise self._outside(name)
        for part in name.split("/"):
            _refuse(part)
        return self._real(folder.joinpath(*path.parts), name)

    def files(self, paper: str) -> tuple[PaperFile, ...]:
        """The files of a paper and of the folders in it, in alphabetical order; of `HERE` only
        its own, since those below are the papers."""
        folder = self.folder(paper)
        return tuple(sorted(self._files(folder, "", deep=paper != HERE), key=lambda f: f.name))

    def newest(self, paper: str, kind: Kind) -> list[PaperFile]:
        """Those of a kind, the newest first."""
        return sorted((f for f in self.files(paper) if f.kind == kind), key=lambda f: -f.changed)

    def stamp(self) -> str:
        """Differs from before if any file or folder has come, gone or changed; it reads none."""
        seen = hashlib.blake2b(digest_size=8)
        for entry in self._walk(self.root):
            found = entry.stat()
            # a folder's own time also changes with hidden files
            mark = 0 if entry.is_dir() else (found.st_mtime_ns, found.st_size, found.st_ino)
            seen.update(f"{os.fsencode(entry.path)!r} {mark}\n".encode())
        return seen.hexdigest()

    def new(self, paper: str) -> Path:
        """Make the folder of a new paper; raises `FileError` if it is there or cannot be made."""
        path = self._folder(paper)
        try:
            path.mkdir()
        except FileExistsError:
            raise FileError(f"there is a paper or a file called {paper} already",
                            "each paper has a name of its own", "give it another name",
                            code="paper_exists") from None
        except OSError as error:
            raise writing_error(path, error) from error
        return path

    def free_name(self, paper: str, name: str) -> str:
        """``name`` if there is no such file, else the first of ``NAME-2``, ``NAME-3``, … with the
        same ending that is free."""
        at = len(name) - len(next((end for end in _KINDS if name.lower().endswith(end)),
                                  PurePosixPath(name).suffix))
        stem, ending = name[:at], name[at:]
        tried = (name if n == 1 else f"{stem}-{n}{ending}" for n in count(1))
        return next(n for n in tried if not os.path.lexists(self.inside(paper, n)))

    def write_setup(self, paper: str, setup: Setup, before: bytes | None = None) -> Path | None:
        """Write what a paper is used with; a file that is there is kept under another name, which
        is returned.

        ``before`` is what that file held when it was last looked at, None: nothing.  Raises
        `FileError` where it has changed since (code ``setup_changed``), and as `write_text`.
        """
        path = self.inside(paper, SETUP)
        if self.setup_bytes(paper) != before:
            raise FileError(f"the file {SETUP} was changed meanwhile",
                            "what another window or program wrote is not replaced unseen",
                            "look at what it says now, and keep the setup again",
                            code="setup_changed")
        if before is None:
            write_text(path, setup_toml(setup))
            return None
        kept = self.inside(paper, self.free_name(
            paper, f"setup-until-{date.today().isoformat()}.toml"))
        write_bytes(kept, before)
        write_text(path, setup_toml(setup), force=True)
        return kept

    def setup_bytes(self, paper: str) -> bytes | None:
        """What the file of a paper's setup holds; None where there is none."""
        path = self.setup(paper)
        return None if path is None else setup_bytes(path)

    def setup(self, paper: str) -> Path | None:
        """The file that says what a paper is used with; None where there is none."""
        path = self.inside(paper, SETUP)
        return path if path.is_file() else None

    def picture_size(self, path: Path) -> tuple[int, int]:
        """Width and height in pixels of a PNG that was made here, counted from the folder."""
        from PIL import Image

        with Image.open(self.root / path) as picture:
            return picture.width, picture.height

    def relative(self, path: Path | None) -> Path | None:
        """A path within the folder, counted from it."""
        return None if path is None else path.relative_to(self.root)

    def _folder(self, paper: str) -> Path:
        if paper == HERE:
            return self.root
        if "/" in paper or "\\" in paper or paper == "..":
            raise self._outside(paper)
        _refuse(paper)
        if paper == "-":  # stands for the folder itself in addresses
            raise _unusable(paper, "it is a dash alone")
        return self._real(self.root / paper, paper)

    def _real(self, path: Path, name: str) -> Path:
        """The path, if what it really is lies in the folder, links followed."""
        try:
            real = Path(os.path.realpath(path))
        except (OSError, ValueError) as error:
            raise self._outside(name) from error
        if not self._holds(real):
            raise self._outside(name)
        return path

    def _holds(self, real: Path) -> bool:
        """Whether it lies in the folder, and in nothing hidden there."""
        return real.is_relative_to(self.root) and not any(
            part.startswith(".") for part in real.relative_to(self.root).parts)

    def _outside(self, name: str) -> OptionError:
        return OptionError(f"{visible(name)} leads out of the folder",
                           f"files are read and written only in {self.root}",
                           "copy the file into the folder first, and give its plain name",
                           code="outside_folder")

    def _entries(self, folder: Path) -> Iterator[os.DirEntry[str]]:
        """What is shown of a folder; of one that cannot be read, or that has just gone, nothing."""
        try:
            with os.scandir(folder) as entries:
                for entry in entries:
                    if not entry.name.startswith(".") and self._is_shown(entry):
                        yield entry
        except OSError:
            return

    def _is_shown(self, entry: os.DirEntry[str]) -> bool:
        """Not a link out of the folder, a link to a folder, a pipe, or what has just gone."""
        try:
            entry.stat()
            if entry.is_symlink():
                return entry.is_file() and self._holds(Path(os.path.realpath(entry.path)))
            return entry.is_file() or entry.is_dir()
        except OSError:
            return False

    def _walk(self, folder: Path) -> Iterator[os.DirEntry[str]]:
        for entry in sorted(self._entries(folder), key=lambda e: e.name):
            yield entry
            if entry.is_dir():
                yield from self._walk(Path(entry.path))

    def _files(self, folder: Path, before: str, deep: bool) -> Iterator[PaperFile]:
        for entry in self._entries(folder):
            name = before + visible(entry.name)
            if entry.is_file():
                found = entry.stat()
                yield PaperFile(name, kind_of(name), found.st_size, found.st_mtime)
            elif deep:
                yield from self._files(Path(entry.path), f"{name}/", deep)


@contextmanager
def append(path: Path) -> Iterator[Callable[[bytes], object]]:
    """A file to be written piece by piece; raises `FileError` where the disk does not take it."""
    try:
        with path.open("ab") as stream:
            yield stream.write
    except OSError as error:
        raise writing_error(path, error) from error


@contextmanager
def compare(path: Path) -> Iterator[Callable[[bytes], bool]]:
    """Whether a file goes on with a piece, asked piece by piece; ``b""`` asks whether it ends."""
    with path.open("rb") as stream:
        yield lambda piece: stream.read(len(piece) or 1) == piece


def kind_of(name: str) -> Kind:
    """What a file is by the end of its name."""
    return next((kind for end, kind in _KINDS.items() if name.lower().endswith(end)), "other")


def _refuse(name: str) -> None:
    fault = _fault(name)
    if fault:
        raise _unusable(name, fault)


def _unusable(name: str, fault: str) -> OptionError:
    if not name.strip():
        return OptionError("there is no name yet", "whatever is kept needs a name", "type one",
                           code="name_unusable")
    short = name if len(name) <= 40 else name[:40] + "…"
    return OptionError(f'the name "{visible(short)}" cannot be used: {fault}',
                       "a name must be one that every disk can hold", "rename it",
                       code="name_unusable")


def _fault(name: str) -> str | None:
    """What keeps a name, without any ``/``, from being one that every disk can hold."""
    found = _SIGNS.search(name)
    if not name.strip():
        return "it is empty"
    if name.startswith("."):
        return "it starts with a point, as hidden files do"
    if UNSEEN.search(name):
        return "it holds signs that no screen shows"
    if found:
        return f"it holds {found[0]}"
    if name != name.strip() or name.endswith("."):
        return "it starts or ends with a space, or ends with a point"
    if len(os.fsencode(name)) > _LONGEST:
        return f"it is longer than {_LONGEST} bytes"
    if _RESERVED.fullmatch(name):
        return "Windows keeps it for a device"
    return None
