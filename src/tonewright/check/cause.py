"""Why a print differs from what its curve promises, by the model ``P(u) = H(x0 - N(u))``."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Literal

import numpy as np

from tonewright import scales
from tonewright.check.aims import PrintedTones
from tonewright.check.document import Cause, CauseCode
from tonewright.check.promise import Promise, Response, nearness
from tonewright.frozen import dataclass
from tonewright.numeric.alternatives import (
    Alternative,
    Explained,
    Scatters,
    Shifts,
    explain,
    explain_again,
)
from tonewright.scales import STOP, Array

SURE = 2.0
"""How many times better than the next a cause must explain the readings to be named."""
TELLS = 10.0
"""How many times better the readings themselves must bear a cause out than an instrument's zero,
before nobody needs to read again: that costs a minute, and sheets coated against a fog that is
none cost days."""
Way = CauseCode | Literal["zero"]
"""A cause, or an instrument whose zero is off: no fault of the print."""
ZERO: Way = "zero"
SHARE: dict[Way, float] = {
    "exposure": 0.38, "fog": 0.15, "weak_black": 0.15, "ink": 0.08, "process": 0.08,
    "unevenness": 0.06, "zero": 0.04, "unknown": 0.06}
"""How often each is to blame, before anything is measured (from memory, no source)."""
ALERT: dict[Way, float] = {
    "exposure": 0.2, "fog": 0.3, "weak_black": 0.15, "ink": 0.1, "process": 0.1,
    "unevenness": 0.05, "zero": 0.05, "unknown": 0.05}
"""Part of the level of the verdict's test that is spent on each: most on fog, of which one reading
or two tell, and next on light, which is most often to blame."""
MEMBERS = 41
SPAN = 3.0
"""Sizes of a cause are tried up to so many of their usual size."""
LIGHT_STOPS, FOG_LIGHTNESS, BLACK_LIGHTNESS, INK_SHARE, CONTRAST_SHARE = 0.5, 3.0, 4.0, 0.12, 0.12
"""Usual sizes of what goes wrong, as standard deviations (from memory, no source)."""
ZERO_DENSITY = 0.03
"""The same of an instrument's zero."""
UNEVEN_STOPS, OTHER_LIGHTNESS, OTHER_ALONG = 0.15, 3.0, 20.0
"""The same of unevenness, and of what no cause here explains: smooth over so many L*."""
INEXACT = 0.12
"""Part of a print's differences (RMS) that a cause may leave over: no model of one is exact."""
LEAST_ASTRAY = 0.6
"""Rank correlation of place and tone from which on the two cannot be told apart."""


@dataclass(frozen=True, eq=False)
class Verdict:
    """Whether a print is good, and what speaks for each cause."""

    probability: float
    cause: Cause
    light_stops: tuple[float, float] | None
    """Were too much light the cause: how much, and its standard deviation; None: no strip."""
    zero_off: float | None
    """By how much density all readings may be off alike; None: the readings tell that from the
    cause, or nothing needs to be explained."""


def judge(tones: PrintedTones, promised: Promise, response: Response, passing: float) -> Verdict:
    """The verdict on differences from a promise; it passes from a probability ``passing`` on."""
    ways = _ways(tones, promised, response)
    off, codes = tones.readings.density - promised.density, [*ways]
    promised = promised.with_sheets(*promised.scatter(off, tones))
    parts = np.array([ALERT[code] for code in codes])
    found = explain(off, promised, [*ways.values()], list(parts / parts.sum()))
    if found.probability < passing:
        inexact = replace(promised, known=promised.known + _inexact(promised, off))
        found = explain_again(found, off, inexact, [*ways.values()])
    light = found.sizes[codes.index("exposure")] if response.has_strip else None
    if found.probability >= passing:
        return Verdict(found.probability, Cause("none", None, None, None, None, None), light, None)
    told, at = found.log_factors, codes.index(ZERO)
    found = replace(found, log_factors=told + np.log([SHARE[c] for c in codes]))
    short = told[np.argmax(found.log_factors)] - told[at]
    zero = found.sizes[at][0] if short < math.log(TELLS) else None
    return Verdict(found.probability, _cause(codes, found, response), light, zero)


def _cause(codes: list[Way], found: Explained, response: Response) -> Cause:
    """The likeliest, if it is far likelier than the next; what is no cause is unknown.

    An instrument's zero is not the next: it is named beside the cause, see `Verdict.zero_off`.
    """
    first, *others = np.argsort(-found.log_factors)
    best = _code(codes[first])
    after = next(i for i in others if codes[i] != ZERO and codes[i] != best)
    second = _code(codes[after])
    better = float(np.exp(min(found.log_factors[first] - found.log_factors[after], 700.0)))
    if best == "unknown" or better < SURE:
        return Cause("unknown", None if best == "unknown" else best, second, better, None, None)
    size, sd = found.sizes[first]
    if best in ("exposure", "unevenness") and not response.has_strip:
        return Cause(best, None, second, better, None, None)
    return Cause(best, None, second, better, size, max(sd, 1e-9))


def _code(way: Way) -> CauseCode:
    return "unknown" if way == "zero" else way


def _ways(
    tones: PrintedTones, promised: Promise, response: Response
) -> dict[Way, Alternative]:
    """Everything that may move a print's readings, with the sizes it may have."""
    level = tones.readings.level
    black, white = response.ends
    density = promised.density
    rise = response.rise(density)
    at_black, at_white = (float(scales.lightness_per_density(scales.density_to_lightness(d)))
                          for d in (black, white))

    def moved(what: str, usual: float, unit: float = 1.0) -> Shifts:
        """By amounts of either sign of what `Response.moved` takes."""
        return _join(*(_either(usual, partial(_moved, form, level, what, unit))
                       for form in response.forms()))

    ways: dict[Way, Alternative] = {
        "exposure": moved("light", LIGHT_STOPS, STOP),
        "fog": _join(_only_more(FOG_LIGHTNESS, lambda s: s / at_white * (1.0 - rise)),
                     _only_more(FOG_LIGHTNESS, lambda s: s / at_white * (1.0 - rise**2))),
        "weak_black": _only_more(BLACK_LIGHTNESS, lambda s: -s / at_black * rise),
        "ink": moved("ink", INK_SHARE),
        "process": moved("contrast", CONTRAST_SHARE),
        "zero": _either(ZERO_DENSITY, lambda s: s + np.zeros_like(rise)),
        "unknown": _scattered(OTHER_LIGHTNESS, _smooth(promised)),
    }
    if (uneven := _uneven(tones, response)) is not None:
        ways["unevenness"] = uneven
    return ways


def _moved(response: Response, level: Array, what: str, unit: float, size: Array) -> Array:
    return response.moved(level, **{what: size * unit}) - response.density(level)


_Shift = Callable[[Array], Array]
"""From sizes of a cause, shape (k, 1), to what it does to each reading, (k, n)."""


def _either(usual: float, shift: _Shift) -> Shifts:
    """A cause of either sign, normal about 0."""
    sizes = np.linspace(-SPAN, SPAN, 2 * MEMBERS - 1) * usual
    return _shifts(sizes, usual, shift)


def _only_more(usual: float, shift: _Shift) -> Shifts:
    """A cause of one sign."""
    return _shifts(np.linspace(0.0, SPAN, MEMBERS) * usual, usual, shift)


def _shifts(sizes: Array, usual: float, shift: _Shift) -> Shifts:
    weight = np.exp(-0.5 * (sizes / usual) ** 2)
    return Shifts(sizes, shift(sizes[:, None]), weight / weight.sum())


def _join(*parts: Shifts) -> Shifts:
    """Several forms of one cause, each as likely."""
    return Shifts(np.concatenate([p.size for p in parts]),
                  np.concatenate([p.shifts for p in parts]),
                  np.concatenate([p.weight for p in parts]) / len(parts))


def _scattered(usual: float, one: Array, unit: float = 1.0) -> Scatters:
    """What moves readings at random, from its covariance at a size of 1 ``unit``, shape (n, n)."""
    sizes = np.linspace(0.2, SPAN, 8) * usual
    weight = np.exp(-0.5 * (sizes / usual) ** 2)
    return Scatters(sizes, (sizes[:, None, None] * unit) ** 2 * one, weight / weight.sum())


def _smooth(promised: Promise) -> Array:
    """Covariance, in density, of a smooth departure of any form by 1 L*, shape (n, n)."""
    light = scales.density_to_lightness(promised.density)
    slope = scales.lightness_per_density(light)
    near = np.exp(-0.5 * ((light[:, None] - light[None, :]) / OTHER_ALONG) ** 2)
    return np.asarray(near / np.outer(slope, slope))


def _inexact(promised: Promise, off: Array) -> Array:
    """By how much any cause may move a print otherwise than the curve's model of it says."""
    slope = scales.lightness_per_density(scales.density_to_lightness(promised.density))
    rms = float(np.sqrt(np.mean((off * slope) ** 2)))
    return np.asarray((INEXACT * rms) ** 2 * _smooth(promised))


def wide_covariance(tones: PrintedTones, promised: Promise, response: Response) -> Array:
    """Of the differences in density, whatever cause may have moved the print, shape (n, n)."""
    total = promised.covariance.copy()
    for way in _ways(tones, promised, response).values():
        if isinstance(way, Shifts):
            total += SPAN**2 * np.einsum("k,ki,kj->ij", way.weight, way.shifts, way.shifts)
        else:
            total += SPAN**2 * np.tensordot(way.weight, way.covariances, axes=1)
    return np.asarray(total)


def place_tells(tones: PrintedTones) -> bool:
    """Whether unevenness can be told from tone: places are known, and tones scattered over them."""
    return tones.place is not None and tones.place_follows_tone <= LEAST_ASTRAY


def _uneven(tones: PrintedTones, response: Response) -> Scatters | None:
    """Light or coating that varies over the sheet; None where that cannot be told."""
    if not place_tells(tones):
        return None
    steep = response.steepness(tones.readings.level)
    same = np.equal.outer(tones.sheet, tones.sheet)
    return _scattered(UNEVEN_STOPS, same * nearness(tones) * np.outer(steep, steep), STOP)
