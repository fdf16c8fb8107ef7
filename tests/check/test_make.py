"""Prints with a known fault checked: verdict, cause, size and next time."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pytest

from materials import two_layer
from prints import FINE, ROOM, checked, curve_of, gone_wrong, tones_of
from tonewright import scales
from tonewright.check import findings
from tonewright.check.aims import PrintedTones, printed_tones
from tonewright.check.document import FORM, Check
from tonewright.check.make import PrintRequest, check_print
from tonewright.check.promise import Response, promise
from tonewright.errors import OptionError, ReadingsError
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, Flaws, Process

ROOMS = {"kallitype": ROOM, "cyanotype": Darkroom(process=CYANOTYPE),
         "two coats": Darkroom(process=Process(two_layer, (0.7, 2.0), 0.07, 1.5, 1.4, 2.5))}


@pytest.fixture(scope="module", params=ROOMS)
def room(request):
    return ROOMS[request.param]


@pytest.fixture(scope="module")
def curve(room):
    return curve_of(room)


@pytest.fixture(scope="module")
def plain():
    return curve_of(strip=False)


@pytest.fixture(scope="module")
def kallitype():
    return curve_of()


def codes(check):
    return {f.code for f in check.findings}


def test_a_good_print_passes(room, curve):
    check = checked(curve, tones_of(curve, gone_wrong(room)))
    assert check.passes and check.cause.code == "none"
    assert check.difference_lightness_rms < 1.5
    assert check.next_time is None
    assert abs(check.exposure_off_stops) < 0.15


@pytest.mark.parametrize("stops", [-0.5, -1 / 3, 1 / 3, 0.5])
def test_light_is_told_and_what_to_print_for(room, curve, stops):
    check = checked(curve, tones_of(curve, gone_wrong(room, stops=stops)))
    assert not check.passes and check.cause.code == "exposure"
    assert check.exposure_off_stops == pytest.approx(stops, abs=1 / 6)
    assert np.log2(check.next_time.value / room.base_time) == pytest.approx(-stops, abs=1 / 6)
    assert check.cause.times_better > 3.0


@pytest.mark.parametrize(("wrong", "cause"), [
    ({"fog": 3.0}, "fog"), ({"black": 4.0}, "weak_black"), ({"ink": 0.2}, "ink")])
def test_other_causes_are_named_with_their_size(room, curve, wrong, cause):
    check = checked(curve, tones_of(curve, gone_wrong(room, **wrong)))
    assert check.cause.code == cause
    (size,) = wrong.values()
    assert check.cause.size == pytest.approx(size, rel=0.5)
    assert check.next_time is None and check.exposure_off_stops is None


def test_black_and_white_are_those_measured(kallitype):
    tones = tones_of(kallitype, gone_wrong())
    check, light = checked(kallitype, tones), tones.readings.lightness
    assert (check.black_lightness, check.white_lightness) == pytest.approx(
        (light[0], light[-1]), abs=1e-3)
    part = tones.without([0, 10])
    assert checked(kallitype, part).black_lightness is None


def test_without_a_strip_no_amount_of_light_is_invented(plain):
    check = checked(plain, tones_of(plain, gone_wrong(stops=0.5)))
    assert check.cause.code == "exposure"
    assert check.exposure_off_stops is check.next_time is check.cause.size is None
    assert "no_strip_behind" in codes(check)


def test_another_process_is_none_of_the_causes(kallitype):
    check = checked(kallitype, tones_of(kallitype, gone_wrong(ROOMS["two coats"])))
    assert not check.passes
    assert check.probability < 0.01


@pytest.mark.parametrize("offset", [-0.05, 0.06])
def test_an_instrument_that_was_not_zeroed_is_no_cause_of_the_print(kallitype, offset):
    def shifted(patch):
        return dataclasses.replace(patch, density=patch.density + offset)

    check = checked(kallitype, tones_of(kallitype, gone_wrong(), change=shifted))
    assert not check.passes and check.cause.code == "unknown"
    (found,) = (f for f in check.findings if isinstance(f, findings.ZeroMayBeOff))
    assert found.density == pytest.approx(offset, abs=0.02)


@pytest.mark.parametrize(("offset", "wrong"), [(0.03, {}), (0.05, {}), (0.0, {"fog": 2.0})])
def test_fog_and_a_zero_that_is_off_are_both_named_where_readings_do_not_tell(
        kallitype, offset, wrong):
    def shifted(patch):
        return dataclasses.replace(patch, density=patch.density + offset)

    check = checked(kallitype, tones_of(kallitype, gone_wrong(**wrong), change=shifted))
    assert not check.passes and "zero_may_be_off" in codes(check)
    assert "fog" in (check.cause.code, check.cause.likelier)


@pytest.mark.parametrize("wrong", [{}, {"stops": 0.5}, {"black": 4.0}, {"fog": 5.0}])
def test_other_prints_are_not_laid_to_the_instrument(kallitype, wrong):
    assert "zero_may_be_off" not in codes(checked(kallitype, tones_of(
        kallitype, gone_wrong(**wrong))))


def test_a_print_is_held_to_what_the_curve_prints(kallitype):
    """Exactly what the response makes of the ink: no tone is off, the black as little as others."""
    tones = tones_of(kallitype, gone_wrong())
    light = kallitype.response.lightness_at(tones.readings.level)
    exact = dataclasses.replace(tones.readings, patches=tuple(
        dataclasses.replace(p, density=float(d)) for p, d in zip(
            tones.readings.patches, scales.lightness_to_density(light), strict=True)))
    check = checked(kallitype, printed_tones(kallitype, exact, tones.aim))
    assert max(abs(t.difference_lightness) for t in check.tones) < 0.01
    assert check.black_lightness == pytest.approx(
        float(kallitype.print_lightness_at(0.0)), abs=0.01)


def test_prints_of_a_wilder_hand_pass_where_they_tell_so_themselves(kallitype):
    """Sheets that differ by three times the usual: one alone may be off, of five it shows that
    they differ and not that all are off."""
    wild = dataclasses.replace(FINE, speed_sd=0.05, contrast_sd=0.03)
    off = [checked(kallitype, tones_of(kallitype, gone_wrong(), sheets=5, flaws=wild, seed=s))
           for s in range(6)]
    assert sum(check.passes for check in off) >= 5


def test_readings_that_state_no_scatter_are_not_held_to_a_scan_s(kallitype):
    """The curve's readings state 0.005; a densitometer's are taken to scatter by 0.01."""
    def white(states_sd):
        flaws = Flaws(noise_density_sd=0.005, states_sd=states_sd)
        tone = checked(kallitype, tones_of(kallitype, gone_wrong(), flaws=flaws)).tones[-1]
        slope = scales.lightness_per_density(tone.aim_lightness)
        return (tone.difference_lightness_sd / slope) ** 2

    assert white(False) - white(True) == pytest.approx(0.01**2 - 0.005**2, rel=0.2)


def test_a_stain_is_set_aside_and_named(kallitype):
    def stain(patch):
        return dataclasses.replace(patch, density=patch.density + 0.2) \
            if patch.patch == "A6" else patch

    check = checked(kallitype, tones_of(kallitype, gone_wrong(), change=stain))
    assert check.passes
    assert [f.patches for f in check.findings if isinstance(f, findings.TonesSetAside)] == [("A6",)]
    assert len(check.tones) == 10


def test_unevenness_shows_on_scattered_tones(kallitype):
    image = np.linspace(0.0, 100.0, 42)
    order = np.random.default_rng(3).permutation(42)
    room = gone_wrong()
    place = np.arange(42)
    tones = tones_of(kallitype, room, count=42)
    level = kallitype.level_at(image)[order]
    across = (place % 6) / 5.0 - 0.5
    density = room.process_density(room.exposure(level) + 0.25 * across)
    noise = 0.005 * np.random.default_rng(4).standard_normal(42)
    patches = tuple(dataclasses.replace(
        p, level=float(u), density=float(d), patch=f"{'ABCDEFG'[i // 6]}{i % 6 + 1}")
        for i, (p, u, d) in enumerate(zip(tones.readings.patches, level, density + noise,
                                          strict=True)))
    uneven = dataclasses.replace(tones, image=image[order],
                                 aim=kallitype.print_lightness_at(image)[order],
                                 readings=dataclasses.replace(tones.readings, patches=patches))
    check = checked(kallitype, uneven)
    assert check.cause.code == "unevenness"
    assert "unevenness_untold" not in codes(check)


def test_prints_that_differ_are_said_to(kallitype):
    same = tones_of(kallitype, gone_wrong(), sheets=3)
    assert "prints_differ" not in codes(checked(kallitype, same))
    wild = dataclasses.replace(FINE, speed_sd=0.15)
    apart = tones_of(kallitype, gone_wrong(), sheets=3, flaws=wild)
    assert "prints_differ" in codes(checked(kallitype, apart))


def test_a_good_print_does_not_make_up_for_a_bad_one(kallitype):
    good, pale = tones_of(kallitype, gone_wrong()), tones_of(kallitype, gone_wrong(stops=-1 / 3))
    both = [dataclasses.replace(p, print_name=name) for name, tones in
            (("good", good), ("pale", pale)) for p in tones.readings.patches]
    check = checked(kallitype, PrintedTones(
        dataclasses.replace(good.readings, patches=tuple(both)), *(
            np.concatenate(pair) for pair in ((good.image, pale.image), (good.aim, pale.aim)))))
    fails = next(f for f in check.findings if isinstance(f, findings.PrintsFailAlone))
    assert fails.prints == ("pale",) and not check.passes
    assert check.cause.code == "exposure" and abs(check.exposure_off_stops + 1 / 3) < 1 / 6
    assert check.next_time is None


def test_prints_are_alike_in_what_the_curve_s_own_sheet_was_off(kallitype, plain):
    """A print differs from a target's by two sheets, of which one is the same for all prints; of
    black the strip's sheet tells, too, and the mean of two sheets is off by half the variance."""
    for curve, at_black in ((plain, 1 / 2), (kallitype, 1 / 3)):
        tones = tones_of(curve, gone_wrong(), sheets=2)
        sheets = promise(curve, tones, Response(curve)).sized
        alike = np.diag(sheets[:11, 11:]) / np.diag(sheets)[:11]
        assert (alike[0], alike[5]) == pytest.approx((at_black, 1 / 2), abs=0.05)


def test_the_setup_says_what_is_new_and_the_day(kallitype):
    tones = tones_of(kallitype, gone_wrong())
    check = checked(kallitype, tones, changes=Setup(lamp="new tubes", date="2026-03-31"),
                    today=date(2026, 4, 1), time=PrintingTime(600.0))
    assert (check.date, check.setup.date, check.setup.lamp) == ("2026-03-31", "2026-03-31",
                                                                "new tubes")
    assert check.setup.paper == "cotton"
    assert "printed_for_another_time" in codes(check)
    assert FORM.decode(Check, FORM.encode(check)) == check


@pytest.mark.parametrize(("more", "said"), [
    ({"changes": Setup(date="2026-04-02"), "today": date(2026, 4, 1)}, "has been made"),
    ({"changes": Setup(date="spring")}, "spring"),
    ({"changes": Setup(paper="linen")}, "linen"),
    ({"left_out": ("Z9",)}, "Z9"),
    ({"left_out": tuple(f"A{i}" for i in range(1, 12))}, "every patch"),
])
def test_what_does_not_belong_together_is_refused(kallitype, more, said):
    with pytest.raises(OptionError, match=said):
        checked(kallitype, tones_of(kallitype, gone_wrong()), **more)


def test_a_print_of_another_curve_is_refused(kallitype):
    other = curve_of(ROOMS["cyanotype"])
    tones = tones_of(other, gone_wrong(ROOMS["cyanotype"]))
    with pytest.raises(ReadingsError, match="made through"):
        printed_tones(kallitype, tones.readings, tones.aim)


def test_the_same_print_gives_the_same_check(kallitype):
    asked = PrintRequest(kallitype, "00" * 32, "c", tones_of(kallitype, gone_wrong(fog=2.0)))
    assert check_print(asked) == check_print(asked)
