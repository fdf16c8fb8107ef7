"""The chart of inks: which colours are printed on it, and its readings.

A printer mixes its inks to make a colour, and how much light a colour holds back from the coating
cannot be seen.  The chart prints many colours, each at the same ink levels as a negative in that
colour would have (`scales.channel_value`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.frozen import dataclass
from tonewright.inks.findings import ColoursNotMeasured
from tonewright.measured import columns, ink
from tonewright.measured.columns import COLOUR_NAMES, LEVEL_NAMES, PATCH_NAMES, Table
from tonewright.measured.densities import filled_rows
from tonewright.measured.readings import ReadingOptions, Readings, combine, readings_from_table
from tonewright.record.findings import Finding
from tonewright.record.setup import Colour, ink_colour_text, parse_colour
from tonewright.scales import Array
from tonewright.target.document import Patch, Target, patches_named
from tonewright.target.layout import Tone

CHANNEL_STEPS = (0, 128, 255)
"""Full, half and none of what a channel takes away."""
USUAL_LEVELS = (1.0, 0.5)
"""Full ink for the range.  At half ink even a colour that prints paper white at full ink still
shows how dense it is, and how steeply its density grows."""
FEWEST_COLOURS = 2
_ALL_TONES = 8
"""So many different ink levels are a target of tones, not a chart."""
_ONLY_CHART = "inks are compared by a printed chart of them"


def usual_colours() -> tuple[Colour, ...]:
    """Every mixture of none, half and full of the three channels but clear film: 26."""
    mixtures = product(CHANNEL_STEPS, repeat=3)
    return tuple((r, g, b) for r, g, b in mixtures if (r, g, b) != (255, 255, 255))


def parse_levels(text: str) -> tuple[float, ...]:
    """``1,0.5`` as ink levels, the heaviest first.

    Raises `OptionError`: no numbers above 0 up to 1, one twice, or 1 is not among them.
    """
    try:
        levels = tuple(sorted({float(part) for part in text.split(",")}, reverse=True))
    except ValueError:
        levels = ()
    rule = ""
    if not levels or len(levels) != text.count(",") + 1 or not all(0.0 < u <= 1.0 for u in levels):
        rule = "one or several different ink levels above 0, up to 1, are printed"
    elif levels[0] != 1.0:
        rule = "what a colour holds back is told by its full level, 1"
    if rule:
        raise OptionError(f"the ink levels are {text!r}", rule, "write them as 1,0.5",
                          code="ink_levels")
    return levels


def chart_tones(
    colours: Sequence[Colour], levels: Sequence[float] = USUAL_LEVELS
) -> tuple[Tone, ...]:
    """What a chart prints: every colour at every ink level.

    Raises `OptionError`: fewer than two colours, or one of them twice.
    """
    names = [ink_colour_text(c) for c in colours]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise OptionError(f"the colour {twice} is given twice", "each colour stands once",
                          "leave one out; every colour can be repeated", code="target_repeats")
    if len(names) < FEWEST_COLOURS:
        raise OptionError(f"the chart has {counted(len(names), 'colour')}",
                          "a chart compares two colours or more",
                          "name more of them, or leave them out for the usual 26",
                          code="chart_colours")
    return tuple(Tone(round(u, 6), ink_colour=name) for name in names for u in levels)


def colours_from_table(table: Table) -> tuple[Colour, ...]:
    """Colours from a table with the columns red, green, blue (0 to 255), in its order.

    Raises `ReadingsError`: a column is missing, or a cell is no whole number from 0 to 255; white.
    """
    columns.check_columns(table)
    found = _colours(table)
    if found is None:
        raise ReadingsError(
            f"the file {table.source.name} has the columns {table.named}",
            "colours stand in three columns red, green, blue, whole numbers from 0 to 255",
            "put a row red,green,blue on top")
    colours = []
    for row, text in enumerate(found):
        try:
            colours.append(parse_colour(text))
        except OptionError as error:
            raise ReadingsError(f"{table.where(row)}: {error.given}", error.rule,
                                error.way_out) from None
    return tuple(colours)


@dataclass(frozen=True)
class ChartPatch:
    """One measured patch of a chart."""

    name: str
    colour: Colour | None
    """Of level 1; None: clear film."""
    level: float
    """Ink level, 0 (clear film) to 1."""
    density: float
    """Of the print."""


@dataclass(frozen=True)
class ChartReadings:
    """A chart as measured."""

    patches: tuple[ChartPatch, ...]
    readings: Readings
    """The same patches with their weighting and sources."""
    findings: tuple[Finding, ...] = ()
    """Beside those of the readings."""

    @property
    def colours(self) -> tuple[Colour, ...]:
        """Every colour that was measured, in the order of the readings."""
        return tuple(dict.fromkeys(p.colour for p in self.patches if p.colour is not None))


def chart_readings(
    tables: Sequence[Table], target: Target | None = None, options: ReadingOptions | None = None
) -> ChartReadings:
    """The measured patches of a chart of inks.

    ``tables`` have a density, lightness, luminance or spectrum in each row, and either the columns
    red, green, blue (and level, 1 if there is none) or a column that names patches of ``target``,
    the chart's document, which is not needed where the tables tell the colours.

    Raises `ReadingsError`: nothing tells the colours; patches that the chart does not have; too few
    of them; what `readings_from_table` refuses.  `OptionError`: ``target`` is no chart of inks.
    """
    if target is not None and not target.is_ink_chart:
        raise OptionError(f"the target {target.name} is a target of tones in one ink", _ONLY_CHART,
                          "name the layout of the chart; a target of tones gives a curve",
                          code="tones_no_chart")
    parts, patches = [], list[ChartPatch]()
    scale = None if options is None else options.scale
    for whole in tables:
        columns.check_columns(whole)
        table = filled_rows(whole, scale)
        kinds = _kinds(table, target)
        part = readings_from_table(_plain(table, kinds), options)
        parts.append(part)
        patches += [ChartPatch(reading.patch, colour, level, reading.density)
                    for reading, (colour, level) in zip(part.patches, kinds, strict=True)]
    chart = ChartReadings(tuple(patches), combine(parts))
    if target is not None:
        chart = replace(chart, findings=_missing(chart, target))
    if len(chart.colours) < FEWEST_COLOURS:
        raise ReadingsError(f"the readings hold {counted(len(chart.colours), 'colour')}"
                            " of ink", _ONLY_CHART, "a target in one ink gives a curve",
                            code="tones_no_chart")
    return chart


_Kind = tuple[Colour | None, float]
"""Colour of level 1 and ink level; clear film: None and 0."""


def _plain(table: Table, kinds: Sequence[_Kind]) -> Table:
    """The table with the levels of its patches and without its colours, as readings are taken."""
    ours = {*LEVEL_NAMES, *COLOUR_NAMES}
    kept = [i for i, name in enumerate(table.columns) if columns.key(name) not in ours]
    rows = tuple((repr(level), *(row[i] for i in kept))
                 for row, (_, level) in zip(table.rows, kinds, strict=True))
    return replace(table, columns=("level", *(table.columns[i] for i in kept)), rows=rows)


def _kinds(table: Table, target: Target | None) -> list[_Kind]:
    """Colour and level of each row: from the table itself, or from the patches it names."""
    own = _own_kinds(table)
    if target is None:
        if own is None:
            raise _no_colours(table)
        return own
    patches = _named(table, target)
    if patches is None:
        if own is None:
            raise ReadingsError(
                f"no column of {table.source.name} holds the names of the chart {target.name}",
                f"its patches are called {target.ends}, and stand in a column patch",
                "if it is an instrument's list in reading order, put it in order first",
                code="chart_list_unordered", file=table.source.name, target=target.name)
        return own
    kinds: list[_Kind] = [(None if p.ink_colour is None else parse_colour(p.ink_colour), p.level)
                          for p in patches]
    for row, (said, known) in enumerate(zip(own or kinds, kinds, strict=True)):
        if said[0] != known[0] or abs(said[1] - known[1]) > 0.0051:  # percent may be rounded
            raise ReadingsError(
                f"{table.where(row)}: the patch {patches[row].name} is {_said(said)}, in the chart"
                f" {target.name} it is {_said(known)}", "readings and chart agree",
                "name the chart that was measured, or none", code="other_chart")
    return kinds


def _said(kind: _Kind) -> str:
    colour, level = kind
    return "clear film" if colour is None else f"{ink_colour_text(colour)} at level {level:g}"


def _own_kinds(table: Table) -> list[_Kind] | None:
    """What the columns red, green, blue and level say; None without them."""
    colours = _colours(table)
    if colours is None:
        return None
    level: Array = np.ones(len(colours))
    if any(columns.find(table, name) is not None for name in LEVEL_NAMES):
        level = ink.levels(table)
    kinds: list[_Kind] = []
    for text, u in zip(colours, level, strict=True):
        red, green, blue = map(int, text.split(","))
        clear = u == 0.0 or min(red, green, blue) > 250
        kinds.append((None, 0.0) if clear else ((red, green, blue), float(u)))
    return kinds


def _colours(table: Table) -> list[str] | None:
    """`ink.ink_colours`, where columns that are there must hold them; None without any."""
    places = {name: columns.find(table, name) for name in COLOUR_NAMES}
    if all(index is None for index in places.values()):
        return None
    for name, index in places.items():
        if index is None:
            raise ReadingsError(f"the file {table.source.name} has no column {name}",
                                "a colour of ink has three: red, green and blue, 0 to 255",
                                f"add the column {name}")
        table.refuse(np.array([not ink.is_channel(row[index]) for row in table.rows]), index,
                     "red, green and blue are whole numbers from 0 to 255", "correct the row")
    return ink.ink_colours(table)


def _no_colours(table: Table) -> ReadingsError:
    """Nothing in the table tells the colours: mostly another file, or no chart was named."""
    known = [n for n in LEVEL_NAMES if columns.find(table, n) is not None]
    if known and np.unique(ink.levels(table)).size >= _ALL_TONES:
        return ReadingsError(
            f"the file {table.source.name} looks like the readings of a target of tones in one ink",
            _ONLY_CHART, "a target of tones gives a curve", code="tones_no_chart")
    return ReadingsError(
        f"the file {table.source.name} has the columns {table.named}; none says"
        " in which colour a patch was printed",
        "a patch is told by its name on the chart, or by the columns red, green, blue",
        "name the chart, or add those columns", code="chart_unknown")


def _named(table: Table, target: Target) -> list[Patch] | None:
    """The patch of each row by its name; None if no column holds the chart's names."""
    names = next((cells for name in PATCH_NAMES if any(map(target.patch,
                  cells := table.cells(name) or []))), None)
    return None if names is None else patches_named(table, names, target)


def _missing(chart: ChartReadings, target: Target) -> tuple[Finding, ...]:
    """Which colours were not measured; refuse readings of less than half a chart."""
    wanted = {parse_colour(p.ink_colour) for p in target.patches if p.ink_colour is not None}
    read = {re.sub(r"\s", "", p.name).upper() for p in chart.patches}
    if 2 * len(read) < len(target.patches):
        raise ReadingsError(
            f"the readings name {counted(len(read), 'patch')}, the chart {target.name} has"
            f" {len(target.patches)}", "at least half of the chart must be measured",
            "measure the rest, or name the chart that was measured")
    missing = sorted(wanted - set(chart.colours))
    return (ColoursNotMeasured(tuple(map(ink_colour_text, missing))),) if missing else ()
