"""Luminance to codes: held against double precision, for gentle, steep, flat and broken curves."""

from __future__ import annotations

import numpy as np
import pytest

from tonewright.errors import DocumentError
from tonewright.negative import honesty
from tonewright.negative.colour import Luminances, luminances_of
from tonewright.negative.luminance import LuminanceCodes, luminance_codes
from tonewright.show.findings import sentence


class Table:
    name = "table"

    def __init__(self, lightness, level):
        self.lightness, self.level = lightness, level

    def level_at(self, image_lightness):
        return np.interp(image_lightness, self.lightness, self.level)


CURVES = {
    "straight": Table([0, 100], [0.05, 0.9]),
    "flat at both ends": Table([0, 12, 90, 100], [0.1, 0.1, 0.8, 0.8]),
    "80 times as steep near black": Table([0, 2, 2.5, 100], [0.0, 0.1, 0.5, 0.9]),
    "80 times as steep near white": Table([0, 99, 99.5, 100], [0.0, 0.4, 0.8, 0.9]),
    "one level": Table([0, 100], [0.4, 0.4]),
}


def expected(luminance, curve):
    """CIE 15:2018 (ISO/CIE 11664-4), then the curve, then one rounding."""
    y = np.clip(luminance.astype(np.float64), 0, 1)
    lightness = np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)
    return np.floor(65535 * (1 - curve.level_at(lightness)) + 0.5).astype(int)


@pytest.mark.parametrize("name", CURVES)
def test_every_luminance_has_its_code_or_the_next_one(name):
    random = np.random.default_rng(4).random(300_000)
    luminance = np.concatenate([random, random**3, random / 113, [0.0, 1.0]]).astype(np.float32)
    codes = LuminanceCodes(CURVES[name])
    seen = codes(luminance).astype(int)
    off = np.abs(seen - expected(luminance, CURVES[name]))
    assert off.max() <= 1
    assert (off[-2:] == 0).all()  # black and white are themselves
    assert np.mean(off) < 0.1
    assert codes.codes.nbytes < 16e6
    assert np.isin(seen, codes.codes).all()


def test_white_and_more_is_white_and_so_is_a_rounding_less():
    one = np.float32(1.0)
    values = np.array([one, np.nextafter(one, np.float32(0)), 1.02, 7.0], np.float32)
    for curve in CURVES.values():
        assert (LuminanceCodes(curve)(values) == expected(values[:1], curve)).all()


def test_a_gentle_curve_takes_a_small_table():
    assert LuminanceCodes(CURVES["straight"]).codes.nbytes < 1.2e6
    assert LuminanceCodes(CURVES["one level"]).codes.size < 100


def test_any_shape_of_any_size():
    codes = LuminanceCodes(CURVES["straight"])
    values = np.random.default_rng(1).random((3, 70_001)).astype(np.float32)
    assert np.array_equal(codes(values), np.stack([codes(row) for row in values]))
    assert codes(np.empty((0, 5), np.float32)).shape == (0, 5)


def test_a_curve_that_answers_with_no_level_is_refused():
    with pytest.raises(DocumentError, match="ink level"):
        LuminanceCodes(Table([0, 100], [0.0, 1.2]))


def test_the_table_of_a_curve_is_kept():
    first, second = CURVES["straight"], CURVES["one level"]
    kept = luminance_codes(first)
    assert luminance_codes(first) is kept
    assert luminance_codes(second) is not kept


def test_a_colour_without_luminance_is_black():
    """A matrix may have a negative number: the blue of some very wide spaces has one."""
    ramp = np.linspace(0.0, 1.0, 256)
    to_luminance = luminances_of(np.outer([0.35, 0.7, -0.05], ramp))
    assert isinstance(to_luminance, Luminances)
    pixels = np.array([[[0, 0, 255], [0, 0, 0], [255, 255, 255], [3, 0, 255]]], np.uint8)
    seen = to_luminance(pixels)[0]
    assert seen[:3].tolist() == [0.0, 0.0, 1.0]
    assert seen[3] == 0.0


def test_an_image_in_colour_has_grays_not_tones():
    step = (3.0, 10.0)
    assert "one of its 256 grays" in sentence(honesty.visible_steps(8, step, colour=True))
    assert "one of its 256 tones" in sentence(honesty.visible_steps(8, step))
