"""What the files of a paper are, by what they hold and by what they say of themselves; and how far
the paper has come by them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Literal, TypeVar

from tonewright.check.document import Check
from tonewright.errors import TonewrightError
from tonewright.files.documents import open_curve, open_document
from tonewright.files.negative.again import Origin, made_here, origin_of
from tonewright.files.papers import PaperFile, Papers
from tonewright.files.raster.open import open_image
from tonewright.files.raster.source import OpenOptions
from tonewright.files.tables import TARGETS, read_table
from tonewright.files.targets import read_target
from tonewright.frozen import dataclass
from tonewright.measured import columns, ink
from tonewright.measured.columns import PLAIN_SHEET_LINE, SCAN_LINE
from tonewright.shelf.way import Thing, Way, way

_KEPT = 2000
"""Files whose contents are remembered as long as they do not change."""
Holds = Literal["readings", "list", "print", "inks", "strip", "gray_scale"]
"""``readings``: of a target, for a curve; ``list``: of patches by name alone, to be read with a
layout; ``print``: of a print made through one, to be checked;
``inks``: of a chart of inks; ``gray_scale``: densities of steps, of which nothing says that they
are a strip's."""
_OF_STRIPS = ("film", "bare", "through", "time")
_T = TypeVar("_T")
_O = TypeVar("_O")


def _remembered(
    unreadable: _O
) -> Callable[[Callable[[Path], _T]], Callable[[Path, PaperFile], _T | _O]]:
    """What is seen in a file of a folder, looked at again only when it has changed; ``unreadable``
    for one that cannot be read."""
    def remembering(look: Callable[[Path], _T]) -> Callable[[Path, PaperFile], _T | _O]:
        @lru_cache(_KEPT)
        def kept(path: Path, _changed: float, _size: int) -> _T | _O:
            try:
                return look(path)
            except TonewrightError:
                return unreadable

        return lambda folder, file: kept(folder / file.name, file.changed, file.size)

    return remembering


@dataclass(frozen=True)
class _Read:
    """What was seen in a table."""

    levels: bool
    """Whether its columns say how much ink each patch had."""
    aims: bool
    inks: bool
    """Whether its patches are in several colours of ink."""
    strip: bool
    patches: frozenset[str]
    scans: tuple[str, ...]
    """Files it was read from."""


def table_holds(papers: Papers, paper: str, file: PaperFile) -> Holds | None:
    """What a table of a paper holds; None for one that is still to be filled in, and one that
    cannot be read, which is named where it is used.

    A list of patches alone is a print's where the layout of a print made through a curve, or of
    the tone scale beside a negative, has all of them.
    """
    folder = papers.folder(paper)
    seen = _table(folder, file)
    if seen is None:
        return None
    if seen.inks:
        return "inks"
    if not (seen.levels or seen.aims or seen.patches):
        return "strip" if seen.strip else "gray_scale"
    by_layout = seen.patches and not seen.levels and any(
        seen.patches <= patches for _, patches in _aimed(papers, paper))
    return "print" if seen.aims or by_layout else "readings" if seen.levels else "list"


def tables(papers: Papers, paper: str, holds: Holds) -> list[str]:
    """The tables of a paper that hold this, the newest first."""
    return [f.name for f in papers.newest(paper, "table")
            if table_holds(papers, paper, f) == holds]


def layout_of(papers: Papers, paper: str, name: str) -> str | None:
    """The layout by which a list of patches alone, without tones, is read as a print's; None where
    none has all its patches, or more than one."""
    folder = papers.folder(paper)
    file = next(f for f in papers.files(paper) if f.name == name)
    seen = _table(folder, file)
    if seen is None or seen.aims:
        return None
    found = [layout for layout, patches in _aimed(papers, paper) if seen.patches <= patches]
    return found[0] if len(found) == 1 else None


def charts(papers: Papers, paper: str) -> list[str]:
    """The layouts of a paper that are charts of inks, the newest first."""
    return [f.name for f in papers.newest(paper, "target") if is_chart(papers, paper, f)]


def is_chart(papers: Papers, paper: str, file: PaperFile) -> bool:
    """Whether a layout of a paper is a chart of inks."""
    return _is_chart(papers.folder(paper), file)


def pictures(papers: Papers, paper: str) -> list[str]:
    """Pictures of a paper that a negative can be made of, the newest first: none that was made
    here, belongs to a target, or was read as a scan."""
    read = {*scans_read(papers, paper)}
    return [name for name in foreign_images(papers, paper) if Path(name).name not in read]


def foreign_images(papers: Papers, paper: str) -> list[str]:
    """Images of a paper that were not made here, the newest first: pictures and scans."""
    folder = papers.folder(paper)
    return [f.name for f in papers.newest(paper, "image") if not _says(folder, f).made_here]


def negatives_of(papers: Papers, paper: str, curve: str) -> list[str]:
    """Negatives of a paper that were made through a curve's file, the newest first."""
    folder, of = papers.folder(paper), _curve_of(papers, paper, curve)
    return [] if of is None else [
        f.name for f in papers.newest(paper, "image")
        if (origin := _says(folder, f).origin) is not None and origin.is_through(*of)]


def checks_of(papers: Papers, paper: str, curve: str) -> list[str]:
    """Checks of prints that were made through a curve's file, the newest first."""
    folder, of = papers.folder(paper), _curve_of(papers, paper, curve)
    return [] if of is None else [
        f.name for f in papers.newest(paper, "check") if _checked(folder, f) == of[0]]


def scans_read(papers: Papers, paper: str) -> Iterator[str]:
    """Names of the scans that readings, strips and scanner responses of a paper were read from."""
    folder = papers.folder(paper)
    for file in papers.files(paper):
        if file.kind == "table" and (seen := _table(folder, file)):
            yield from seen.scans
        elif file.kind in ("process", "scanner"):
            yield from _scans_of(folder, file)


def _aimed(papers: Papers, paper: str) -> Iterator[tuple[str, frozenset[str]]]:
    """The layouts of a paper whose patches have tones, and these patches."""
    folder = papers.folder(paper)
    for file in papers.files(paper):
        if file.kind == "target" and (names := _aimed_patches(folder, file)):
            yield file.name, names


@_remembered(None)
def _table(path: Path) -> _Read | None:
    """None for a table that cannot be read, or in which nothing is measured."""
    table = read_table(path, holds=TARGETS)
    colours = ink.ink_colours(table) or []
    if not columns.holds_values(table):
        return None
    at = columns.find(table, "patch")
    return _Read(columns.is_usable(table.columns), columns.says_aims(table),
                 len({*colours} - {"255,255,255"}) > 1,
                 any(columns.find(table, name) is not None for name in _OF_STRIPS),
                 frozenset() if at is None else frozenset(row[at] for row in table.rows),
                 tuple(_named_scans(table.source.comments)))


def _named_scans(comments: tuple[str, ...]) -> Iterator[str]:
    for line in (comment.lstrip("# ") for comment in comments):
        for start in (SCAN_LINE, PLAIN_SHEET_LINE):
            if line.startswith(start):
                yield line.removeprefix(start)


@_remembered(())
def _scans_of(path: Path) -> tuple[str, ...]:
    """Those behind a process or a scanner response."""
    from tonewright.files.documents import read_process  # few folders hold any
    from tonewright.files.scanners import read_scanner

    sources = (read_scanner(path).sources if path.name.endswith(".scanner.json")
               else read_process(path).strip.sources)
    return tuple(source.name for source in sources if source.kind == "scan")


@_remembered(frozenset[str]())
def _aimed_patches(path: Path) -> frozenset[str]:
    """Patches of a layout whose aims are known."""
    return frozenset(p.name for p in read_target(path).patches if p.aim_lightness is not None)


def _curve_of(papers: Papers, paper: str, name: str) -> tuple[str, str] | None:
    """Hash and name of a curve's file; None where there is none that can be read."""
    folder = papers.folder(paper)
    return next((_curve(folder, f) for f in papers.files(paper) if f.name == name), None)


@_remembered(False)
def _is_chart(path: Path) -> bool:
    return read_target(path).is_ink_chart


@_remembered(None)
def _curve(path: Path) -> tuple[str, str]:
    opened = open_curve(path, sources=False)
    return opened.sha256, opened.document.name


@_remembered(None)
def _checked(path: Path) -> str:
    """Hash of the curve that a print was checked against."""
    return open_document(path, Check).document.curve.sha256


@dataclass(frozen=True)
class _Said:
    """What an image says of itself."""

    made_here: bool = False
    origin: Origin | None = None
    """Of a negative."""


@_remembered(_Said())
def _says(path: Path) -> _Said:
    """What cannot be opened counts as a picture: whoever takes it is told why."""
    with open_image(path, OpenOptions(flatten=True)) as image:
        return _Said(made_here(image) is not None, origin_of(image))


# The way of a paper

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
