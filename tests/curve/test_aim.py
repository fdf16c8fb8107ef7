"""Aims: equal steps, another print, the printer's own points."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.findings import AimBeyondPrint, TonesTogether
from tonewright.errors import DocumentError, OptionError
from tonewright.record.codec import decode, encode

REFERENCE = Path(__file__).parents[1] / "reference"
BLACK, WHITE = 18.0, 92.0
IMAGE = np.linspace(0.0, 100.0, 21)


def test_equal_steps_of_lightness():
    np.testing.assert_allclose(
        Aim().print_lightness([0, 25, 50, 100], BLACK, WHITE), [18.0, 36.5, 55.0, 92.0]
    )


def test_equal_steps_of_density():
    printed = Aim("density").print_lightness(IMAGE, BLACK, WHITE)
    steps = np.diff(scales.lightness_to_density(printed))
    np.testing.assert_allclose(steps, steps[0], rtol=1e-9)
    np.testing.assert_allclose(printed[[0, -1]], [BLACK, WHITE])


def test_points_go_smoothly_without_overshoot_as_published():
    """RPN14 of Fritsch and Carlson 1980, as tabulated for NAG e01bec and tested in scipy.

    Both axes are stretched into 0 to 100; the method is equivariant to that.
    """
    case = json.loads((REFERENCE / "rpn14.json").read_text(encoding="utf-8"))
    x, y, wanted_at = (np.array(case[k]) for k in ("x", "y", "xq"))

    def stretch(place):
        return np.clip(100.0 * (place - x[0]) / (x[-1] - x[0]), 0.0, 100.0)

    points = tuple(zip(stretch(x).tolist(), (100.0 * y).tolist(), strict=True))
    printed = Aim("points", "RPN14", points).print_lightness(stretch(wanted_at), 0.0, 100.0)
    np.testing.assert_allclose(printed / 100.0, case["pchip_4dp"], atol=5.1e-5)
    # the other monotone methods of the same table are told apart at this accuracy
    assert np.max(np.abs(printed / 100.0 - case["R_hyman"])) > 1e-3
    assert np.max(np.abs(printed / 100.0 - case["R_monoH_FC"])) > 1e-3


steps = st.lists(st.floats(0.5, 20.0), min_size=2, max_size=8)


@given(steps, st.lists(st.floats(0.0, 20.0), min_size=8, max_size=8))
def test_points_are_met_and_never_overshot(places, rises):
    x = np.cumsum(places)
    x = 100.0 * (x - x[0]) / (x[-1] - x[0])
    y = np.cumsum(rises)[: x.size]
    y = 100.0 * y / max(y[-1], 100.0)
    aim = Aim("points", None, tuple(zip(np.clip(x, 0, 100).tolist(), y.tolist(), strict=True)))
    np.testing.assert_allclose(aim.print_lightness(x, 0.0, 100.0), y, atol=1e-9)
    fine = aim.print_lightness(np.linspace(0.0, 100.0, 501), 0.0, 100.0)
    assert np.all(np.diff(fine) >= -1e-9)
    assert fine.min() >= y[0] - 1e-9
    assert fine.max() <= y[-1] + 1e-9


def test_beyond_the_print_and_beyond_the_points():
    aim = Aim("points", None, ((10.0, 5.0), (90.0, 97.0)))
    printed = aim.print_lightness([0.0, 10.0, 90.0, 100.0], BLACK, WHITE)
    np.testing.assert_allclose(printed, [18.0, 18.0, 92.0, 92.0])
    assert aim.beyond(BLACK, WHITE) == pytest.approx((13.0, 5.0))
    # the aim comes to the print's black and white where it says; by its own values
    image = np.linspace(0.0, 100.0, 1001)
    goal = aim.print_lightness(image, 0.0, 100.0)
    assert list(aim.findings(BLACK, WHITE)) == [
        AimBeyondPrint("black", 13.0),
        TonesTogether("black", pytest.approx(image[goal <= BLACK + 0.5].max(), abs=0.11)),
        AimBeyondPrint("white", 5.0),
        TonesTogether("white", pytest.approx(image[goal >= WHITE - 0.5].min(), abs=0.11))]
    assert aim.beyond(0.0, 100.0) == (0.0, 0.0)
    # nothing is beyond the print, but the points themselves begin late and end early
    assert [type(f) for f in aim.findings(4.96, 97.0)] == [TonesTogether, TonesTogether]
    assert list(Aim("points", None, ((0.0, 20.0), (100.0, 90.0))).findings(18.0, 92.0)) == []
    assert Aim("density").beyond(BLACK, WHITE) == (0.0, 0.0)


def test_image_lightness_outside_its_scale_is_held():
    printed = Aim().print_lightness([-5.0, 130.0], BLACK, WHITE)
    np.testing.assert_allclose(printed, [BLACK, WHITE])


@pytest.mark.parametrize(
    ("kind", "points", "said"),
    [
        ("points", None, "with no points"),
        ("like", None, "with no points"),
        ("lightness", ((0.0, 0.0), (100.0, 100.0)), "with points"),
        ("points", (), "no points"),
        ("points", ((0.0, 10.0),), "1 point"),
        ("points", ((0.0, 10.0), (50.0, 5.0)), "may never print darker"),
        ("points", ((50.0, 10.0), (0.0, 20.0)), "black to white"),
        ("points", ((0.0, 10.0), (0.0, 20.0)), "0, 20 follows 0, 10"),
        ("points", ((0.0, 10.0), (101.0, 90.0)), "between 0 and 100"),
        ("points", ((0.0, -1.0), (100.0, 90.0)), "between 0 and 100"),
        ("points", ((0.0, float("nan")), (100.0, 90.0)), "between 0 and 100"),
    ],
)
def test_an_impossible_aim_is_refused(kind, points, said):
    with pytest.raises(OptionError, match=said):
        Aim(kind, "mine.csv" if points else None, points)


@pytest.mark.parametrize(
    "aim",
    [Aim(), Aim("density"), Aim("points", "own.csv", ((0.0, 20.0), (50.0, 50.0), (100.0, 90.0)))],
)
def test_round_trip(aim):
    assert read(json.loads(json.dumps(encode(aim)))) == aim


def read(data):
    return decode(Aim, data, "the aim", "take an unedited copy")


def as_points(value):
    return {"kind": "points", "label": None, "points": value}


@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        {},
        {"kind": "lightness"},
        {"kind": "bright", "label": None, "points": None},
        {"kind": ["lightness"], "label": None, "points": None},
        {"kind": "lightness", "label": 3, "points": None},
        {"kind": "lightness", "label": None, "points": None, "more": 1},
        as_points(3),
        as_points([[0.0]]),
        as_points([["a", "b"], ["c", "d"]]),
        as_points([[0, 0], [10**400, 50]]),
    ],
)
def test_what_is_no_aim_is_refused(data):
    with pytest.raises(DocumentError, match=r"the aim") as caught:
        read(data)
    assert "unedited copy" in caught.value.way_out


@pytest.mark.parametrize("points", [[[0, 50], [100, 20]], [[0, 5]], None])
def test_a_damaged_aim_names_the_rule(points):
    with pytest.raises(DocumentError, match=r"never print darker|two at least|none") as caught:
        read(as_points(points))
    assert "unedited copy" in caught.value.way_out
