"""The virtual darkroom's truth: exposure conventions, base printing time, exact inverse."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from materials import (
    PoolingInk,
    even_ink,
    level_for_lightness,
    lightness_range,
    solarising,
)
from rooms import random_darkroom, random_pair
from tonewright import scales
from tonewright.virtual.darkroom import KALLITYPE, Darkroom, Lamp

ARITHMETIC = json.loads(
    (Path(__file__).parents[1] / "reference" / "exposure_arithmetic.json").read_text("utf-8")
)
LEVELS = np.linspace(0.0, 1.0, 401)


def rooms(count: int, seed: int) -> list[Darkroom]:
    rng = np.random.default_rng(seed)
    return [random_darkroom(rng) for _ in range(count)]


def test_print_gets_lighter_with_ink():
    for room in rooms(60, 1):
        assert np.all(np.diff(room.print_density(LEVELS)) <= 0.0)
        assert np.all(np.diff(room.print_lightness(LEVELS)) >= 0.0)


def test_print_lightness_is_the_density_of_the_materials_one_after_another():
    """Composed here by hand from ink, film, lamp and process: no code of Darkroom's own."""
    room = replace(rooms(1, 2)[0], lamp=Lamp(0.7, 0.9), film_density=0.09)
    log_exposure = np.log10(0.7) + 0.9 * np.log10(400.0) - 0.09 - room.ink.printing_density(LEVELS)
    np.testing.assert_allclose(
        room.print_density(LEVELS, 400.0), room.process.density(log_exposure), rtol=0, atol=1e-12
    )


def test_step_two_is_just_visible_at_the_base_time():
    for room in rooms(30, 3):
        step_two = room.process_density(room.tablet_exposure(0.10, room.base_time))
        black = scales.density_to_lightness(room.process.black_density)
        gap = float(scales.density_to_lightness(step_two) - black)
        assert gap == pytest.approx(1.0, abs=1e-8)


def test_exposure_is_zero_through_clear_film_at_the_base_time():
    room = rooms(1, 4)[0]
    assert float(room.exposure(0.0)) == pytest.approx(0.0, abs=1e-12)
    assert float(room.exposure(0.0, room.base_time)) == pytest.approx(0.0, abs=1e-12)
    assert float(room.exposure(0.0, bare=True)) == pytest.approx(room.film_density)
    assert float(room.tablet_exposure(0.3)) == pytest.approx(-0.3)
    stop = ARITHMETIC["log10_2"]
    assert float(room.exposure(0.0, 2.0 * room.base_time)) == pytest.approx(stop, abs=1e-11)


def test_eight_minutes_less_060_prints_like_the_published_time():
    room = rooms(1, 5)[0]
    through = room.process_density(room.tablet_exposure(0.60, 8.0 * 60.0))
    shorter = ARITHMETIC["eight_minutes_less_0.60"] * 60.0
    clear = room.process_density(room.tablet_exposure(0.0, shorter))
    assert float(through) == pytest.approx(float(clear), abs=2e-4)  # published to 4 decimals


def test_a_stop_under_schwarzschild_takes_the_published_factor():
    room = replace(rooms(1, 6)[0], lamp=Lamp(reciprocity=0.86))
    factor = ARITHMETIC["schwarzschild_p_0.86_doubling_time_factor"]
    reached = room.tablet_exposure(ARITHMETIC["log10_2"], factor * room.base_time)
    assert float(reached) == pytest.approx(0.0, abs=1e-8)


def test_film_and_lamp_move_the_base_time():
    room = Darkroom(film_density=0.0)
    denser = replace(room, film_density=0.301029995664)
    assert denser.base_time == pytest.approx(2.0 * room.base_time, rel=1e-9)
    weaker = replace(room, lamp=Lamp(0.25))
    assert weaker.base_time == pytest.approx(4.0 * room.base_time, rel=1e-9)
    np.testing.assert_allclose(weaker.print_density(LEVELS), room.print_density(LEVELS), atol=1e-9)


def test_printing_time_stands_in_where_no_time_is_given():
    room = Darkroom()
    longer = replace(room, printing_time=1.5 * room.base_time)
    expected = room.print_density(LEVELS, 1.5 * room.base_time)
    np.testing.assert_array_equal(longer.print_density(LEVELS), expected)
    assert np.all(expected >= room.print_density(LEVELS))
    assert longer.base_time == room.base_time
    light = 0.5 * sum(lightness_range(longer))
    level = level_for_lightness(longer, light)
    assert float(longer.print_lightness(level)) == pytest.approx(light, abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_inverse_is_exact(seed):
    room = rooms(1, 100 + seed)[0]
    black, white = lightness_range(room)
    wanted = black + np.linspace(0.0, 1.0, 201) * (white - black)
    level = level_for_lightness(room, wanted)
    np.testing.assert_allclose(room.print_lightness(level), wanted, rtol=0, atol=1e-9)
    again = level_for_lightness(room, room.print_lightness(LEVELS[20:200]))
    np.testing.assert_allclose(again, LEVELS[20:200], rtol=0, atol=1e-7)


def test_inverse_gives_the_nearer_end_out_of_reach():
    room = Darkroom()
    ends = level_for_lightness(room, [0.0, 100.0])
    np.testing.assert_allclose(ends, [0.0, 1.0], atol=1e-12)


def test_inverse_stays_between_solarised_black_and_pooled_white():
    ink = PoolingInk(even_ink(3.0), 0.6, 2.0)
    process = solarising(KALLITYPE, 0.4, 0.45)
    room = Darkroom(ink, process)
    light = room.print_lightness(LEVELS, 3.0 * room.base_time)
    darkest, lightest = np.argmin(light), np.argmax(light)
    assert 0 < darkest < lightest < LEVELS.size - 1
    wanted = np.linspace(light[darkest] + 0.5, light[lightest] - 0.5, 50)
    level = level_for_lightness(room, wanted, 3.0 * room.base_time)
    assert np.all((level > LEVELS[darkest - 1]) & (level < LEVELS[lightest + 1]))
    printed = room.print_lightness(level, 3.0 * room.base_time)
    np.testing.assert_allclose(printed, wanted, rtol=0, atol=1e-9)


def test_random_darkrooms_reach_their_ends():
    """Paper white within a just-noticeable 2.3 L*, maximum black within the just-visible 1."""
    for room in rooms(100, 7):
        black, white = lightness_range(room)
        assert white > float(scales.density_to_lightness(room.process.white_density)) - 2.3
        assert black < float(scales.density_to_lightness(room.process.black_density)) + 1.0
        assert 60.0 < room.base_time < 3 * 3600.0


def test_pair_is_one_printer_and_two_processes():
    first, second = random_pair(np.random.default_rng(8))
    assert (first.ink, first.film_density, first.lamp) == (
        second.ink, second.film_density, second.lamp)
    assert first.process != second.process


def test_same_seed_same_darkroom():
    assert rooms(3, 9) == rooms(3, 9)
    assert rooms(3, 9) != rooms(3, 10)
