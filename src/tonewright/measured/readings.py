"""Measured patches, their uncertainty, and where they came from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn, cast

import numpy as np

from tonewright import scales
from tonewright.errors import DocumentError, OptionError, ReadingsError, counted
from tonewright.measured import columns
from tonewright.measured.columns import Measured, Scale, Source, Table
from tonewright.record.schema import check_names, held, is_number, spoken
from tonewright.scales import Array

__all__ = [
    "Reading",
    "ReadingOptions",
    "Readings",
    "Scale",
    "Source",
    "Table",
    "combine",
    "readings_from_table",
]

DENSEST = 6.0
"""No print and no instrument reaches this density; above it something else was written there."""
LIGHTEST = -0.02
"""Brighteners and noise put a bare paper this far below the perfect white, no further."""
LIGHTEST_RELATIVE = -0.10
"""Counted from the bare paper, noise and uneven paper reach this far."""
BARE_PAPER = 0.02
"""Real papers start above this; below, the instrument was probably zeroed on the paper."""


@dataclass(frozen=True)
class ReadingOptions:
    """What a measurement file does not say of itself."""

    level_field: str | None = None
    """Column that holds the ink level; None: ``level`` or ``ink_percent``."""
    scale: Scale | None = None
    """Which scale to use; None: luminance where the file has it."""
    relative_to_paper: bool = False
    """True: the instrument was zeroed on the bare paper."""
    paper_density: float | None = None
    """Absolute density of that paper; relative readings become absolute with it."""

    def __post_init__(self) -> None:
        if self.scale not in (None, "luminance", "visual-density"):
            raise OptionError(
                f"the scale is {self.scale!r}",
                "it is luminance or visual-density",
                "use --scale luminance or --scale visual-density",
            )
        if self.paper_density is None:
            return
        if not self.relative_to_paper:
            raise OptionError(
                f"a paper density of {self.paper_density:g} is given for absolute readings",
                "it is added to readings that count from the bare paper",
                "add --relative-to-paper, or leave the paper density out",
            )
        if not (math.isfinite(self.paper_density) and 0.0 <= self.paper_density <= 1.0):
            raise OptionError(
                f"the paper density is {self.paper_density:g}",
                "bare paper has an absolute density between 0 and 1, mostly 0.04 to 0.15",
                "give the density of the bare paper, measured against the instrument's white",
            )


def refuse_relative() -> NoReturn:
    """Raise `OptionError`: readings from the bare paper where absolute ones are needed."""
    raise OptionError("the readings count from the bare paper",
                      "a strip's densities are absolute, and so is what is compared with them",
                      "add --paper-density, the density of the bare paper")


@dataclass(frozen=True)
class Reading:
    """One measured patch."""

    level: float
    """Ink level, 0 (clear film) to 1."""
    density: float
    """-log10 of the luminance factor or of the visual reflectance, as `Readings.scale` says."""
    density_sd: float | None
    """Standard deviation of that density, if the instrument or the scan knows it."""
    print_name: str | None
    """Which sheet it was on."""
    patch: str
    """Its name in messages; made from the line number if the file has none."""


@dataclass(frozen=True)
class Readings:
    """Measured patches on one scale."""

    patches: tuple[Reading, ...]
    scale: Scale
    relative_to_paper: bool
    """True: densities count from the bare paper; its own density is not known."""
    sources: tuple[Source, ...] = ()
    notes: tuple[str, ...] = ()
    """What a reader of the readings should know: columns left aside, things put right."""
    ink_colour: str | None = None
    """Of level 1 as ``255,120,0``; None: the readings do not say."""

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

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON-able form: one list per column, `sources`, `scale`, `relative_to_paper`."""
        return {
            "scale": self.scale,
            "relative_to_paper": self.relative_to_paper,
            "level": [p.level for p in self.patches],
            "density": [p.density for p in self.patches],
            "density_sd": [p.density_sd for p in self.patches],
            "print": [p.print_name for p in self.patches],
            "patch": [p.patch for p in self.patches],
            "sources": [
                {"name": s.name, "kind": s.kind, "sha256": s.sha256, "notes": list(s.notes)}
                for s in self.sources
            ],
            "notes": list(self.notes),
        }

    @classmethod
    def from_dict(cls, document: object) -> Readings:
        """The readings that `to_dict` wrote, equal to the originals.

        Raises `DocumentError` for anything missing, unknown, of the wrong kind or impossible.
        """
        return _readings_from_dict(document)


def readings_from_table(table: Table, options: ReadingOptions | None = None) -> Readings:
    """The measured patches of a table.

    Levels are 0 to 1, densities absolute on the returned scale, or relative to the paper if
    `options` say so and give no paper density.

    Raises
    ------
    ReadingsError
        Anything that cannot be a measured target: several colours of ink; see `columns.levels`
        and `columns.measured`; densities no print can have; columns that are swapped.
    """
    options = options or ReadingOptions()
    columns.check_columns(table)
    colour = columns.ink_colour(table)
    value = columns.measured(table, options.scale)
    level = columns.levels(table, options.level_field)
    _check_densities(table, value, options.relative_to_paper)
    _check_direction(table, level, value)
    notes = table.notes + value.notes
    density, relative = value.density, options.relative_to_paper
    if options.paper_density is not None:
        density, relative = density + options.paper_density, False
    elif not relative and density.min() < BARE_PAPER:
        notes += (
            f"{table.source.name}: the lightest patch has density {density.min():.2f}, lighter "
            "than papers are: if the instrument was zeroed on the bare paper, add "
            "--relative-to-paper",
        )
    density_sd = _density_sds(table)
    sheets = _texts(table, "print")
    names = next((t for n in columns.PATCH_NAMES if (t := _texts(table, n)) is not None), None)
    patches = tuple(
        Reading(
            level=float(level[i]),
            density=float(density[i]),
            density_sd=density_sd[i],
            print_name=(sheets[i] or None) if sheets else None,
            patch=(names[i] if names else "") or f"line {table.line_numbers[i]}",
        )
        for i in range(len(table.rows))
    )
    return Readings(patches, value.scale, relative, (table.source,), notes, colour)


def combine(parts: Sequence[Readings]) -> Readings:
    """Readings of several files as one, in the order given.

    Raises `ReadingsError` for none at all, for two scales, for relative beside absolute
    densities, and for the same file twice (it would pass for two measurements).
    """
    if not parts:
        raise ReadingsError(
            "there are no readings", "a curve needs at least one file", "name a file"
        )
    first = parts[0]
    for part in parts[1:]:
        if part.scale != first.scale:
            raise ReadingsError(
                f"the scale of {_origin(first)} is {first.scale}, that of {_origin(part)} "
                f"{part.scale}",
                "on a coloured print the two differ, on a blue one by up to 0.07 in density, and "
                "are not mixed",
                "choose a scale that all files hold with --scale luminance or "
                "--scale visual-density",
            )
        if part.relative_to_paper != first.relative_to_paper:
            absolute, relative = (first, part) if part.relative_to_paper else (part, first)
            raise ReadingsError(
                f"the densities of {_origin(absolute)} are absolute, those of {_origin(relative)} "
                "count from the bare paper",
                "the two are not mixed",
                "read both in the same way: with --relative-to-paper only if every file was "
                "measured with the instrument zeroed on the bare paper",
            )
    sources = tuple(s for part in parts for s in part.sources)
    _check_different(sources)
    notes = tuple(note for part in parts for note in part.notes)
    patches = tuple(p for part in parts for p in part.patches)
    if len(parts) > 1 and not any(p.print_name for p in patches):
        notes += (
            "the files do not say which sheet they were measured on, so they count as readings "
            "of one sheet; a column named print tells sheets apart",
        )
    colours = {p.ink_colour: _origin(p) for p in parts if p.ink_colour is not None}
    if len(colours) > 1:
        said = "; ".join(f"{who}: {colour}" for colour, who in colours.items())
        raise ReadingsError(f"the ink colours differ ({said})",
                            "a level of ink means something only in the colour that was printed",
                            "leave out the files of the other ink")
    return Readings(patches, first.scale, first.relative_to_paper, sources, notes,
                    next(iter(colours), None))


def _origin(readings: Readings) -> str:
    return ", ".join(s.name for s in readings.sources) or "one set of readings"


def _check_different(sources: Sequence[Source]) -> None:
    seen: dict[str, str] = {}
    for source in sources:
        if source.sha256 in seen:
            raise ReadingsError(
                f"the files {seen[source.sha256]} and {source.name} hold the same, byte for byte",
                "a file counts once: a copy would pass for a second measurement",
                "leave one of them out",
            )
        seen[source.sha256] = source.name


def _texts(table: Table, name: str) -> list[str] | None:
    index = columns.find(table, name)
    return None if index is None else [row[index] for row in table.rows]


def _density_sds(table: Table) -> list[float | None]:
    """The `density_sd` column; None where it is absent or blank."""
    index = columns.find(table, "density_sd")
    if index is None:
        return [None] * len(table.rows)
    found = columns.numbers(table, index, blank_is_unknown=True)
    wrong = np.flatnonzero((found < 1e-9) | (found > 1.0))
    if wrong.size:
        row = int(wrong[0])
        raise ReadingsError(
            f"{table.where(row)}: density_sd is {table.rows[row][index]}",
            "it says how far readings of this patch scatter in density: above 0, at most 1",
            "leave the cell blank where it is not known",
        )
    return [None if np.isnan(sd) else float(sd) for sd in found]


def _check_densities(table: Table, value: Measured, relative_to_paper: bool) -> None:
    """Refuse densities that no print has, in the words of the column they came from."""
    lightest = LIGHTEST_RELATIVE if relative_to_paper else LIGHTEST
    low = np.flatnonzero(value.density < lightest)
    high = np.flatnonzero(value.density > DENSEST)
    if low.size:
        row = int(low[0])
        rule = (
            f"counted from the bare paper, noise reaches down to {lightest:g} in density"
            if relative_to_paper
            else "no patch is lighter than the perfect white, which has density 0 and lightness 100"
        )
        way_out = (
            "measure the patch again"
            if relative_to_paper
            else "if the instrument was zeroed on the bare paper, add --relative-to-paper; "
            "otherwise measure the patch again"
        )
        raise ReadingsError(f"{table.where(row)}: {_said(value, row)}", rule, way_out)
    if high.size:
        row = int(high[0])
        way_out = "correct the row; if these are lightness or luminance, name the column so"
        if columns.is_ladder(value.value):
            way_out = "these look like percent of ink: if two columns are swapped, exchange them"
        raise ReadingsError(
            f"{table.where(row)}: {_said(value, row)}",
            f"no print has a density above {DENSEST:g}, and few reach 2.5",
            way_out,
        )


def _said(value: Measured, row: int) -> str:
    said = f"{value.label} is {value.value[row]:g}"
    if value.kind == "spectrum":
        said = f"{value.label} has a luminance of {value.value[row]:.4g}"
    return said if value.kind == "density" else f"{said}, a density of {value.density[row]:.2f}"


def _check_direction(table: Table, level: Array, value: Measured) -> None:
    """Refuse swapped columns and levels counted the other way, where there is no doubt.

    More ink holds back more light, so the print gets lighter.  Judged from five levels on, and
    only when density rises almost without exception (rank correlation) and by a visible amount.
    """
    if np.unique(level).size < 5:
        return
    if value.kind == "density" and columns.is_ladder(value.value) and not columns.is_ladder(level):
        raise ReadingsError(
            f"in {table.source.name}: {value.label} goes in even steps from 0 to "
            f"{value.value.max():g}, the ink levels do not",
            "ink levels are laid out in even steps, measured densities never are",
            "the columns look swapped: exchange their names",
        )
    means = np.array([value.density[level == step].mean() for step in np.unique(level)])
    ranks = np.argsort(np.argsort(means))
    third = max(1, means.size // 3)
    rise = means[-third:].mean() - means[:third].mean()
    if rise > 0.2 and np.corrcoef(ranks, np.arange(means.size))[0, 1] > 0.8:
        raise ReadingsError(
            f"in {table.source.name}: the density rises with the ink, by {rise:.2f} from the least "
            "to the most",
            "more ink must print lighter: swapped columns or levels counted the other way",
            "exchange the columns, or count the levels so that 0 is clear film and 1 the "
            "heaviest ink",
        )


_KEYS = (
    "scale", "relative_to_paper", "level", "density", "density_sd", "print", "patch", "sources",
    "notes",
)  # fmt: skip


_DAMAGED = "take an unedited copy of the document, or make it again from the measurement files"


def _wrong(given: str, rule: str) -> DocumentError:
    return DocumentError(f"in the readings of the document, {given}", rule, _DAMAGED)


def _readings_from_dict(document: object) -> Readings:
    """`Readings.from_dict`."""
    whole = _mapping(document, _KEYS, "the readings")
    scale, relative = whole["scale"], whole["relative_to_paper"]
    if scale not in ("luminance", "visual-density"):
        raise _wrong(f"scale is {spoken(scale)}", "it is luminance or visual-density")
    if not isinstance(relative, bool):
        raise _wrong(f"relative_to_paper is {spoken(relative)}", "it is true or false")
    names = ("level", "density", "density_sd", "print", "patch")
    lists = {name: _list(whole[name], name) for name in names}
    count = len(lists["level"])
    for name, found in lists.items():
        if len(found) != count:
            raise _wrong(f"{name} has {counted(len(found), 'value')}, level {count}",
                         "all have as many")
    if count == 0:
        raise _wrong("there is no patch", "there is at least one")
    patches = tuple(
        Reading(
            level=_number(level, "level", 0.0, 1.0),
            density=_number(density, "density", -1.0, DENSEST + 1.0),
            density_sd=None if sd is None else _number(sd, "density_sd", 1e-9, 1.0),
            print_name=None if sheet is None else _text(sheet, "print"),
            patch=_text(patch, "patch"),
        )
        for level, density, sd, sheet, patch in zip(*lists.values(), strict=True)
    )
    sources = tuple(_source(s) for s in _list(whole["sources"], "sources"))
    return Readings(patches, scale, relative, sources, _texts_of(whole, "notes"))


def _source(entry: object) -> Source:
    fields = _mapping(entry, ("name", "kind", "sha256", "notes"), "a source")
    kind = fields["kind"]
    if kind not in ("csv", "cgats"):
        raise _wrong(f"the kind of a source is {spoken(kind)}", "it is csv or cgats")
    return Source(
        _text(fields["name"], "name"),
        kind,
        _text(fields["sha256"], "sha256"),
        _texts_of(fields, "notes"),
    )


def _mapping(entry: object, keys: Sequence[str], what: str) -> Mapping[str, object]:
    return check_names(entry, keys, f"in the document, {what}", _DAMAGED)


def _list(entry: object, name: str) -> list[object]:
    if not isinstance(entry, list):
        raise _wrong(f"{name} is {spoken(entry)}", "it is a list")
    return entry


def _text(entry: object, name: str) -> str:
    if not isinstance(entry, str):
        raise _wrong(f"{name} holds {held(entry)}", "it holds text")
    return entry


def _texts_of(fields: Mapping[str, object], name: str) -> tuple[str, ...]:
    return tuple(_text(note, name) for note in _list(fields[name], name))


def _number(entry: object, name: str, low: float, high: float) -> float:
    if not is_number(entry) or not low <= cast(float, entry) <= high:
        raise _wrong(f"{name} holds {held(entry)}", f"it holds numbers from {low:g} to {high:g}")
    return float(cast(float, entry))
