"""From image values to the codes of a negative."""

from __future__ import annotations

import io

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms

from straight import Straight
from tonewright.errors import DocumentError, OptionError
from tonewright.files.raster.icc import lightness_profile
from tonewright.negative.tones import apply_band, code_table, encoding_lightness

# What values mean


def test_lightness_is_proportional():
    assert encoding_lightness("lightness", 256)[[0, 51, 255]] == pytest.approx([0, 20, 100])


def test_linear_values_by_the_handbook():
    """CIE 15: Y = 18.4187 % of white is L* 50; 8.856 452 / 1000 is L* 8."""
    lightness = encoding_lightness("linear", 65536)
    at = np.interp([0.184187, 216 / 24389], np.arange(65536) / 65535, lightness)
    assert at == pytest.approx([50.0, 8.0], abs=2e-3)


def test_srgb_as_colour_science_has_it():
    """IEC 61966-2-1 and CIE 1976 L* by the reference library, each 8-bit value."""
    luminance = colour.models.eotf_sRGB(np.arange(256) / 255.0)
    expected = colour.colorimetry.lightness_CIE1976(100 * luminance)
    assert encoding_lightness("srgb", 256) == pytest.approx(expected, abs=2e-3)
    assert encoding_lightness("sRGB", 65536)[::257] == pytest.approx(expected, abs=2e-3)


def test_srgb_as_littlecms_has_it():
    """littleCMS's own sRGB profile into a gray one of CIE lightness, 8 bits: steps of 0.39."""
    transform = ImageCms.buildTransform(
        ImageCms.createProfile("sRGB"),
        ImageCms.ImageCmsProfile(io.BytesIO(lightness_profile())),
        "RGB", "L", ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE,
    )  # fmt: skip
    ramp = Image.fromarray(np.repeat(np.arange(256, dtype=np.uint8), 3).reshape(1, 256, 3))
    seen = np.asarray(ImageCms.applyTransform(ramp, transform))[0] / 2.55
    assert np.abs(encoding_lightness("srgb", 256) - seen).max() < 0.25


def test_gamma_is_a_power_of_luminance():
    value = np.arange(65536) / 65535
    expected = colour.colorimetry.lightness_CIE1976(100 * value**1.8)
    assert encoding_lightness("gamma:1.8", 65536) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("word", ["lightness", "linear", "srgb", "gamma:2.2", "gamma:1"])
def test_every_encoding_rises_from_0_to_100(word):
    lightness = encoding_lightness(word, 65536)
    assert lightness[[0, -1]] == pytest.approx([0, 100])
    assert (np.diff(lightness) > 0).all()


@pytest.mark.parametrize("word", ["", "rgb", "gamma", "gamma:", "gamma:nan", "gamma:0", "gamma:9"])
def test_unknown_encodings(word):
    with pytest.raises(OptionError, match="lightness, srgb, linear or gamma"):
        encoding_lightness(word, 256)


# Codes


def test_codes_of_the_straight_curve_are_the_negative_itself():
    """Proportional all the way: 65535 minus the value, exactly (DESIGN: round(65535 (1 - u)))."""
    table = code_table(encoding_lightness("lightness", 65536), Straight())
    assert table.dtype == np.uint16
    assert np.array_equal(table, 65535 - np.arange(65536))


def test_image_black_is_nearly_clear_film():
    table = code_table(encoding_lightness("srgb", 256), Straight(0.05, 0.6))
    assert table[0] == round(65535 * 0.95)
    assert table[-1] == round(65535 * 0.4)
    assert (np.diff(table.astype(int)) <= 0).all()


@pytest.mark.parametrize("curve", [Straight(0, 1.2), Straight(-0.1, 1), Straight(0, np.nan)])
def test_a_curve_that_asks_for_impossible_ink(curve):
    with pytest.raises(DocumentError, match="straight"):
        code_table(encoding_lightness("linear", 256), curve)


@pytest.mark.parametrize("mirror", [False, True])
@pytest.mark.parametrize("upside_down", [False, True])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(1, 1), (700, 300), (3, 70000)])
def test_bands(mirror, upside_down, kind, shape):
    random = np.random.default_rng(2)
    size = np.iinfo(kind).max + 1
    values = random.integers(0, size, shape).astype(kind)
    table = random.permutation(65536)[:size].astype(np.uint16)
    expected = table[values][:: -1 if upside_down else 1, :: -1 if mirror else 1]
    before = values.copy()
    assert np.array_equal(
        apply_band(values, table, mirror=mirror, upside_down=upside_down), expected
    )
    assert np.array_equal(values, before)
    if kind is np.uint16 and not upside_down:
        apply_band(values, table, mirror=mirror, out=values)
        assert np.array_equal(values, expected)
