"""A new curve from an old one, after the paper or the chemistry changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tonewright.calibrate import make_curve
from tonewright.curve import Ancestor, Curve
from tonewright.readings import Readings
from tonewright.setup import Setup


@dataclass(frozen=True)
class Movement:
    """What moved between an old curve and its renewal; lightness is CIE L*."""

    old_black_lightness: float
    new_black_lightness: float
    old_white_lightness: float
    new_white_lightness: float
    old_levels: tuple[float, float]
    """Ink levels of black and white."""
    new_levels: tuple[float, float]
    largest_shift_lightness: float
    """Largest tone error had the old curve been kept: signed, print less aim."""
    shift_at_image_lightness: float
    """Image lightness at which it happens."""
    rms_shift_lightness: float
    """Root mean square of that error over the tone scale."""


def renew_from_readings(
    old: Curve, sha256: str, readings: Readings, name: str, changes: dict[str, str | None]
) -> Curve:
    """Fit new readings with the old curve's aim, the setup carried over with its changes.

    Parameters
    ----------
    old, sha256:
        The curve renewed and the fingerprint of its file, kept as the ancestor.
    changes:
        New entries of the setup; None keeps the old one.

    Raises
    ------
    FitError
        As `tonewright.calibrate.make_curve`.
    """
    settings = replace(old.settings, left_out=())
    return make_curve(readings, settings, old.setup.with_changes(changes), name,
                      Ancestor(old.name, sha256, old.setup))


def movement(old: Curve, new: Curve) -> Movement:
    """What moved, and how far off the new print would be had the old curve been kept."""
    image = np.linspace(1.0, 99.0, 197)
    kept = new.response.lightness_at(old.level_at(image))
    shift = kept - new.print_lightness_at(image)
    worst = int(np.argmax(np.abs(shift)))
    was, now = old.summary, new.summary
    return Movement(
        was.black_lightness, now.black_lightness, was.white_lightness, now.white_lightness,
        (was.level_black, was.level_white), (now.level_black, now.level_white),
        round(float(shift[worst]), 2), float(image[worst]),
        round(float(np.sqrt(np.mean(shift**2))), 2))


def changed_setup(old: Setup, new: Setup) -> tuple[str, ...]:
    """One line for each entry of the setup that changed."""
    return tuple(f"{name}: {before or 'not said'} → {after or 'not said'}"
                 for name, (before, after) in old.differences(new).items())
