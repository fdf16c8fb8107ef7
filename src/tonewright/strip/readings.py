"""Readings of a step tablet printed on coated paper."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import Annotated, NoReturn

import numpy as np

from tonewright.errors import OptionError, ReadingsError, counted, listed
from tonewright.frozen import dataclass
from tonewright.measured import columns
from tonewright.measured.columns import Source, Table, Weighting
from tonewright.measured.densities import blank_rows, measured
from tonewright.measured.readings import LARGEST_SD, SMALLEST_SD, density_sds, refuse_high
from tonewright.record.codec import COLUMNS, between
from tonewright.record.findings import Finding
from tonewright.record.schema import Rule, is_whole
from tonewright.record.times import PrintingTime, parse_time, ratio
from tonewright.scales import Array
from tonewright.strip.findings import PaperDensityAdded, ReadingsWet, Through, TimeNotUsed
from tonewright.strip.tablet import Tablet

FEWEST = 6
MOST_LISTED = 12
MOST_READINGS = 2000
"""Some thirty strips: a fit of more would take minutes and tell no more."""
LEAST_DENSITY, MOST_DENSITY = -0.02, 6.0
LEAST_RANGE, PLAINLY_DARK = 0.15, 0.7
"""Densities of a strip that run over less tell nothing; all of them darker, it is too long."""


@dataclass(frozen=True)
class StripPatch:
    """One measured step."""

    step: Annotated[int, Rule(lambda v: is_whole(v) and v >= 1, "steps are whole numbers from 1")]
    """1 is the clearest step of the tablet."""
    density: Annotated[float, between(LEAST_DENSITY, MOST_DENSITY,
                                      "print densities lie between 0 and 6")]
    """Print density, absolute, on the strip's scale."""
    density_sd: Annotated[float, between(SMALLEST_SD, LARGEST_SD)] | None
    through: Through
    time: PrintingTime
    print_name: str | None


@dataclass(frozen=True)
class Strip:
    """Measured steps of one or several strips on the same paper."""

    patches: Annotated[tuple[StripPatch, ...], COLUMNS]
    scale: Weighting
    sources: tuple[Source, ...]
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Hold the bound; `OptionError` otherwise."""
        if len(self.patches) > MOST_READINGS:
            raise OptionError(f"there are {len(self.patches)} readings of strips",
                              f"{MOST_READINGS} can be evaluated together", "name fewer strips")

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


@dataclass(frozen=True)
class StripOptions:
    """What a strip's file does not say of itself."""

    time: PrintingTime | None = None
    """Printing time, where the file has no times of its own."""
    scale: Weighting | None = None
    flip: bool = False
    """The strip was read from the dense end."""
    skip: tuple[int, ...] = ()
    """Steps that were not measured or are to be left out."""
    paper_density: float | None = None
    """Density of the bare paper, where the instrument was zeroed on it."""


def strip_from_table(table: Table, tablet: Tablet, options: StripOptions) -> Strip:
    """The measured steps of a table.

    Columns: ``step``, or ``SAMPLE_ID`` where that is a number, and a value as in `columns`;
    ``through`` (film or bare), ``time``, ``print``, ``density_sd`` and ``state`` (dry or wet) if
    they are there.

    Raises
    ------
    ReadingsError
        Steps missing, doubled or beyond the tablet, no time, a strip read backwards, cells that
        cannot be what they say.
    """
    table = _numbered(table, tablet)
    where = _step_column(table)
    _check_skip(tablet, options.skip)
    blank = blank_rows(table, options.scale)
    unmeasured = _step_numbers(table, where, tablet, options.flip)[blank]
    table = columns.without_rows(table, blank)
    value = measured(table, options.scale)
    steps = _step_numbers(table, where, tablet, options.flip)
    through, times = _through(table), _times(table, options.time)
    prints, sd = table.cells("print"), density_sds(table)
    paper = options.paper_density or 0.0
    patches = tuple(
        StripPatch(int(steps[i]), round(float(value.density[i]) + paper, 6), sd[i], through[i],
                   times[i], (prints[i] or None) if prints else None)
        for i in range(len(table.rows)) if int(steps[i]) not in options.skip)
    if np.any(value.density > MOST_DENSITY):
        refuse_high(table, value, int(np.argmax(value.density > MOST_DENSITY)))
    _check_densities(table, patches)
    _check_complete(table, patches, tablet, (*options.skip, *map(int, unmeasured)))
    _check_direction(table, patches, tablet, options.flip)
    return Strip(patches, value.scale, (table.source,),
                 (*table.findings, *value.findings, *_own_findings(table, times, options)))


@dataclass(frozen=True)
class StripCells:
    """What a strip's table holds, as it is written."""

    densities: dict[Through, tuple[str, ...]]
    """By half, a text for each step of the tablet; blank where there is none."""
    time: str
    """Blank where the table says none."""


def strip_cells(table: Table, tablet: Tablet) -> StripCells | None:
    """The densities of a table that holds those of one strip and nothing else; None for another,
    which can be read but not typed into.

    Raises `ReadingsError` for a table that is of no strip, or of another tablet.
    """
    table = _numbered(table, tablet)
    where = _step_column(table)
    cells = table.cells("density")
    times = {*(table.cells("time") or [""])}
    if cells is None or len(times) > 1 or \
            {*map(columns.key, table.columns)} - {"step", "through", "time", "density"}:
        return None
    steps = [int(n) for n in _step_numbers(table, where, tablet, flip=False)]
    through = _through(table)
    found = {half: [""] * len(tablet.densities) for half in through}
    for half, step, cell in zip(through, steps, cells, strict=True):
        found[half][step - 1] = cell
    once = len({*zip(through, steps, strict=True)}) == len(steps)
    return StripCells({half: tuple(those) for half, those in found.items()},
                      times.pop()) if once else None


def combine_strips(strips: Sequence[Strip]) -> Strip:
    """Several strips of one paper as one.

    Raises
    ------
    ReadingsError, OptionError
        Two scales, readings named twice, or minutes beside integrator units.
    """
    first = strips[0]
    _refuse_twice(strips)
    for other in strips[1:]:
        if other.scale != first.scale:
            raise ReadingsError(f"one strip is on the scale {first.scale}, another on"
                                f" {other.scale}", "the two are not mixed",
                                "choose one that all files have", code="two_scales")
        ratio(other.patches[0].time, first.patches[0].time)
    if len(strips) > 1:
        strips = [_named(strip, number) for number, strip in enumerate(strips, 1)]
    return replace(first, patches=tuple(p for s in strips for p in s.patches),
                   sources=tuple(s for strip in strips for s in strip.sources),
                   findings=tuple(f for s in strips for f in s.findings))


def _refuse_twice(strips: Sequence[Strip]) -> None:
    """No two prints give the same readings throughout: one would be a copy, however it came."""
    seen: dict[tuple[tuple[str, int, float], ...], str] = {}
    for strip in strips:
        name = ", ".join(source.name for source in strip.sources)
        readings = tuple(sorted((p.through, p.step, p.density) for p in strip.patches))
        if readings in seen:
            raise ReadingsError(
                f"{name} holds the same readings as {seen[readings]}",
                "each strip is measured for itself, and counts once", "name each file once",
                code="same_readings")
        seen[readings] = name


def _named(strip: Strip, number: int) -> Strip:
    """Patches that say which strip they are of: two files may have one name."""
    name = f"{number} ({strip.sources[0].name})" if strip.sources else str(number)
    return replace(strip, patches=tuple(
        replace(p, print_name=f"{name}, {p.print_name}" if p.print_name else name)
        for p in strip.patches))


def _numbered(table: Table, tablet: Tablet) -> Table:
    """A bare list of a tablet's steps, from step 1 on, with their numbers; others as they are."""
    count, rows = len(tablet.densities), len(table.rows)
    bare = {*map(columns.key, table.columns)} <= {"density", "lightness", "through"}
    if not bare or not columns.has_values(table.columns) or rows not in (count, 2 * count):
        return table
    halves = table.cells("through") or ["film"] * rows
    steps = [str(halves[: row + 1].count(half)) for row, half in enumerate(halves)]
    return replace(table, columns=("step", *table.columns), rows=tuple(
        (step, *row) for step, row in zip(steps, table.rows, strict=True)))


def _step_column(table: Table) -> int:
    columns.check_columns(table)
    where = columns.find(table, "step")
    if where is None and not columns.is_usable(table.columns):  # an instrument's own numbers
        numbers = table.cells("sample_id")
        if numbers and all(map(str.isdecimal, numbers)):
            where = columns.find(table, "sample_id")
    if where is None:
        raise ReadingsError(f"{table.source.name} has the columns {table.named}",
                            "a strip's file has a column step, 1 for the clearest, or one density"
                            " for each step of the tablet",
                            "if these are a target's readings, make a curve from them",
                            code="no_step_column")
    return where


def _step_numbers(table: Table, index: int, tablet: Tablet, flip: bool) -> Array:
    steps = columns.numbers(table, index)
    count = len(tablet.densities)
    for row, step in enumerate(steps):
        if step != round(step) or not 1 <= step <= count:
            raise ReadingsError(
                f"{table.where(row)}: step {step:g}",
                f"the tablet {tablet.name} has the steps 1 to {count}",
                "name the tablet that was printed", code="other_tablet")
    return count + 1 - steps if flip else steps


def _check_skip(tablet: Tablet, skip: tuple[int, ...]) -> None:
    count = len(tablet.densities)
    for step in skip:
        if not 1 <= step <= count:
            raise OptionError(f"step {step} is to be left out",
                              f"the tablet {tablet.name} has the steps 1 to {count}",
                              "leave out steps of the tablet only", code="skip_impossible")


def _through(table: Table) -> list[Through]:
    found: list[Through] = []
    for row, cell in enumerate(table.cells("through") or ["film"] * len(table.rows)):
        word = cell.lower()
        if word not in ("film", "bare"):
            raise ReadingsError(f"{table.where(row)}: through is {cell!r}",
                                "a step lay under the negative's film, or was bare",
                                "correct this cell: write film or bare", code="through_unknown")
        found.append("film" if word == "film" else "bare")
    return found


def _times(table: Table, given: PrintingTime | None) -> list[PrintingTime]:
    times: list[PrintingTime] = []
    for row, cell in enumerate(table.cells("time") or [""] * len(table.rows)):
        time = parse_time(cell) if cell else given
        if time is None:
            raise ReadingsError(f"{table.where(row)}: no printing time is known",
                                "a strip tells of the time it was printed for",
                                "name that time, or add a column time", code="strip_time_unknown")
        times.append(time)
        ratio(times[-1], times[0])
    return times


def _check_densities(table: Table, patches: tuple[StripPatch, ...]) -> None:
    for patch in patches:
        if LEAST_DENSITY <= patch.density <= MOST_DENSITY:
            continue
        below = patch.density < 0.0
        raise ReadingsError(
            f"{table.source.name}, step {patch.step}: density {patch.density:g}",
            "print densities lie between 0 and 6",
            "measure against the instrument's own white, or name the density of the bare paper if"
            " the instrument was zeroed on it" if below else
            "if these are percent of light, name the column luminance; if they are L*, lightness",
            code="density_below_white" if below else "density_beyond_black")


def _check_complete(
    table: Table, patches: tuple[StripPatch, ...], tablet: Tablet, skip: tuple[int, ...]
) -> None:
    """Each strip has every step of the tablet once."""
    groups: dict[tuple[Through, float, str | None], list[int]] = {}
    for p in patches:
        groups.setdefault((p.through, p.time.value, p.print_name), []).append(p.step)
    wanted = [s for s in range(1, len(tablet.densities) + 1) if s not in skip]
    for steps in groups.values() or [[]]:
        if double := sorted({s for s in steps if steps.count(s) > 1}):
            raise ReadingsError(
                f"{table.source.name} has {_steps(double)} more than once",
                "each half of a strip has each step once",
                "if half of the strip was bare, add a column through that says film or bare; for"
                " several strips add a column print that tells them apart", code="steps_doubled")
        if missing := [s for s in wanted if s not in steps]:
            raise ReadingsError(
                f"{table.source.name} is missing {_steps(missing)}",
                f"the tablet {tablet.name} has {len(tablet.densities)} steps",
                "name the right tablet, or the steps that were left out on purpose",
                code="steps_missing")
        if len(steps) < FEWEST:
            raise ReadingsError(f"{table.source.name} has {counted(len(steps), 'step')}",
                                f"a strip needs {FEWEST}", "measure more steps",
                                code="too_few_steps")


def _steps(numbers: Sequence[int]) -> str:
    """``step 7``; ``steps 4 and 7``; ``steps 1, 2, … (31 in all)``."""
    if len(numbers) > MOST_LISTED:
        first = ", ".join(map(str, numbers[:MOST_LISTED]))
        return f"steps {first}, … ({len(numbers)} in all)"
    return f"steps {listed(numbers)}" if numbers[1:] else f"step {numbers[0]}"


def _check_direction(
    table: Table, patches: tuple[StripPatch, ...], tablet: Tablet, flipped: bool
) -> None:
    """The clearest step prints blackest."""
    name, last = table.source.name, len(tablet.densities)
    ends: dict[Through, tuple[float, float]] = {}
    for half in dict.fromkeys(p.through for p in patches):
        rows = sorted((p for p in patches if p.through == half), key=lambda p: p.step)
        third = len(rows) // 3
        ends[half] = (float(np.median([p.density for p in rows[:third]])),
                      float(np.median([p.density for p in rows[-third:]])))
    backwards = [half for half, (clear, dense) in ends.items() if dense > clear + LEAST_RANGE]
    if backwards and len(backwards) < len(ends):
        raise ReadingsError(
            f"{name}: the half marked {backwards[0]} gets darker from step 1 to step {last}, the"
            " other one lighter",
            "step 1 is the clearest step of the tablet and prints blackest on both halves",
            f"one half was read from the other end: number the {backwards[0]} steps the other way"
            " round", code="half_backwards")
    clear, dense = next(iter(ends.values()))
    if dense > clear + LEAST_RANGE:
        raise ReadingsError(
            f"{name}: the print gets darker from step 1 ({clear:.2f}) to step {last}"
            f" ({dense:.2f})", "step 1 is the clearest step of the tablet and prints blackest",
            "the strip was not read from the dense end: do not flip it" if flipped
            else "if these are reflectances from 0 to 1, name the column luminance and give"
            " percent; otherwise the strip was read from the dense end: flip it",
            code="strip_flipped" if flipped else "strip_backwards")
    # a strip far too long may show its shoulder at the last steps alone
    first = sorted((p for p in patches if p.through == next(iter(ends))), key=lambda p: p.step)
    lightest = float(np.median([p.density for p in first[-3:]]))
    if clear - (lightest if lightest > PLAINLY_DARK else dense) < LEAST_RANGE:
        _refuse_even(name, patches)


def _refuse_even(name: str, patches: tuple[StripPatch, ...]) -> NoReturn:
    """A strip without tones, and the way to go."""
    densities = [p.density for p in patches]
    clear, dense = max(densities), min(densities)
    times = sorted((p.time for p in patches), key=lambda t: t.value)
    if dense > PLAINLY_DARK:
        said, code, way = "all steps are nearly as black", "strip_all_dark", (
            f"it is far too long, or fogged: print another for {times[0].times(0.25).on_timer()}")
    else:
        said, code, way = "black was not nearly reached", "strip_all_light", (
            "if it was coated and developed as it should be, it is far too short: print another"
            f" for {times[-1].times(4.0).on_timer()}")
    raise ReadingsError(f"{name}: densities run only from {clear:.2f} to {dense:.2f}; {said}",
                        "a strip runs from black to paper white", way, code=code)


def _own_findings(
    table: Table, times: list[PrintingTime], options: StripOptions
) -> Iterator[Finding]:
    """What only a strip's file says, and what was asked for beside it."""
    if columns.says_wet(table):
        yield ReadingsWet(table.source.name)
    if options.time is not None and options.time not in times:
        yield TimeNotUsed(options.time, tuple(dict.fromkeys(times)))
    if options.paper_density is not None:
        yield PaperDensityAdded(options.paper_density)
