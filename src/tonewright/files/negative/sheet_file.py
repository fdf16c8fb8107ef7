"""The small file that remembers how a sheet looks: ``my-sheet.toml``."""

from __future__ import annotations

import os
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from tonewright.errors import DocumentError, OptionError
from tonewright.files.opening import parse_toml, read_bytes, shown
from tonewright.files.safe import write_text
from tonewright.negative.border import BORDERS, DEFAULT_MARGIN_MM, Border, FrameSettings
from tonewright.negative.size import parse_length, parse_ppi
from tonewright.record.schema import spoken

_LARGEST = 1 << 20
_SWITCHES = ("marks", "tone_scale", "caption")
NAMES = ("margin", "border", *_SWITCHES, "ppi")


@dataclass(frozen=True)
class SheetChoices:
    """What was said of a sheet; None: not said."""

    margin_mm: float | None = None
    border: Border | None = None
    marks: bool | None = None
    tone_scale: bool | None = None
    caption: bool | None = None
    ppi: Fraction | None = None

    def over(self, other: SheetChoices) -> SheetChoices:
        """These choices, and the other's where nothing was said."""
        pairs = ((name, getattr(self, name)) for name in self.__dataclass_fields__)
        return SheetChoices(
            **{name: getattr(other, name) if mine is None else mine for name, mine in pairs}
        )

    def check(self) -> None:
        """Raise `OptionError` for a border that has no room."""
        if self.margin_mm == 0.0 and self.border is not None:
            raise OptionError(
                f"the border is {self.border} and the margin 0 mm",
                "a border is as wide as the margin, and without a margin there is none",
                f"leave the border out, or take a margin such as {DEFAULT_MARGIN_MM:g}mm",
            )

    def frame(self) -> FrameSettings:
        """What they come to: a border that was named alone gets the usual margin."""
        margin = self.margin_mm
        if margin is None and self.border is not None:
            margin = DEFAULT_MARGIN_MM
        return FrameSettings(
            margin, self.border or "clear", bool(self.marks), bool(self.tone_scale),
            bool(self.caption),
        )  # fmt: skip


def read_sheet(path: str | os.PathLike[str]) -> SheetChoices:
    """Read a settings file.

    Raises
    ------
    FileError, DocumentError, OptionError
        It cannot be read, is not TOML, or has an entry that is unknown or impossible.
    """
    name = Path(path).name
    raw = read_bytes(path, _LARGEST, "a layout is a small text file")
    try:
        data = parse_toml(raw)
    except ValueError as error:
        raise DocumentError(
            f"{name} is not a layout: {error}",
            'it is TOML: lines such as margin = "14mm" or marks = true',
            "write it anew with --save-layout",
        ) from error
    return _choices(data, name)


def _choices(data: dict[str, Any], name: str) -> SheetChoices:
    found: dict[str, Any] = {}
    for key, value in data.items():
        if key not in NAMES:
            raise DocumentError(
                f"{name} has an entry {shown(key)}",
                f"a layout has {', '.join(NAMES)}",
                "take that line out",
            )
        if key in _SWITCHES:
            if not isinstance(value, bool):
                raise _wrong(name, key, value, "true or false")
            found[key] = value
        elif key == "border":
            if value not in BORDERS:
                raise _wrong(name, key, value, "clear or opaque")
            found[key] = value
        elif key == "margin":
            if not isinstance(value, str):
                raise _wrong(name, key, value, 'a length in quotes, as "14mm"')
            found["margin_mm"] = parse_margin(value, f"margin in {name}")
        else:
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise _wrong(name, key, value, "a number")
            found[key] = parse_ppi(str(value))
    return SheetChoices(**found)


def parse_margin(text: str, what: str = "--margin") -> float:
    """A margin in millimetres: a length, or 0 (in any unit, or without one) for none."""
    if text.strip() == "0":
        return 0.0
    return float(parse_length(text, what, may_be_none=True))


def _wrong(name: str, key: str, value: object, kind: str) -> DocumentError:
    return DocumentError(f"{name} has {key} = {spoken(value)}", f"it is {kind}", "mend that line")


def sheet_text(choices: SheetChoices) -> str:
    """The file for some choices."""
    lines = ["# How a negative's sheet looks: tonewright negative … --layout THIS-FILE"]
    for name in NAMES:
        value = getattr(choices, "margin_mm" if name == "margin" else name)
        if value is None:
            continue
        if name == "margin":
            lines.append(f'margin = "{value:g}mm"')
        elif name == "border":
            lines.append(f'border = "{value}"')
        elif name == "ppi":
            lines.append(f"ppi = {float(value):.10g}")
        else:
            lines.append(f"{name} = {'true' if value else 'false'}")
    return "\n".join(lines) + "\n"


def write_sheet(
    path: str | os.PathLike[str], choices: SheetChoices, *, force: bool = False
) -> None:
    """Write a settings file, whole or not at all; errors as `safe.write_text`."""
    write_text(path, sheet_text(choices), force=force)
