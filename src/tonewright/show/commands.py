"""What a page asks for, and the command that does the same, as it is typed.

A page's request is such a command, so that what is shown is what was done.  Texts are as they were
typed into a field, "" where nothing was; paths count from the bench's folder.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import ClassVar

from tonewright.frozen import dataclass
from tonewright.scan.instrument import Order
from tonewright.scan.strips import Halves
from tonewright.show.words import typed


class Command:
    """A command with what it is given: a frozen dataclass.

    The fields that ``arguments`` name stand by themselves.  Each other one is the option of its
    name, in the order of the fields; what has its default is not typed.
    """

    arguments: ClassVar[tuple[str, ...]] = ()

    def __str__(self) -> str:
        """``tonewright NAME ARGUMENT --option VALUE``, as it is typed."""
        return " ".join(["tonewright", type(self).__name__.lower(), *self._words()])

    def _words(self) -> Iterator[str]:
        for name in self.arguments:
            value = getattr(self, name)
            yield from map(typed, value if isinstance(value, tuple) else (value,))
        for field in fields(self):  # type: ignore[arg-type]
            value = getattr(self, field.name)
            if field.name not in self.arguments and value != field.default:
                option = "-o" if field.name == "output" else f"--{field.name.replace('_', '-')}"
                yield from _spelled(option, value)


def _spelled(option: str, value: object) -> Iterator[str]:
    match value:
        case True:
            yield option
        case float():
            yield f"{option} {value:g}"
        case (float(), *_):  # pixel numbers
            yield f"{option} {','.join(f'{number:g}' for number in value)}"
        case (str(name), float(number)):
            yield f"{option} {typed(f'{name}={number:g}')}"
        case tuple():
            for one in value:
                yield from _spelled(option, one)
        case _:
            yield f"{option} {typed(value)}"


@dataclass(frozen=True, kw_only=True)
class Strip(Command):
    """A process from the tables or scans of strips."""

    arguments = ("readings",)
    readings: tuple[Path, ...]
    tablet: str
    time: tuple[str, ...] = ()
    """None where tables say it themselves, one for all files, or one for each."""
    skip: tuple[int, ...] = ()
    scanner: Path | None = None
    corners: tuple[float, ...] | None = None
    halves: Halves = "2"
    flat: Path | None = None
    """The scan of a plain white sheet."""
    setup: Path | None = None
    date: str = ""
    """When it was printed."""
    output: Path


@dataclass(frozen=True, kw_only=True)
class Eye(Command):
    """Strips judged by eye."""

    tablet: str
    strips: tuple[tuple[str, str], ...]
    """Printing time of each, and how many steps of it merge."""

    def __str__(self) -> str:
        """As it is typed."""
        return " ".join([f"tonewright strip --tablet {typed(self.tablet)}", *(
            f"--time {typed(time)} --merged {typed(merged)}" for time, merged in self.strips)])


@dataclass(frozen=True, kw_only=True)
class Scanner(Command):
    """A scanner's response from the scan of a gray scale."""

    arguments = ("scan",)
    scan: Path
    densities: Path
    corners: tuple[float, ...] | None = None
    flat: Path | None = None
    channel: str = ""
    """Of a colour scan; blank for its luminance."""
    date: str = ""
    output: Path


@dataclass(frozen=True, kw_only=True)
class Inks(Command):
    """Colours of ink ranked by a printed chart."""

    arguments = ("readings",)
    readings: tuple[Path, ...]
    process: Path | None = None
    target: Path | None = None
    """The chart's layout, where the readings do not carry the colours."""
    time: str = ""
    range: float | None = None
    leave_out: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Target(Command):
    """A target drawn."""

    ink_colours: bool = False
    """A chart of inks instead of the levels of one."""
    chart_colour: tuple[str, ...] = ()
    """Its colours; none: the usual ones."""
    levels: int | None = None
    through: Path | None = None
    ink_colour: str = ""
    """Red, green and blue; blank for gray."""
    paper_size: str | None = None
    landscape: bool = False
    no_mirror: bool = False
    name: str
    output: Path


@dataclass(frozen=True, kw_only=True)
class Read(Command):
    """A print read from a scan or an instrument's list."""

    arguments = ("source",)
    source: Path
    target: Path
    scanner: Path | None = None
    densities: Path | None = None
    """Of a gray scale beside the print."""
    flat: Path | None = None
    """The scan of a plain white sheet."""
    known: tuple[tuple[str, float], ...] = ()
    """Patches and their densities."""
    corners: tuple[float, ...] | None = None
    gray_scale_corners: tuple[float, ...] | None = None
    channel: str = ""
    """Of a colour scan; blank for its luminance."""
    order: Order | None = None
    """Of a list."""
    snake: bool = False
    reverse: bool = False
    overlay: Path | None = None
    output: Path


@dataclass(frozen=True, kw_only=True)
class Fit(Command):
    """A curve made from readings."""

    arguments = ("readings",)
    readings: tuple[Path, ...]
    process: Path | None = None
    target_time: str = ""
    aim: str = "lightness"
    leave_out: tuple[str, ...] = ()
    setup: Path | None = None
    date: str = ""
    """When the target was printed."""
    output: Path


@dataclass(frozen=True, kw_only=True)
class Negative(Command):
    """Negatives of pictures."""

    arguments = ("images",)
    images: tuple[Path, ...]
    curve: Path
    encoding: str = ""
    flatten: bool = False
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
    output: Path
    """The negative, or the folder for several and for films."""


@dataclass(frozen=True, kw_only=True)
class Check(Command):
    """A print checked against its curve."""

    arguments = ("curve", "readings")
    curve: Path
    readings: tuple[Path, ...]
    target: Path | None = None
    date: str = ""
    output: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Refine(Check):
    """A curve refined by a print."""


@dataclass(frozen=True, kw_only=True)
class Renew(Command):
    """A curve renewed by a strip."""

    arguments = ("old",)
    old: Path
    process: Path
    output: Path


@dataclass(frozen=True, kw_only=True)
class Report(Command):
    """A curve on a page."""

    arguments = ("curve", "others")
    curve: Path
    others: tuple[Path, ...]
    """A process, and checks."""
    output: Path


@dataclass(frozen=True, kw_only=True)
class Worksheet(Command):
    """A page for the darkroom."""

    arguments = ("curve", "negatives")
    curve: Path
    negatives: tuple[Path, ...]
    output: Path
