"""The calibrations of a folder, as the page of papers shows them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tonewright.errors import FileError, TonewrightError, counted
from tonewright.files.documents import read_setup
from tonewright.files.papers import HERE, Papers
from tonewright.files.shelf import read_shelf
from tonewright.record.setup import Setup
from tonewright.shelf.arrange import LeftOut, Place, made_otherwise
from tonewright.show.shelf_text import because_words, changed_words, otherwise_words


@dataclass(frozen=True)
class Calibration:
    """One curve or process, in words; "" where it does not say."""

    kind: str
    name: str
    black: str
    white: str
    time: str
    age: str
    last_check: str
    due: bool
    because: str
    changed: str = ""
    """In which entries the paper is used otherwise now."""
    otherwise: tuple[str, ...] = ()
    """The same in full, and what it asks for."""


@dataclass(frozen=True)
class ShelfView:
    """Calibrations by paper, and the files that could not be used."""

    by_paper: dict[str, tuple[Calibration, ...]]
    left_out: tuple[LeftOut, ...] = ()


def shelf_view(folder: Path) -> ShelfView:
    """Everything on the shelf; nothing where nothing is."""
    try:
        shelf = read_shelf(folder)
    except FileError:  # a folder that is still empty
        return ShelfView({})
    found: dict[str, list[Calibration]] = defaultdict(list)
    for board in shelf.boards:
        for place in board.places:
            if place.document.kind in ("curve", "process"):
                name, slash, _ = place.document.file.partition("/")
                paper = name if slash else HERE
                found[paper].append(_calibration(place, _setup(folder, paper)))
    return ShelfView({paper: tuple(rows) for paper, rows in found.items()}, shelf.left_out)


def _setup(folder: Path, paper: str) -> Setup:
    """What a paper is used with, as far as its file can be read."""
    try:
        papers = Papers(folder)
        path = papers.setup(paper)
        return Setup() if path is None else read_setup(path)
    except TonewrightError:  # named where it is used
        return Setup()


def _calibration(place: Place, now: Setup) -> Calibration:
    one, check, changes = place.document, place.last_check, made_otherwise(place, now)
    passed = "" if check is None else "passed" if check.passes else "did not pass"
    return Calibration(
        "strip" if one.kind == "process" else one.kind, one.name, _tone(one.black_lightness),
        _tone(one.white_lightness), one.printing_time or "", _age(one.date),
        "" if check is None else f"{_age(check.date) or 'no date'}, {passed}", bool(place.due),
        because_words(place), changed_words(changes),
        otherwise_words(one.kind, changes))


def _tone(lightness: float | None) -> str:
    return "" if lightness is None else f"L*\N{NO-BREAK SPACE}{lightness:.1f}"


def _age(day: date | None) -> str:
    if day is None:
        return ""
    days = (date.today() - day).days
    if days < 1:
        return "today"
    return f"{counted(days, 'day')} old" if days < 60 else f"{days // 30} months old"
