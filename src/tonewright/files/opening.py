"""Reading a file into memory, with one clear message when that cannot be done."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

from tonewright.errors import FileError
from tonewright.files.safe import remember_read

_LARGEST_SETUP = 1 << 20
"""Bytes."""


def read_bytes(
    path: str | os.PathLike[str], most: int, rule: str,
    refuse: Callable[[bytes], None] | None = None,
) -> bytes:
    """The whole file, if it has at most ``most`` bytes.

    ``rule`` says what kind of file belongs here: ``"readings come from a file"``.  ``refuse`` may
    raise for what the file begins with, however large it is.

    Raises `FileError`: no such file, a folder, a pipe or device, no permission, or too large.
    """
    target = Path(path)
    try:
        refuse_irregular(target, rule)
        with target.open("rb") as stream:
            remember_read(target)
            raw = stream.read(most + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise reading_error(target, error, rule) from error
    if refuse is not None:
        refuse(raw)
    if len(raw) > most:
        raise too_large(target, most)
    return raw


def setup_bytes(path: str | os.PathLike[str]) -> bytes:
    """The file that says what a calibration was made with; raises as `read_bytes`."""
    return read_bytes(path, _LARGEST_SETUP, "a setup is a small file")


def too_large(path: Path, most: int) -> FileError:
    """The error for a file that cannot be what it is named for."""
    return FileError(f"{path.name} is larger than {most // 1_000_000} MB",
                     "no file of this kind is", "check that this is the file you meant")


def refuse_no_folder(
    folder: Path, given: str | os.PathLike[str], rule: str, way_out: str
) -> None:
    """Raise `FileError` for what is not a folder; ``given`` is what it was called."""
    if not folder.is_dir():
        raise FileError(f"{given} is not a folder" if folder.exists() else
                        f"there is no folder {given}", rule, way_out)


def parse_toml(raw: bytes, parse_float: Callable[[str], Any] = float) -> dict[str, Any]:
    """A small file of settings as what its lines say.

    Raises `ValueError`, which says in plain words what is wrong, and in which line.
    """
    import tomllib

    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueError("it holds bytes that are no text") from error
    try:
        return tomllib.loads(text, parse_float=parse_float)
    except (ValueError, RecursionError) as error:
        place = re.search(r"at line (\d+)", str(error))
        lines = text.splitlines()
        number = min(int(place[1]), len(lines)) if place else len(lines)
        line = shown(lines[number - 1]) if lines else ""
        said = f", {line}" if line else ""
        raise ValueError(f"line {number} cannot be understood{said}") from error


def shown(text: str, most: int = 40) -> str:
    """The first line of a text as a message shows it: short, and without signs that no screen
    shows."""
    first = "".join(c if c.isprintable() else " " for c in text.split("\n", 1)[0])
    plain = " ".join(first.split())
    return plain if len(plain) <= most else plain[:most] + "…"


class Closing:
    """Is closed at the end of a ``with`` statement."""

    def close(self) -> None:
        """Let go of what is held."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def refuse_irregular(path: Path, rule: str) -> None:
    """Raise `FileError` for a folder, and for a pipe or a device, which may have to be waited for
    without end."""
    if path.is_dir():
        raise FileError(f"{path} is a folder", rule, "name a file in it")
    if path.exists() and not path.is_file():
        raise FileError(
            f"{path} is not an ordinary file but a pipe or a device",
            rule,
            "save what comes out of it in a file, and name that",
        )


def reading_error(path: str | os.PathLike[str], error: Exception, rule: str) -> FileError:
    """The `FileError` that explains why ``path`` could not be read."""
    if isinstance(error, FileNotFoundError):
        return FileError(f"there is no file {path}", rule, "check its name and folder")
    reason = getattr(error, "strerror", None) or str(error)
    return FileError(
        f"{path} cannot be read ({reason})",
        rule,
        "check the name, the permissions and that the disk is there",
    )
