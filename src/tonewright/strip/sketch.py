"""A strip's response drawn in a moment, while its densities are still being typed.

It only rises; it is no fit: it tells no band and no printing time.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import isotonic_regression

from tonewright.record.times import ratio
from tonewright.scales import STOP, Array
from tonewright.strip.readings import Strip
from tonewright.strip.tablet import Tablet

USUAL_FILM = 0.08
"""Density of clear film, where no fit has told it yet (common practice, no source)."""
_SPREAD = 0.1
"""Log exposure over which neighbours are averaged: a step of the finer tablet."""


def step_exposures(strip: Strip, tablet: Tablet, film_density: float | None) -> Array:
    """Exposure of each reading, shape (n,), in stops from clear film at the longest time; of a film
    of usual density where none is known."""
    longest, film = strip.times()[-1], USUAL_FILM if film_density is None else film_density
    return np.array([(math.log10(ratio(p.time, longest)) - tablet.densities[p.step - 1]
                      + (film if p.through == "bare" else 0.0)) / STOP
                     for p in strip.patches])


def sketch(stops: Array, density: Array) -> tuple[Array, Array]:
    """A rising line through readings: stops and density, each of shape (m,).

    Pool-adjacent-violators regression (Barlow et al. 1972, by scipy), averaged over a step.
    """
    order = np.argsort(stops)
    x, rising = stops[order], isotonic_regression(density[order]).x
    at = np.linspace(x[0], x[-1], 121)
    weight = np.exp(-0.5 * ((at[:, None] - x[None, :]) * STOP / _SPREAD) ** 2)
    return at, np.maximum.accumulate((weight @ rising) / weight.sum(axis=1))
