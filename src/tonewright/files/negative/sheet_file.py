"""The small file that remembers how a sheet looks: ``my-sheet.toml``."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from tonewright.errors import DocumentError, OptionError
from tonewright.files.negative.settings import NegativeSettings
from tonewright.files.opening import parse_toml, read_bytes, shown
from tonewright.files.safe import refuse_existing, write_text
from tonewright.negative.sheet import BORDERS, SheetSettings
from tonewright.negative.size import parse_margin, parse_ppi
from tonewright.record.schema import spoken

_LARGEST = 1 << 20
_SWITCHES = ("marks", "tone_scale", "caption")
NAMES = ("margin", "border", *_SWITCHES, "ppi")


@contextmanager
def sheet_files(settings: NegativeSettings, taken: Iterable[Path]) -> Iterator[NegativeSettings]:
    """The settings with what their sheet file says; at the end the sheet is saved, if asked for.

    Raises
    ------
    FileError, DocumentError, OptionError
        A sheet file cannot be read, or saved (``taken`` are names of other files); a margin that
        cannot be.
    """
    save = settings.save_sheet
    if save is not None:
        refuse_existing(save, settings.force)
        if save.resolve() in {path.resolve() for path in taken}:
            raise OptionError(
                f"the sheet is to be saved as {save}",
                "that name is already used for another file here",
                "save it under a name of its own, such as my-sheet.toml",
            )
    if settings.sheet_file is not None:
        settings = read_sheet(settings.sheet_file, settings)
    settings.sheet.check()
    yield replace(settings, sheet_file=None, save_sheet=None)
    if save is not None:
        write_text(save, sheet_text(settings), force=settings.force)


def read_sheet(
    path: str | os.PathLike[str], settings: NegativeSettings | None = None
) -> NegativeSettings:
    """Settings with what a sheet file says where they say nothing.

    Raises
    ------
    FileError, DocumentError, OptionError
        It cannot be read, is not TOML, or has an entry that is unknown or impossible.
    """
    name, settings = Path(path).name, settings or NegativeSettings()
    raw = read_bytes(path, _LARGEST, "a sheet file is a small text file")
    try:
        data = parse_toml(raw)
    except ValueError as error:
        raise DocumentError(
            f"{name} is not a sheet file: {error}",
            'it is TOML: lines such as margin = "14mm" or marks = true',
            "save the sheet again",
            code="not_a_sheet_file",
        ) from error
    found = _entries(data, name)
    ppi = found.pop("ppi", None)
    size = settings.size
    return replace(
        settings,
        sheet=settings.sheet.over(SheetSettings(**found)),
        size=replace(size, ppi=size.ppi or ppi),
    )


def _entries(data: dict[str, Any], name: str) -> dict[str, Any]:
    """What the entries stand for, by the names of fields."""
    found: dict[str, Any] = {}
    for key, value in data.items():
        if key not in NAMES:
            raise DocumentError(
                f"{name} has an entry {shown(key)}",
                f"a sheet file has {', '.join(NAMES)}",
                "delete that line",
            )
        if key in _SWITCHES:
            _hold(isinstance(value, bool), name, key, value, "true or false")
            found[key] = value
        elif key == "border":
            _hold(value in BORDERS, name, key, value, "clear or opaque")
            found[key] = value
        elif key == "margin":
            _hold(isinstance(value, str), name, key, value, 'a length in quotes, as "14mm"')
            found["margin_mm"] = parse_margin(value, f"margin in {name}")
        else:
            number = isinstance(value, int | float) and not isinstance(value, bool)
            _hold(number, name, key, value, "a number")
            found[key] = parse_ppi(str(value), f"ppi in {name}")
    return found


def _hold(holds: bool, name: str, key: str, value: object, kind: str) -> None:
    if not holds:
        raise DocumentError(
            f"{name} has {key} = {spoken(value)}", f"it is {kind}", "correct that line"
        )


def sheet_text(settings: NegativeSettings) -> str:
    """The file for the sheet of some settings."""
    sheet, ppi = settings.sheet, settings.size.ppi
    values = {
        "margin": None if sheet.margin_mm is None else f'"{sheet.margin_mm:g}mm"',
        "border": None if sheet.border is None else f'"{sheet.border}"',
        **{name: _switch(getattr(sheet, name)) for name in _SWITCHES},
        "ppi": None if ppi is None else f"{float(ppi):.10g}",
    }
    lines = [f"{name} = {value}\n" for name, value in values.items() if value is not None]
    return "".join(["# How the sheet of a negative looks\n", *lines])


def _switch(value: bool | None) -> str | None:
    return None if value is None else str(value).lower()
