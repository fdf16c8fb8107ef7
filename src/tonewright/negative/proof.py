"""How a print looks on a screen: the sRGB colour of every code of its negative."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonewright import scales
from tonewright.curve.aim import ALIKE, alike_ends
from tonewright.curve.document import Curve
from tonewright.frozen import dataclass
from tonewright.measured.readings import Tint
from tonewright.scales import Array

BLACK_MARK, WHITE_MARK = (230, 120, 0), (110, 60, 200)
"""Orange over tones that fall together in black, violet in white: neither is a colour of prints,
and both are told apart whatever colours the eye sees."""
_NODES = 2001
_HALVINGS = 20
_TELL_CHROMA = 1.0
"""C* that a screen's colours fall short by, from which it is told."""


@dataclass(frozen=True, eq=False)
class Proof:
    """What a curve's print shows."""

    curve: str
    colours: NDArray[np.uint8]
    """Red, green and blue (IEC 61966-2-1) of each code of the negative, shape (65536, 3)."""
    black_lightness: float
    white_lightness: float
    """L* that image black and image white print as."""
    below_image_lightness: float | None
    above_image_lightness: float | None
    """L* of the image below which all tones print as black, above which as white; None: they are
    told apart."""
    tints: int
    """Readings that say which colour a tone has; 0: the proof is neutral."""
    relative_to_paper: bool
    chroma_lost: float
    """C* at most by which the screen's colours fall short of the print's."""


def make_proof(curve: Curve, *, mark: bool = False) -> Proof:
    """The colours of a curve's print: for each code what the print response makes of that ink.

    Its paper white and its black are as light as they were measured, against a screen white of
    L* 100; from D50 to the screen's white by the Bradford transform.  With ``mark`` tones that
    fall together at either end are marked.
    """
    light = curve.response.lightness_at(scales.code_to_level(np.arange(scales.FULL_CODE + 1)))
    light = np.clip(light, 0.0, 100.0)
    nodes = np.linspace(0.0, 100.0, _NODES)
    a, b = _tints_at(nodes, curve.tints)
    linear, lost = _within_screen(np.stack([nodes, a, b], axis=-1))
    colours = scales.encode_srgb(np.stack(
        [np.interp(light, nodes, channel) for channel in linear.T], axis=-1))
    image = curve.correction.image_lightness
    printed = light[curve.code_at(image)]
    black, white = float(printed[0]), float(printed[-1])
    below, above = alike_ends(image, printed, white - black)
    if mark and below is not None:
        colours[light <= black + ALIKE] = BLACK_MARK
    if mark and above is not None:
        colours[light >= white - ALIKE] = WHITE_MARK
    seen = (nodes >= black) & (nodes <= white)
    return Proof(curve.name, colours, black, white, below, above, len(curve.tints),
                 curve.relative_to_paper, float(lost[seen].max(initial=0.0)))


def loses_chroma(proof: Proof) -> bool:
    """Whether a screen shows the print plainly less coloured than it is."""
    return proof.chroma_lost >= _TELL_CHROMA


def _tints_at(lightness: Array, tints: Sequence[Tint]) -> tuple[Array, Array]:
    """a* and b* at lightnesses (L*), shape (n,): on straight lines between the readings, those of
    nearly one lightness together; beyond them as at the nearest; 0 without readings."""
    if not tints:
        return np.zeros_like(lightness), np.zeros_like(lightness)
    read = np.array([(t.lightness, t.a, t.b) for t in tints])
    group = np.round(read[:, 0])
    light, a, b = np.array([read[group == g].mean(axis=0) for g in np.unique(group)]).T
    return np.interp(lightness, light, a), np.interp(lightness, light, b)


def _within_screen(lab: Array) -> tuple[Array, Array]:
    """Linear sRGB of colours, shape (n, 3), at the same lightness and hue, with as much of their
    chroma as sRGB holds; and how much C* is lost."""
    low, high = np.zeros(len(lab)), np.ones(len(lab))
    fits = _fits(lab)
    for _ in range(_HALVINGS):
        middle = np.where(fits, 1.0, (low + high) / 2.0)
        inside = _fits(_paled(lab, middle))
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    kept = np.where(fits, 1.0, low)
    lost = (1.0 - kept) * np.hypot(lab[:, 1], lab[:, 2])
    return scales.lab_to_linear_srgb(_paled(lab, kept)).clip(0.0, 1.0), lost


def _paled(lab: Array, share: Array) -> Array:
    return np.asarray(lab * np.stack([np.ones_like(share), share, share], axis=-1))


def _fits(lab: Array) -> NDArray[np.bool_]:
    linear = scales.lab_to_linear_srgb(lab)
    return np.asarray(((linear >= -1e-6) & (linear <= 1.0 + 1e-6)).all(axis=-1))
