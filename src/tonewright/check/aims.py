"""Readings of a print made through a curve, each with the tone it should have."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tonewright.curve.document import Curve, refuse_two_zeros
from tonewright.curve.ink import one_ink, readings_colour
from tonewright.errors import OptionError, ReadingsError
from tonewright.frozen import dataclass
from tonewright.measured import columns, ink
from tonewright.measured.columns import Table, Weighting
from tonewright.measured.densities import filled_rows, measured
from tonewright.measured.readings import Readings
from tonewright.numeric.robust import rank_correlation
from tonewright.scales import Array

AIM, IMAGE = columns.AIM_NAMES
FEWEST_TONES, LEAST_SPAN = 4, 20.0
"""Different tones, and L* between the lightest and the darkest, that tell causes apart."""
SAME_DENSITY = 5e-5
"""Density within which a reading is one that the curve holds already: what rounding leaves."""
SAME_LEVEL, SAME_TONE = 0.003, 0.3
"""How nearly the ink that was printed must be the curve's for that aim: ink level, or L*."""
AT_END = 0.6
"""L* that the curve's outermost tones may lie off its black and white."""
FOLLOWS = 0.7
"""Rank correlation of aims and readings below which they belong to different prints."""
_PLACE = re.compile(r"([A-Z]{1,2})(\d{1,3})", re.ASCII)


@dataclass(frozen=True, eq=False)
class PrintedTones:
    """Measured patches with what each should have been; arrays of shape (n,), L*."""

    readings: Readings
    image: Array
    """Tone in the picture."""
    aim: Array

    @cached_property
    def sheet(self) -> NDArray[np.int64]:
        """A number for each print."""
        names = [p.print_name or "" for p in self.readings.patches]
        number = {name: i for i, name in enumerate(dict.fromkeys(names))}
        return np.array([number[name] for name in names])

    @cached_property
    def place(self) -> Array | None:
        """Where on the sheet each lies, 0 to 1 down and across, shape (n, 2), by the patches'
        names as a target has them; None for others."""
        found = [_PLACE.fullmatch(p.patch) for p in self.readings.patches]
        if any(m is None for m in found):
            return None
        places = np.array([[_row(m[1]), int(m[2])] for m in found if m], dtype=np.float64)
        return np.asarray((places - places.min(axis=0)) / max(float(np.ptp(places)), 1.0))

    @cached_property
    def place_follows_tone(self) -> float:
        """How far the tones lie in order on the sheet, 0 to 1: rank correlation along the
        direction that shows it most."""
        if self.place is None:
            return 1.0
        turns = np.linspace(0.0, np.pi, 24, endpoint=False)
        return max(abs(rank_correlation(self.place @ [np.cos(t), np.sin(t)], self.image))
                   for t in turns)

    def without(self, rows: Sequence[int]) -> PrintedTones:
        """The same without some patches, counted from 0."""
        kept = [i for i in range(self.image.size) if i not in set(rows)]
        patches = tuple(self.readings.patches[i] for i in kept)
        return PrintedTones(replace(self.readings, patches=patches), self.image[kept],
                            self.aim[kept])


def _row(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number


def holds(curve: Curve, readings: Readings) -> bool:
    """Whether a curve was made from these readings, or from any print among them: all patches of
    it have the name and the density of one of the curve's own."""
    known: dict[str, list[float]] = {}
    for patch in (p for r in curve.measured for p in r.patches):
        known.setdefault(patch.patch, []).append(patch.density)
    sheets: dict[str | None, list[bool]] = {}
    for p in readings.patches:
        sheets.setdefault(p.print_name, []).append(
            any(abs(p.density - d) < SAME_DENSITY for d in known.get(p.patch, ())))
    return any(map(all, sheets.values()))


def refuse_own(curve: Curve, readings: Readings, name: str) -> None:
    """Raise `ReadingsError` for readings that the curve `holds`."""
    if holds(curve, readings):
        raise ReadingsError(
            f"{name}: these readings are the curve's own: {curve.name} was made from them",
            "they can tell nothing new about it",
            "measure a print made through the curve, and take its readings")


def without_tones(name: str, *, levels: bool) -> ReadingsError:
    """The error for readings, or a target, that do not say which tones the curve aimed at;
    ``levels``: only how much ink was printed."""
    way_out = ("give each patch its tone in the picture in a column image_lightness, or name the"
               " layout of the tone scale")
    return ReadingsError(
        f"{name} says how much ink each patch has, but not the tone that the curve aimed at"
        if levels else f"{name} says neither the tone nor the ink level of its patches",
        "a print made through the curve is compared, patch by patch, with the tones it should have",
        f"measure such a print, and {way_out}" if levels else way_out, code="print_tones")


def with_levels(
    table: Table, curve: Curve, scale: Weighting | None = None
) -> tuple[Table, Array]:
    """The table with the ink level that the curve prints each tone with, and the aims (L*).

    Rows without a reading on the ``scale`` are left out.  Where there is no aim, it is what the
    curve promises at the ink level.  Raises `ReadingsError` for a table that has neither, and for
    tones that are none.
    """
    columns.check_columns(table)
    table = filled_rows(table, scale)
    name = next((n for n in (AIM, IMAGE) if any(table.cells(n) or [])), None)
    has_level = any(columns.find(table, n) is not None for n in columns.LEVEL_NAMES)
    if name is None:
        if not has_level:
            raise without_tones(table.source.name, levels=False)
        return table, curve.response.lightness_at(ink.levels(table))
    if not has_level:
        table = columns.only_rows(table, np.array([bool(c) for c in table.cells(name) or []]))
    index = columns.find(table, name)
    assert index is not None  # it has cells
    tone = columns.numbers(table, index, blank_is_unknown=True)
    table.refuse((tone < 0.0) | (tone > 100.0), index, "a tone is a CIE L* from 0 to 100",
                 "correct the row")
    known = ~np.isnan(tone)
    if np.count_nonzero(known) > 1 and np.max(tone[known]) <= 1.0:
        raise ReadingsError(f"{table.source.name}: {name} runs from {np.min(tone[known]):g} to"
                            f" {np.max(tone[known]):g}", "a tone is a CIE L* from 0 to 100",
                            "if these are fractions, multiply the column by 100")
    if np.count_nonzero(known) >= FEWEST_TONES:
        density = measured(table, scale).density
        _refuse_other_sheet(tone[known], density[known], table.source.name)
    aim = tone if name == AIM else curve.print_lightness_at(tone)
    if has_level:
        return table, np.where(np.isnan(tone), curve.response.lightness_at(ink.levels(table)), aim)
    level = curve.level_at(tone) if name == IMAGE else level_of_aim(curve, tone)
    rows = tuple((*row, repr(float(u))) for row, u in zip(table.rows, level, strict=True))
    return replace(table, columns=(*table.columns, "level"), rows=rows), np.asarray(aim)


def image_of_aim(curve: Curve, aim: Array) -> Array:
    """The tone in the picture (L*) that a curve gives an aim (L*), any shape."""
    image = curve.correction.image_lightness
    printed = curve.print_lightness_at(image)
    # of several tones that print as black, the blackest
    return np.where(aim <= printed[0], image[0], np.interp(aim, printed, image))


def level_of_aim(curve: Curve, aim: Array) -> Array:
    """The ink level that a curve prints an aim (L*) with, any shape."""
    return curve.level_at(image_of_aim(curve, aim))


def printed_tones(curve: Curve, readings: Readings, aim: Array) -> PrintedTones:
    """Readings of a print with their aims (L*, shape (n,)), which must be the curve's.

    Raises
    ------
    OptionError, ReadingsError
        Another zero or weighting than the curve's, another ink, another curve's print, too few
        tones, or readings that do not follow their aims.
    """
    names = ", ".join(s.name for s in readings.sources) or "the readings"
    refuse_two_zeros(curve.relative_to_paper, readings.relative_to_paper, f"the curve {curve.name}")
    if readings.scale != curve.scale:
        raise other_scales(names, curve)
    one_ink({f"the curve {curve.name}": curve.setup.ink_colour, **readings_colour(readings)})
    _refuse_other_curve(curve, readings, aim, names)
    promised = curve.response.lightness_at(readings.level)
    tones = PrintedTones(readings, image_of_aim(curve, aim), promised)
    _refuse_few(tones, names)
    _refuse_other_sheet(tones.aim, readings.density, names)
    return tones


def other_scales(names: str, curve: Curve) -> OptionError:
    """The error for readings of another weighting than the curve's."""
    return OptionError(
        f"{names} has no readings weighted as {curve.scale}, as the curve {curve.name} is",
        "on a coloured print luminance and visual density differ by up to 0.07 and are not"
        " compared", "measure the print as the curve's target was measured", code="check_scales")


def _refuse_other_curve(curve: Curve, readings: Readings, aim: Array, names: str) -> None:
    """The ink behind every aim must be what this curve prints it with."""
    level = readings.level
    off = np.abs(level - level_of_aim(curve, aim))
    tone = np.abs(curve.response.lightness_at(level) - aim)
    ends = curve.print_lightness_at([0.0, 100.0])
    beyond = np.abs(np.clip(aim, *ends) - aim) > SAME_TONE
    wrong = np.flatnonzero((off > SAME_LEVEL) & (tone > SAME_TONE) | beyond & (tone > AT_END))
    if not wrong.size:
        return
    worst = int(wrong[np.argmax(tone[wrong])])
    if np.max(np.abs(np.sort(level) - np.sort(level_of_aim(curve, aim)))) <= SAME_LEVEL:
        raise ReadingsError(
            f"{names}: the aims are out of order: {readings.patches[worst].patch} has"
            f" {level[worst]:.0%} ink and the aim L* {aim[worst]:.1f}",
            "more ink prints lighter", "put each aim beside its own patch, or take the readings as"
            " they were written")
    raise ReadingsError(
        f"{names}: {readings.patches[worst].patch} was printed with {level[worst]:.1%} ink for the"
        f" aim L* {aim[worst]:.1f}; the curve {curve.name} prints it with"
        f" {level_of_aim(curve, aim)[worst]:.1%}",
        "a print is checked against the curve it was made through",
        "name that curve: the line of text on the print says which")


def _refuse_few(tones: PrintedTones, names: str) -> None:
    aims = np.unique(np.round(tones.aim, 1))
    if aims.size < FEWEST_TONES or np.ptp(aims) < LEAST_SPAN:
        raise ReadingsError(
            f"{names}: there is only one tone, L* {aims[0]:.0f}" if aims.size == 1 else
            f"{names}: there are {aims.size} tones, from L* {aims[0]:.0f} to {aims[-1]:.0f}",
            f"a check needs {FEWEST_TONES} different tones, {LEAST_SPAN:.0f} L* apart at least",
            "measure the whole tone scale beside the picture")


def _refuse_other_sheet(aim: Array, density: Array, names: str) -> None:
    follows = rank_correlation(aim, -density)
    if follows < FOLLOWS:
        raise ReadingsError(
            f"{names}: the readings {'run against' if follows < -FOLLOWS else 'do not follow'}"
            " their aims",
            "a print is lighter where its aim is",
            "check that this is the sheet that was measured, and the order in which it was read")
