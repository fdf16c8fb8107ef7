"""How far the papers of a folder have come, by the files that are there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from tonewright.errors import TonewrightError
from tonewright.files.papers import PaperFile, Papers
from tonewright.files.tables import TARGETS, read_table
from tonewright.files.targets import read_target
from tonewright.measured import columns
from tonewright.measured.columns import holds_values, is_usable
from tonewright.shelf.way import Thing, Way, way

NEGATIVE = "-negative"
"""Ends the name of a negative, before its ending."""
PRINT = "-print"
"""Ends the name of the readings of a print made through a curve."""
STRIP = "-strip"
"""Ends the name of a strip's table."""

_CHART = re.compile(r"(.*-)?inks(-readings)?")
"""The name of a chart of inks, and of its readings, which are no target's."""


def paper_way(papers: Papers, paper: str) -> Way:
    """The way of one paper; raises as `Papers.folder`."""
    files = papers.files(paper)
    return way({thing for file in files for thing in _things(papers.folder(paper), file)})


def is_readings(papers: Papers, paper: str, name: str) -> bool:
    """Whether a table of a paper holds the readings of a target, by its name and what it holds."""
    return _holds_readings(papers.folder(paper), name)


def may_be_readings(name: str) -> bool:
    """Whether a table is none of a strip, a negative, a print to be checked or a chart of inks, by
    its name."""
    return not stem(name).endswith((STRIP, NEGATIVE, PRINT)) and not is_chart(name)


def is_chart(name: str) -> bool:
    """Whether a target or a table is that of a chart of inks, by its name."""
    return _CHART.fullmatch(stem(name)) is not None


def stem(name: str) -> str:
    """A file's name without its ending: ``kallitype`` for ``kallitype.target.json``."""
    plain = name.rsplit("/", 1)[-1]
    for ending in (".json", ".curve", ".process", ".check", ".target", ".scanner"):
        plain = plain.removesuffix(ending)
    return Path(plain).stem if "." in plain else plain


def _things(folder: Path, file: PaperFile) -> Iterator[Thing]:
    """What a file is on the way."""
    negative = stem(file.name).endswith(NEGATIVE)
    match file.kind:
        case "process" | "curve" | "check":
            yield file.kind
        case "page":
            yield "report"
        case "target" if not is_chart(file.name):
            yield "negative" if negative else "target"
        case "image" if negative:
            yield "negative"
        case "table" if _holds_readings(folder, file.name):
            yield "readings"


def _holds_readings(folder: Path, name: str) -> bool:
    """Values beside ink levels or a target's patches, and not a table that is still to be filled
    in."""
    if not may_be_readings(name):
        return False
    try:
        table = read_table(folder / name, holds=TARGETS)
    except TonewrightError:  # named where it is used
        return False
    return holds_values(table) and (is_usable(table.columns)
                                    or columns.find(table, "patch") is not None)


def target_through(papers: Papers, paper: str, name: str) -> str | None:
    """Name of the curve that a target was drawn through; None for ink levels as they are.  Raises
    as `read_target`."""
    return read_target(papers.inside(paper, name)).through
