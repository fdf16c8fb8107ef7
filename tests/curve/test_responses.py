"""Responses as tables: evaluated, written, and checked when read."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tonewright.curve.responses import PrintResponse, response_from_dict
from tonewright.errors import DocumentError
from tonewright.record.tables import table_from_dict

NAMES = ["level", "lightness", "lightness_low", "lightness_high", "reading_low", "reading_high"]


def table() -> dict[str, list[float]]:
    light = [18.0, 30.0, 70.0, 92.0]
    return {
        "level": [0.0, 0.3, 0.6, 1.0],
        "lightness": light,
        **{n: [v + d for v in light] for n, d in zip(NAMES[2:], (-1, 1, -3, 3), strict=True)},
    }


def test_straight_between_the_rows_and_held_at_the_ends():
    response = response_from_dict(table())
    np.testing.assert_allclose(
        response.lightness_at([-1.0, 0.0, 0.15, 0.8, 1.0, 7.0]), [18, 18, 24, 81, 92, 92]
    )
    assert response.lightness_at(np.full((2, 3), 0.3)).shape == (2, 3)


def test_round_trip_through_json():
    response = response_from_dict(table())
    again = response_from_dict(json.loads(json.dumps(response.to_dict())))
    assert isinstance(again, PrintResponse)
    assert again.to_dict() == response.to_dict() == table()
    assert list(response.to_dict()) == NAMES


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
        (spoilt("level", 3, 1.2), "levels from 0 to 1.2"),
        (spoilt("level", 0, -0.1), "levels from -0.1"),
        (spoilt("lightness", 1, float("nan")), "holds no finite number in place 2"),
        (spoilt("lightness", 3, float("inf")), "holds no finite number in place 4"),
        (spoilt("lightness", 1, "30"), 'holds the text "30" in place 2. It is a list of'),
        (spoilt("lightness", 1, None), "lightness holds nothing .null. in place 2"),
        (spoilt("level", 0, False), "level holds false in place 1"),
        (spoilt("lightness", 3, 10**400), "no finite number in place 4"),
        (spoilt("lightness", 1, [30.0]), "lightness holds a list in place 2"),
        (table() | {"lightness": [18.0, 92.0]}, "has 2 rows, level 4. All columns are equally"),
        (table() | {"lightness": []}, "lightness has 0 rows, level 4"),
        (table() | {"lightness": 18.0}, "is 18. It is a list of numbers"),
        ({n: v[:1] for n, v in table().items()}, "has 1 row. It has two at least"),
        (table() | {"more": [1.0, 2.0, 3.0, 4.0]}, 'the response: "more" does not belong there'),
        ({n: v for n, v in table().items() if n != "reading_low"}, "reading_low is missing"),
        ([1, 2], "list"),
        (None, "the response is missing or empty"),
    ],
)
def test_what_does_not_hold_is_refused(data, said):
    with pytest.raises(DocumentError, match=said):
        response_from_dict(data)


def test_only_the_first_column_must_rise_strictly():
    found = table_from_dict({"a": [0, 1, 2], "b": [5, 5, 5]}, ["a", "b"], "thing")
    np.testing.assert_array_equal(found["b"], [5.0, 5.0, 5.0])
    with pytest.raises(DocumentError, match="thing, a"):
        table_from_dict({"a": [0, 0, 2], "b": [5, 5, 5]}, ["a", "b"], "thing")
