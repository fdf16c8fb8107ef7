"""Responses as tables: evaluated, written, and checked when read."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tonewright.curve.responses import PrintResponse
from tonewright.errors import DocumentError
from tonewright.record.codec import decode, encode

NAMES = ["level", "lightness", "lightness_low", "lightness_high", "reading_low", "reading_high"]


def table() -> dict[str, list[float]]:
    light = [18.0, 30.0, 70.0, 92.0]
    return {
        "level": [0.0, 0.3, 0.6, 1.0],
        "lightness": light,
        **{n: [v + d for v in light] for n, d in zip(NAMES[2:], (-1, 1, -3, 3), strict=True)},
    }


def read(data):
    return decode(PrintResponse, data, "the response", "take an unedited copy")


def test_straight_between_the_rows_and_held_at_the_ends():
    response = read(table())
    np.testing.assert_allclose(
        response.lightness_at([-1.0, 0.0, 0.15, 0.8, 1.0, 7.0]), [18, 18, 24, 81, 92, 92]
    )
    assert response.lightness_at(np.full((2, 3), 0.3)).shape == (2, 3)


def test_round_trip_through_json():
    response = read(table())
    again = read(json.loads(json.dumps(encode(response))))
    assert isinstance(again, PrintResponse)
    assert encode(again) == encode(response) == table()
    assert list(encode(response)) == NAMES


def spoilt(name, place, value):
    data = table()
    data[name][place] = value
    return data


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (spoilt("lightness", 2, 29.0), "lightness: 29 follows 30.*row 3"),
        (spoilt("level", 1, 0.0), "level: 0 follows 0"),
        (spoilt("reading_high", 3, 0.0), "reading_high"),
        (spoilt("level", 3, 1.2), "1.2 in place 4.* between 0"),
        (spoilt("level", 0, -0.1), "-0.1 in place 1"),
        (spoilt("lightness", 1, float("nan")), "holds NaN in place 2"),
        (spoilt("lightness", 3, float("inf")), "holds Infinity in place 4"),
        (spoilt("lightness", 1, "30"), 'holds the text "30" in place 2. It must be a list of'),
        (spoilt("lightness", 1, None), "lightness holds nothing .null. in place 2"),
        (spoilt("level", 0, False), "level holds false in place 1"),
        (spoilt("lightness", 3, 10**400), "too large a number in place 4"),
        (spoilt("lightness", 1, [30.0]), "lightness holds a list in place 2"),
        (table() | {"lightness": [18.0, 92.0]}, "has 2 rows, level 4. All columns are equally"),
        (table() | {"lightness": []}, "lightness has 0 rows, level 4"),
        (table() | {"lightness": 18.0}, "is 18. It must be a list of numbers"),
        ({n: v[:1] for n, v in table().items()}, "has 1 row. It has two at least"),
        (table() | {"more": [1.0, 2.0, 3.0, 4.0]}, 'the response: "more" does not belong there'),
        ({n: v for n, v in table().items() if n != "reading_low"}, "reading_low is missing"),
        ([1, 2], "list"),
        (None, "the response is missing or empty"),
    ],
)
def test_what_does_not_hold_is_refused(data, said):
    with pytest.raises(DocumentError, match=said):
        read(data)
