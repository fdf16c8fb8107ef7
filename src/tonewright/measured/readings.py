"""Measured patches, their uncertainty, and where they came from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field
from typing import Annotated, NoReturn

import numpy as np

from tonewright import scales
from tonewright.errors import OptionError, ReadingsError, visible
from tonewright.frozen import dataclass
from tonewright.measured import columns, densities, ink
from tonewright.measured.columns import Source, Table, Weighting
from tonewright.measured.densities import Measured
from tonewright.measured.findings import (
    AimsStated,
    LighterThanPaper,
    PatchesDoubted,
    SheetsNotNamed,
)
from tonewright.record.codec import COLUMNS, LEVEL, SPARSE, between
from tonewright.record.findings import Finding
from tonewright.scales import Array

DENSEST = 6.0
"""No print and no instrument reaches this density; above it something else was written there."""
LIGHTEST = -0.02
"""Brighteners and noise put a bare paper this far below the perfect white, no further."""
LIGHTEST_RELATIVE = -0.10
"""Counted from the bare paper, noise and uneven paper reach this far."""
BARE_PAPER = 0.02
"""Real papers start above this; below, the instrument was probably zeroed on the paper."""
SMALLEST_SD, LARGEST_SD = 1e-9, 1.0
MOST_PATCHES = 3000
"""A sheet of a thousand patches, three times over."""


@dataclass(frozen=True)
class ReadingOptions:
    """What a measurement file does not say of itself."""

    level_field: str | None = None
    """Column that holds the ink level; None: ``level`` or ``ink_percent``."""
    scale: Weighting | None = None
    """Which weighting to use; None: luminance where the file has it."""
    relative_to_paper: bool = False
    """True: the instrument was zeroed on the bare paper."""
    paper_density: float | None = None
    """Absolute density of that paper; relative readings become absolute with it."""

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        if self.scale not in (None, "luminance", "visual-density"):
            raise OptionError(f"the weighting is {self.scale!r}",
                              "it is luminance or visual-density", "choose one of them",
                              code="two_scales")
        if self.paper_density is None:
            return
        if not self.relative_to_paper:
            raise OptionError(
                f"a paper density of {self.paper_density:g} is given for absolute readings",
                "it is added to readings that count from the bare paper",
                "say that they count from the paper, or leave the paper density out",
                code="relative_to_paper")
        if not (math.isfinite(self.paper_density) and 0.0 <= self.paper_density <= 1.0):
            raise OptionError(
                f"the paper density is {self.paper_density:g}",
                "bare paper has an absolute density between 0 and 1, mostly 0.04 to 0.15",
                "give the density of the bare paper, measured against the instrument's white")


def refuse_relative() -> NoReturn:
    """Raise `OptionError`: readings from the bare paper where absolute ones are needed."""
    raise OptionError("the readings count from the bare paper",
                      "a strip's densities are absolute, and so is what is compared with them",
                      "add the density of the bare paper", code="paper_density")


@dataclass(frozen=True)
class Reading:
    """One measured patch."""

    level: Annotated[float, LEVEL]
    """Ink level, 0 (clear film) to 1."""
    density: Annotated[float, between(-1.0, DENSEST + 1.0)]
    """-log10 of the luminance factor or of the visual reflectance, as `Readings.scale` says."""
    density_sd: Annotated[float, between(SMALLEST_SD, LARGEST_SD)] | None
    """Standard deviation of that density, if the instrument or the scan knows it."""
    print_name: str | None
    """Which sheet it was on."""
    patch: str
    """Its name in messages; made from the line number if the file has none."""
    doubt: str | None = None
    """Why the scan that it was read from doubts it, as the file says; None: it does not."""


@dataclass(frozen=True)
class Tint:
    """The colour that a patch had: CIE L*, a*, b* under D50."""

    lightness: Annotated[float, between(-5.0, 110.0)]
    a: Annotated[float, between(-150.0, 150.0)]
    b: Annotated[float, between(-150.0, 150.0)]


@dataclass(frozen=True)
class Readings:
    """Measured patches of one weighting."""

    patches: Annotated[tuple[Reading, ...], COLUMNS]
    scale: Weighting
    """What their densities were weighted with."""
    relative_to_paper: bool
    """True: densities count from the bare paper; its own density is not known."""
    sources: tuple[Source, ...] = ()
    findings: tuple[Finding, ...] = ()
    """What a reader of the readings should know: columns left aside, things put right."""
    ink_colour: str | None = None
    """What the files say they were printed in, as `Setup.ink_colour` has it; None: nothing."""
    tints: Annotated[tuple[Tint, ...], COLUMNS] | None = field(default=None, metadata=SPARSE)
    """What colours the patches had, where a file says so; not for each patch."""

    def __post_init__(self) -> None:
        """Hold the rule: `ReadingsError` for no patch at all."""
        if not self.patches:
            raise ReadingsError("there is no patch", "there is at least one", "")

    @property
    def level(self) -> Array:
        """Ink levels, shape (n,)."""
        return np.array([p.level for p in self.patches])

    @property
    def density(self) -> Array:
        """Densities, shape (n,)."""
        return np.array([p.density for p in self.patches])

    @property
    def lightness(self) -> Array:
        """CIE L*, 0 to 100, shape (n,); relative to the paper where the densities are."""
        return scales.density_to_lightness(self.density)


def readings_from_table(table: Table, options: ReadingOptions | None = None) -> Readings:
    """The measured patches of a table.

    Levels are 0 to 1, densities absolute in the returned weighting, or relative to the paper if
    `options` say so and give no paper density.

    Raises
    ------
    ReadingsError
        Anything that cannot be a measured target: several colours of ink; see `ink.levels`
        and `densities.measured`; densities no print can have; columns that are swapped.
    """
    options = options or ReadingOptions()
    columns.check_columns(table)
    table = densities.filled_rows(table, options.scale)
    colour = ink.ink_colour(table)
    value = densities.measured(table, options.scale)
    level = ink.levels(table, options.level_field)
    _check_densities(table, value, options.relative_to_paper)
    _check_direction(table, level, value)
    findings = table.findings + value.findings
    density, relative = value.density, options.relative_to_paper
    if options.paper_density is not None:
        density, relative = density + options.paper_density, False
    elif not relative and density.min() < BARE_PAPER:
        findings += (LighterThanPaper(table.source.name, float(density.min())),)
    blank = [""] * len(table.rows)
    names = next((c for n in columns.PATCH_NAMES if (c := table.cells(n)) is not None), blank)
    sheets, doubts = table.cells("print") or blank, table.cells("doubt") or blank
    patches = tuple(
        Reading(u, d, sd, visible(sheet) or None, visible(name) or f"line {line}", doubt or None)
        for u, d, sd, sheet, name, line, doubt in zip(
            level.tolist(), density.tolist(), density_sds(table), sheets, names,
            table.line_numbers, doubts, strict=True))
    if columns.says_aims(table):
        findings += (AimsStated(table.source.name),)
    if doubted := tuple(p.patch for p in patches if p.doubt):
        findings += (PatchesDoubted(table.source.name, doubted),)
    tints = None
    if not options.relative_to_paper and (lab := densities.tints(table)) is not None:
        tints = tuple(Tint(*row) for row in np.round(lab, 3).tolist())
    return Readings(patches, value.scale, relative, (table.source,), findings, colour, tints)


def combine(parts: Sequence[Readings]) -> Readings:
    """Readings of several files as one, in the order given.

    Raises `ReadingsError` for none at all, for two weightings, for relative beside absolute
    densities, for two colours of ink, and for the same file twice (it would pass for two
    measurements).
    """
    if not parts:
        raise ReadingsError("there are no readings", "a curve needs at least one file",
                            "name a file")
    first = parts[0]
    for part in parts[1:]:
        if part.scale != first.scale:
            raise ReadingsError(
                f"the readings of {_origin(first)} are weighted as {first.scale}, those of"
                f" {_origin(part)} as {part.scale}",
                "on a coloured print the two differ, on a blue one by up to 0.07 in density, and"
                " are not mixed", "choose a weighting that all files hold", code="two_scales")
        if part.relative_to_paper != first.relative_to_paper:
            absolute, relative = (first, part) if part.relative_to_paper else (part, first)
            raise ReadingsError(
                f"the densities of {_origin(absolute)} are absolute, those of {_origin(relative)}"
                " count from the bare paper", "the two are not mixed",
                "read both in the same way: from the paper only if every file was measured with"
                " the instrument zeroed on the bare paper", code="relative_to_paper")
    colours = {p.ink_colour: _origin(p) for p in parts if p.ink_colour is not None}
    if len(colours) > 1:
        said = "; ".join(f"{who}: {colour}" for colour, who in colours.items())
        raise ReadingsError(f"the ink colours differ ({said})",
                            "a level of ink means something only in the colour that was printed",
                            "leave out the files of the other ink")
    sources = tuple(s for part in parts for s in part.sources)
    _check_different(sources)
    findings = tuple(f for part in parts for f in part.findings)
    patches = tuple(p for part in parts for p in part.patches)
    if len(patches) > MOST_PATCHES:
        raise ReadingsError(f"the files hold {len(patches)} readings",
                            f"a curve is made from {MOST_PATCHES} at most",
                            "leave files out, or average repeated readings")
    if len(parts) > 1 and not any(p.print_name for p in patches):
        findings += (SheetsNotNamed(len(parts)),)
    tints = tuple(t for part in parts for t in part.tints or ())
    return Readings(patches, first.scale, first.relative_to_paper, sources, findings,
                    next(iter(colours), None), tints or None)


def _origin(readings: Readings) -> str:
    return ", ".join(s.name for s in readings.sources) or "one set of readings"


def _check_different(sources: Sequence[Source]) -> None:
    seen: dict[str, str] = {}
    for source in sources:
        if source.sha256 in seen:
            raise ReadingsError(
                f"the files {seen[source.sha256]} and {source.name} hold the same, byte for byte",
                "a file counts once: a copy would pass for a second measurement",
                "leave one of them out")
        seen[source.sha256] = source.name


def density_sds(table: Table) -> list[float | None]:
    """The `density_sd` column; None where it is absent or blank."""
    index = columns.find(table, "density_sd")
    if index is None:
        return [None] * len(table.rows)
    found = columns.numbers(table, index, blank_is_unknown=True)
    table.refuse((found < SMALLEST_SD) | (found > LARGEST_SD), index,
                 "it says how far readings of this patch scatter in density: above 0, at most 1",
                 "leave the cell blank where it is not known")
    return [None if np.isnan(sd) else float(sd) for sd in found]


def _check_densities(table: Table, value: Measured, relative_to_paper: bool) -> None:
    """Refuse densities that no print has, in the words of the column they came from."""
    lightest = LIGHTEST_RELATIVE if relative_to_paper else LIGHTEST
    low = np.flatnonzero(value.density < lightest)
    high = np.flatnonzero(value.density > DENSEST)
    if low.size and relative_to_paper:
        raise ReadingsError(
            _said(table, value, low[0]),
            f"counted from the bare paper, noise reaches down to {lightest:g} in density",
            "measure the patch again")
    if low.size:
        raise ReadingsError(
            _said(table, value, low[0]),
            "no patch is lighter than the perfect white, which has density 0 and lightness 100",
            "if the instrument was zeroed on the bare paper, say so; otherwise measure the patch"
            " again", code="relative_to_paper")
    if high.size:
        refuse_high(table, value, int(high[0]))


def refuse_high(table: Table, value: Measured, row: int) -> NoReturn:
    """Raise `ReadingsError` for a density that no print has, with what it probably is."""
    cell, many = value.value[row], int(np.sum(value.density > DENSEST))
    whole = value.kind == "density" and cell == round(cell)
    highest = value.value.max() if many > 1 else cell
    by = next((n for n in (100, 1000) if highest <= n * DENSEST), None) if whole else None
    if ink.is_ladder(value.value):
        way_out = "these look like percent of ink: if two columns are swapped, exchange them"
    elif by is not None and (many == 1 or highest > 100.0):
        way_out = f"is {cell / by:.{len(str(by)) - 1}f} meant? The decimal point is missing"
        if many > 1:
            whole = bool(np.all(value.value == np.round(value.value)))
            way_out += f", in {'all' if whole else many} rows: divide them by {by}"
    else:
        way_out = ("correct the row; if these are percent of light, name the column luminance; if"
                   " they are L*, lightness")
    raise ReadingsError(_said(table, value, row), f"no print has a density above {DENSEST:g}, and"
                        " few reach 2.5", way_out, code="density_beyond_black")


def _said(table: Table, value: Measured, row: int) -> str:
    said = f"is {value.value[row]:g}"
    if value.kind == "spectrum":
        said = f"has a luminance of {value.value[row]:.4g}"
    if value.kind != "density":
        said += f", a density of {value.density[row]:.2f}"
    return f"{table.where(row)}: {value.label} {said}"


def _check_direction(table: Table, level: Array, value: Measured) -> None:
    """Refuse swapped columns and levels counted the other way, where there is no doubt.

    More ink holds back more light, so the print gets lighter.  Judged from five levels on, and
    only when density rises almost without exception (rank correlation) and by a visible amount.
    """
    steps = np.unique(level)
    if steps.size < 5:
        return
    if value.kind == "density" and ink.is_ladder(value.value) and not ink.is_ladder(level):
        raise ReadingsError(
            f"in {table.source.name}: {value.label} goes in even steps from 0 to"
            f" {value.value.max():g}, the ink levels do not",
            "ink levels are laid out in even steps, measured densities never are",
            "the columns look swapped: exchange their names")
    means = np.array([value.density[level == step].mean() for step in steps])
    ranks = np.argsort(np.argsort(means))
    third = max(1, means.size // 3)
    light, heavy = means[:third].mean(), means[-third:].mean()
    if heavy - light > 0.2 and np.corrcoef(ranks, np.arange(means.size))[0, 1] > 0.8:
        raise ReadingsError(
            f"in {table.source.name}: the density rises with the ink: it is {light:.2f} on average"
            f" over the third with the least ink, {heavy:.2f} over the third with the most",
            "more ink prints lighter, so columns are swapped or levels are counted the other way",
            "exchange the columns, or count the levels so that 0 is clear film and 1 the heaviest"
            " ink")
