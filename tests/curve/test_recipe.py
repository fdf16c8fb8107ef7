"""What a derived curve is made from."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from tonewright.curve.recipe import PrintedTarget, Recipe, pooled, recipe_from_dict
from tonewright.errors import DocumentError, OptionError, TonewrightError
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, measure_strip, measure_target

TIME = PrintingTime(1600.0)


def process(room, time=TIME, scale="visual-density"):
    tablet = nominal_tablet("21")
    read = measure_strip(room, tablet.density, time.value, seed=1)
    patches = tuple(StripPatch(int(s), float(d), None, "film", time, None)
                    for s, d in zip(read.step, read.density_film, strict=True))
    return make_process(Strip(patches, scale, ()), tablet, Setup(), "invented")


@pytest.fixture(scope="module")
def first():
    return process(Darkroom())


@pytest.fixture(scope="module")
def second():
    return process(Darkroom(process=CYANOTYPE))


@pytest.fixture(scope="module")
def readings():
    return measure_target(Darkroom(), np.linspace(0, 1, 21), seed=2).readings


def test_round_trip(first, second, readings):
    made = Recipe((first, second), (PrintedTarget(readings, 0, TIME, ("A01",)),), 1, TIME)
    data = json.loads(json.dumps(made.to_dict()))
    again = recipe_from_dict(data)
    assert again.to_dict() == made.to_dict()
    assert again.prints[0].left_out == ("A01",)
    assert again.prints[0].readings == readings


@pytest.mark.parametrize(("path", "value"), [
    (("processes",), []), (("processes",), 5), (("processes",), "x"), (("prints",), 5),
    (("process",), 2), (("process",), -1), (("process",), True), (("process",), "0"),
    (("printing_time",), "x"), (("printing_time",), -5), (("printing_time",), 1.0),
    (("time_unit",), "x"), (("time_unit",), "unit"), (("prints", 0, "process"), 9),
    (("prints", 0, "time"), None), (("prints", 0, "time_unit"), 5),
    (("prints", 0, "readings"), {}), (("prints", 0, "left_out"), "A01"),
    (("processes", 0, "strip", "step", 3), 99),
])
def test_damage_is_refused(first, readings, path, value):
    made = Recipe((first,), (PrintedTarget(readings, 0, TIME),), 0, TIME)
    inner = data = json.loads(json.dumps(made.to_dict()))
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(TonewrightError):
        recipe_from_dict(data)


@pytest.mark.parametrize("data", [None, [], "text", {}])
def test_no_recipe_at_all(data):
    with pytest.raises(DocumentError):
        recipe_from_dict(data)


def test_readings_that_do_not_go_with_the_strip(first, readings):
    zeroed = dataclasses.replace(readings, relative_to_paper=True)
    with pytest.raises(OptionError, match="--paper-density"):
        Recipe((first,), (PrintedTarget(zeroed, 0, TIME),), 0, TIME)
    other = dataclasses.replace(readings, scale="luminance")
    with pytest.raises(OptionError, match=r"luminance.*visual-density"):
        Recipe((first,), (PrintedTarget(other, 0, TIME),), 0, TIME)


@pytest.mark.parametrize(("time", "said"), [
    (PrintingTime(1600.0, "unit"), "same unit"), (PrintingTime(9.0), "32 times apart"),
    (PrintingTime(1e6), "32 times apart")])
def test_times_that_cannot_be_compared(first, readings, time, said):
    with pytest.raises(OptionError, match=said):
        Recipe((first,), (PrintedTarget(readings, 0, time),), 0, TIME)
    with pytest.raises(OptionError, match=said):
        Recipe((first,), (PrintedTarget(readings, 0, TIME),), 0, time)


def test_what_is_named_twice_counts_once(first, second, readings):
    renamed = dataclasses.replace(first, name="the same strip again")
    print_ = PrintedTarget(readings, 0, TIME)
    made = pooled((first, second, renamed),
                  (print_, dataclasses.replace(print_, process=2),
                   dataclasses.replace(print_, process=1),
                   PrintedTarget(readings, 2, PrintingTime(900.0))), 2, TIME)
    assert made.processes == (first, second)
    assert made.process == 0
    assert [(p.process, p.time.value) for p in made.prints] == [(0, 1600.0), (1, 1600.0),
                                                               (0, 900.0)]
