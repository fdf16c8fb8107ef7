"""The setup: carried over, compared, checked."""

from __future__ import annotations

import datetime

import pytest

from tonewright.errors import DocumentError
from tonewright.record.codec import decode, encode
from tonewright.record.setup import SETUP_NAMES, Setup, setup_from_dict


def test_changes_replace_only_what_is_given():
    old = Setup(paper="cotton", ink="black", notes="first try")
    new = old.with_changes({"paper": "linen", "ink": None, "developer": "citrate, 20 °C"})
    assert new == Setup("linen", developer="citrate, 20 °C", ink="black", notes="first try")
    assert old.paper == "cotton"


def test_an_empty_text_is_a_change_too():
    assert Setup(notes="old").with_changes({"notes": ""}).notes == ""


def test_differences_name_both_sides_and_leave_the_notes_out():
    mine, theirs = Setup(paper="cotton", notes="a"), Setup(paper="linen", lamp="sun", notes="b")
    assert mine.differences(theirs) == {"paper": ("cotton", "linen"), "lamp": (None, "sun")}
    assert mine.differences(mine) == {}


def test_round_trip_keeps_every_entry():
    whole = Setup(**{name: f"my {name}" for name in SETUP_NAMES})
    assert list(encode(whole)) == list(SETUP_NAMES)
    assert decode(Setup, encode(whole), "the setup", "way out") == whole
    assert setup_from_dict(encode(whole)) == whole
    assert setup_from_dict(encode(Setup())) == Setup()
    assert setup_from_dict({}) == Setup()


def test_numbers_and_dates_are_taken_as_spelled():
    found = setup_from_dict({"printing_time": 12.5, "date": datetime.date(2024, 5, 1)})
    assert (found.printing_time, found.date) == ("12.5", "2024-05-01")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"papr": "cotton"}, "'papr'"),
        ({"paper": ["a", "b"]}, "paper"),
        ({"lamp": {"kind": "sun"}}, "lamp is a table"),
        ({"lamp": True}, "lamp is true"),
        ({"lamp": float("nan")}, "lamp is NaN"),
    ],
)
def test_anything_else_is_refused_by_name(data, said):
    with pytest.raises(DocumentError, match=said):
        setup_from_dict(data)


@pytest.mark.parametrize(("said", "spelled"), [
    ("8min", "8 min"), ("7:30", "7 min 30 s"), ("120units", "120 units"), ("noon sun", "noon sun"),
    (None, None)])
def test_a_printing_time_is_spelled_as_any_other(said, spelled):
    assert Setup(printing_time=said).with_time_spelled() == Setup(printing_time=spelled)
