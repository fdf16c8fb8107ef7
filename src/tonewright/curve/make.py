"""From readings, settings and setup to a finished correction curve."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np

from tonewright.curve.aim import Aim
from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Ancestor, Curve, Settings, Summary, make_correction
from tonewright.curve.fit import FEWEST_LEVELS, UNTOLD_STAINS, FittedPrint, fit_print
from tonewright.errors import counted
from tonewright.measured.readings import Readings
from tonewright.record.provenance import made_by
from tonewright.record.setup import Setup

WIDE_GAP = 0.21
"""Widest step between ink levels that passes without a word: six even ones make 0.2."""
PAPER_WHITE, GRAY_PAPER, PALE_BLACK = 88.0, 80.0, 42.0
"""Lightness of usual papers, of none, and of no decent black (from memory, no source)."""
FEW_LEVELS = 11
"""Fewer levels than this make a curve, but a poor one."""


def make_curve(
    readings: Readings, settings: Settings, setup: Setup, name: str,
    ancestor: Ancestor | None = None,
) -> Curve:
    """Fit the readings, invert the response at the aim, and keep everything together.

    Raises
    ------
    FitError
        When no honest curve can be drawn (see `tonewright.curve.fit.fit_print`).
    """
    fitted = fit_print(readings, settings.left_out)
    usable = (fitted.level_black, fitted.level_white)
    return Curve(
        name=name, made_by=made_by(), setup=setup, settings=settings,
        summary=_summarise(fitted, readings, settings.aim), response=fitted.response,
        correction=make_correction(fitted.response, settings.aim, usable),
        readings=readings, ancestor=ancestor)


def rebuild(curve: Curve) -> Curve:
    """The same curve, made again from the readings, settings and setup it carries."""
    if curve.recipe is not None:
        return make_derived_curve(curve.recipe, curve.settings, curve.setup, curve.name,
                                  curve.ancestor)
    assert curve.readings is not None  # a curve without a recipe was made from readings
    return make_curve(curve.readings, curve.settings, curve.setup, curve.name, curve.ancestor)


def _summarise(fitted: FittedPrint, readings: Readings, aim: Aim) -> Summary:
    response = fitted.response
    half = (response.lightness_high - response.lightness_low) / 2.0
    return Summary(
        black_lightness=round(fitted.black_lightness, 3),
        white_lightness=round(fitted.white_lightness, 3),
        level_black=round(fitted.level_black, 5),
        level_white=round(fitted.level_white, 5),
        noise_density_sd=round(fitted.noise_density_sd, 5),
        print_to_print_lightness_sd=(None if fitted.print_lightness_sd is None
                                     else round(fitted.print_lightness_sd, 3)),
        doubtful=tuple(asdict(d) for d in fitted.doubtful),
        band_halfwidth_mean=round(float(np.mean(half)), 3),
        band_halfwidth_max=round(float(np.max(half)), 3),
        least_sure_level=round(float(response.level[np.argmax(half)]), 4),
        negative_density_range=None,
        warnings=tuple(_warnings(fitted, readings, aim)),
    )


_TURNED_BLACK = ("Far too much exposure can turn blacks lighter again: try a shorter printing"
                 " time.")
_TURNED_WHITE = ("Very heavy ink can pool and let light through: print with less ink, or let the"
                 " film dry longer.")


def _warnings(fitted: FittedPrint, readings: Readings, aim: Aim) -> list[str]:
    """What the printer should know, each with its amount, in plain words."""
    said = []
    unused = len(fitted.unused_patches)
    for turn in fitted.reversals:
        at_black = turn.level_to <= fitted.response.level[0] + 0.05
        said.append(
            f"The print gets darker by {turn.drop_lightness:.1f} L* between ink levels"
            f" {turn.level_from:.2f} and {turn.level_to:.2f}, where more ink should print lighter."
            f" The curve uses only levels {fitted.response.level[0]:.2f} to"
            f" {fitted.response.level[-1]:.2f}; {counted(unused, 'patch')} beyond"
            f" {'is' if unused == 1 else 'are'} not used. "
            + (_TURNED_BLACK if at_black else _TURNED_WHITE))
    if not fitted.black.reached:
        said.append(
            "Maximum black may not be reached: towards clear film the print is still getting"
            f" darker ({fitted.black.still_gaining:.1f} L* over the first tenth of the ink)."
            " A longer printing time would print a blacker black.")
    if not fitted.white.reached:
        said.append(
            "Paper white is not reached: at the heaviest ink the print is still getting lighter"
            f" ({fitted.white.still_gaining:.1f} L* over the last tenth of the ink), so the whites"
            " stay gray by at least about that much. Heavier or better-blocking ink, or a process"
            " of higher contrast, would reach further.")
    said += _unlikely_ends(fitted, readings.relative_to_paper)
    said += _range_warnings(fitted, readings)
    said += aim.held_words(fitted.black_lightness, fitted.white_lightness)
    return said


def _unlikely_ends(fitted: FittedPrint, relative: bool) -> list[str]:
    """An ink that gives up early levels off like paper white; the paper itself tells."""
    said = []
    if fitted.white.reached and not relative and fitted.white_lightness < GRAY_PAPER:
        said.append(
            f"The lightest tone has L* {fitted.white_lightness:.0f}, darker than bare papers"
            f" (L* {PAPER_WHITE:.0f} and more), so paper white is not reached by about"
            f" {PAPER_WHITE - fitted.white_lightness:.0f} L*: the ink lets light through even at"
            " its heaviest, or the print was fogged. Measure the bare paper to be sure.")
    if fitted.black.reached and fitted.black_lightness > PALE_BLACK:
        said.append(
            f"The black has L* {fitted.black_lightness:.0f}, pale for any process: check coating,"
            " exposure and development.")
    return said


def _range_warnings(fitted: FittedPrint, readings: Readings) -> list[str]:
    said = []
    levels = np.unique(readings.level)
    if levels[0] > 0.0:
        said.append(f"No patch of clear film was measured; the lowest ink level is"
                    f" {levels[0]:.3g}. The black of the print is taken there.")
    if levels[-1] < 1.0:
        said.append(f"The heaviest ink was not measured; the highest level is {levels[-1]:.3g}."
                    " The curve stops there.")
    gap = int(np.argmax(np.diff(levels)))
    if levels[gap + 1] - levels[gap] > WIDE_GAP:
        said.append(f"No patch was measured between ink levels {levels[gap]:.2f} and"
                    f" {levels[gap + 1]:.2f}; the curve is guessed there.")
    if FEWEST_LEVELS <= levels.size < FEW_LEVELS:
        said.append(f"Only {levels.size} different levels were measured; with 21 or more the curve"
                    " is far surer.")
    if fitted.doubtful and not fitted.robust:
        said.append(UNTOLD_STAINS)
    return said
