"""Ranking inks against the truth of the virtual darkroom, which adds up invented inks."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

import chart
from materials import even_ink
from rooms import ColouredInks, measure_chart, random_coloured_inks
from tonewright.errors import FitError, OptionError
from tonewright.inks.chart import ChartReadings, usual_colours
from tonewright.inks.findings import ClearFilmOff, InkPatchesDiffer
from tonewright.inks.rank import InkSettings, rank_inks
from tonewright.record.times import PrintingTime
from tonewright.virtual.darkroom import Darkroom, Flaws

as_chart, chart_target, printed = chart.as_chart, chart.chart_target, chart.printed

ROOM = Darkroom()
SEEDS = range(6)
TARGET = chart_target()


@pytest.fixture(scope="module")
def process():
    return chart.process_of(ROOM)


def differing(ranking):
    return [f for f in ranking.findings if isinstance(f, InkPatchesDiffer)]


def clear_off(ranking):
    """log10 exposure by which clear film is said to be lighter; None: nothing is said of it."""
    said = [f.lighter_log_exposure for f in ranking.findings if isinstance(f, ClearFilmOff)]
    return said[0] if said else None


def longer(stops):
    return InkSettings(PrintingTime(ROOM.base_time * 2.0**stops))


def true_slope(inks, colour):
    """Steepest rise between the levels of the chart, by the invented inks' own formulas."""
    rise = np.diff(inks.of_colour(colour, np.array([0.0, 0.5, 1.0])))
    return float(rise.max() / 0.5)


def true_need(process):
    """Printing density from clear film at the time found to 0.04 above the paper, by bisection on
    the true process."""
    low, high = -6.0, 0.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        light = ROOM.process_density(middle) < ROOM.process.white_density + 0.04
        low, high = (middle, high) if light else (low, middle)
    return -low + np.log10(process.base_time.value / ROOM.base_time)


@pytest.mark.parametrize("seed", SEEDS)
def test_densities_and_their_order_are_the_true_ones(process, seed):
    inks = random_coloured_inks(np.random.default_rng(seed))
    found = rank_inks(printed(ROOM, inks, TARGET, 2.0, seed), process, longer(2.0))
    seen = [i for i in found.inks if i.full.density is not None and not i.estimated]
    truth = np.array([float(inks.of_colour(i.colour)) for i in seen])
    density = np.array([i.full.density for i in seen])
    assert len(seen) > 5
    # within the uncertainty of where the strip lies, which all colours share
    off = density - truth
    assert abs(np.median(off)) < 0.1
    middle = [k for k, i in enumerate(seen) if i.full.high - i.full.low < 0.2]
    assert np.std(off[middle]) < 0.03
    for one, other in pairwise(seen):
        if one.full.low > other.full.high:
            assert float(inks.of_colour(one.colour)) > float(inks.of_colour(other.colour))


@pytest.mark.parametrize("stops", [0.0, 2.0])
def test_bands_and_bounds_hold_the_truth(process, stops):
    held = total = 0
    for seed in SEEDS:
        inks = random_coloured_inks(np.random.default_rng(seed))
        found = rank_inks(printed(ROOM, inks, TARGET, stops, seed), process, longer(stops))
        for ink in found.inks:
            truth = float(inks.of_colour(ink.colour))
            held += ((ink.full.low is None or ink.full.low <= truth + 1e-9)
                     and (ink.full.high is None or truth <= ink.full.high + 1e-9))
            total += 1
    assert held / total > 0.93


@pytest.mark.parametrize("seed", SEEDS)
def test_the_pick_is_enough_and_nearly_the_gentlest(process, seed):
    inks = random_coloured_inks(np.random.default_rng(seed))
    found = rank_inks(printed(ROOM, inks, TARGET, 2.0, seed), process, longer(2.0))
    need = true_need(process)
    plainly = [c for c in usual_colours() if float(inks.of_colour(c)) > need + 0.1]
    if not plainly:
        assert found.pick is None or not found.sure or \
            float(inks.of_colour(found.pick.colour)) > need - 0.15
        return
    assert found.pick is not None and found.sure
    colour = found.pick.colour
    assert float(inks.of_colour(colour)) > need - 0.15
    assert true_slope(inks, colour) < 1.08 * min(true_slope(inks, c) for c in plainly)
    assert found.pick.slope == pytest.approx(true_slope(inks, colour), rel=0.12)


def test_printed_for_the_base_time_the_pick_still_works_by_the_half_level(process):
    """Most colours are paper white at full ink; which is the gentlest shows at half ink."""
    good = 0
    for seed in SEEDS:
        inks = random_coloured_inks(np.random.default_rng(seed))
        found = rank_inks(printed(ROOM, inks, TARGET, 0.0, seed), process)
        plainly = [c for c in usual_colours() if float(inks.of_colour(c)) > true_need(process) + .3]
        if plainly:
            assert found.pick is not None
            assert float(inks.of_colour(found.pick.colour)) > true_need(process) - 0.15
            best = min(true_slope(inks, c) for c in plainly)
            good += true_slope(inks, found.pick.colour) < 1.35 * best
        else:
            good += 1
    assert good >= 5


def test_paper_white_is_a_lower_bound_and_black_an_upper_one(process):
    inks = ColouredInks(even_ink(3.0), even_ink(1.0), even_ink(0.05))
    target = chart_target((1.0,), colours=[(0, 255, 255), (255, 0, 255), (255, 255, 0)])
    found = rank_inks(printed(ROOM, inks, target), process)
    by = {i.colour: i for i in found.inks}
    heavy, middle, light = (by[c] for c in ((0, 255, 255), (255, 0, 255), (255, 255, 0)))
    assert heavy.full.density is None and heavy.full.high is None and heavy.slope is None
    assert 1.8 < heavy.full.low < 3.0 and heavy.seen_white and heavy.enough is True
    assert middle.full.density == pytest.approx(1.0, abs=0.06) and middle.enough is False
    assert light.full.density is None and light.full.low is None and light.full.high < 0.3
    assert [i.colour for i in found.inks][:2] == [(0, 0, 0), (0, 255, 255)]
    # the pick is known to be enough, but its slope was not seen: print longer
    assert found.pick is heavy and found.sure and found.longer_stops == 2
    assert found.next_time.value == pytest.approx(4.0 * process.base_time.value, rel=0.03)


def test_a_longer_print_sees_what_a_short_one_does_not(process):
    inks = ColouredInks(even_ink(2.3), even_ink(1.0), even_ink(0.5))
    target = chart_target((1.0,), colours=[(0, 255, 255), (255, 0, 255)])
    short = rank_inks(printed(ROOM, inks, target), process)
    long = rank_inks(printed(ROOM, inks, target, 2.0), process, longer(2.0))
    first, then = (next(i for i in f.inks if i.colour == (0, 255, 255)) for f in (short, long))
    assert first.full.density is None
    assert then.full.density == pytest.approx(2.3, abs=0.12)
    assert long.seen_up_to == pytest.approx(short.seen_up_to + 0.602, abs=0.05)
    assert long.longer_stops is None


def test_none_enough_names_the_shortfall(process):
    inks = ColouredInks(even_ink(0.6), even_ink(0.5), even_ink(0.2))
    found = rank_inks(printed(ROOM, inks, TARGET), process)
    assert found.pick is None and found.longer_stops is None
    assert found.inks[0].colour == (0, 0, 0)
    assert found.shortfall == pytest.approx(found.needed_range - 1.3, abs=0.06)


def test_the_printers_own_range_counts(process):
    inks = ColouredInks(even_ink(0.6), even_ink(0.5), even_ink(0.2))
    found = rank_inks(printed(ROOM, inks, TARGET), process, InkSettings(needed_range=0.9))
    assert found.given_range and found.sure
    assert float(inks.of_colour(found.pick.colour)) >= 0.85


def test_stained_patches_are_named_and_widen_the_band(process):
    inks = ColouredInks(even_ink(1.2), even_ink(0.9), even_ink(0.4))
    read = measure_chart(ROOM, inks, TARGET, ROOM.base_time, flaws=Flaws(0.01, stains=3,
                                                                        stain_density=0.3), seed=2)
    time = PrintingTime(ROOM.base_time)
    found = rank_inks(as_chart(TARGET, read.readings), process, InkSettings(time))
    named = {name for f in differing(found) for name in f.patches}
    assert set(read.stained) <= named
    clean = rank_inks(as_chart(TARGET, read.readings), process,
                      InkSettings(time, left_out=read.stained))
    assert not differing(clean)
    truth = {c: float(inks.of_colour(c)) for c in usual_colours()}
    for ink in found.inks:
        assert ink.full.low is None or ink.full.low <= truth[ink.colour] + 0.02
        assert ink.full.high is None or ink.full.high >= truth[ink.colour] - 0.02


def test_clear_film_shows_a_wrong_time(process):
    inks = ColouredInks(even_ink(1.2), even_ink(0.9), even_ink(0.4))
    found = rank_inks(printed(ROOM, inks, TARGET, -3.0), process)  # said to be the base time
    assert clear_off(found) == pytest.approx(0.9, abs=0.1)
    right = rank_inks(printed(ROOM, inks, TARGET, -3.0), process, longer(-3.0))
    assert clear_off(right) is None
    over = rank_inks(printed(ROOM, inks, TARGET, -2.0), process, longer(-4.0))
    assert clear_off(over) == pytest.approx(-0.6, abs=0.1)


def test_patches_of_several_sheets_count_together(process):
    inks = ColouredInks(even_ink(1.2), even_ink(0.9), even_ink(0.4))
    one, two = (printed(ROOM, inks, TARGET, seed=s) for s in (1, 2))
    both = ChartReadings((*one.patches, *two.patches), one.readings)
    found = rank_inks(both, process)
    assert {s.patches for i in found.inks for s in i.steps} >= {4}


def test_foreign_readings_are_refused(process):
    read = printed(ROOM, ColouredInks(even_ink(1.2), even_ink(0.9), even_ink(0.4)), TARGET)
    relative = replace(read, readings=replace(read.readings, relative_to_paper=True))
    with pytest.raises(OptionError, match="the bare paper"):
        rank_inks(relative, process)
    other = replace(read, readings=replace(read.readings, scale="luminance"))
    with pytest.raises(OptionError, match="weighted as"):
        rank_inks(other, process)
    with pytest.raises(OptionError, match="32 times"):
        rank_inks(read, process, InkSettings(PrintingTime(1e6)))
    with pytest.raises(OptionError, match="integrator"):
        rank_inks(read, process, InkSettings(PrintingTime(100.0, "unit")))
    with pytest.raises(OptionError, match="no patch is called 'Z99'"):
        rank_inks(read, process, InkSettings(left_out=("Z99",)))
    with pytest.raises(OptionError, match="density range asked for is 9"):
        InkSettings(needed_range=9.0)
    every = tuple(p.name for p in read.patches)
    with pytest.raises(FitError, match="no patch of ink is left"):
        rank_inks(read, process, InkSettings(left_out=every))
