"""Inks, lamps and processes: closed formulas held against published values and scipy.stats."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from materials import (
    INK_SHAPES,
    PROCESS_SHAPES,
    PoolingInk,
    even_ink,
    flattening,
    gompertz,
    logistic,
    lumpy,
    normal,
    power,
    richards,
    s_shaped,
    solarising,
    weibull,
)
from rooms import ColouredInks, random_coloured_inks, random_ink, random_process
from tonewright.virtual.darkroom import Ink, Lamp, Process

REFERENCE = Path(__file__).parents[1] / "reference"
LEVELS = np.linspace(0.0, 1.0, 1001)


def published(name: str) -> dict:
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("shape", "form"),
    [
        (power, 0.7), (power, 1.0), (power, 2.0), (s_shaped, 1.0), (s_shaped, 5.0),
        (flattening, 0.5), (flattening, 3.0), (lumpy, -0.9), (lumpy, 0.9),
    ],
)  # fmt: skip
def test_ink_rises_from_nothing_to_its_maximum(shape, form):
    density = Ink(2.4, shape, form).printing_density(LEVELS)
    assert density[0] == pytest.approx(0.0, abs=1e-15)
    assert density[-1] == pytest.approx(2.4, abs=1e-12)
    assert np.all(np.diff(density) > 0.0)


def test_pooling_turns_the_ink_back_only_above_its_level():
    plain = Ink(2.0, power, 1.2)
    pooled = PoolingInk(plain, 0.8, 0.5)
    lost = plain.printing_density(LEVELS) - pooled.printing_density(LEVELS)
    assert np.all(lost[LEVELS <= 0.8] == 0.0)
    assert np.all(lost[LEVELS > 0.8] > 0.0)
    assert lost[-1] == pytest.approx(0.5)
    assert lost[900] == pytest.approx(0.125)  # it sets in gently: a quarter at half the way
    assert np.diff(pooled.printing_density(LEVELS))[-1] < 0.0


def test_logistic_process_is_the_published_case_of_iso_6846():
    case = published("iso6846")["analytic_case"]  # ISO 6846:1992 clauses 5.6 and 6.2
    process = Process(
        logistic,
        white_density=case["Dmin"],
        black_density=case["Dmin"] + case["DN"],
        log_exposure_range=case["range"],
        speed_exposure=case["log_HS"],
    )
    x = np.linspace(-1.0, 4.0, 101)
    analytic = case["Dmin"] + case["DN"] / (1.0 + np.exp(-(x - case["x0"]) / case["s"]))
    np.testing.assert_allclose(process.density(x), analytic, rtol=0, atol=1e-8)
    assert float(process.density(case["log_HT"])) == pytest.approx(case["Dmin"] + 0.04, abs=1e-8)


@pytest.mark.parametrize(
    ("shape", "form", "distribution"),
    [
        (logistic, (), stats.logistic()),
        (normal, (), stats.norm()),
        (weibull, (), stats.gumbel_l()),  # log of a Weibull variable
        (gompertz, (), stats.gumbel_r()),
        # Richards' nu is 1 / c of the generalised logistic, moved by ln nu
        (richards, (0.5,), stats.genlogistic(c=2.0, loc=np.log(0.5))),
        (richards, (2.0,), stats.genlogistic(c=0.5, loc=np.log(2.0))),
    ],
)
def test_shape_against_the_distribution_function_of_scipy(shape, form, distribution):
    process = Process(shape, form, 0.10, 1.70, log_exposure_range=1.4, speed_exposure=2.5)
    toe, shoulder = distribution.ppf([0.04 / 1.6, 0.9])
    x = np.linspace(0.0, 4.0, 81)
    z = shoulder + (x - 2.5) * (shoulder - toe) / 1.4
    expected = 0.10 + 1.60 * distribution.cdf(z)
    np.testing.assert_allclose(process.density(x), expected, rtol=0, atol=1e-10)


def test_random_processes_are_what_they_say():
    rng = np.random.default_rng(11)
    seen = set()
    for _ in range(150):
        process = random_process(rng)
        seen.add(process.shape)
        x = np.linspace(process.speed_exposure - 4.0, process.speed_exposure + 4.0, 40001)
        density = process.density(x)
        assert np.all(np.diff(density) >= 0.0)
        white, black = process.white_density, process.black_density
        toe = np.interp(white + 0.04, density, x)
        shoulder = np.interp(white + 0.9 * (black - white), density, x)
        assert shoulder == pytest.approx(process.speed_exposure, abs=1e-4)
        assert shoulder - toe == pytest.approx(process.log_exposure_range, abs=1e-4)
        assert 0.9 <= process.log_exposure_range <= 2.0
        assert 1.1 <= process.black_density <= 2.1
    assert seen == set(PROCESS_SHAPES)


def test_random_inks_only_rise_and_use_every_shape():
    rng = np.random.default_rng(5)
    inks = [random_ink(rng) for _ in range(100)]
    assert {ink.shape for ink in inks} == set(INK_SHAPES)
    for ink in inks:
        assert 1.2 <= ink.max_density <= 3.0
        assert np.all(np.diff(ink.printing_density(LEVELS)) > 0.0)


def test_solarising_has_a_blackest_exposure_and_falls_beyond_it():
    process = solarising(Process(weibull), 0.3, 0.5)
    exposure, black = process.blackest
    x = np.linspace(exposure - 2.0, exposure + 2.0, 40001)
    density = process.density(x)
    assert black == pytest.approx(density.max(), abs=1e-9)
    assert np.all(np.diff(density[x < exposure - 1e-3]) >= 0.0)
    assert float(process.density(exposure + 1.0)) < black - 0.2
    assert black < process.black_density


def test_schwarzschild_doubling_factor():
    factor = published("exposure_arithmetic")["schwarzschild_p_0.86_doubling_time_factor"]
    lamp = Lamp(reciprocity=0.86)
    one_stop = float(lamp.log_exposure(100.0)) + np.log10(2.0)
    assert lamp.time(one_stop) / 100.0 == pytest.approx(factor, abs=1e-7)
    assert Lamp().time(float(Lamp().log_exposure(100.0)) + np.log10(2.0)) == pytest.approx(200.0)


def test_half_the_light_takes_twice_the_time():
    assert Lamp(0.5).time(2.0) == pytest.approx(2.0 * Lamp(1.0).time(2.0))


def test_coloured_inks_add_up_along_the_straight_line_of_the_file():
    inks = ColouredInks(even_ink(1.0), even_ink(0.5), Ink(0.2, power, 2.0))
    assert float(inks.of_colour((0, 0, 0))) == pytest.approx(1.7)
    assert float(inks.of_colour((255, 255, 255))) == 0.0
    assert float(inks.of_colour((0, 255, 255), 0.5)) == pytest.approx(0.5)
    # half the blue channel taken away, at half level: a quarter of the ink, squared
    assert float(inks.of_colour((255, 255, 127.5), 0.5)) == pytest.approx(0.2 / 16)
    assert inks.of_colour((0, 0, 0), [0.0, 0.5, 1.0]).shape == (3,)


def test_random_coloured_inks_differ_and_repeat_by_seed():
    made = [random_coloured_inks(np.random.default_rng(s)) for s in (1, 1, 2)]
    assert made[0] == made[1] != made[2]
    tops = [i.max_density for i in (made[0].red, made[0].green, made[0].blue)]
    assert len(set(tops)) == 3 and min(tops) > 0.15
