"""What every document says of itself: its format, its version, and what made it."""

from __future__ import annotations

from typing import Any

from tonewright import __version__
from tonewright.errors import DocumentError
from tonewright.record.schema import is_whole, spoken


def made_by() -> str:
    """Program and version, as documents carry it."""
    return f"tonewright {__version__}"


_KINDS = {
    "tonewright-curve": ("a correction curve", "made by fitting a target's readings"),
    "tonewright-process": ("a strip's process file", "made from a strip's readings"),
    "tonewright-target": ("a target's layout", "written beside the target"),
    "tonewright-check": ("the check of a print", "made by checking a print"),
    "tonewright-scanner": ("a scanner response", "made from the scan of a gray scale"),
}
"""What each format is called, and where one comes from."""


def named_format(fmt: Any) -> str | None:
    """What a document of that format is called, ``a correction curve``; None for an unknown one."""
    return _KINDS[fmt][0] if isinstance(fmt, str) and fmt in _KINDS else None


def check_header(data: Any, fmt: str, version: int, what: str) -> None:
    """Hold the format and version of a document.

    Raises
    ------
    DocumentError
        With the value found and what to do.
    """
    found = data.get("format") if isinstance(data, dict) else None
    if found != fmt:
        given = "this document does not say what it is"
        if found:
            kind = named_format(found)
            given = f"this is {kind}" if kind else \
                "its format is " + spoken(found).removeprefix("the text ")
        origin = _KINDS[fmt][1] if fmt in _KINDS else f'its format is "{fmt}"'
        raise DocumentError(given, f"a {what} is needed ({origin})", "name that file")
    said = data.get("version")
    if not is_whole(said) or said != version:
        raise DocumentError(
            f"this {what} has version {said}" if is_whole(said) and abs(said) < 10**6
            else f"the version of this {what} is {spoken(said)}",
            f"this program, {made_by()}, reads version {version}",
            "use the program version that made it, or make it again from its readings")
