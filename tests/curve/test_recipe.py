"""What a derived curve is made from."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from tonewright.curve.recipe import PrintedTarget, Recipe, pooled
from tonewright.errors import DocumentError, OptionError
from tonewright.record.codec import decode, encode
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


def read(data):
    return decode(Recipe, data, "the recipe", "take an unedited copy")


def test_round_trip(first, second, readings):
    made = Recipe((first, second), (PrintedTarget(readings, 0, TIME, ("A01",)),), 1, TIME)
    again = read(json.loads(json.dumps(encode(made))))
    assert encode(again) == encode(made)
    assert again.prints[0].left_out == ("A01",)
    assert again.prints[0].readings == readings


@pytest.mark.parametrize(("path", "value"), [
    (("processes",), []), (("processes",), 5), (("processes",), "x"), (("prints",), 5),
    (("process",), 2), (("process",), -1), (("process",), True), (("process",), "0"),
    (("printing_time", "value"), "x"), (("printing_time", "value"), -5),
    (("printing_time", "value"), 1.0), (("printing_time", "unit"), "x"),
    (("printing_time", "unit"), "unit"), (("prints", 0, "process"), 9),
    (("prints", 0, "time"), None), (("prints", 0, "time", "unit"), 5),
    (("prints", 0, "readings"), {}), (("prints", 0, "left_out"), "A01"),
])
def test_damage_is_refused(first, readings, path, value):
    made = Recipe((first,), (PrintedTarget(readings, 0, TIME),), 0, TIME)
    inner = data = json.loads(json.dumps(encode(made)))
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(DocumentError):
        read(data)


@pytest.mark.parametrize("data", [None, [], "text", {}])
def test_no_recipe_at_all(data):
    with pytest.raises(DocumentError):
        read(data)


def test_readings_that_do_not_go_with_the_strip(first, readings):
    zeroed = dataclasses.replace(readings, relative_to_paper=True)
    with pytest.raises(OptionError, match="bare paper"):
        Recipe((first,), (PrintedTarget(zeroed, 0, TIME),), 0, TIME)
    other = dataclasses.replace(readings, scale="luminance")
    with pytest.raises(OptionError) as caught:
        Recipe((first,), (PrintedTarget(other, 0, TIME),), 0, TIME)
    assert caught.value.code == "scales_differ"


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
