"""What every document says of itself: its format, its version, and what made it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from tonewright import __version__
from tonewright.errors import DocumentError, listed
from tonewright.record.schema import is_whole, spoken


def made_by() -> str:
    """Program and version, as documents carry it."""
    return f"tonewright {__version__}"


def short_id(sha256: str) -> str:
    """A file's fingerprint as a page or a label has it: its first eight digits."""
    return sha256[:8]


DOCUMENTS = (".curve.json", ".process.json", ".check.json", ".scanner.json", ".target.json")
"""What their files' names end in."""
_ENDINGS = (".json", ".curve", ".process", ".check", ".scanner", ".csv", ".txt", ".tif", ".tiff",
            ".png")


def document_name(file_name: str) -> str:
    """What a document is called by its file: ``kallitype.curve.json`` and ``kallitype.csv`` are
    both called kallitype."""
    for ending in _ENDINGS:
        file_name = file_name.removesuffix(ending)
    return file_name


_KINDS = {
    "tonewright-curve": ("a correction curve", "made by fitting a target's readings"),
    "tonewright-process": ("a strip's process file", "made from a strip's readings"),
    "tonewright-target": ("a target's layout", "NAME.target.json, written with the target"),
    "tonewright-check": ("the check of a print", "made by checking a print"),
    "tonewright-scanner": ("a scanner response", "made from the scan of a gray scale"),
}
"""What each format is called, and where one comes from."""
_FORMAT = re.compile(r'"format":\s*"([\w-]+)"')


def kind_of(text: str) -> str | None:
    """What a document of ours is, by its first lines; None: it is none."""
    found = _FORMAT.search(text[:300])
    return _KINDS.get(found[1], (None,))[0] if found else None


def _called(data: Any) -> str:
    """What a document says that it is."""
    found = data.get("format") if isinstance(data, dict) else None
    if not found:
        return "this document does not say what it is"
    kind = _KINDS.get(found) if isinstance(found, str) else None
    return f"this is {kind[0]}" if kind else \
        "its format is " + spoken(found).removeprefix("the text ")


def not_ours(data: Any, wanted: Sequence[str]) -> DocumentError:
    """The error of a document that is of none of the sorts asked for."""
    return DocumentError(_called(data), f"a {listed(wanted, 'or')} is needed", "name that file")


def check_header(data: Any, fmt: str, version: int, what: str) -> None:
    """Hold the format and version of a document.

    Raises
    ------
    DocumentError
        With the value found and what to do.
    """
    if not isinstance(data, dict) or data.get("format") != fmt:
        origin = _KINDS[fmt][1] if fmt in _KINDS else f'its format is "{fmt}"'
        raise DocumentError(_called(data), f"a {what} is needed ({origin})", "name that file")
    said: Any = data.get("version")
    if not is_whole(said) or said != version:
        raise DocumentError(
            f"this {what} has version {said}" if is_whole(said) and abs(said) < 10**6
            else f"the version of this {what} is {spoken(said)}",
            f"this program, {made_by()}, reads version {version}",
            "use the program version that made it, or make it again from its readings")
