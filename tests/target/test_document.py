"""The target document: what is written comes back, and what does not hold together is refused."""

from __future__ import annotations

import copy
import json

import numpy as np
import pytest

from tonewright.errors import DocumentError
from tonewright.target.document import FORM, Target, layout_bits
from tonewright.target.layout import LayoutSettings, even_levels, make_target

TARGET = make_target(even_levels(11), LayoutSettings(name="invented", date="2026-03-01", seed=5))


def test_a_target_comes_back_equal_through_json():
    document = json.loads(json.dumps(FORM.encode(TARGET)))
    assert FORM.decode(Target, document) == TARGET


def test_patches_are_found_by_name_and_kind():
    assert TARGET.patch("a1") == TARGET.patches[0]
    assert TARGET.patch("Z99") is None
    assert all(TARGET.patches[i].level == 0.0 for i in TARGET.of_kind("clear"))
    assert all(TARGET.patches[i].level == 1.0 for i in TARGET.of_kind("full"))


def test_dots_tell_targets_apart():
    """Two targets that differ in one level have borders that differ in many dots."""
    bits = np.array(layout_bits(TARGET.patches, 400))
    assert tuple(bits[: len(TARGET.dots)]) == tuple(d.hollow for d in TARGET.dots)
    other = np.array(layout_bits(TARGET.patches[:-1], 400))
    assert 0.4 < np.mean(bits != other) < 0.6
    assert 0.4 < np.mean(bits) < 0.6


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.pop("patches"), "patches"),
        (lambda d: d.update(format="tonewright-curve"), "this is a correction curve"),
        (lambda d: d.update(version=1), "version 1"),
        (lambda d: d.update(seed=1.5), "seed"),
        (lambda d: d.update(mirrored="yes"), "mirrored"),
        (lambda d: d.update(width_mm=float("nan")), "width_mm"),
        (lambda d: d.update(name=7), "name"),
        (lambda d: d["patches"]["level"].__setitem__(3, 1.3), "1.3"),
        (lambda d: d["patches"]["level"].__setitem__(3, "dark"), "dark"),
        (lambda d: d["patches"]["level"].pop(), "level has"),
        (lambda d: d["patches"]["kind"].__setitem__(0, "gray"), "gray"),
        (lambda d: d["patches"]["x_mm"].__setitem__(0, 900.0), "A1"),
        (lambda d: d["patches"]["name"].__setitem__(1, "a1"), "A1"),
        (lambda d: d["marks"]["name"].__setitem__(0, "2"), "marks"),
        (lambda d: d["marks"]["size_mm"].__setitem__(0, -1.0), "mark"),
        (lambda d: d["marks"]["size_mm"].__setitem__(0, 1e-320), "0.5 and 3000"),
        (lambda d: d["patches"]["width_mm"].__setitem__(0, 1e-320), "0.5 and 3000"),
        (lambda d: d.update(dots=[]), "dots"),
    ],
)
def test_a_broken_document_is_refused_with_its_fault(change, said):
    document = copy.deepcopy(FORM.encode(TARGET))
    change(document)
    with pytest.raises(DocumentError, match=said):
        FORM.decode(Target, document)


@pytest.mark.parametrize("whole", [None, [], "target", {"format": "tonewright-target"}])
def test_what_is_no_target_is_refused(whole):
    with pytest.raises(DocumentError):
        FORM.decode(Target, whole)
