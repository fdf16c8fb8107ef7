"""Printing and measuring in the virtual darkroom: every flaw is as large as asked, and seeded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.virtual.darkroom import (
    CYANOTYPE,
    KALLITYPE,
    Darkroom,
    Flaws,
    measure_strip,
    measure_target,
    print_image,
)

CLEAN = Flaws(noise_density_sd=0.0)
ROOM = Darkroom()
LEVELS = np.linspace(0.0, 1.0, 21)
TABLET = 0.10 * np.arange(31)


def test_clean_target_reads_the_truth():
    target = measure_target(ROOM, LEVELS, 2, flaws=CLEAN, sheets=3)
    readings = target.readings
    assert readings.scale == "visual-density"
    assert not readings.relative_to_paper
    assert len(readings.patches) == 21 * 2 * 3
    expected = ROOM.print_density(readings.level)
    np.testing.assert_allclose(readings.density, expected, rtol=0, atol=1e-12)
    assert target.stained == ()
    assert {p.print_name for p in readings.patches} == {"sheet 1", "sheet 2", "sheet 3"}
    assert len({p.patch for p in readings.patches}) == len(readings.patches)


@pytest.mark.parametrize("sd", [0.005, 0.02, 0.05])
def test_noise_has_the_asked_sd(sd):
    levels = np.linspace(0.0, 0.5, 100)  # dark enough that no reading is cut at 0
    target = measure_target(ROOM, levels, 40, flaws=Flaws(noise_density_sd=sd), seed=2)
    error = target.readings.density - ROOM.print_density(target.readings.level)
    # 4000 readings: the sd of the estimated sd is 1.1 %, of the mean 1.6 % of the sd
    assert np.std(error) == pytest.approx(sd, rel=0.045)
    assert abs(np.mean(error)) < 0.065 * sd
    third = np.array_split(error, 3)
    assert [np.std(part) for part in third] == pytest.approx([sd] * 3, rel=0.09)


def test_density_sd_is_unknown_unless_the_instrument_states_it():
    silent = measure_target(ROOM, LEVELS)
    assert all(p.density_sd is None for p in silent.readings.patches)
    stating = measure_target(ROOM, LEVELS, flaws=Flaws(0.03, states_sd=True))
    assert all(p.density_sd == 0.03 for p in stating.readings.patches)


def test_same_seed_same_readings():
    flaws = Flaws(0.02, 0.03, 0.05, 0.03, 0.02, 0.02, stains=2)
    once, again, other = (
        measure_target(ROOM, LEVELS, 2, flaws=flaws, sheets=2, seed=seed) for seed in (4, 4, 5)
    )
    assert once.readings == again.readings
    assert once.stained == again.stained
    assert once.readings != other.readings


def test_stains_are_where_said_and_as_dense_as_said():
    flaws = Flaws(noise_density_sd=0.01)
    clean = measure_target(ROOM, LEVELS, 2, flaws=flaws, sheets=2, seed=6)
    spoilt = measure_target(
        ROOM, LEVELS, 2, flaws=replace(flaws, stains=3, stain_density=0.2), sheets=2, seed=6
    )
    added = spoilt.readings.density - clean.readings.density
    names = np.array([p.patch for p in spoilt.readings.patches])
    assert set(names[added > 0.1]) == set(spoilt.stained)
    np.testing.assert_allclose(added[added > 0.1], 0.2, atol=1e-12)
    assert np.count_nonzero(added) == 6  # three on each of two sheets


def test_sheets_differ_by_as_much_as_asked():
    flaws = replace(CLEAN, speed_sd=0.04)
    target = measure_target(ROOM, [0.45], sheets=400, flaws=flaws, seed=7)
    moved = np.std(target.readings.density)
    # one density moves by the slope of the process times the change of exposure
    x = float(ROOM.exposure(0.45))
    slope = float(ROOM.process_density(x + 1e-4) - ROOM.process_density(x - 1e-4)) / 2e-4
    assert moved == pytest.approx(0.04 * slope, rel=0.15)


def test_sheet_differences_are_shared_by_a_whole_sheet():
    flaws = replace(CLEAN, black_density_sd=0.05)
    target = measure_target(ROOM, [0.0, 0.0], 10, flaws=flaws, sheets=30, seed=8)
    density = target.readings.density.reshape(30, 20)
    assert np.ptp(density, axis=1).max() < 1e-12
    assert np.std(density[:, 0]) == pytest.approx(0.05, rel=0.4)


def test_contrast_differs_between_sheets():
    flaws = replace(CLEAN, contrast_sd=0.1)
    target = measure_target(ROOM, LEVELS, flaws=flaws, sheets=40, seed=9)
    density = target.readings.density.reshape(40, 21)
    assert np.std(density, axis=0).max() > 0.03
    assert np.all(np.diff(density, axis=1) <= 0.0)


def test_unevenness_is_smooth_and_of_the_asked_size():
    room = Darkroom()
    clear = np.full((30, 40), scales.FULL_CODE - 29000, dtype=np.uint16)
    flat = float(scales.lightness_to_density(print_image(clear, room)[0, 0]))
    level = float(scales.code_to_level(clear[0, 0]))
    x = float(room.exposure(level))
    slope = float(room.process_density(x + 1e-4) - room.process_density(x - 1e-4)) / 2e-4
    flaws = replace(CLEAN, uneven_exposure_sd=0.01)
    fields = [
        (scales.lightness_to_density(print_image(clear, room, flaws=flaws, seed=s)) - flat) / slope
        for s in range(200)
    ]
    assert np.sqrt(np.mean(np.square(fields))) == pytest.approx(0.01, rel=0.1)
    for sheet in fields[:20]:
        assert np.abs(np.diff(sheet, axis=1)).max() < 0.3 * max(np.ptp(sheet), 1e-3)
        assert np.ptp(sheet) > 0.0


def test_level_out_of_range_is_refused():
    with pytest.raises(OptionError, match=r"level 1\.3"):
        measure_target(ROOM, [0.0, 1.3])


def test_readings_are_never_below_zero():
    room = Darkroom(process=replace(KALLITYPE, white_density=0.01))
    target = measure_target(room, [1.0], 300, flaws=Flaws(0.05), seed=1)
    assert target.readings.density.min() == 0.0


def test_strip_halves_are_one_film_apart():
    strip = measure_strip(ROOM, TABLET, flaws=CLEAN)
    np.testing.assert_array_equal(strip.step, np.arange(1, 32))
    np.testing.assert_allclose(strip.density_film, ROOM.process_density(-TABLET), atol=1e-12)
    shifted = ROOM.process_density(-TABLET + ROOM.film_density)
    np.testing.assert_allclose(strip.density_bare, shifted, atol=1e-12)
    assert np.all(strip.density_bare >= strip.density_film)


def test_strip_time_of_one_stop_moves_it_by_three_steps_of_a_third():
    tablet = np.log10(2.0) / 3.0 * np.arange(31)
    base = measure_strip(ROOM, tablet, ROOM.base_time, flaws=CLEAN)
    longer = measure_strip(ROOM, tablet, 2.0 * ROOM.base_time, flaws=CLEAN)
    np.testing.assert_allclose(longer.density_film[3:], base.density_film[:-3], atol=1e-10)


def test_strip_steps_two_and_one_merge_and_step_three_stands_apart():
    """Common practice, no source: at the right time steps 1 and 2 just merge."""
    for process in (KALLITYPE, CYANOTYPE):
        strip = measure_strip(Darkroom(process=process), TABLET, flaws=CLEAN)
        light = scales.density_to_lightness(strip.density_film)
        assert light[1] - light[0] < 1.0
        assert light[2] - light[0] > light[1] - light[0] + 0.2


def test_strip_noise_stains_and_seed():
    flaws = Flaws(0.02, stains=2, stain_density=0.4)
    strip = measure_strip(ROOM, TABLET, flaws=flaws, seed=3)
    for half, stained, bare in (
        (strip.density_film, strip.stained_film, False),
        (strip.density_bare, strip.stained_bare, True),
    ):
        error = half - ROOM.process_density(ROOM.tablet_exposure(TABLET, bare=bare))
        assert stained.sum() == 2
        assert np.all(error[stained] > 0.3)
        assert np.all(np.abs(error[~stained]) < 0.08)
    again = measure_strip(ROOM, TABLET, flaws=flaws, seed=3)
    np.testing.assert_array_equal(strip.density_film, again.density_film)


def test_perfect_print_of_a_negative_is_the_truth_mirrored():
    codes = np.random.default_rng(0).integers(0, 65536, (7, 9)).astype(np.uint16)
    lightness = print_image(codes, ROOM)
    expected = ROOM.print_lightness(scales.code_to_level(codes))
    np.testing.assert_allclose(lightness, expected[:, ::-1], rtol=0, atol=1e-9)


def test_uneven_print_agrees_with_the_truth_when_the_unevenness_is_nothing():
    codes = np.random.default_rng(0).integers(0, 65536, (40, 50)).astype(np.uint16)
    almost = print_image(codes, ROOM, flaws=replace(CLEAN, uneven_exposure_sd=1e-12))
    np.testing.assert_allclose(almost, print_image(codes, ROOM), rtol=0, atol=1e-4)


def test_clear_film_prints_black_and_full_ink_white():
    codes = np.array([[65535, 0]], dtype=np.uint16)
    black, white = print_image(codes[:, ::-1], ROOM)[0]
    assert black < 22.0
    assert white > 85.0


def test_texture_has_the_asked_sd():
    codes = np.full((200, 200), 40000, dtype=np.uint16)
    flaws = replace(CLEAN, texture_density_sd=0.03)
    density = scales.lightness_to_density(print_image(codes, ROOM, flaws=flaws, seed=1))
    assert np.std(density) == pytest.approx(0.03, rel=0.05)
    assert np.std(density - np.mean(density)) > 0.0
    target = measure_target(ROOM, [0.3], 3000, flaws=flaws, seed=2)
    assert np.std(target.readings.density) == pytest.approx(0.003, rel=0.06)
