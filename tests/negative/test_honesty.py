"""What a negative cannot hold is counted and said."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from tonewright.negative import honesty
from tonewright.negative.findings import BlackTonesLost, WhiteTonesLost
from tonewright.negative.tones import code_table, encoding_lightness


class Curve:
    """Ink proportional to image lightness within two ends, flat beyond; aims from 8 to 92."""

    name = "stand-in"

    def __init__(self, dark=0.0, light=100.0):
        self.dark, self.light = dark, light

    def level_at(self, image_lightness):
        return np.interp(image_lightness, [self.dark, self.light], [0.05, 0.8])

    def print_lightness_at(self, image_lightness):
        return np.interp(image_lightness, [self.dark, self.light], [8.0, 92.0])


def test_pixels_at_the_ends_are_counted_band_by_band():
    table = code_table(encoding_lightness("lightness", 65536), Curve(10.0, 95.0))
    values = np.random.default_rng(1).integers(0, 65536, (50, 40))
    ends = honesty.Ends.of(table)
    for band in np.array_split(table[values], 7):
        ends.count(band)
    # counted from the image instead: all at or below L* 10, all at or above L* 95, to half a code
    lightness = values * 100 / 65535
    half = 0.5 / 65535 / (0.75 / 85)
    assert ends.pixels == ((lightness <= 10 + half).sum(), (lightness >= 95 - half).sum())


def test_ends_start_from_nothing():
    table = np.array([9, 3], np.uint16)
    one, two = honesty.Ends.of(table), honesty.Ends.of(table)
    one.count(np.array([[9, 9, 3]], np.uint16))
    assert (one.pixels, two.pixels) == ((2, 1), (0, 0))


def lost(black, white, shares=(0.5, 0.5)):
    """What a picture loses through a curve that tells no tones apart beyond those (L*)."""
    lightness = encoding_lightness("lightness", 65536)
    return honesty.lost_tones(shares, lightness, code_table(lightness, Curve(black, white)))


def test_lost_tones_say_where_tones_end():
    dark, light = lost(10.0, 95.0)
    assert dark.below_image_lightness == pytest.approx(10, abs=0.01)
    assert light.above_image_lightness == pytest.approx(95, abs=0.01)
    assert lost(0.0, 100.0) == (BlackTonesLost(0.5, None), WhiteTonesLost(0.5, None))


def test_ends_are_told_from_one_pixel_in_a_hundred():
    assert lost(10.0, 100.0, (0.0099, 0.0099)) == ()
    # of the light end only pure white is lost
    dark, light = lost(10.0, 100.0, (0.012, 0.25))
    assert (dark.share, dark.below_image_lightness) == (0.012, pytest.approx(10.0, abs=0.01))
    assert light == WhiteTonesLost(0.25, None)


def test_steps_of_8_bits_as_colour_science_has_them():
    """Linear 8-bit values: the first step is L* 903.3 / 255 = 3.54 of the image."""
    step, where = honesty.largest_step(encoding_lightness("linear", 256), Curve())
    expected = np.diff(colour.colorimetry.lightness_CIE1976(100 * np.arange(256) / 255)) * 0.84
    assert step == pytest.approx(expected.max(), rel=1e-3)
    assert where == pytest.approx(0.0, abs=1e-9)


def test_banding_is_told_where_the_source_has_too_few_tones():
    curve = Curve()
    coarse = honesty.largest_step(encoding_lightness("linear", 256), curve)
    found = honesty.visible_steps(8, coarse)
    assert (found.bits, found.colour) == (8, False)
    assert found.step_lightness == pytest.approx(3.54 * 0.84, abs=0.01)
    fine = honesty.largest_step(encoding_lightness("linear", 65536), curve)
    assert honesty.visible_steps(16, fine) is None
    ordinary = honesty.largest_step(encoding_lightness("gamma:2.2", 256), curve)
    assert honesty.visible_steps(8, ordinary) is None


def test_a_curve_that_stretches_few_tones_bands():
    """The same 8-bit image through an aim that spreads image L* 40 to 60 over the whole print."""
    steps = honesty.largest_step(encoding_lightness("gamma:2.2", 256), Curve(40.0, 60.0))
    assert honesty.visible_steps(8, steps) is not None


def test_without_an_aim_nothing_is_claimed():
    class Bare:
        name = "bare"

        def level_at(self, image_lightness):
            return image_lightness / 100

    assert honesty.largest_step(encoding_lightness("linear", 256), Bare()) is None
    assert honesty.visible_steps(8, None) is None
