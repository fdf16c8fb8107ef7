"""What a page asks for, and the command that does the same, as it is typed.

A page's request is such a command, so that what is shown is what was done.  Texts are as they were
typed into a field, "" where nothing was; paths count from the bench's folder.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from tonewright.frozen import dataclass
from tonewright.scan.instrument import Order
from tonewright.scan.strips import Halves
from tonewright.show.words import typed

Option = tuple[str, object]
"""A name and its value: None and "" leave it out, True gives it alone, a tuple repeats it."""


def spelled(name: str, arguments: Iterable[object], options: Iterable[Option]) -> str:
    """``tonewright NAME ARGUMENT --option VALUE``."""
    parts = ["tonewright", name, *map(typed, arguments)]
    for option, value in options:
        parts += _spelled(option, value)
    return " ".join(parts)


def _spelled(option: str, value: object) -> Iterator[str]:
    if value is None or value is False or value in ("", ()):
        return
    if value is True:
        yield option
    elif isinstance(value, tuple):
        for one in value:
            yield from _spelled(option, one)
    else:
        yield f"{option} {typed(value)}"


def numbers(values: Sequence[float] | None) -> str | None:
    """Pixel numbers with commas between them."""
    return None if values is None else ",".join(f"{value:g}" for value in values)


@dataclass(frozen=True, kw_only=True)
class StripCommand:
    """A process from the tables or scans of strips."""

    readings: tuple[Path, ...]
    tablet: str
    process: Path
    times: tuple[str, ...] = ()
    """None where tables say it themselves, one for all files, or one for each."""
    skip: tuple[int, ...] = ()
    setup: Path | None = None
    scanner: Path | None = None
    corners: tuple[float, ...] | None = None
    halves: Halves = "2"
    flat: Path | None = None
    """The scan of a plain white sheet."""
    date: str = ""
    """When it was printed."""

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("strip", self.readings, [
            ("--tablet", self.tablet), *(("--time", time) for time in self.times),
            ("--skip", self.skip), ("--scanner", self.scanner),
            ("--corners", numbers(self.corners)),
            ("--halves", None if self.halves == "2" else self.halves), ("--flat", self.flat),
            ("--setup", self.setup), ("--date", self.date), ("-o", self.process)])


@dataclass(frozen=True, kw_only=True)
class EyeCommand:
    """Strips judged by eye."""

    tablet: str
    strips: tuple[tuple[str, str], ...]
    """Printing time of each, and how many steps of it merge."""

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("strip", [], [("--tablet", self.tablet), *(
            option for time, merged in self.strips
            for option in (("--time", time), ("--merged", merged)))])


@dataclass(frozen=True, kw_only=True)
class ScannerCommand:
    """A scanner's response from the scan of a gray scale."""

    scan: Path
    densities: Path
    output: Path
    corners: tuple[float, ...] | None = None
    flat: Path | None = None
    channel: str = ""
    """Of a colour scan; blank for its luminance."""
    date: str = ""

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("scanner", [self.scan], [
            ("--densities", self.densities), ("--corners", numbers(self.corners)),
            ("--flat", self.flat), ("--channel", self.channel), ("--date", self.date),
            ("-o", self.output)])


@dataclass(frozen=True, kw_only=True)
class InksCommand:
    """Colours of ink ranked by a printed chart."""

    readings: tuple[Path, ...]
    process: Path | None
    chart: Path | None = None
    """Its layout, where the readings do not carry the colours."""
    time: str = ""
    needed: float | None = None
    leave_out: tuple[str, ...] = ()

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("inks", self.readings, [
            ("--process", self.process), ("--target", self.chart), ("--time", self.time),
            ("--range", None if self.needed is None else f"{self.needed:g}"),
            ("--leave-out", self.leave_out)])


@dataclass(frozen=True, kw_only=True)
class TargetCommand:
    """A target drawn."""

    output: Path
    name: str
    levels: int | None = None
    paper_size: str | None = None
    landscape: bool = False
    through: Path | None = None
    ink_colour: str = ""
    """Red, green and blue; blank for gray."""
    chart: bool = False
    """A chart of inks instead of the levels of one."""
    chart_colours: tuple[str, ...] = ()
    """Its colours; none: the usual ones."""
    no_mirror: bool = False

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("target", [], [
            ("--ink-colours", self.chart), ("--chart-colour", self.chart_colours),
            ("--levels", self.levels), ("--through", self.through),
            ("--ink-colour", self.ink_colour), ("--paper-size", self.paper_size),
            ("--landscape", self.landscape), ("--no-mirror", self.no_mirror),
            ("--name", self.name), ("-o", self.output)])


@dataclass(frozen=True, kw_only=True)
class ReadCommand:
    """A print read from a scan or an instrument's list."""

    source: Path
    target: Path
    output: Path
    scanner: Path | None = None
    densities: Path | None = None
    """Of a gray scale beside the print."""
    flat: Path | None = None
    """The scan of a plain white sheet."""
    known: tuple[tuple[str, float], ...] = ()
    """Patches and their densities."""
    corners: tuple[float, ...] | None = None
    scale_corners: tuple[float, ...] | None = None
    """Of the gray scale beside the print."""
    channel: str = ""
    """Of a colour scan; blank for its luminance."""
    overlay: Path | None = None
    order: Order | None = None
    """Of a list."""
    snake: bool = False
    reverse: bool = False

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("read", [self.source], [
            ("--target", self.target), ("--scanner", self.scanner),
            ("--densities", self.densities), ("--flat", self.flat),
            ("--known", tuple(f"{patch}={density:g}" for patch, density in self.known)),
            ("--corners", numbers(self.corners)),
            ("--gray-scale-corners", numbers(self.scale_corners)),
            ("--channel", self.channel), ("--order", self.order), ("--snake", self.snake),
            ("--reverse", self.reverse), ("--overlay", self.overlay), ("-o", self.output)])


@dataclass(frozen=True, kw_only=True)
class FitCommand:
    """A curve made from readings."""

    readings: tuple[Path, ...]
    output: Path
    process: Path | None = None
    target_time: str = ""
    aim: str = "lightness"
    leave_out: tuple[str, ...] = ()
    setup: Path | None = None
    date: str = ""
    """When the target was printed."""

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("fit", self.readings, [
            ("--process", self.process), ("--target-time", self.target_time),
            ("--aim", None if self.aim == "lightness" else self.aim),
            ("--leave-out", self.leave_out), ("--setup", self.setup), ("--date", self.date),
            ("-o", self.output)])


@dataclass(frozen=True, kw_only=True)
class NegativeCommand:
    """Negatives of pictures."""

    images: tuple[Path, ...]
    curve: Path
    output: Path
    """The negative, or the folder for several and for films."""
    width: str = ""
    height: str = ""
    ppi: str = ""
    rotate: str = ""
    """Degrees clockwise; blank for none."""
    film: str = ""
    """To lay all of them on."""
    margin: str = ""
    border: str = ""
    marks: bool = False
    tone_scale: bool = False
    caption: bool = False
    depth: str = ""
    """Bits of a value; blank for 16."""
    no_mirror: bool = False
    encoding: str = ""
    flatten: bool = False

    def __str__(self) -> str:
        """As it is typed."""
        return spelled("negative", self.images, [
            ("--curve", self.curve), ("--encoding", self.encoding), ("--flatten", self.flatten),
            ("--width", self.width), ("--height", self.height), ("--ppi", self.ppi),
            ("--rotate", self.rotate), ("--film", self.film), ("--margin", self.margin),
            ("--border", self.border), ("--marks", self.marks),
            ("--tone-scale", self.tone_scale), ("--caption", self.caption),
            ("--depth", self.depth), ("--no-mirror", self.no_mirror), ("-o", self.output)])


@dataclass(frozen=True, kw_only=True)
class PrintCommand:
    """A print checked against its curve, or a curve refined by it."""

    name: str
    """``check`` or ``refine``."""
    curve: Path
    readings: tuple[Path, ...]
    output: Path | None = None
    date: str = ""
    target: Path | None = None

    def __str__(self) -> str:
        """As it is typed."""
        return spelled(self.name, [self.curve, *self.readings],
                       [("--target", self.target), ("--date", self.date), ("-o", self.output)])


def page(name: str, curve: Path, others: Sequence[Path], output: Path) -> str:
    """A report or a worksheet."""
    return spelled(name, [curve, *others], [("-o", output)])


def renewed(old: Path, process: Path, output: Path) -> str:
    """A curve renewed by a strip."""
    return spelled("renew", [old], [("--process", process), ("-o", output)])
