"""Curves by way of process and negative, against the virtual darkroom's truth.

Few processes, so that it is quick; `tests/benchmarks/strip_and_renewal.py` has the many.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from materials import even_ink, lightness_range
from rooms import random_darkroom, random_pair
from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.derive import derive, make_derived_curve
from tonewright.curve.document import FORM, Curve, Settings
from tonewright.curve.findings import (
    InkToSpare,
    MaximumBlackNotReached,
    PaperWhiteNotReached,
    PrintsDisagree,
)
from tonewright.curve.make import rebuild
from tonewright.curve.prints import make_recipe, patch_places
from tonewright.curve.recipe import PrintedTarget, pooled
from tonewright.curve.renew import RenewRequest, renew_curve
from tonewright.errors import FitError, OptionError
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, Flaws, measure_strip, measure_target

TABLET = nominal_tablet("31")
TONES = np.linspace(1.0, 99.0, 99)
LEVELS = np.linspace(0.0, 1.0, 51)
PLAIN = Settings(Aim())


def process(room, seconds, seed, name="invented"):
    read = measure_strip(room, TABLET.density, seconds, seed=seed)
    return make_process(Strip(tuple(
        StripPatch(int(s), float(d), None, "film", PrintingTime(float(seconds)), None)
        for s, d in zip(read.step, read.density_film, strict=True)), "visual-density", ()),
        TABLET, Setup(), name)


def target(room, seconds, seed, levels=LEVELS, repeats=2, **flaws):
    room = dataclasses.replace(room, printing_time=float(seconds))
    return measure_target(room, levels, repeats, flaws=Flaws(**flaws), seed=seed).readings


def one_sheet(room, stops, seed, levels=LEVELS, repeats=2):
    seconds = room.base_time * 2.0**stops
    recipe = make_recipe(process(room, seconds, seed), target(room, seconds, seed + 1, levels,
                                                              repeats),
                         printing_time=PrintingTime(room.base_time))
    return make_derived_curve(recipe, PLAIN, Setup(), "sheet")


def renewed(curve, **new):
    return renew_curve(RenewRequest(curve, "0" * 64, "new", **new)).curve


def error(room, curve, seconds=None):
    """RMS distance in L* of the print made through the curve from its aim."""
    light = room.print_lightness(curve.level_at(TONES), seconds)
    return float(np.sqrt(np.mean((light - curve.print_lightness_at(TONES)) ** 2)))


def covered(room, curve, seconds=None):
    truth = room.print_lightness(curve.response.level, seconds)
    return float(np.mean((truth >= curve.response.lightness_low)
                         & (truth <= curve.response.lightness_high)))


def kept(room, curve):
    """What `error` would be on this room with another room's curve, aiming at its own ends."""
    black, white = lightness_range(room)
    aim = black + TONES / 100.0 * (white - black)
    return float(np.sqrt(np.mean((room.print_lightness(curve.level_at(TONES)) - aim) ** 2)))


@pytest.mark.parametrize(("stops", "most"), [(0.0, 0.7), (0.5, 1.0)])
def test_one_sheet_at_a_guessed_time_gives_the_curve_for_the_base_time(stops, most):
    rows = []
    for seed in range(4):
        room = random_darkroom(np.random.default_rng(seed))
        curve = one_sheet(room, stops, seed + 40)
        rows.append((error(room, curve), covered(room, curve)))
    errors, inside = np.array(rows).T
    assert np.median(errors) < most  # 0.45 and 0.75 over many
    assert inside.mean() > 0.8


def test_few_levels_once_are_enough_for_a_fair_curve():
    rooms = [random_darkroom(np.random.default_rng(s)) for s in range(4)]
    errors = [error(room, one_sheet(room, 0.0, s + 60, np.linspace(0, 1, 21), 1))
              for s, room in enumerate(rooms)]
    assert np.median(errors) < 1.1  # 0.70 over many


@pytest.fixture(scope="module")
def renewals():
    """Old and new darkroom of one printer, the old curve, and two renewals of it."""
    rows = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        old, new = random_pair(rng)
        first = process(old, old.base_time * 2.0 ** rng.uniform(0, 1), seed + 100, "old")
        second = process(new, new.base_time * 2.0 ** rng.uniform(0, 1), seed + 200, "new")
        time = PrintingTime(old.base_time)
        curve = make_derived_curve(make_recipe(first, target(old, old.base_time, seed + 300),
                                               time, time), PLAIN, Setup(), "old")
        wanted = PrintingTime(new.base_time)
        few = target(new, new.base_time, seed + 400, np.linspace(0.1, 0.9, 7), 1)
        rows.append((new, curve, *(renewed(curve, process=second, printing_time=wanted,
                                           readings=patches) for patches in (None, few))))
    return rows


def test_renewal_by_strip_beats_keeping_the_old_curve(renewals):
    by_strip = [error(new, strip) for new, _, strip, _ in renewals]
    old = [kept(new, curve) for new, curve, _, _ in renewals]
    assert np.median(by_strip) < 1.8  # 1.2 over many
    assert np.median(old) > 3.0 * np.median(by_strip)


def test_seven_patches_help(renewals):
    by_strip = [error(new, strip) for new, _, strip, _ in renewals]
    with_few = [error(new, few) for new, _, _, few in renewals]
    assert np.mean(with_few) < min(1.2, np.mean(by_strip))
    narrower = [few.summary.band_halfwidth_mean < strip.summary.band_halfwidth_mean
                for _, _, strip, few in renewals]
    assert all(narrower)


def test_after_a_few_patches_the_curve_lies_in_the_middle_of_its_band(renewals):
    for new, _, strip, few in renewals:
        assert strip.summary.few_patches_moved_lightness is None
        moved = np.abs(few.response.lightness - strip.response.lightness).max()
        for curve in (strip, few):
            table = curve.response
            wide = (table.lightness_high - table.lightness_low > 0.3) & (
                table.lightness_high < 99.9)
            low, middle, high = (scales.lightness_to_density(light[wide]) for light in (
                table.lightness_low, table.lightness, table.lightness_high))
            # the middle is that of the densities: lightness is no straight measure of them
            place = (middle - low) / (high - low)
            assert 0.45 < np.median(place) < 0.55
            assert np.quantile(np.abs(place - 0.5), 0.9) < 0.15
        assert few.summary.few_patches_moved_lightness == pytest.approx(moved, abs=0.002)
        again = Curve.decode(json.loads(json.dumps(FORM.encode(few))))
        assert again.summary == few.summary
        # it may get worse by chance, but not by much
        assert error(new, few) <= error(new, strip) + 0.3


def test_bands_after_renewal_hold_the_truth(renewals):
    inside = [covered(new, curve) for new, _, *curves in renewals for curve in curves]
    assert np.mean(inside) > 0.8  # 0.90 to 0.99 over many


def test_bands_of_the_ink_hold_the_truth(renewals):
    inside = []
    for new, curve, *_ in renewals:
        truth = new.ink.printing_density(curve.negative.level)
        inside.append(np.mean((truth >= curve.negative.density_low)[26:410]
                              & (truth <= curve.negative.density_high)[26:410]))
    assert np.mean(inside) > 0.75


def test_the_ancestor_and_both_strips_are_kept(renewals):
    _, curve, strip, few = renewals[0]
    assert strip.ancestor.name == curve.name
    assert [p.name for p in strip.recipe.processes] == ["old", "new"]
    assert strip.readings is None  # nothing was printed on the new paper
    assert strip.scale == "visual-density"
    assert len(few.readings.patches) == 7


def test_the_plan_names_levels_apart_where_the_band_is_wide(renewals):
    for _, _, strip, _ in renewals:
        assert 1 <= len(strip.plan) <= 5
        assert np.all(np.diff(strip.plan) >= 0.05 - 1e-9)
        half = strip.response.lightness_high - strip.response.lightness_low
        # a level counts by the tones that it prints
        open_tones = half * np.sqrt(np.gradient(strip.response.lightness))
        there = np.interp(strip.plan, strip.response.level, open_tones)
        assert there.mean() > open_tones.mean()


def test_the_plan_spends_no_patches_on_paper_white(renewals):
    for new, _, strip, _ in renewals:
        white = lightness_range(new)[1]
        light = new.print_lightness(np.array(strip.plan), strip.recipe.printing_time.value)
        assert np.count_nonzero(light > white - 1.0) <= 1


def test_patches_that_the_plan_names_make_the_curve_surer(renewals):
    new, _, strip, _ = renewals[1]
    planned = target(new, new.base_time, 7, np.array(strip.plan), 1)
    surer = renewed(strip, readings=planned)
    assert surer.summary.band_halfwidth_max < strip.summary.band_halfwidth_max


@pytest.fixture(scope="module")
def sheet():
    """The demonstration's room, its process from a strip half a stop long, and the curve."""
    room = Darkroom()
    made = process(room, room.base_time * 1.4, 5)
    readings = target(room, room.base_time * 1.4, 6, np.linspace(0, 1, 26), 1)
    curve = make_derived_curve(make_recipe(made, readings), PLAIN, Setup(), "c")
    return room, made, readings, curve


def test_the_defaults_are_one_sheet_and_the_base_printing_time(sheet):
    _, made, _, curve = sheet
    assert curve.recipe.prints[0].time == made.reference_time
    assert curve.recipe.printing_time == made.base_time


def test_the_ink_density_is_found_and_starts_at_0(sheet):
    room, _, _, curve = sheet
    negative = curve.negative
    truth = room.ink.printing_density(negative.level)
    seen = negative.level < 0.8
    assert negative.density[0] == 0.0
    assert np.max(np.abs(negative.density - truth)[seen]) < 0.12
    half = negative.density_high - negative.density_low
    assert half[-1] > 2.0 * half[256]  # carried on where paper is white, and said to be unsure


@pytest.mark.fits_anew
def test_rebuilt_and_read_again_it_is_the_same(sheet):
    curve = sheet[3]
    document = json.loads(json.dumps(FORM.encode(curve)))
    assert FORM.encode(rebuild(Curve.decode(document))) == document


def test_another_time_needs_no_print(sheet):
    room, _, _, curve = sheet
    time = PrintingTime(room.base_time * 0.5)
    shorter = renewed(curve, printing_time=time)
    assert error(room, shorter, time.value) < 2.0
    assert error(room, curve, time.value) > 4.0  # the old curve, kept
    assert shorter.setup.printing_time == str(time)  # somebody said it: kept as it is


def test_prints_named_twice_do_not_make_it_surer(sheet):
    _, made, readings, curve = sheet
    again = make_recipe(made, readings, ink_from=(curve, curve))
    assert len(again.prints) == len(again.processes) == 1
    assert FORM.encode(make_derived_curve(again, PLAIN, Setup(), "c")) == FORM.encode(curve)


def test_ink_from_another_print_makes_it_surer(sheet):
    room, made, readings, curve = sheet
    more = target(room, room.base_time, 8)
    other = make_derived_curve(
        make_recipe(made, more, PrintingTime(room.base_time)), PLAIN, Setup(), "other")
    both = make_derived_curve(make_recipe(made, readings, ink_from=(other,)), PLAIN, Setup(),
                              "both")
    assert len(both.recipe.prints) == 2
    assert both.summary.band_halfwidth_mean < curve.summary.band_halfwidth_mean


def test_nothing_tells_of_the_ink(sheet):
    made, readings = sheet[1:3]
    plain = dataclasses.replace(sheet[3], recipe=None)
    for ask, code in (
            (lambda: make_recipe(made, readings, ink_from=(plain,)), "curve_without_process"),
            (lambda: renewed(plain, process=made), "curve_without_process"),
            (lambda: derive(pooled((made,), (), 0, made.base_time)), "ink_unknown")):
        with pytest.raises((OptionError, FitError)) as caught:
            ask()
        assert caught.value.code == code


def test_a_patch_left_out_stays_left_out(sheet):
    """A stain of 0.4 pulls the curve; left out it does not, nor after a renewal."""
    made, readings = sheet[1:3]
    spoilt = readings.patches[9]
    patches = tuple(dataclasses.replace(p, density=p.density + 0.4) if p is spoilt else p
                    for p in readings.patches)
    stained = dataclasses.replace(readings, patches=patches)
    settings = Settings(Aim(), (spoilt.patch,))
    recipe = make_recipe(made, stained)
    without = make_derived_curve(recipe, settings, Setup(), "c")
    clean = make_derived_curve(make_recipe(made, readings), settings, Setup(), "c")
    assert np.array_equal(without.response.lightness, clean.response.lightness)
    with_stain = make_derived_curve(recipe, PLAIN, Setup(), "c")
    assert np.max(np.abs(with_stain.response.lightness - clean.response.lightness)) > 1.0
    second = process(Darkroom(process=CYANOTYPE), 700.0, 11)
    assert np.array_equal(*(renewed(c, process=second).response.lightness
                            for c in (without, clean)))
    pooled_ink = [make_recipe(second, None, ink_from=(c,)) for c in (without, clean)]
    assert np.array_equal(*(derive(r).response.lightness for r in pooled_ink))


def test_a_name_that_no_patch_has_is_refused(sheet):
    made, readings = sheet[1:3]
    with pytest.raises(FitError, match="no patch is called 'Z99'"):
        make_derived_curve(make_recipe(made, readings), Settings(Aim(), ("Z99",)), Setup(), "c")
    names = tuple(p.patch for p in readings.patches)
    with pytest.raises(FitError):
        make_derived_curve(make_recipe(made, readings), Settings(Aim(), names), Setup(), "c")


def test_doubtful_patches_of_several_sheets_are_set_aside(sheet):
    """Two sheets share their patch names; only the stained one of the two may go."""
    room, made = sheet[:2]
    flaws = Flaws(stains=0)
    printed = measure_target(dataclasses.replace(room, printing_time=room.base_time), LEVELS[::2],
                             2, flaws=flaws, sheets=2, seed=12).readings
    patches = [dataclasses.replace(p, patch=p.patch.split("-")[1]) for p in printed.patches]
    clean = dataclasses.replace(printed, patches=tuple(patches))
    worst = next(i for i, p in enumerate(patches) if p.level == LEVELS[20])
    patches[worst] = dataclasses.replace(patches[worst], density=patches[worst].density + 0.5)
    stained = dataclasses.replace(printed, patches=tuple(patches))
    time = PrintingTime(room.base_time)
    one, two = (derive(make_recipe(made, r, time, time)) for r in (clean, stained))
    assert len(two.doubtful) == 1
    assert " on sheet 1" in two.doubtful[0].patch
    assert np.max(np.abs(one.response.lightness - two.response.lightness)) < 0.5


def test_what_the_ink_cannot_do_is_said(sheet):
    room, made = sheet[:2]
    time = PrintingTime(room.base_time)
    for density, kind in ((1.2, PaperWhiteNotReached), (4.0, InkToSpare)):
        other = dataclasses.replace(room, ink=even_ink(density))
        found = derive(make_recipe(made, target(other, room.base_time, 3), time, time))
        assert any(isinstance(f, kind) for f in found.findings), found.findings
        assert found.negative.density[-1] == pytest.approx(
            density, abs=0.15 if density < 2 else 3.0)
        assert (found.level_enough is None) == (density < 2)
    # the same ink, shown only up to where it must be guessed
    (spare,) = (f for f in found.findings if isinstance(f, InkToSpare))
    assert spare.level == found.level_enough
    shown = found.guessed_from is None or found.level_enough <= found.guessed_from
    assert (spare.seen_to_level is None) == shown


def test_a_time_too_short_for_black_is_said(sheet):
    made, readings = sheet[1:3]
    short = PrintingTime(made.base_time.value / 6.0)
    found = derive(make_recipe(made, readings, printing_time=short))
    (black,) = (f for f in found.findings if isinstance(f, MaximumBlackNotReached))
    assert black.printing_time == short
    assert black.above_black_lightness > 2.0
    assert not any(isinstance(f, MaximumBlackNotReached) for f in derive(make_recipe(
        made, readings)).findings)


def test_patches_of_another_paper_are_noticed(sheet):
    room, _, _, curve = sheet
    cyanotype = Darkroom(process=CYANOTYPE)
    second = process(cyanotype, cyanotype.base_time, 14)
    levels = np.linspace(0.1, 0.9, 7)
    right = target(cyanotype, second.base_time.value, 15, levels, 1)
    wrong = target(room, room.base_time, 15, levels, 1)
    for few, noticed in ((right, False), (wrong, True)):
        found = renewed(curve, process=second, readings=few)
        times = [f.times_noise for f in found.findings if isinstance(f, PrintsDisagree)]
        assert bool(times) is noticed
        assert times == ([found.summary.disagreement] if noticed else [])


def test_readings_of_black_alone_make_no_curve(sheet):
    room, made = sheet[:2]
    black = target(room, room.base_time, 2, np.linspace(0.0, 0.03, 4), 1)
    with pytest.raises(FitError, match="light tones"):
        make_derived_curve(make_recipe(made, black), PLAIN, Setup(), "c")


def test_the_prints_time_and_place_are_told_apart(sheet):
    """A target printed two stops long says the same of the ink as one at the base time."""
    room, made = sheet[:2]
    found = []
    for stops in (0.0, 2.0):
        seconds = room.base_time * 2.0**stops
        recipe = pooled((made,), (PrintedTarget(target(room, seconds, 20), 0,
                                                PrintingTime(seconds)),), 0, made.base_time)
        found.append(derive(recipe).negative.density)
    assert np.max(np.abs(found[0] - found[1])[150:400]) < 0.12


def test_patches_of_another_time_stand_where_they_get_as_much_light():
    """They lie on the curve, though printed a stop off its time."""
    file = Path(__file__).parents[2] / "curves" / "kallitype.curve.json"
    curve = Curve.decode(json.loads(file.read_text(encoding="utf-8")))
    moved = [p for p in patch_places(curve) if p.moved and p.counts]
    level, light = np.array([(p.level, p.lightness) for p in moved]).T
    assert level.size > 40
    off = light - curve.response.lightness_at(level)
    unmoved = np.concatenate([p.readings.lightness - curve.response.lightness_at(p.readings.level)
                              for p in curve.recipe.prints])
    assert 4.0 * np.median(np.abs(off)) < np.median(np.abs(unmoved))
    assert np.sqrt(np.mean(off**2)) < 1.5
