"""Findings: a closed list of codes, each a frozen class of numbers and places."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, dataclass, fields, replace

import pytest

from tonewright.record.findings import Finding, all_codes, finding_class


class PaperNeverMeasured(Finding):
    """A finding without values."""


class StepsReversed(Finding, kind="note", bears_on_print=True):
    """A finding with values."""

    steps: tuple[int, ...]
    still_gaining_lightness: float


def test_the_code_is_the_name_of_the_class():
    assert PaperNeverMeasured.code == "paper_never_measured"
    assert StepsReversed.code == "steps_reversed"


def test_what_holds_of_every_finding_of_a_class():
    assert (PaperNeverMeasured.kind, PaperNeverMeasured.bears_on_print) == ("warning", False)
    found = StepsReversed((3, 4), 2.1)
    assert (found.kind, found.bears_on_print) == ("note", True)
    assert (Finding.kind, Finding.bears_on_print) == ("warning", False)
    assert [f.name for f in fields(found)] == ["steps", "still_gaining_lightness"]


def test_a_finding_is_a_frozen_value():
    found = StepsReversed((3, 4), 2.1)
    assert found == StepsReversed((3, 4), 2.1) != StepsReversed((3, 4), 2.2)
    with pytest.raises(FrozenInstanceError):
        found.still_gaining_lightness = 0.0  # type: ignore[misc]


@dataclass(frozen=True)
class Plain:
    """The same fields, by the standard library alone."""

    step: int
    lightness: float = 2.5


class LikePlain(Finding):
    """The same fields as a finding."""

    step: int
    lightness: float = 2.5


@pytest.mark.parametrize(("values", "named"), [
    ((3,), {}), ((3, 4.0), {}), ((), {"lightness": 1.0, "step": 2}), ((1,), {"lightness": 0.5}),
    ((), {}), ((1, 2.0, 3), {}), ((1,), {"step": 2}), ((), {"step": 1, "other": 2})])
def test_it_is_made_as_any_dataclass(values, named):
    try:
        plain = Plain(*values, **named)
    except TypeError:
        with pytest.raises(TypeError, match="like_plain"):
            LikePlain(*values, **named)
        return
    found = LikePlain(*values, **named)
    assert vars(found) == vars(plain) and list(vars(found)) == list(vars(plain))
    assert repr(found) == repr(plain).replace("Plain", "LikePlain")
    assert found == LikePlain(*values, **named) != plain
    assert len({found, LikePlain(*values, **named), replace(found, step=99)}) == 2
    assert pickle.loads(pickle.dumps(found)) == copy.deepcopy(found) == found
    with pytest.raises(FrozenInstanceError):
        del found.step


def test_the_list_knows_every_class_by_its_code():
    assert finding_class("steps_reversed") is StepsReversed
    assert {"paper_never_measured", "steps_reversed"} <= set(all_codes())
    assert list(all_codes()) == sorted(set(all_codes()))
    assert all(finding_class(code).code == code for code in all_codes())
    with pytest.raises(KeyError):
        finding_class("never_declared")


def test_a_code_is_declared_once():
    before = all_codes()
    with pytest.raises(TypeError, match="steps_reversed is declared twice"):
        type("StepsReversed", (Finding,), {"__module__": "elsewhere"})
    assert all_codes() == before
    assert finding_class("steps_reversed") is StepsReversed


@pytest.mark.parametrize("name", ["code", "kind", "bears_on_print"])
def test_no_value_may_hide_what_every_finding_has(name):
    before = all_codes()
    with pytest.raises(TypeError, match=f"a field named {name}"):
        type("Hiding", (Finding,), {"__annotations__": {name: str}})
    assert all_codes() == before
