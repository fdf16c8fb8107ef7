"""How far the papers of a folder have come, by the files that are there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from tonewright.files.contents import is_chart, table_holds, tables
from tonewright.files.papers import PaperFile, Papers
from tonewright.files.targets import read_target
from tonewright.shelf.way import Thing, Way, way

NEGATIVE = "-negative"
"""Ends the name of a negative, before its ending."""
PRINT = "-print"
"""Ends the name of the readings of a print made through a curve."""
WORKSHEET = "-worksheet"
"""Ends the name of a worksheet, before its ending and the number of a further one."""
STRIP = "-strip"
"""Ends the name of a strip's table."""


def paper_way(papers: Papers, paper: str) -> Way:
    """The way of one paper; raises as `Papers.folder`."""
    files = papers.files(paper)
    return way({thing for file in files for thing in _things(papers, paper, file)})


def readings_tables(papers: Papers, paper: str) -> list[str]:
    """The tables of a paper that hold readings of a target, the newest first."""
    return [name for name in tables(papers, paper, "readings") if _may_be_readings(name)]


def _may_be_readings(name: str) -> bool:
    """Whether a table is none of a strip, a negative or a print to be checked, by its name."""
    return not stem(name).endswith((STRIP, NEGATIVE, PRINT))


def stem(name: str) -> str:
    """A file's name without its ending: ``kallitype`` for ``kallitype.target.json``."""
    plain = name.rsplit("/", 1)[-1]
    for ending in (".json", ".curve", ".process", ".check", ".target", ".scanner"):
        plain = plain.removesuffix(ending)
    return Path(plain).stem if "." in plain else plain


def _things(papers: Papers, paper: str, file: PaperFile) -> Iterator[Thing]:
    """What a file is on the way."""
    negative = stem(file.name).endswith(NEGATIVE)
    match file.kind:
        case "process" | "curve" | "check":
            yield file.kind
        case "page" if WORKSHEET not in file.name:
            yield "report"
        case "target" if not is_chart(papers, paper, file):
            yield "negative" if negative else "target"
        case "image" if negative:
            yield "negative"
        case "table" if _may_be_readings(file.name):
            if table_holds(papers, paper, file) == "readings":
                yield "readings"


def target_through(papers: Papers, paper: str, name: str) -> str | None:
    """Name of the curve that a target was drawn through; None for ink levels as they are.  Raises
    as `read_target`."""
    return read_target(papers.inside(paper, name)).through
