"""What an entry of a document is, and what it should be, in plain words."""

from __future__ import annotations

import pytest

from tonewright.errors import DocumentError, listed
from tonewright.record.codec import _At
from tonewright.record.schema import (
    NUMBER,
    NUMBERS,
    is_number,
    is_whole,
    one_of,
    or_none,
    spoken,
)


@pytest.mark.parametrize(("value", "words"), [
    (None, "missing or empty"), (True, "true"), (False, "false"), (7, "7"), (0.25, "0.25"),
    ("a", 'the text "a"'), ("", "an empty text"), ("a\nb", 'the text "a b"'),
    ("x" * 99, 'the text "' + "x" * 39 + '…"'), ([], "an empty list"), ([1], "a list"),
    ({}, "an empty table"), ({"a": 1}, "a table"), (10**400, "too large a number"),
    (float("inf"), "Infinity"),
])
def test_values_are_said_in_plain_words(value, words):
    assert spoken(value) == words


def test_what_is_a_number():
    assert [is_number(v) for v in (1, 0.5, True, "1", None, 10**400, float("nan"))] == [
        True, True, False, False, False, False, False]
    assert [is_whole(v) for v in (1, 1.0, True, "1")] == [True, False, False, False]


def test_the_entry_that_breaks_its_rule_is_named():
    rules = {"a": NUMBER, "b": NUMBERS, "c": one_of("x", "y", "z"), "d": or_none(NUMBER)}
    at = _At("the thing", "mend it", 100)
    for name, value in {"a": 1, "b": [1, 2], "c": "x", "d": None}.items():
        at.check(rules[name], name, value)
    for name, value, said in (("a", "1", 'the thing: a is the text "1". It must be a number. M'),
                              ("b", 3, "b is 3. It must be a list of numbers"),
                              ("b", [1, None], "b holds nothing .null. in place 2"),
                              ("c", ["x"], "c is a list. It must be x, y or z"),
                              ("d", True, "d is true. It must be a number, or empty .null.")):
        with pytest.raises(DocumentError, match=said):
            at.check(rules[name], name, value)


def test_entries_too_few_or_too_many():
    at = _At("it", "", 100)
    at.check_names({"a": 1}, ("a", "b"), may_lack=("b",))
    for data, said in (({}, "it: a, b are missing"), ({"a": 1}, "it: b is missing"),
                       ({"a": 1, "b": 2, "c": 3}, 'it: "c" does not belong there. It has a, b'),
                       (None, "it is missing or empty")):
        with pytest.raises(DocumentError, match=said):
            at.check_names(data, ("a", "b"))


def test_columns_of_unequal_length():
    at = _At("it", "", 100)
    at.check_equal_lengths({"a": [1], "b": [2]})
    with pytest.raises(DocumentError, match="it: b has 1 row, a 2"):
        at.check_equal_lengths({"a": [1, 2], "b": [2]})


def test_lists_are_read_aloud():
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(["a", "b", "c"], "or") == "a, b or c"
