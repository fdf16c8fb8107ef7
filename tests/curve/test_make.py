"""From readings to a finished curve: what is kept, what is said, and made again the same."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from materials import PoolingInk, lightness_range, solarising
from tonewright.curve.aim import Aim
from tonewright.curve.document import FORM, Curve, Settings
from tonewright.curve.findings import (
    AimBeyondPrint,
    BlackStillDarkening,
    ClearFilmNotMeasured,
    DoubtfulPatchesCount,
    FewLevels,
    HeaviestInkNotMeasured,
    PaleBlack,
    ToneReversal,
    WhiteDarkerThanPaper,
    WhiteStillLightening,
    WideGap,
)
from tonewright.curve.make import FitRequest, fit_curve, make_curve, rebuild
from tonewright.errors import FitError, OptionError
from tonewright.measured.readings import Reading, Readings
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.virtual.darkroom import DEMO_INK, KALLITYPE, Darkroom, Flaws, measure_target

ROOM = Darkroom()


def made(room=ROOM, levels=31, repeats=2, seed=1, settings=None, flaws=None):
    places = np.linspace(0, 1, levels) if isinstance(levels, int) else levels
    readings = measure_target(room, places, repeats, flaws=flaws, seed=seed).readings
    return make_curve(readings, settings or Settings(Aim()), Setup(paper="cotton"), "kallitype")


@pytest.fixture(scope="module")
def plain():
    return made()


def only(curve, kind):
    """The one finding of this kind."""
    (found,) = (f for f in curve.findings if isinstance(f, kind))
    return found


def test_a_good_target_finds_nothing(plain):
    assert plain.findings == ()


def test_summary_is_near_the_truth(plain):
    black, white = lightness_range(ROOM)
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
    document = FORM.encode(first)
    assert FORM.encode(rebuild(first)) == document
    assert FORM.encode(rebuild(Curve.decode(document))) == document


def test_too_little_exposure_is_found_with_its_amount():
    room = dataclasses.replace(ROOM, printing_time=ROOM.base_time / 4)
    found = only(made(room), BlackStillDarkening)
    truth = np.diff(room.print_lightness([0.0, 0.1]))[0]
    assert found.still_gaining_lightness == pytest.approx(truth, abs=1.5)


def test_thin_ink_is_found_with_its_amount():
    thin = made(Darkroom(ink=dataclasses.replace(DEMO_INK, max_density=1.1)))
    assert only(thin, WhiteStillLightening).still_gaining_lightness > 2.0


def test_pooling_ink_is_found_with_its_levels():
    ink = PoolingInk(DEMO_INK, 0.8, 0.7)
    curve = made(Darkroom(ink=ink), levels=51)
    found = only(curve, ToneReversal)
    assert found.end == "white"
    assert 0.78 < found.level_from < 0.92
    assert found.level_to == 1.0
    assert curve.correction.level.max() <= found.used_to <= found.level_from + 0.01
    assert found.unused_patches == sum(
        p.level > curve.response.level[-1] + 1e-6 for p in curve.readings.patches)


def test_solarised_blacks_are_told_from_pooling_ink():
    process = solarising(KALLITYPE, 0.35, 0.25)
    room = Darkroom(process=process)
    curve = made(dataclasses.replace(room, printing_time=room.base_time * 4), levels=51)
    assert only(curve, ToneReversal).end == "black"
    assert curve.correction.level.min() > 0.03


def test_levels_that_are_missing_are_found():
    inside = made(levels=np.linspace(0.1, 0.9, 31))
    assert only(inside, ClearFilmNotMeasured).lowest_level == 0.1
    assert only(inside, HeaviestInkNotMeasured).highest_level == 0.9
    gap = made(levels=np.r_[np.linspace(0, 0.3, 15), np.linspace(0.7, 1.0, 15)])
    assert only(gap, WideGap) == WideGap(0.3, 0.7)
    assert only(made(levels=8), FewLevels).levels == 8


def test_ends_that_level_off_where_no_paper_does_are_found():
    fog = measure_target(ROOM, np.linspace(0, 1, 31), 2, seed=1).readings
    for kind, end, offset, factor in ((WhiteDarkerThanPaper, "white_lightness", 0.45, 0.7),
                                      (PaleBlack, "black_lightness", 0.0, 0.55)):
        patches = tuple(dataclasses.replace(p, density=offset + factor * p.density)
                        for p in fog.patches)
        curve = make_curve(dataclasses.replace(fog, patches=patches), Settings(Aim()), Setup(), "x")
        assert [type(f) for f in curve.findings] == [kind]
        assert getattr(only(curve, kind), end) == pytest.approx(
            getattr(curve.summary, end), abs=1e-3)


def test_an_aim_out_of_reach_is_found_with_its_amount(plain):
    aim = Aim("points", "own.csv", ((0.0, 5.0), (100.0, 99.0)))
    found = [f for f in made(settings=Settings(aim)).findings if isinstance(f, AimBeyondPrint)]
    assert [f.end for f in found] == ["black", "white"]
    ends = plain.summary.black_lightness - 5.0, 99.0 - plain.summary.white_lightness
    assert [f.beyond_lightness for f in found] == pytest.approx(ends, abs=1e-3)


def test_the_ends_are_those_that_the_aim_asks_for(plain):
    found = made(settings=Settings(Aim("points", "own.csv", ((0.0, 30.0), (100.0, 80.0)))))
    ends = found.summary.level_black, found.summary.level_white
    assert ends == pytest.approx(found.level_at([0.0, 100.0]), abs=1e-5)
    assert found.response.lightness_at(ends) == pytest.approx([30.0, 80.0], abs=0.01)
    assert ends[0] > plain.summary.level_black + 0.1


def test_doubtful_single_readings_count():
    curve = made(levels=31, repeats=1, flaws=Flaws(noise_density_sd=0.01, stains=1))
    (doubt,) = curve.summary.doubtful
    assert only(curve, DoubtfulPatchesCount) == DoubtfulPatchesCount()
    again = make_curve(curve.readings, Settings(Aim(), (doubt.patch,)), Setup(), "again")
    assert again.summary.doubtful == ()
    assert again.findings == ()
    assert again.settings.left_out == (doubt.patch,)
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


class Drawn:
    """What a target's document says of its ink."""

    name, is_ink_chart = "drawn", False

    def __init__(self, ink_colour=None, **more):
        self.ink_colour = ink_colour
        vars(self).update(more)


def test_one_call_with_documents_in_hand_is_the_plain_curve(plain):
    made = fit_curve(FitRequest("kallitype", plain.readings, setup=Setup(paper="cotton")))
    assert FORM.encode(made) == FORM.encode(plain)


@pytest.mark.parametrize(("readings", "target", "setup", "colour"), [
    (None, None, None, None), (None, "255,0,0", None, "255,0,0"),
    ("255,0,0", None, None, "255,0,0"), (None, None, "255,0, 0", "255,0,0"),
    ("255,0,0", "255,0,0", "255,0,0", "255,0,0")])
def test_whoever_names_the_ink_colour_names_it_for_the_curve(
        plain, readings, target, setup, colour):
    found = dataclasses.replace(plain.readings, ink_colour=readings)
    made = fit_curve(FitRequest("x", found, setup=Setup(ink_colour=setup),
                                target=Drawn(target) if target else None))
    assert made.setup.ink_colour == colour


@pytest.mark.parametrize(("change", "code"), [
    ({"readings": None}, "no_readings"),
    ({"target_time": PrintingTime(60.0)}, "process_needed"),
    ({"ink_from": "plain"}, "process_needed"),
    ({"target": Drawn(), "setup": Setup(ink_colour="255,0,0")}, "ink_colours_differ"),
    ({"target": Drawn(is_ink_chart=True)}, "ink_chart"),
])
def test_what_does_not_go_together_is_refused(plain, change, code):
    if "ink_from" in change:
        change = {"ink_from": (plain,)}
    with pytest.raises(OptionError) as caught:
        fit_curve(dataclasses.replace(FitRequest("x", plain.readings), **change))
    assert caught.value.code == code
