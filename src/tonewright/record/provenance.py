"""What every document says of itself: its format, its version, and what made it."""

from __future__ import annotations

from typing import Any

from tonewright import __version__
from tonewright.errors import DocumentError
from tonewright.record.schema import is_whole, spoken


def made_by() -> str:
    """Program and version, as documents carry it."""
    return f"tonewright {__version__}"


def check_header(data: Any, fmt: str, version: int, what: str) -> None:
    """Hold the format and version of a document.

    Raises
    ------
    DocumentError
        With the value found and what to do.
    """
    found = data.get("format") if isinstance(data, dict) else None
    if found != fmt:
        raise DocumentError("its format is " + spoken(found).removeprefix("the text ") if found
                            else "this document does not say what it is",
                            f'a {what} has the format "{fmt}"', f"give a {what}")
    said = data.get("version")
    if not is_whole(said) or said != version:
        raise DocumentError(
            f"this {what} has version {said}" if is_whole(said) and abs(said) < 10**6
            else f"the version of this {what} is {spoken(said)}",
            f"this program, {made_by()}, reads version {version}",
            "use the program version that made it, or make it again from its readings")
