"""A curve refined by a print of its own paper; a moved process is refused, not bent."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from prints import FINE, ROOM, curve_of, gone_wrong, tones_of
from tonewright.check.make import PrintRequest, check_print
from tonewright.check.refine import refine_curve
from tonewright.curve.findings import AddedToCurve
from tonewright.curve.fit import patch_names
from tonewright.curve.make import rebuild
from tonewright.errors import FitError, OptionError
from tonewright.files.documents import document_text
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.show.check_text import why_refused

GOOD = gone_wrong()
NOISY = dataclasses.replace(FINE, noise_density_sd=0.02)


@pytest.fixture(scope="module")
def kallitype():
    return curve_of()


@pytest.fixture(scope="module")
def plain():
    return curve_of(strip=False)


def refined(old, tones, **more):
    return refine_curve(PrintRequest(old, "cd" * 32, "surer", tones, **more)).curve


def test_history_strip_time_and_setup_are_kept_and_the_old_curve_is_named(kallitype):
    new = refined(kallitype, tones_of(kallitype, GOOD))
    assert new.recipe.processes == kallitype.recipe.processes
    assert new.recipe.printing_time == kallitype.recipe.printing_time
    assert new.recipe.prints[0].readings == kallitype.recipe.prints[0].readings
    assert len(new.recipe.prints) == 2
    assert AddedToCurve("kallitype") in new.recipe.prints[1].readings.findings
    assert (new.setup, new.settings.aim) == (kallitype.setup, kallitype.settings.aim)
    assert (new.ancestor.name, new.ancestor.sha256) == ("kallitype", "cd" * 32)
    assert new.summary.band_halfwidth_mean < kallitype.summary.band_halfwidth_mean


def test_without_a_strip_each_print_is_a_sheet_of_its_own(plain):
    new = refined(plain, tones_of(plain, GOOD))
    sheets = {p.print_name for p in new.readings.patches}
    assert len(sheets) == 2
    assert new.recipe is None and new.setup == plain.setup
    assert new.summary.print_to_print_lightness_sd is not None
    again = refined(new, tones_of(new, GOOD, seed=12))
    assert len({p.print_name for p in again.readings.patches}) == 3


def test_left_out_patches_stay_left_out_and_theirs_alone(plain):
    name = plain.readings.patches[0].patch
    old = dataclasses.replace(plain, settings=dataclasses.replace(
        plain.settings, left_out=(name,)))
    tones = tones_of(plain, GOOD)
    patches = tuple(dataclasses.replace(p, patch=name if i == 4 else p.patch)
                    for i, p in enumerate(tones.readings.patches))
    same = dataclasses.replace(tones, readings=dataclasses.replace(
        tones.readings, patches=patches))
    new = refined(old, same)
    assert new.settings.left_out == (f"{name} on {plain.readings.patches[0].print_name}",)


def test_a_noisy_curve_comes_nearer_to_the_truth():
    image = np.linspace(1.0, 99.0, 99)

    def error(curve):
        off = ROOM.print_lightness(curve.level_at(image), round(ROOM.base_time)) \
            - curve.print_lightness_at(image)
        return float(np.sqrt(np.mean(off**2)))

    before, after = [], []
    for seed in range(4):
        old = curve_of(strip=False, levels=13, seed=seed)
        before.append(error(old))
        after.append(error(refined(old, tones_of(old, GOOD, seed=seed + 50))))
    assert np.mean(after) < np.mean(before)


@pytest.mark.parametrize("wrong", [{"stops": 0.5}, {"fog": 4.0}, {"black": 4.0}, {"ink": 0.25}])
def test_a_print_off_the_promise_is_refused_with_the_cause_that_its_check_finds(
    kallitype, plain, wrong
):
    for curve in (kallitype, plain):
        tones = tones_of(curve, gone_wrong(**wrong))
        with pytest.raises(FitError, match="fewer than 1 good print in 100") as caught:
            refined(curve, tones)
        assert caught.value.code == "process_moved"
        check = check_print(PrintRequest(curve, "cd" * 32, "surer", tones))
        assert caught.value.values["check"].cause == check.cause
        assert check.cause.code != "none"


def mistyped(tones, row, by):
    patches = list(tones.readings.patches)
    patches[row] = dataclasses.replace(patches[row], density=patches[row].density + by)
    return dataclasses.replace(tones, readings=dataclasses.replace(
        tones.readings, patches=tuple(patches)))


def test_a_mistyped_reading_is_named_and_may_be_left_out(kallitype):
    tones = mistyped(tones_of(kallitype, GOOD), 3, 0.4)
    name = patch_names(tones.readings.patches)[3]
    with pytest.raises(FitError) as caught:
        refined(kallitype, tones)
    told = why_refused(caught.value)
    assert name in told.rule and "fits neither" in told.rule
    assert (told.code, told.values["patches"]) == ("leave_out_these", f'--leave-out "{name}"')
    assert len(refined(kallitype, tones, left_out=(name,)).recipe.prints) == 2


def test_readings_that_the_curve_holds_are_refused(kallitype, plain):
    """Its own target, and a print that was added before, whatever its file is called now."""
    for curve in (kallitype, plain):
        tones = tones_of(curve, GOOD)
        new = refined(curve, tones)
        again = dataclasses.replace(tones, readings=dataclasses.replace(
            tones.readings, sources=()))
        with pytest.raises(OptionError, match="holds the readings of") as caught:
            refined(new, again)
        assert caught.value.code == "readings_held"
        refined(new, mistyped(again, 3, 0.001))


def test_a_print_for_another_time_needs_a_strip(kallitype, plain):
    time = PrintingTime(float(round(ROOM.base_time)) * 2.0**0.5)
    longer = gone_wrong(stops=0.5)
    new = refined(kallitype, tones_of(kallitype, longer), time=time)
    assert new.recipe.prints[1].time == time
    with pytest.raises(OptionError) as caught:
        refined(plain, tones_of(plain, GOOD), time=time)
    assert caught.value.code == "process_needed"


def test_another_paper_is_refused(kallitype):
    with pytest.raises(OptionError) as caught:
        refined(kallitype, tones_of(kallitype, GOOD), changes=Setup(paper="linen"))
    assert caught.value.code == "check_other_paper"


@pytest.mark.fits_anew
def test_a_refined_curve_rebuilds(kallitype, plain):
    for old in (kallitype, plain):
        new = refined(old, tones_of(old, GOOD))
        assert document_text(rebuild(new)) == document_text(new)
