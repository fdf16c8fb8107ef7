"""Findings: a closed list of codes, each a frozen class of numbers and places."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields, replace

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
    with pytest.raises(FrozenInstanceError):
        del found.steps
    assert len({found, StepsReversed((3, 4), 2.1), PaperNeverMeasured()}) == 2
    assert replace(found, steps=(5,)) == StepsReversed((5,), still_gaining_lightness=2.1)
    assert eval(repr(found)) == found


@pytest.mark.parametrize(("values", "named"), [
    (((3, 4),), {}), ((), {}), (((3, 4), 2.1, 5), {}), (((3, 4), 2.1), {"steps": (3, 4)}),
    (((3, 4),), {"still_gaining_lightness": 2.1, "step": 3})])
def test_a_finding_has_its_own_values_and_no_others(values, named):
    with pytest.raises(TypeError, match="StepsReversed"):
        StepsReversed(*values, **named)


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
