"""The generated picture: whole tone scale, a true wedge and ramp, the same for the same seed."""

from __future__ import annotations

import numpy as np
import pytest

from tonewright.errors import OptionError
from tonewright.virtual.scene import scene


@pytest.fixture(scope="module")
def picture():
    return scene(600, 450, seed=1)


def test_shape_type_and_seed(picture):
    assert picture.shape == (450, 600)
    assert picture.dtype == np.uint16
    np.testing.assert_array_equal(picture, scene(600, 450, seed=1))
    assert np.any(picture != scene(600, 450, seed=2))


def test_tones_fill_the_scale(picture):
    photograph = picture[: 450 - 63]
    lightness = photograph / 655.35
    share, _ = np.histogram(lightness, bins=20, range=(0, 100))
    assert np.all(share > 0.001 * lightness.size)
    assert lightness.min() < 4.0
    assert lightness.max() > 99.0
    assert np.unique(photograph).size > 10000  # truly 16 bits, not 8 stretched


def test_sky_is_smooth_and_ground_is_textured(picture):
    lightness = picture / 655.35
    sky = np.abs(np.diff(lightness[70:100, 200:280], axis=1))
    grass = np.abs(np.diff(lightness[330:380, 20:120], axis=1))
    assert np.median(sky) < 0.3
    assert np.median(grass) > 5.0 * np.median(sky)


def test_wedge_has_21_even_steps_and_the_ramp_is_continuous(picture):
    wedge, ramp = picture[450 - 63 + 10], picture[-1]
    steps = np.unique(wedge)
    expected = np.floor(np.linspace(0.0, 65535.0, 21) + 0.5)
    np.testing.assert_allclose(steps, expected, atol=1)
    assert ramp[0] == 0
    assert ramp[-1] == 65535
    np.testing.assert_allclose(np.diff(ramp.astype(float)), 65535 / 599, atol=1.01)


@pytest.mark.parametrize(("width", "height"), [(64, 64), (400, 100), (90, 300)])
def test_odd_sizes_work(width, height):
    assert scene(width, height).shape == (height, width)


def test_too_small_is_refused():
    with pytest.raises(OptionError, match="64 x 64"):
        scene(63, 100)
