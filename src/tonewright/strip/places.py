"""Where a strip's steps lie on the axis that its pictures have: stops from clear film."""

from __future__ import annotations

from tonewright.scales import STOP, Array
from tonewright.strip.process import Process


def start(process: Process) -> float:
    """Exposure (log10) that counts as 0 stops: clear film at the base printing time or, where that
    is not known, at the strip's longest time."""
    known = process.summary.next_time is None
    return process.shift(process.base_time if known else process.strip.times()[-1])


def response_stops(process: Process) -> Array:
    """Exposures of the response's table, in stops from `start`, shape (m,)."""
    return (process.exposure - start(process)) / STOP


def step_stops(process: Process, row: int) -> float:
    """Exposure of a row of the strip, in stops from `start`."""
    patch = process.strip.patches[row]
    bare = (process.summary.film_density or 0.0) if patch.through == "bare" else 0.0
    exposure = process.shift(patch.time) - process.tablet.densities[patch.step - 1] + bare
    return (exposure - start(process)) / STOP
