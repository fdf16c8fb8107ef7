"""From readings to a finished curve: what is kept, what is said, and made again the same."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings, curve_from_dict
from tonewright.curve.make import make_curve, rebuild
from tonewright.errors import FitError
from tonewright.measured.readings import Reading, Readings
from tonewright.record.setup import Setup
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom, Flaws, measure_target

ROOM = Darkroom()


def made(room=ROOM, levels=31, repeats=2, seed=1, settings=None, flaws=None):
    places = np.linspace(0, 1, levels) if isinstance(levels, int) else levels
    readings = measure_target(room, places, repeats, flaws=flaws, seed=seed).readings
    return make_curve(readings, settings or Settings(Aim()), Setup(paper="cotton"), "kallitype")


@pytest.fixture(scope="module")
def plain():
    return made()


def only(curve, word):
    """The one warning with this word in it."""
    (found,) = (text for text in curve.summary.warnings if word in text)
    return found


def test_a_good_target_gives_no_warning(plain):
    assert plain.summary.warnings == ()


def test_summary_is_near_the_truth(plain):
    black, white = ROOM.lightness_range()
    found = plain.summary
    assert found.black_lightness == pytest.approx(black, abs=1.0)
    assert found.white_lightness == pytest.approx(white, abs=1.5)
    assert 0.0 <= found.level_black < found.level_white <= 1.0
    assert found.noise_density_sd == pytest.approx(0.02, rel=0.25)
    assert found.print_to_print_lightness_sd is None
    assert found.negative_density_range is None
    half = (plain.response.lightness_high - plain.response.lightness_low) / 2
    assert found.band_halfwidth_max == pytest.approx(half.max(), abs=1e-3)
    assert found.band_halfwidth_mean == pytest.approx(half.mean(), abs=1e-3)
    worst = plain.response.level[np.argmax(half)]
    assert found.least_sure_level == pytest.approx(worst, abs=1e-3)


def test_aim_and_setup_are_kept(plain):
    own = Aim("points", "own.csv", ((0.0, 30.0), (50.0, 45.0), (100.0, 85.0)))
    soft = made(settings=Settings(own))
    assert soft.settings.aim == own
    assert soft.setup == Setup(paper="cotton")
    np.testing.assert_allclose(soft.print_lightness_at([0, 50, 100]), [30, 45, 85], atol=1e-6)
    assert soft.level_at(50.0) < plain.level_at(50.0)
    # the same print, whatever the aim
    np.testing.assert_array_equal(soft.response.lightness, plain.response.lightness)


def test_density_aim_prints_even_steps_of_density():
    curve = made(settings=Settings(Aim("density")))
    density = ROOM.print_density(curve.level_at(np.linspace(0, 100, 11)))
    steps = -np.diff(density)
    assert np.all(np.abs(steps - steps.mean()) < 0.04)


@pytest.mark.parametrize(
    "curve",
    [
        lambda: made(),
        lambda: made(levels=21, repeats=1, flaws=Flaws(stains=1)),
        lambda: made(levels=21, repeats=1, settings=Settings(Aim("density"), ("A01",))),
    ],
)
@pytest.mark.fits_anew
def test_rebuilt_the_same(curve):
    first = curve()
    read = curve_from_dict(first.to_dict())
    assert rebuild(first).to_dict() == first.to_dict()
    assert rebuild(read).to_dict() == first.to_dict()


def test_too_little_exposure_is_said_with_its_amount():
    short = made(dataclasses.replace(ROOM, printing_time=ROOM.base_time / 4))
    text = only(short, "Maximum black may not be reached")
    amount = float(re.search(r"\(([\d.]+) L\*", text)[1])
    truth = np.diff(dataclasses.replace(ROOM, printing_time=ROOM.base_time / 4)
                    .print_lightness([0.0, 0.1]))[0]
    assert amount == pytest.approx(truth, abs=1.5)
    assert "longer printing time" in text


def test_thin_ink_is_said_with_its_amount():
    thin = made(Darkroom(ink=dataclasses.replace(DEMO_INK, max_density=1.1)))
    text = only(thin, "Paper white is not reached")
    assert float(re.search(r"\(([\d.]+) L\*", text)[1]) > 2.0
    assert "ink" in text


def test_pooling_ink_is_said_with_its_levels():
    ink = dataclasses.replace(DEMO_INK, pooling_level=0.8, pooling_density=0.7)
    curve = made(Darkroom(ink=ink), levels=51)
    text = only(curve, "gets darker")
    assert "pool" in text
    low, high = (float(v) for v in re.search(r"levels ([\d.]+) and ([\d.]+)", text).groups())
    assert 0.78 < low < 0.92
    assert high == 1.0
    assert curve.correction.level.max() <= low + 0.01
    unused = int(re.search(r"(\d+) patches beyond", text)[1])
    assert unused == sum(
        p.level > curve.response.level[-1] + 1e-6 for p in curve.readings.patches
    )


def test_solarised_blacks_are_said_with_the_other_reason():
    process = dataclasses.replace(KALLITYPE, solarising_depth=0.35, solarising_exposure=0.25)
    room = Darkroom(process=process)
    curve = made(dataclasses.replace(room, printing_time=room.base_time * 4), levels=51)
    text = only(curve, "gets darker")
    assert "shorter printing time" in text
    assert "pool" not in text
    assert curve.correction.level.min() > 0.03


def test_levels_that_are_missing_are_said():
    inside = made(levels=np.linspace(0.1, 0.9, 31))
    assert "lowest ink level is 0.1" in only(inside, "clear film")
    assert "highest level is 0.9" in only(inside, "heaviest ink was not measured")
    gap = made(levels=np.r_[np.linspace(0, 0.3, 15), np.linspace(0.7, 1.0, 15)])
    assert "between ink levels 0.30 and 0.70" in only(gap, "guessed")
    few = made(levels=8)
    assert "8 different levels" in only(few, "21 or more")


def test_an_aim_out_of_reach_is_said_with_its_amount(plain):
    aim = Aim("points", "own.csv", ((0.0, 5.0), (100.0, 99.0)))
    curve = made(settings=Settings(aim))
    black, white = plain.summary.black_lightness, plain.summary.white_lightness
    assert f"{black - 5.0:.1f} L*" in only(curve, "blacker")
    assert f"{99.0 - white:.1f} L*" in only(curve, "lighter than this print's white")


def test_doubtful_single_readings_are_said_to_count():
    curve = made(levels=31, repeats=1, flaws=Flaws(noise_density_sd=0.01, stains=1))
    assert len(curve.summary.doubtful) == 1
    assert "--leave-out" in only(curve, "count fully")
    name = curve.summary.doubtful[0]["patch"]
    again = make_curve(curve.readings, Settings(Aim(), (name,)), Setup(), "again")
    assert again.summary.doubtful == ()
    assert again.settings.left_out == (name,)
    assert len(again.readings.patches) == 31  # kept in the document, not used


def test_sheets_have_their_scatter_in_the_summary():
    flaws, levels = Flaws(speed_sd=0.04), np.linspace(0, 1, 21)
    target = measure_target(ROOM, levels, 1, flaws=flaws, sheets=3, seed=1)
    found = make_curve(target.readings, Settings(Aim()), Setup(), "x").summary
    assert found.print_to_print_lightness_sd > 0.1


def test_no_curve_from_nothing():
    flat = Readings(
        tuple(Reading(u, 0.8, None, None, f"p{u}") for u in np.linspace(0, 1, 21).tolist()),
        "visual-density", False,
    )  # fmt: skip
    with pytest.raises(FitError, match="black and its white"):
        make_curve(flat, Settings(Aim()), Setup(), "x")
