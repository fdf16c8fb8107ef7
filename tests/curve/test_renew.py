"""A curve renewed on new readings, and what moved."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.curve.renew import changed_setup, movement, renew_from_readings
from tonewright.errors import FitError, OptionError
from tonewright.record.setup import Setup
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


@pytest.fixture(scope="module")
def new(old):
    return renew_from_readings(old, "ab" * 32, readings(NEW_ROOM, 2), "cyanotype",
                               {"paper": "linen", "ink": None})


def test_aim_is_kept_and_patches_left_out_are_not(old, new):
    assert new.settings.aim == OWN
    assert new.settings.left_out == ()
    again = renew_from_readings(old, "", readings(NEW_ROOM, 2), "c", {}, ("A02",))
    assert again.settings.left_out == ("A02",)


def test_setup_is_carried_over_with_its_changes(old, new):
    assert new.setup == Setup(paper="linen", ink="black")
    assert changed_setup(old.setup, new.setup) == ("paper: cotton → linen",)
    assert changed_setup(Setup(), Setup(lamp="sun")) == ("lamp: not said → sun",)
    assert changed_setup(old.setup, old.setup) == ()


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
    assert moved.warning is None


def test_nothing_moved_on_the_same_paper(old):
    same = renew_from_readings(old, "", readings(OLD_ROOM, 9), "again", {})
    moved = movement(old, same)
    assert abs(moved.largest_shift_lightness) < 2.5
    assert moved.rms_shift_lightness < 1.0


def test_two_scales_are_said(old):
    other = dataclasses.replace(readings(NEW_ROOM, 2), scale="luminance")
    moved = movement(old, renew_from_readings(old, "", other, "c", {}))
    assert "visual density" in moved.warning
    assert "luminance" in moved.warning


def test_two_zeros_are_refused(old):
    other = dataclasses.replace(readings(NEW_ROOM, 2), relative_to_paper=True)
    with pytest.raises(OptionError, match="bare paper"):
        renew_from_readings(old, "", other, "c", {})


def test_a_bad_target_is_refused_as_in_a_fit(old):
    few = measure_target(NEW_ROOM, np.linspace(0, 1, 4), 1).readings
    with pytest.raises(FitError, match="levels"):
        renew_from_readings(old, "", few, "c", {})


def test_renewing_a_renewed_curve_names_the_last_one(new):
    third = renew_from_readings(new, "cd" * 32, readings(OLD_ROOM, 5), "third", {})
    assert third.ancestor.name == "cyanotype"
    assert third.ancestor.setup.paper == "linen"
    assert third.setup.paper == "linen"
