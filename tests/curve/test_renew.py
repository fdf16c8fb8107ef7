"""A curve renewed on new readings, and what moved."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.findings import NothingMoved, TwoWeightings
from tonewright.curve.make import make_curve
from tonewright.curve.renew import RenewRequest, movement, renew_curve
from tonewright.errors import FitError, OptionError
from tonewright.measured.findings import AimsStated
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, measure_target

OLD_ROOM, NEW_ROOM = Darkroom(), Darkroom(process=CYANOTYPE)
LEVELS = np.linspace(0.0, 1.0, 31)
OWN = Aim("points", "own.csv", ((0.0, 26.0), (40.0, 50.0), (100.0, 90.0)))


def readings(room, seed=1, repeats=2):
    return measure_target(room, LEVELS, repeats, seed=seed).readings


@pytest.fixture(scope="module")
def old():
    return make_curve(
        readings(OLD_ROOM, 1), Settings(OWN, ("A01",)), Setup(paper="cotton", ink="black"),
        "kallitype",
    )  # fmt: skip


def renewed(old, readings, **more):
    more.setdefault("replace", True)
    return renew_curve(RenewRequest(old, "ab" * 32, "cyanotype", readings=readings, **more))


@pytest.fixture(scope="module")
def new(old):
    return renewed(old, readings(NEW_ROOM, 2), changes=Setup(paper="linen")).curve


def test_aim_is_kept_and_patches_left_out_are_not(old, new):
    assert new.settings.aim == OWN
    assert new.settings.left_out == ()
    again = renewed(old, readings(NEW_ROOM, 2), left_out=("A02",)).curve
    assert again.settings.left_out == ("A02",)


def test_setup_is_carried_over_with_its_changes(old, new):
    assert new.setup == Setup(paper="linen", ink="black")
    assert old.setup.differences(new.setup) == {"paper": ("cotton", "linen")}


def test_the_old_curve_is_named_as_ancestor(old, new):
    assert (new.ancestor.name, new.ancestor.sha256) == ("kallitype", "ab" * 32)
    assert new.ancestor.setup == old.setup
    assert new.name == "cyanotype"


def test_renewed_prints_land_on_the_aim(new):
    image = np.linspace(5, 95, 19)
    printed = NEW_ROOM.print_lightness(new.level_at(image))
    assert np.sqrt(np.mean((printed - new.print_lightness_at(image)) ** 2)) < 1.0


def test_what_moved_is_what_the_darkroom_says(old, new):
    """The error of the old curve on the new paper, printed in the darkroom, sign included."""
    moved = movement(old, new)
    image = np.linspace(1.0, 99.0, 197)
    error = NEW_ROOM.print_lightness(old.level_at(image)) - new.print_lightness_at(image)
    worst = np.argmax(np.abs(error))
    assert moved.largest_shift_lightness == pytest.approx(error[worst], abs=1.5)
    at = np.interp(moved.shift_at_image_lightness, image, error)
    assert at == pytest.approx(error[worst], abs=1.5)
    assert moved.rms_shift_lightness == pytest.approx(np.sqrt(np.mean(error**2)), abs=0.8)
    assert moved.largest_shift_lightness > 5.0
    for name in ("black", "white"):
        assert getattr(moved, f"old_{name}_lightness") == getattr(old.summary, f"{name}_lightness")
        assert getattr(moved, f"new_{name}_lightness") == getattr(new.summary, f"{name}_lightness")
    assert moved.old_levels == (old.summary.level_black, old.summary.level_white)
    assert moved.new_levels == (new.summary.level_black, new.summary.level_white)


def test_little_moves_on_the_same_paper(old):
    same = renewed(old, readings(OLD_ROOM, 9))
    assert abs(same.movement.largest_shift_lightness) < 2.5
    assert same.movement.rms_shift_lightness < 1.0
    assert same.findings == ()


def test_nothing_moves_on_the_same_readings(old):
    again = renewed(old, readings(OLD_ROOM, 1), left_out=("A01",))
    assert again.findings == (NothingMoved("kallitype"),)
    assert again.movement.largest_shift_lightness == pytest.approx(0.0, abs=0.05)


def test_two_weightings_are_found(old):
    other = dataclasses.replace(readings(NEW_ROOM, 2), scale="luminance")
    assert renewed(old, other).findings == (TwoWeightings("visual-density", "luminance"),)


@pytest.mark.parametrize(("more", "code"), [
    ({}, "nothing_new"),
    ({"readings_time": PrintingTime(60.0), "changes": Setup(printing_time="9min")},
     "readings_needed"),
    ({"printing_time": PrintingTime(60.0)}, "curve_without_process"),
])
def test_what_a_renewal_needs(old, more, code):
    with pytest.raises(OptionError) as caught:
        renew_curve(RenewRequest(old, "", "c", **more))
    assert caught.value.code == code


@pytest.mark.parametrize(("changes", "more", "code"), [
    ({"relative_to_paper": True}, {}, "two_zeros"),
    ({}, {"readings_time": PrintingTime(60.0)}, "process_needed"),
    ({"ink_colour": "255,0,0"}, {"changes": Setup(ink_colour="0,0,255")}, "ink_colours_differ"),
])
def test_readings_that_do_not_go_together_are_refused(old, changes, more, code):
    other = dataclasses.replace(readings(NEW_ROOM, 2), **changes)
    with pytest.raises(OptionError) as caught:
        renewed(old, other, **more)
    assert caught.value.code == code


def test_the_ink_colour_must_be_known_where_the_old_curve_has_one(old):
    orange = dataclasses.replace(old, setup=dataclasses.replace(old.setup, ink_colour="255,120,0"))
    with pytest.raises(OptionError) as caught:
        renewed(orange, readings(NEW_ROOM, 2))
    assert (caught.value.code, caught.value.values) == (
        "ink_colour_unknown", {"colour": "255,120,0"})
    # a whole target may be in another ink
    blue = dataclasses.replace(readings(NEW_ROOM, 2), ink_colour="0,0,255")
    assert renewed(orange, blue).curve.setup.ink_colour == "0,0,255"


def test_a_bad_target_is_refused_as_in_a_fit(old):
    black = measure_target(NEW_ROOM, np.linspace(0, 1, 6), 1).readings
    black = dataclasses.replace(black, patches=tuple(
        dataclasses.replace(p, density=1.5) for p in black.patches))
    with pytest.raises(FitError, match="at least 10 L"):
        renewed(old, black)


@pytest.mark.parametrize(("levels", "more", "code"), [
    (np.linspace(0, 1, 31), {"replace": False}, "replace_needed"),
    (np.linspace(0, 1, 7), {"replace": False}, "replace_needed"),
    (np.linspace(0.1, 0.8, 31), {"replace": False}, "refine_instead"),
    (np.linspace(0.1, 0.8, 31), {"changes": Setup(paper="linen")}, "process_needed"),
])
def test_what_readings_cover_tells_what_they_are_and_not_their_number(old, levels, more, code):
    found = measure_target(NEW_ROOM, levels, 1).readings
    with pytest.raises(OptionError) as caught:
        renewed(old, found, **more)
    assert caught.value.code == code


def test_a_print_made_through_a_curve_refines_it(old):
    through = dataclasses.replace(readings(OLD_ROOM, 2), findings=(AimsStated("print.csv"),))
    with pytest.raises(OptionError) as caught:
        renewed(old, through, replace=False)
    assert caught.value.code == "refine_instead"
    assert renewed(old, through).curve.readings is through


def test_renewing_a_renewed_curve_names_the_last_one(new):
    third = renewed(new, readings(OLD_ROOM, 5)).curve
    assert third.ancestor.name == "cyanotype"
    assert third.ancestor.setup.paper == "linen"
    assert third.setup.paper == "linen"
