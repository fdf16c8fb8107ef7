"""What speaks against a strip: stains, strips of two papers, a film that is none."""

from __future__ import annotations

import numpy as np
import pytest

from rooms import random_darkroom
from tonewright.errors import FitError
from tonewright.record.times import PrintingTime
from tonewright.strip.check import (
    Placed,
    check_halves,
    contradictions,
    find_doubtful,
    find_stained_runs,
    judge_strip,
    scatter_of,
    set_aside,
    speaks_against,
)
from tonewright.strip.findings import (
    FilmTooDense,
    LighterAgain,
    OddStep,
    ReadingsScatter,
    StripsDisagree,
)
from tonewright.strip.readings import StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual import darkroom
from tonewright.virtual.darkroom import measure_strip

TABLET = nominal_tablet("31")
TIME = PrintingTime(600.0)


def placed(seed, *, change=None, noise=0.02, prints=("a",), shift=0.0, longer=1.0):
    """Readings of one process of the virtual darkroom, a stop longer than it needs."""
    room = random_darkroom(np.random.default_rng(seed))
    patches, x = [], []
    for number, name in enumerate(prints):
        seconds = 2.0**longer * room.base_time
        read = measure_strip(room, TABLET.density, seconds, seed=seed + 50 * number,
                             flaws=darkroom.Flaws(noise_density_sd=noise))
        patches += [StripPatch(int(s), float(d) + shift * number, None, "film", TIME, name)
                    for s, d in zip(read.step, read.density_film, strict=True)]
        x.append(-TABLET.density)
    y = np.array([p.density for p in patches])
    for step, by in (change or {}).items():
        y[step - 1] += by
    return Placed(patches, np.concatenate(x), y, np.ones(y.size))


def contradicted(one):
    return contradictions(one, scatter_of(one))


def against(one, film):
    return speaks_against(one, scatter_of(one), film)


def test_good_strips_have_no_doubtful_steps():
    """One alarm in fifty strips is what the limit allows (Bonferroni)."""
    assert sum(bool(find_doubtful(placed(s))) for s in range(40)) <= 4


def test_a_black_that_is_reached_all_at_once_makes_no_step_doubtful():
    """Yule and Nielsen 1951 (TAGA Proc. 3:65), n = 2: the light of a surface of which the part
    ``1 - exp(-exposure)`` is black. Half a stop short, step 1 alone is where it bends."""
    alarms = 0
    for seed in range(12):
        x = -TABLET.density
        black = -np.expm1(-(10.0 ** (x + 0.6)))
        exact = -2.0 * np.log10((1.0 - black) * 10.0**-0.04 + black * 10.0**-0.85)
        y = exact + 0.02 * np.random.default_rng(seed).standard_normal(x.size)
        patches = [StripPatch(s, float(d), None, "film", TIME, None) for s, d in enumerate(y, 1)]
        alarms += bool(find_doubtful(Placed(patches, x, y, np.ones(x.size))))
    assert alarms <= 1


def test_a_step_at_a_hard_corner_is_not_taken_for_a_stain():
    """Density falls from black at a corner, over 0.4 of log exposure; at the corner it reads darker
    than it is by one and a half times the noise."""
    x = np.concatenate([-TABLET.density, 0.06 - TABLET.density])
    rise = np.clip((x + 0.43) / 0.4 + 1.0, 0.0, 1.0)
    exact = 0.08 + 1.7 * (rise - 0.3 * rise * (1.0 - rise)) + 0.03 * ((x >= -0.43) & (x < -0.36))
    patches = [StripPatch(1 + i % 31, float(d), None, "film" if i < 31 else "bare", TIME, None)
               for i, d in enumerate(exact)]
    for seed in (23, 106):
        y = exact + 0.02 * np.random.default_rng(seed).standard_normal(x.size)
        assert find_doubtful(Placed(patches, x, y, np.ones(x.size))) == {}
        y[36] = exact[36] + 0.25
        assert list(find_doubtful(Placed(patches, x, y, np.ones(x.size)))) == [36]


@pytest.mark.parametrize("step", [1, 2, 5, 17, 31])
@pytest.mark.parametrize("by", [-0.25, 0.25])
def test_a_stain_or_a_slip_is_found(step, by):
    found = find_doubtful(placed(3, change={step: by}))
    assert list(found) == [step - 1]
    assert found[step - 1] == pytest.approx(by, abs=0.08)


def test_several_are_found_though_they_hide_each_other():
    found = find_doubtful(placed(5, change={2: -0.3, 9: -0.3, 20: 0.3}, noise=0.01))
    assert sorted(found) == [1, 8, 19]


STAINED = (1.42, 1.42, 1.43, 1.41, 1.42, 1.25, 1.25, 1.24, 1.31)  # invented
FALLING = (1.22, 1.12, 1.0, 0.86, 0.73, 0.6, 0.48, 0.38, 0.3, 0.24, 0.19, 0.16, 0.14, 0.12, 0.11,
           0.1, 0.1, 0.09, 0.09, 0.09, 0.09, 0.09)


def test_a_stain_over_neighbouring_steps_is_found_and_no_good_step_with_it():
    y = np.array(STAINED + FALLING)
    patches = [StripPatch(s, float(d), None, "film", TIME, None) for s, d in enumerate(y, 1)]
    found = find_doubtful(Placed(patches, -TABLET.density, y, np.ones(y.size)))
    assert sorted(found) == [5, 6, 7]
    assert all(-0.2 < off < -0.08 for off in found.values())


def test_good_strips_show_no_stain_over_neighbouring_steps():
    for seed in range(60):
        for noise in (0.01, 0.03):
            assert find_stained_runs(placed(seed, noise=noise, longer=0.05 * seed - 0.5)) == []


def test_light_under_the_dense_end_of_the_tablet_is_found_and_no_good_step_with_it():
    for seed in (0, 2, 3):  # papers whose white is reached before
        found = find_doubtful(placed(seed, change=dict.fromkeys(range(26, 32), 0.3), noise=0.01))
        assert sorted(found) == [25, 26, 27, 28, 29, 30]
        assert all(off > 0.2 for off in found.values())


def test_what_is_set_aside_is_kept_with_its_place():
    one = placed(3, change={2: -0.5})
    (found,) = set_aside(one, {1: -0.5})
    assert found.steps == (OddStep(2, "film", "a", one.patches[1].density, -0.5),)
    assert set_aside(one, {}) == []


def test_a_strip_that_gets_lighter_again_is_warned_of():
    """Two stains side by side look like a curve that turns: said, and not set right."""
    assert not any(contradicted(placed(s)) for s in range(30))
    for change in ({1: -0.2, 2: -0.2}, {1: -0.3, 2: -0.3, 3: -0.3}):
        (found,) = contradicted(placed(3, change=change))
        assert isinstance(found, LighterAgain)
        (darkest,) = found.darkest
        assert (darkest.through, darkest.print_name) == ("film", "a")
        assert max(change) < darkest.step < 12


def test_strips_of_one_paper_agree_and_of_two_do_not():
    assert contradicted(placed(7, prints=("a", "b"))) == []
    (found,) = contradicted(placed(7, prints=("a", "b"), shift=0.25))
    assert (type(found), found.parts) == (StripsDisagree, "strips")
    assert found.joint_density_sd > 1.5 * found.own_density_sd


def test_readings_that_scatter_much_are_warned_of():
    (found,) = against(placed(9, noise=0.12), None)
    assert isinstance(found, ReadingsScatter)
    assert found.density_sd == pytest.approx(0.12, abs=0.04)


def test_a_film_that_takes_more_than_clear_film_can():  # common practice, no source
    assert against(placed(11), 0.15) == []
    assert against(placed(11), 0.19) == [FilmTooDense(0.19)]
    check_halves(0.3, 0.02)
    with pytest.raises(FitError) as caught:
        check_halves(0.6, 0.05)
    assert caught.value.code == "film_impossible"


def test_a_black_that_solarises_is_warned_of():
    found = 0
    for seed in range(10):
        turned = placed(seed, longer=3.0)  # stops
        turned.y[:8] -= np.linspace(0.1, 0.0, 8)
        found += any(isinstance(f, LighterAgain) for f in contradicted(turned))
    assert found >= 8


def test_the_smooth_curve_tells_the_noise():
    one = placed(13, noise=0.02)
    assert judge_strip(one.x, one.y, one.sd)[0] == pytest.approx(0.02, abs=0.008)
