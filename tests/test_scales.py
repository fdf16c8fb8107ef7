"""Unit changes against published tables; each block of tests/reference/ names its source."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest

from tonewright import scales
from tonewright.errors import ReadingsError

REFERENCE = Path(__file__).parent / "reference"


def published(name: str) -> dict[str, Any]:
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def test_density_to_lightness_is_cie_l_star_of_iso_density() -> None:
    """CIE 15 / ISO 11664-4 and ISO 5-4."""
    table = published("density_to_lightness")
    light = scales.density_to_lightness(table["density"])
    np.testing.assert_allclose(light, table["lightness"], atol=table["tolerance"], rtol=0)
    back = scales.lightness_to_density(light)
    np.testing.assert_allclose(back, table["density"], atol=1e-12)


def test_the_knee_of_the_lightness_scale() -> None:
    """CIE 15: below L* 8 the scale is a straight line."""
    knee = published("density_to_lightness")["knee"]
    assert scales.lightness_to_luminance(knee["lightness"]) == pytest.approx(
        knee["luminance_percent"], abs=5e-7
    )
    assert scales.lightness_to_density(knee["lightness"]) == pytest.approx(
        knee["density"], abs=5e-6
    )


def test_lightness_of_worked_luminances() -> None:
    """colour-science's own test values for CIE 1976 lightness."""
    worked = published("lightness_worked")
    found = scales.luminance_to_lightness(worked["Y"])
    np.testing.assert_allclose(found, worked["lightness"], rtol=0, atol=1e-7)


@pytest.mark.parametrize("name", ["neutral_row", "munsell_value"])
def test_luminance_density_and_lightness_of_grey_scales(name: str) -> None:
    """McCamy, Marcus & Davidson 1976; ASTM D1535."""
    row = published(name)
    places = 4 if name == "munsell_value" else 2
    density = scales.luminance_to_density(row["Y"])
    np.testing.assert_allclose(density, row["density"], rtol=0, atol=6e-5)
    light = scales.luminance_to_lightness(row["Y"])
    # The published Y is rounded: half a unit of its last place, carried into L*.
    slack = 6e-4 + scales.lightness_per_density(light) * 0.5 * 10.0**-places / np.array(row["Y"])
    assert np.all(np.abs(light - row["lightness"]) <= slack)


def test_nominal_densities_of_the_neutral_row() -> None:
    """The densities in the patch names of the 1976 chart, within 0.005."""
    row = published("neutral_row")
    density = scales.luminance_to_density(row["Y"])
    np.testing.assert_allclose(density, row["nominal_density"], rtol=0, atol=0.005)


def test_measured_grey_steps() -> None:
    """IT8.7/1 reference data: luminance, lightness and visual density measured on one target."""
    rows = np.array(published("it8_gray")["rows"])
    luminance, lightness, density = rows[rows[:, 0] > 1.0].T
    assert luminance.size > 15
    assert np.max(np.abs(scales.luminance_to_density(luminance) - density)) <= 0.008
    assert np.max(np.abs(scales.luminance_to_lightness(luminance) - lightness)) <= 0.041


def test_density_that_makes_one_lightness_unit() -> None:
    """The reference gives the density step for one L*; ours is the slope of the same formula."""
    for density, step in published("just_noticeable")["delta_density_for_one_L"].items():
        light = scales.density_to_lightness(float(density))
        assert 1.0 / scales.lightness_per_density(light) == pytest.approx(step, abs=1e-4)
        narrow = 1e-6
        darker = scales.density_to_lightness(float(density) + narrow)
        assert (light - darker) / narrow == pytest.approx(
            float(scales.lightness_per_density(light)), rel=1e-4
        )


def test_codes() -> None:
    assert scales.level_to_code([0.0, 1.0]).tolist() == [65535, 0]
    codes = np.arange(65536, dtype=np.uint16)
    assert np.array_equal(scales.level_to_code(scales.code_to_level(codes)), codes)


def chart() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    spectra = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    return {name: (sd.wavelengths, sd.values) for name, sd in spectra.items()}


def test_visual_density_is_not_luminance_on_coloured_patches() -> None:
    """Spectra carried by colour-science; differences in tests/reference/."""
    expected = published("visual_density_vs_luminance")["difference"]
    neutrals = []
    for name, (waves, reflectance) in chart().items():
        by_luminance = scales.luminance_to_density(scales.luminance_of_spectrum(waves, reflectance))
        difference = scales.visual_density_of_spectrum(waves, reflectance) - by_luminance
        if name in expected:
            assert difference == pytest.approx(expected[name], abs=6e-4)
        if "D)" in name:
            neutrals.append(abs(float(difference)))
    assert len(neutrals) == 6
    assert max(neutrals) == pytest.approx(expected["neutrals"], abs=1e-4)


def test_neutral_spectra_have_the_published_luminance() -> None:
    """The 1976 neutral row and a later average of 30 charts agree within 3 % of luminance."""
    row = published("neutral_row")
    found = [scales.luminance_of_spectrum(*sp) for name, sp in chart().items() if "D)" in name]
    np.testing.assert_allclose(found, row["Y"], rtol=0.035)


def test_perfect_white_and_an_even_grey() -> None:
    waves = np.arange(380.0, 731.0, 10.0)
    spectra = np.stack([np.ones(waves.size), np.full(waves.size, 0.1)])
    np.testing.assert_allclose(scales.luminance_of_spectrum(waves, spectra), [100.0, 10.0])
    np.testing.assert_allclose(
        scales.visual_density_of_spectrum(waves, spectra), [0.0, 1.0], atol=1e-12
    )
    assert scales.luminance_of_spectrum(waves, spectra[0]).shape == ()
    assert scales.luminance_of_spectrum(waves, np.ones((2, 3, waves.size))).shape == (2, 3)


@pytest.mark.parametrize(
    ("waves", "most"),
    [
        (np.arange(385.0, 726.0, 10.0), 0.003),
        (np.arange(383.0, 728.0, 5.0), 0.003),
        (np.arange(380.0, 731.0, 4.0), 0.003),
        (np.arange(380.0, 730.1, 3.5), 0.003),
        (np.r_[np.arange(300.0, 500.0, 10.0), np.arange(500.0, 1101.0, 5.0)], 0.003),
        (np.arange(400.0, 701.0, 20.0), 0.05),
    ],
)
def test_other_wavelength_steps_give_the_same_luminance(waves: np.ndarray, most: float) -> None:
    """One spectrum sampled otherwise; 20 nm loses a little, as ASTM E308 says it does."""
    fine = np.arange(380.0, 731.0, 1.0)
    for start, reflectance in chart().values():
        sd = colour.SpectralDistribution(reflectance, start)
        smooth = sd.interpolate(colour.SpectralShape(380, 730, 1)).values
        found = scales.luminance_of_spectrum(waves, np.interp(waves, fine, smooth))
        assert found == pytest.approx(scales.luminance_of_spectrum(start, reflectance), abs=most)


@pytest.mark.parametrize(
    "waves",
    [
        np.arange(410.0, 731.0, 10.0),
        np.arange(380.0, 691.0, 10.0),
        np.arange(380.0, 731.0, 25.0),
        np.arange(730.0, 379.0, -10.0),
        np.array([500.0]),
        np.array([]),
    ],
)
def test_spectra_that_cannot_be_weighted(waves: np.ndarray) -> None:
    with pytest.raises(ReadingsError):
        scales.luminance_of_spectrum(waves, np.ones(waves.size))


def test_a_channel_runs_straight_from_white_to_the_inks_colour():
    levels = np.array([0.0, 0.5, 1.0])
    assert scales.channel_value(levels, 0).tolist() == [65535, 32768, 0]
    assert scales.channel_value(levels, 255).tolist() == [65535, 65535, 65535]
    assert scales.channel_value(1.0, 120) == 120 * 257
    assert scales.channel_value(0.5, 120) == round((65535 + 120 * 257) / 2 + 1e-9)


def test_many_spectra_are_weighed_as_one_by_one():
    """The weights found once give what each spectrum gives by itself, even and uneven."""
    rng = np.random.default_rng(5)
    for waves in (np.arange(400.0, 701.0, 10.0), np.arange(395.5, 712.0, 7.5)):
        many = rng.uniform(0.02, 0.9, (waves.size + 5, waves.size))
        for density in (scales.luminance_of_spectrum, scales.visual_density_of_spectrum):
            np.testing.assert_allclose(
                density(waves, many)[:3], density(waves, many[:3]), rtol=1e-12)
