"""Readings of a step tablet printed on coated paper."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

import numpy as np

from tonewright.errors import DocumentError, OptionError, ReadingsError
from tonewright.measured import columns
from tonewright.measured.columns import Scale, Source, Table
from tonewright.record.schema import (
    TABLES,
    TEXT,
    TEXTS,
    Rule,
    check_entries,
    check_equal_lengths,
    is_number,
    is_text,
    is_whole,
    one_of,
    or_none,
)
from tonewright.record.times import TIME_RULE, UNIT_RULE, PrintingTime, parse_time, ratio
from tonewright.scales import Array
from tonewright.strip.tablet import Tablet

Through = Literal["film", "bare"]
_WET = re.compile(r"\b(wet|damp|not\s+(yet\s+)?dry|still\s+drying)\b", re.IGNORECASE)
_REMARKS = ("state", "note", "notes", "remark", "remarks", "condition")
FEWEST = 6
LEAST_DENSITY, MOST_DENSITY = -0.02, 6.0
LEAST_RANGE, PLAINLY_DARK = 0.15, 0.7
"""Densities of a strip that run over less tell nothing; all of them darker, it is too long."""


@dataclass(frozen=True)
class StripPatch:
    """One measured step."""

    step: int
    """1 is the clearest step of the tablet."""
    density: float
    """Print density, absolute, on the strip's scale."""
    density_sd: float | None
    through: Through
    time: PrintingTime
    print_name: str | None


@dataclass(frozen=True)
class Strip:
    """Measured steps of one or several strips on the same paper."""

    patches: tuple[StripPatch, ...]
    scale: Scale
    sources: tuple[Source, ...]
    notes: tuple[str, ...] = ()

    @property
    def density(self) -> Array:
        """Print densities, shape (n,)."""
        return np.array([p.density for p in self.patches])

    def times(self) -> list[PrintingTime]:
        """The different printing times, shortest first."""
        return sorted({p.time for p in self.patches}, key=lambda t: t.value)

    def without(self, rows: Collection[int]) -> Strip:
        """The strip without some of its patches, counted from 0."""
        return replace(self, patches=tuple(
            p for i, p in enumerate(self.patches) if i not in rows))

    def to_dict(self) -> dict[str, Any]:
        """Plain dictionary of equal columns."""
        rows = self.patches
        return {
            "scale": self.scale, "notes": list(self.notes),
            "sources": [{**asdict(s), "notes": list(s.notes)} for s in self.sources],
            "step": [p.step for p in rows], "density": [p.density for p in rows],
            "density_sd": [p.density_sd for p in rows], "through": [p.through for p in rows],
            "time": [p.time.value for p in rows], "time_unit": rows[0].time.unit,
            "print": [p.print_name for p in rows],
        }


@dataclass(frozen=True)
class StripOptions:
    """What a strip's file does not say of itself."""

    time: PrintingTime | None = None
    """Printing time, where the file has no times of its own."""
    scale: Scale | None = None
    flip: bool = False
    """The strip was read from the dense end."""
    skip: tuple[int, ...] = ()
    """Steps that are missing on purpose, or shall not count."""
    paper_density: float | None = None
    """Density of the bare paper, where the instrument was zeroed on it."""


def strip_from_table(table: Table, tablet: Tablet, options: StripOptions) -> Strip:
    """The measured steps of a table.

    Columns: ``step`` and a value as in `columns`; ``through`` (film or bare), ``time``,
    ``print``, ``density_sd`` and ``state`` (dry or wet) if they are there.

    Raises
    ------
    ReadingsError
        Steps missing, doubled or beyond the tablet, no time, a strip read backwards, cells that
        cannot be what they say.
    """
    columns.check_columns(table)
    where = columns.find(table, "step")
    if where is None:
        raise ReadingsError(f"{table.source.name} has the columns {columns.listed(table.columns)}",
                            "a strip's file has a column step, 1 for the clearest",
                            "for a target's readings use tonewright fit")
    _check_skip(tablet, options.skip)
    value = columns.measured(table, options.scale)
    steps = _step_numbers(table, where, tablet, options.flip)
    through = _through(table)
    times = _times(table, options.time)
    prints = _cells(table, "print")
    sd = _cells(table, "density_sd")
    patches = tuple(
        StripPatch(int(steps[i]), round(float(value.density[i]) + (options.paper_density or 0.0),
                                        6), _number(table, sd, i),
                   through[i], times[i], (prints[i] or None) if prints else None)
        for i in range(len(table.rows)) if int(steps[i]) not in options.skip)
    _check_densities(table, patches)
    _check_complete(table, patches, tablet, options.skip)
    _check_direction(table, patches, tablet, options.flip)
    return Strip(patches, value.scale, (table.source,),
                 table.notes + value.notes + _wet_notes(table) + _time_notes(times, options.time)
                 + _paper_notes(options.paper_density))


def combine_strips(strips: list[Strip]) -> Strip:
    """Several strips of one paper as one.

    Raises
    ------
    ReadingsError, OptionError
        Two scales, or minutes beside integrator units.
    """
    first = strips[0]
    _refuse_twice(strips)
    for other in strips[1:]:
        if other.scale != first.scale:
            raise ReadingsError(f"one strip is on the scale {first.scale}, another on"
                                f" {other.scale}", "the two are not mixed",
                                "choose one that all files hold with --scale")
        ratio(other.patches[0].time, first.patches[0].time)
    if len(strips) > 1:
        strips = [_named(strip, number) for number, strip in enumerate(strips, 1)]
    return replace(first, patches=tuple(p for s in strips for p in s.patches),
                   sources=tuple(s for strip in strips for s in strip.sources),
                   notes=tuple(n for s in strips for n in s.notes))


def _refuse_twice(strips: list[Strip]) -> None:
    """No two prints give the same readings throughout: one would be a copy, however it came."""
    seen: dict[tuple[tuple[str, int, float], ...], str] = {}
    for strip in strips:
        name = ", ".join(source.name for source in strip.sources)
        readings = tuple(sorted((p.through, p.step, p.density) for p in strip.patches))
        if readings in seen:
            raise ReadingsError(
                f"{name} holds the same readings as {seen[readings]}",
                "each strip is measured for itself, and counts once", "name each file once")
        seen[readings] = name


def _named(strip: Strip, number: int) -> Strip:
    """Patches that say which strip they are of: two files may have one name."""
    name = f"{number} ({strip.sources[0].name})" if strip.sources else str(number)
    return replace(strip, patches=tuple(
        replace(p, print_name=f"{name}, {p.print_name}" if p.print_name else name)
        for p in strip.patches))


def _cells(table: Table, name: str) -> list[str] | None:
    index = columns.find(table, name)
    return None if index is None else [row[index] for row in table.rows]


def _number(table: Table, cells: list[str] | None, row: int) -> float | None:
    if cells is None or not cells[row]:
        return None
    try:
        number = float(cells[row])
    except ValueError:
        number = np.nan
    if not 0.0 < number < 1.0:
        raise ReadingsError(f"{table.where(row)}: density_sd is {cells[row]!r}",
                            "it lies between 0 and 1", "leave it blank where it is not known")
    return number


def _step_numbers(table: Table, index: int, tablet: Tablet, flip: bool) -> Array:
    steps = columns.numbers(table, index)
    count = len(tablet.densities)
    for row, step in enumerate(steps):
        if step != round(step) or not 1 <= step <= count:
            raise ReadingsError(
                f"{table.where(row)}: step {step:g}",
                f"the tablet {tablet.name} has the steps 1 to {count}",
                "name the tablet that was printed with --tablet")
    return count + 1 - steps if flip else steps


def _check_skip(tablet: Tablet, skip: tuple[int, ...]) -> None:
    count = len(tablet.densities)
    for step in skip:
        if not 1 <= step <= count:
            raise OptionError(f"--skip {step}", f"the tablet {tablet.name} has the steps 1 to"
                              f" {count}", "name a step of the strip, or leave --skip out")


def _through(table: Table) -> list[Through]:
    cells = _cells(table, "through")
    if cells is None:
        return ["film"] * len(table.rows)
    found: list[Through] = []
    for row, cell in enumerate(cells):
        word = cell.lower()
        if word not in ("film", "bare"):
            raise ReadingsError(f"{table.where(row)}: through is {cell!r}",
                                "it is film (under the negative's film) or bare", "mend the cell")
        found.append("film" if word == "film" else "bare")
    return found


def _times(table: Table, given: PrintingTime | None) -> list[PrintingTime]:
    cells = _cells(table, "time")
    times: list[PrintingTime] = []
    for row in range(len(table.rows)):
        cell = cells[row] if cells else ""
        if cell:
            times.append(parse_time(cell))
        elif given is not None:
            times.append(given)
        else:
            raise ReadingsError(f"{table.where(row)}: no printing time is known",
                                "a strip tells of the time it was printed for",
                                "add --time 10min, or a column time")
        ratio(times[-1], times[0])
    return times


def _check_densities(table: Table, patches: tuple[StripPatch, ...]) -> None:
    for patch in patches:
        if not LEAST_DENSITY <= patch.density <= MOST_DENSITY:
            raise ReadingsError(
                f"{table.source.name}, step {patch.step}: density {patch.density:g}",
                "print densities lie between 0 and 6",
                "measure against the instrument's own white, or add --relative-to-paper and"
                " --paper-density with the density of the bare paper"
                if patch.density < 0.0 else
                "if these are percent of light, name the column luminance; if they are L*,"
                " lightness")


def _check_complete(
    table: Table, patches: tuple[StripPatch, ...], tablet: Tablet, skip: tuple[int, ...]
) -> None:
    """Each strip has every step of the tablet once."""
    groups: dict[tuple[Through, float, str | None], list[int]] = {}
    for p in patches:
        groups.setdefault((p.through, p.time.value, p.print_name), []).append(p.step)
    wanted = [s for s in range(1, len(tablet.densities) + 1) if s not in skip]
    for steps in groups.values():
        double = sorted({s for s in steps if steps.count(s) > 1})
        missing = [s for s in wanted if s not in steps]
        if double:
            listed = ", ".join(map(str, double[:12])) + (" …" if double[12:] else "")
            raise ReadingsError(
                f"{table.source.name} has step {listed} more than once",
                "each half of a strip has each step once",
                "if half of the strip was bare, add a column through that says film or bare; for"
                " several strips add a column print that tells them apart")
        if missing:
            listed = ", ".join(map(str, missing[:12]))
            raise ReadingsError(
                f"{table.source.name} lacks step {listed}" + (" …" if missing[12:] else ""),
                f"the tablet {tablet.name} has {len(tablet.densities)} steps",
                "name the right tablet with --tablet, or steps left out on purpose with --skip")
        if len(steps) < FEWEST:
            raise ReadingsError(f"{table.source.name} has {len(steps)} steps",
                                f"a strip needs {FEWEST}", "measure more steps")


def _check_direction(
    table: Table, patches: tuple[StripPatch, ...], tablet: Tablet, flipped: bool
) -> None:
    """The clearest step prints blackest."""
    ends: dict[Through, tuple[float, float]] = {}
    for half in dict.fromkeys(p.through for p in patches):
        rows = sorted((p for p in patches if p.through == half), key=lambda p: p.step)
        third = len(rows) // 3
        ends[half] = (float(np.median([p.density for p in rows[:third]])),
                      float(np.median([p.density for p in rows[-third:]])))
    backwards = [half for half, (clear, dense) in ends.items() if dense > clear + LEAST_RANGE]
    if backwards and len(backwards) < len(ends):
        raise ReadingsError(
            f"{table.source.name}: the half marked {backwards[0]} gets darker from step 1 to step"
            f" {len(tablet.densities)}, the other one lighter",
            "step 1 is the clearest step of the tablet and prints blackest on both halves",
            f"one half was read from the other end: number the {backwards[0]} steps the other way"
            " round")
    clear, dense = next(iter(ends.values()))
    if dense > clear + LEAST_RANGE:
        raise ReadingsError(
            f"{table.source.name}: the print gets darker from step 1 ({clear:.2f}) to step"
            f" {len(tablet.densities)} ({dense:.2f})",
            "step 1 is the clearest step of the tablet and prints blackest",
            "the strip was read from the right end: leave --flip out" if flipped
            else "the strip was read from the other end: add --flip. If these are parts of the"
            " light that comes back, 0 to 1, name the column luminance and give percent")
    _check_range(table, patches, clear, dense)


def _check_range(
    table: Table, patches: tuple[StripPatch, ...], clear: float, dense: float
) -> None:
    if clear - dense >= LEAST_RANGE:
        return
    times = sorted((p.time for p in patches), key=lambda t: t.value)
    if dense > PLAINLY_DARK:
        said, way = "all steps are nearly as black", (
            f"it is far too long, or fogged: print another for {times[0].times(0.25).on_timer()}")
    else:
        said, way = "black was not nearly reached", (
            "if it was coated and developed as it should be, it is far too short: print another"
            f" for {times[-1].times(4.0).on_timer()}")
    raise ReadingsError(
        f"{table.source.name}: densities run only from {clear:.2f} to {dense:.2f}; {said}",
        "a strip runs from black to paper white", way)


def _time_notes(
    times: list[PrintingTime], given: PrintingTime | None
) -> tuple[str, ...]:
    """A time given beside a column that never says so counts for nothing: say it."""
    if given is None or given in times:
        return ()
    listed = ", ".join(dict.fromkeys(str(t) for t in times))
    return (f"The file says what it was printed for ({listed}); --time {given} is not used.",)


def _paper_notes(density: float | None) -> tuple[str, ...]:
    if density is None:
        return ()
    return (f"Counted from the bare paper: its own density, {density:g}, was added.",)


def _wet_notes(table: Table) -> tuple[str, ...]:
    remarks = [cell for name in _REMARKS for cell in _cells(table, name) or []]
    wet = any(cell.lower() in ("no", "false", "0") for cell in _cells(table, "dry") or [])
    marked = wet or any(_WET.search(s) for s in (*remarks, *table.source.notes))
    if not marked:
        return ()
    return (f"{table.source.name}: some readings are marked as wet or not yet dry. Prints dry"
            " down: blacks change by several L*. Measure again when the strip is dry.",)


_DAMAGED = "take an unedited copy, or evaluate the strip again with tonewright strip"
_COLUMNS = {
    "step": Rule(lambda v: is_whole(v) and v >= 1, "steps are whole numbers from 1", each=True),
    "density": Rule(lambda v: is_number(v) and LEAST_DENSITY <= v <= MOST_DENSITY,
                    "print densities lie between 0 and 6", each=True),
    "density_sd": or_none(Rule(lambda v: is_number(v) and 0.0 < v < 1.0,
                               "each is a number between 0 and 1", each=True)),
    "through": Rule(lambda v: is_text(v) and v in ("film", "bare"), "each is film or bare",
                    each=True),
    "time": Rule(TIME_RULE.fits, TIME_RULE.words, each=True),
    "print": or_none(TEXTS),
}
_STRIP = {**_COLUMNS, "time_unit": UNIT_RULE, "scale": one_of("luminance", "visual-density"),
          "notes": TEXTS, "sources": TABLES}
_SOURCE = {"name": TEXT, "kind": TEXT, "sha256": TEXT, "notes": TEXTS}


def strip_from_dict(data: Any) -> Strip:
    """Check and rebuild the strip of a document.

    Raises
    ------
    DocumentError
        Not what `Strip.to_dict` writes.
    """
    check_entries(data, _STRIP, "the strip", _DAMAGED)
    columns_ = {name: data[name] for name in _COLUMNS}
    check_equal_lengths(columns_, "the strip", _DAMAGED)
    if not data["step"]:
        raise DocumentError("the strip has no steps", "it has one at least", _DAMAGED)
    for source in data["sources"]:
        check_entries(source, _SOURCE, "a source of the strip", _DAMAGED)
    unit = data["time_unit"]
    patches = tuple(
        StripPatch(step, float(density), None if sd is None else float(sd), through,
                   PrintingTime(float(time), unit), name)
        for step, density, sd, through, time, name in zip(*columns_.values(), strict=True))
    sources = tuple(Source(s["name"], s["kind"], s["sha256"], tuple(s["notes"]))
                    for s in data["sources"])
    return Strip(patches, data["scale"], sources, tuple(data["notes"]))
