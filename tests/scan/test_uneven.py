"""Unevenness is taken out as far as repeats show it, and no further."""

from __future__ import annotations

import numpy as np
import pytest

from tonewright.scan.uneven import find_unevenness
from tonewright.target.layout import LayoutSettings, even_levels, make_target


def target_of(repeats, levels=21, seed=3):
    return make_target(even_levels(levels), LayoutSettings(
        repeats=repeats, seed=seed, width_mm=203.2, height_mm=254.0))


def density_of(level):
    return 0.08 + 1.5 / (1 + np.exp((level - 0.45) * 9))


def case(target, field, noise, seed=0, exposure=None):
    """True densities and what is seen of them."""
    rng = np.random.default_rng(seed)
    x, y = target.patch_centres.T / np.array([[target.width_mm], [target.height_mm]])
    true = density_of(target.level)
    seen = true + field(x, y) + noise * rng.standard_normal(true.size)
    if exposure is not None:
        seen = seen + (density_of(target.level - 0.02) - true) / 0.02 * exposure(x, y)
    return true, seen


def found(target, seen, sound=None):
    sound = np.ones(seen.size, bool) if sound is None else sound
    return find_unevenness(target.level, seen, np.full(seen.size, 0.003), target.patch_centres,
                           sound)


@pytest.mark.parametrize("seed", range(4))
def test_even_prints_are_left_alone(seed):
    target = target_of(2)
    _, seen = case(target, lambda x, y: 0 * x, 0.004, seed)
    uneven = found(target, seen)
    assert uneven.span < 0.004
    assert np.median(uneven.scatter) == pytest.approx(0.004, rel=0.4)
    assert not uneven.gross.any()


@pytest.mark.parametrize("repeats", [2, 3])
def test_a_lamps_falloff_is_taken_out(repeats):
    target = target_of(repeats)
    true, seen = case(target, lambda x, y: 0.07 * (x - 0.5) + 0.06 * (y - 0.4) ** 2, 0.003)
    uneven = found(target, seen)
    before, after = np.std(seen - true), np.std(seen - uneven.shift - true)
    assert uneven.known and after < 0.35 * before
    assert 0.04 < uneven.span < 0.1
    # and it says how well: the truth lies within twice the deviation nearly always
    left = seen - uneven.shift - true
    left -= left.mean()
    assert np.mean(np.abs(left) < 2 * np.hypot(0.003, uneven.shift_sd)) > 0.85


def test_a_coatings_unevenness_acts_in_the_middle_tones():
    target = target_of(3)
    true, seen = case(target, lambda x, y: 0 * x, 0.003, exposure=lambda x, y: 0.02 * (x - 0.5))
    uneven = found(target, seen)
    ends = np.isin(target.level, (0.0, 1.0))
    assert np.ptp(uneven.shift[ends]) < 0.3 * np.ptp(uneven.shift[~ends])
    assert np.std(seen - uneven.shift - true) < 0.75 * np.std(seen - true)


def test_without_repeats_nothing_is_invented():
    """References alone see the lamp, but no field of the middle tones."""
    target = target_of(1)
    _, seen = case(target, lambda x, y: 0 * x, 0.003, exposure=lambda x, y: 0.05 * (x - 0.5))
    assert found(target, seen).span < 0.01
    tones = np.array([p.kind == "tone" for p in target.patches])
    alone = find_unevenness(target.level[tones], seen[tones], np.full(tones.sum(), 0.003),
                            target.patch_centres[tones], np.ones(tones.sum(), bool))
    assert not alone.known and not alone.scatter.any() and not alone.shift.any()


@pytest.mark.parametrize("seed", range(6))
def test_stained_patches_are_named_and_do_not_bend_the_field(seed):
    target = target_of(2)
    true, seen = case(target, lambda x, y: 0.06 * (x - 0.5), 0.003, seed)
    rng = np.random.default_rng(100 + seed)
    # one of any level, so that its like can witness against it
    levels = rng.permutation(np.linspace(0.1, 0.9, 17))[:3]
    stained = [int(rng.choice(np.flatnonzero(np.abs(target.level - u) < 1e-6))) for u in levels]
    seen[stained] += 0.15
    uneven = found(target, seen)
    assert set(np.flatnonzero(uneven.gross)) == set(stained)
    clean = ~uneven.gross
    assert np.std((seen - uneven.shift - true)[clean]) < 0.006
    assert uneven.off[stained] == pytest.approx(0.15, abs=0.03)


def test_spoilt_patches_judge_nobody_but_are_judged():
    target = target_of(2)
    _, seen = case(target, lambda x, y: 0 * x, 0.003)
    one = int(np.flatnonzero(target.level == 0.5)[0])
    seen[one] += 0.2
    sound = np.ones(seen.size, bool)
    sound[one] = False
    uneven = found(target, seen, sound)
    assert np.flatnonzero(uneven.gross).tolist() == [one]


def test_unread_patches_are_passed_over():
    target = target_of(2)
    _, seen = case(target, lambda x, y: 0.05 * x, 0.003)
    seen[:5] = np.nan
    uneven = found(target, seen)
    assert np.all(np.isfinite(uneven.shift)) and not uneven.gross[:5].any()


@pytest.mark.parametrize("seed", range(6))
def test_a_drift_of_exposure_does_not_move_the_middle_tones(seed):
    """The sheet's average stands: what all patches share cannot be told from the tones.

    A steep coating that is even on the average: after correction the error that goes with the
    middle tones is within what the field does to the average itself.
    """
    target = target_of(2, seed=seed)
    turn = 2 * np.pi * seed / 6
    true, seen = case(target, lambda x, y: 0 * x, 0.003, seed, exposure=lambda x, y: 0.03 * (
        np.cos(turn) * (x - 0.5) + np.sin(turn) * (y - 0.5)))
    uneven = found(target, seen)
    share = (true - true.min()) / np.ptp(true)
    middle = 4.0 * share * (1.0 - share)
    assert uneven.known
    assert abs(uneven.shift.mean()) < 1e-9
    before, after = (float(e @ middle / (middle @ middle))
                     for e in (seen - true, seen - uneven.shift - true))
    assert abs(after) < abs(before) + 0.002
    assert np.std(seen - uneven.shift - true) < 0.75 * np.std(seen - true)
