"""The calibrations of a folder, as the page of papers shows them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from tonewright.errors import FileError, TonewrightError
from tonewright.files.documents import read_setup
from tonewright.files.papers import HERE, Papers
from tonewright.files.shelf import read_shelf
from tonewright.record.setup import Setup
from tonewright.shelf.arrange import LeftOut, Place, made_otherwise
from tonewright.show.shelf_text import Changes


@dataclass(frozen=True)
class ShelfView:
    """Curves and processes by paper, each with what was otherwise when it was made, and the files
    that could not be used."""

    by_paper: dict[str, list[tuple[Place, Changes]]]
    left_out: tuple[LeftOut, ...] = ()


def shelf_view(folder: Path) -> ShelfView:
    """Everything on the shelf; nothing where nothing is."""
    try:
        shelf = read_shelf(folder)
    except FileError:  # a folder that is still empty
        return ShelfView({})
    found: dict[str, list[tuple[Place, Changes]]] = defaultdict(list)
    for board in shelf.boards:
        for place in board.places:
            if place.document.kind in ("curve", "process"):
                name, slash, _ = place.document.file.partition("/")
                paper = name if slash else HERE
                found[paper].append((place, made_otherwise(place, _setup(folder, paper))))
    return ShelfView(found, shelf.left_out)


def _setup(folder: Path, paper: str) -> Setup:
    """What a paper is used with, as far as its file can be read."""
    try:
        papers = Papers(folder)
        path = papers.setup(paper)
        return Setup() if path is None else read_setup(path)
    except TonewrightError:  # named where it is used
        return Setup()
