"""Two documents of one curve: where they differ by more than rounding."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from tonewright.curve.document import FORM, Curve
from tonewright.frozen import dataclass
from tonewright.record.schema import is_number

MEANS_NOTHING, SHARE_MEANS_NOTHING = 5e-4, 2e-4
"""Difference in L*, density or ink level, or as a share of larger numbers, that no instrument and
no eye can tell: 0.02 L* in paper white, half a thousandth of density.  Linear algebra on another
processor differs by about 1e-6."""


@dataclass(frozen=True)
class Difference:
    """A part of the document that comes out otherwise."""

    part: str
    """Such as ``correction.level``."""
    amount: float | None
    """The largest difference of its numbers; None: something else than numbers differs."""


def differences(old: Curve, new: Curve) -> tuple[Difference, ...]:
    """Where a curve made again is not the old one; what made it is not compared."""
    before, after = FORM.encode(old), FORM.encode(new)
    found: dict[str, float | None] = {}
    for part, amount in _walk(before, after, ()):
        larger = None in (amount, found.get(part, 0.0))
        found[part] = None if larger else max(amount or 0.0, found.get(part) or 0.0)
    found.pop("made_by", None)
    return tuple(Difference(*each) for each in found.items())


def print_shift(old: Curve, new: Curve) -> float:
    """L* by which the prints that the two predict differ at most, over all tones of a picture."""
    image = new.correction.image_lightness
    light = [curve.response.lightness_at(curve.level_at(image)) for curve in (old, new)]
    return float(np.max(np.abs(light[0] - light[1])))


def _walk(old: Any, new: Any, path: tuple[str, ...]) -> Iterator[tuple[str, float | None]]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in {**old, **new}:
            yield from _walk(old.get(key), new.get(key), (*path, key))
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for one, other in zip(old, new, strict=True):
            yield from _walk(one, other, path)
    elif is_number(old) and is_number(new):
        if not math.isclose(old, new, rel_tol=SHARE_MEANS_NOTHING, abs_tol=MEANS_NOTHING):
            yield ".".join(path), abs(old - new)
    elif old != new:
        yield ".".join(path), None
