"""Scanner responses against published gray scales and scanners that colour-science encodes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import colour
import numpy as np
import pytest

from rooms import Scanner, random_scanner
from tonewright.errors import DocumentError, OptionError, ReadingsError
from tonewright.files.documents import to_text
from tonewright.measured.columns import Source
from tonewright.measured.findings import ScanHasFewTones
from tonewright.record.codec import encode
from tonewright.scales import density_to_lightness
from tonewright.scan.findings import DensitiesByKnownPatches, ResponseEndsEarly
from tonewright.scan.image import Scan
from tonewright.scan.response import (
    response_from_gray_scale,
    response_from_known_patches,
    response_from_profile,
)
from tonewright.scan.scanner import FORM, ScannerResponse

REFERENCE = Path(__file__).parents[1] / "reference"


def reference(name):
    return json.loads((REFERENCE / name).read_text(encoding="utf-8"))


# IT8.7/1 batch data F210418, measured visual densities of its 24 neutral steps
IT8 = np.array([row[2] for row in reference("it8_gray.json")["rows"]])
# the neutral row of the 24-patch colour-rendition chart: McCamy, Marcus & Davidson 1976
NEUTRAL = np.array(reference("neutral_row.json")["density"])


def encoded(density, flare=0.004, gain=0.95):
    """Codes of a scanner that encodes as sRGB, by colour-science rather than by our renderer."""
    light = gain * (10.0 ** -np.asarray(density) + flare)
    return colour.models.eotf_inverse_sRGB(light)


def rms(response, code_of, upto=1.6):
    true = np.linspace(0.06, upto, 80)
    found, _, inside = response.density_of(code_of(true))
    assert inside.all()
    return float(np.sqrt(np.mean((found - true) ** 2)))


def test_published_gray_scale_reads_the_published_neutral_row():
    """A response from the one scale finds the densities of the other, to the files' rounding."""
    response = response_from_gray_scale(IT8, encoded(IT8), np.full(IT8.size, 1e-4))
    found, sd, inside = response.density_of(encoded(NEUTRAL))
    assert inside.all()
    # the published densities are rounded to 0.01, which the response takes in
    assert np.abs(found - NEUTRAL).max() < 0.006
    assert np.all(np.abs(found - NEUTRAL) < 4.0 * sd)


def test_six_published_steps_already_make_a_response():
    response = response_from_gray_scale(NEUTRAL, encoded(NEUTRAL), np.full(6, 1e-4))
    assert rms(response, encoded, 1.5) < 0.015
    assert response.darkest_density == pytest.approx(1.5045 + 0.05, abs=0.02)


@pytest.mark.parametrize("steps", [12, 21])
def test_many_scanners_within_what_the_project_promises(steps):
    """0.015 density RMS up to 1.6 (promised), from lists with errors of 0.01 and noisy codes."""
    found, covered = [], []
    for seed in range(25):
        rng = np.random.default_rng(seed)
        scanner = random_scanner(rng)
        true = np.linspace(0.06, rng.uniform(1.7, 2.3), steps)
        listed = np.round(true + rng.normal(0.0, 0.007, steps), 2)
        code_sd = 3e-4
        code = scanner.code(true) + rng.normal(0.0, code_sd, steps)
        response = response_from_gray_scale(listed, code, np.full(steps, code_sd))
        found.append(rms(response, scanner.code))
        asked = np.linspace(0.1, 1.6, 20)
        value, sd, _ = response.density_of(scanner.code(asked))
        covered.append(np.mean(np.abs(value - asked) < 2.0 * sd))
    assert max(found) < 0.015
    assert np.median(found) < 0.008
    assert np.mean(covered) > 0.85


def test_an_odd_scanner_program_is_followed():
    """A contrast curve that no power describes."""
    def code(density):
        light = encoded(density)
        return light + 0.08 * np.sin(2.0 * np.pi * light) / (2.0 * np.pi)

    steps = np.linspace(0.05, 2.0, 16)
    assert rms(response_from_gray_scale(steps, code(steps), np.full(16, 1e-4)), code) < 0.015


def test_density_falls_with_the_code_everywhere():
    response = response_from_gray_scale(IT8, encoded(IT8), np.full(24, 1e-3))
    density = response.density_of(np.linspace(0.0, 1.0, 4001))[0]
    assert np.all(np.diff(density) <= 0.0)
    assert response.density_per_code(0.5) == pytest.approx(
        -(response.density_of(0.505)[0] - response.density_of(0.495)[0]) / 0.01, rel=0.02)


def test_outside_its_range_it_says_so():
    response = response_from_gray_scale(NEUTRAL, encoded(NEUTRAL), np.full(6, 1e-4))
    inside = response.density_of(encoded([0.3, 1.4, 1.8, 2.5]))[2]
    assert inside.tolist() == [True, True, False, False]
    assert not response.density_of([0.0, 1.0])[2].any()


def test_two_anchors_are_about_right_and_say_how_sure():
    code = Scanner(gamma=2.2, flare=0.003).code
    response = response_from_known_patches([0.08, 1.5], code([0.08, 1.5]), [1e-4, 1e-4])
    asked = np.linspace(0.1, 1.5, 15)
    found, sd, _ = response.density_of(code(asked))
    assert np.abs(found - asked).max() < 0.05
    assert np.all(np.abs(found - asked) < 3.0 * sd)
    assert sd[7] > 0.01
    assert response.findings == (DensitiesByKnownPatches(by_profile=False),)


def test_profile_alone_by_the_standard_curve():
    """sRGB's own curve as profile (IEC 61966-2-1, by colour-science), no flare."""
    codes = np.linspace(0.0, 1.0, 1025)
    light = colour.models.eotf_sRGB(codes)
    lightness = density_to_lightness(-np.log10(np.maximum(light, 1e-9)))
    scan = Scan(np.zeros((4, 4), np.float32), 16, 300.0, lightness)
    response = response_from_profile(scan)
    asked = np.linspace(0.1, 1.2, 12)
    found, sd, inside = response.density_of(colour.models.eotf_inverse_sRGB(10.0**-asked))
    assert inside.all()
    assert np.all(np.abs(found - asked) < 2.5 * sd)
    assert np.all(sd > 0.02)


def test_nothing_known_is_refused():
    with pytest.raises(OptionError, match="no ICC profile"):
        response_from_profile(Scan(np.zeros((4, 4), np.float32), 16, None, None))


@pytest.mark.parametrize(
    ("density", "code", "message"),
    [
        (IT8, encoded(IT8)[::-1], "lighter in the scan where the list says denser"),
        (IT8, np.minimum(3.0 * encoded(IT8), 1.0), "clipped to white"),
        (IT8, np.maximum(encoded(IT8) - 0.4, 0.0), r"\d+ to black"),
        (IT8[:4], encoded(IT8[:4]), "At least 5"),
        (IT8, encoded(IT8)[:-1], "24 densities and 23 steps"),
        (IT8 + 9.0, encoded(IT8), "from 0 to 6"),
    ],
)
def test_bad_gray_scales_are_refused(density, code, message):
    with pytest.raises(ReadingsError, match=message):
        response_from_gray_scale(density, code, np.full(np.size(code), 1e-4))


def test_another_gray_scales_list_is_refused():
    """The list of a gray scale with other steps: 0.05 to 1.5 unevenly spaced, read as even."""
    rng = np.random.default_rng(1)
    shuffled = np.sort(rng.uniform(0.05, 2.0, 20))
    even = np.linspace(0.05, 2.0, 20)
    shuffled[8:12] += 0.25 * np.array([1.0, -1.0, 1.0, -1.0])
    with pytest.raises(ReadingsError, match="list belongs to this gray scale"):
        response_from_gray_scale(even, encoded(shuffled), np.full(20, 1e-4))


@pytest.mark.parametrize(
    ("density", "code", "message"),
    [
        ([0.1], [0.8], "At least two"), ([0.1, 0.3], [0.8, 0.6], "0.5 or more apart"),
        ([0.1, 1.5], [0.2, 0.8], "said to be denser is lighter"),
        ([0.1, 1.5], [1.0, 0.2], "clipped to white"),
    ],
)
def test_bad_anchors_are_refused(density, code, message):
    with pytest.raises(OptionError, match=message):
        response_from_known_patches(density, code, [1e-4] * len(code))


def test_document_comes_back_equal():
    response = response_from_gray_scale(IT8, encoded(IT8), np.full(24, 1e-4), name="flatbed")
    response = replace(response, sources=(Source("s.tif", "scan", "0" * 64),), findings=(
        ResponseEndsEarly(1.2), ScanHasFewTones("s.tif")))
    again = FORM.decode(ScannerResponse, json.loads(to_text(FORM.encode(response))))
    assert encode(again) == encode(response)
    codes = encoded(np.linspace(0.0, 2.0, 30))
    assert np.array_equal(again.density_of(codes), response.density_of(codes))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"format": "other"}, 'its format is "other"'), ({"version": 9}, "version 9"),
        ({"basis": "guess"}, "guess"), ({"flare": "much"}, "flare"), ({"flare": True}, "flare"),
        ({"version": 1}, "version 1"), ({"known": {}}, "the known"),
        ({"findings": "x"}, "findings"), ({"findings": [{"code": "other"}]}, "other"),
        ({"code": [0.1, 0.9], "density": [1.0, 0.1], "density_sd": [0.1, 0.1]}, "(?i)falls"),
        ({"code": [0.9, 0.1], "density": [1.0, 0.1], "density_sd": [0.1, 0.1]}, "never falls"),
        ({"code": [0.9, 0.1], "density": [0.1, 1.0], "density_sd": [0.1, 0.0]}, "above 0"),
        ({"code": [0.9, 0.1], "density": [0.1, 1.0], "density_sd": [0.1]},
         "density_sd has 1 row, code 2"),
        ({"code": [1.9, 0.1], "density": [0.1, 1.0], "density_sd": [0.1, 0.1]}, "1.9"),
    ],
)
def test_damaged_documents_are_refused(change, message):
    response = response_from_gray_scale(IT8, encoded(IT8), np.full(24, 1e-4))
    with pytest.raises(DocumentError, match=message):
        FORM.decode(ScannerResponse, FORM.encode(response) | change)
