"""The process response as a document."""

from __future__ import annotations

import copy
import dataclasses
import json

import numpy as np
import pytest

from tonewright.errors import DocumentError, OptionError
from tonewright.files.documents import read_process, write_document
from tonewright.record.codec import encode
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.findings import ReadingsWet
from tonewright.strip.fit import make_process
from tonewright.strip.process import FORM, Process, ProcessSettings
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, measure_strip


@pytest.fixture(scope="module")
def process():
    tablet = nominal_tablet("31")
    read = measure_strip(Darkroom(), tablet.density, 1600.0, seed=3)
    patches = [StripPatch(int(s), float(d), 0.02 if s % 2 else None, half, PrintingTime(1600.0),
                          "one")
               for half, density in (("film", read.density_film), ("bare", read.density_bare))
               for s, d in zip(read.step, density, strict=True)]
    strip = Strip(tuple(patches), "visual-density", (), (ReadingsWet("a.csv"),))
    return make_process(strip, tablet, Setup(lamp="invented"), "invented", ProcessSettings(1.5))


def test_round_trip_by_way_of_a_file(process, tmp_path):
    path = tmp_path / "p.process.json"
    write_document(path, process)
    again = read_process(path)
    assert encode(again) == encode(process)
    assert again.findings == process.findings
    assert ReadingsWet("a.csv") in again.findings
    assert again.summary == process.summary
    assert again.strip == process.strip
    assert again.tablet == process.tablet
    assert (again.setup.lamp, again.settings.just_visible_lightness) == ("invented", 1.5)
    write_document(tmp_path / "q.process.json", again)
    assert (tmp_path / "q.process.json").read_bytes() == path.read_bytes()


def test_shift_is_the_logarithm_of_the_time_and_base_time_is_found(process):
    assert process.shift(PrintingTime(16000.0)) == pytest.approx(1.0)
    assert process.base_time == PrintingTime(process.summary.base_printing_time)
    with pytest.raises(OptionError, match="same unit"):
        process.shift(PrintingTime(100.0, "unit"))


def test_one_step_less_is_a_step_of_the_tablet_less_light(process):
    """A tablet of 31 steps has 0.10 from step to step: 10 ** -0.1, or 0.794 times as long."""
    strict = process.one_step_less(process.base_time)
    assert strict.value == pytest.approx(process.summary.strict_printing_time, rel=1e-4)
    assert process.one_step_less(PrintingTime(1000.0)).value == pytest.approx(794.3, abs=0.1)


REMOVED = object()
DAMAGE = [
    (("format",), "tonewright-curve", "this is a correction curve"),
    (("version",), 1, "this process response has version 1. .* reads version 2"),
    (("setup",), None, "setup"), (("setup", "colour"), "x", "colour"),
    (("settings",), [], "the settings is an empty list"),
    (("settings", "just_visible_lightness"), 0, "0.1 and 10"),
    (("tablet",), REMOVED, "tablet"), (("tablet", "densities"), [0.1 * k for k in range(10)], "10"),
    (("tablet", "densities", 3), "x", "the tablet: densities holds .* in place 4"),
    (("tablet", "densities", 3), 9.0, "tablet"),
    (("reference_time", "value"), 0, "the printing time is 0. It is longer than 0"),
    (("reference_time", "value"), "soon", "the reference time: value is .*soon"),
    (("reference_time", "unit"), "hours", "hours"), (("reference_time", "unit"), "unit", "times"),
    (("reference_time", "value"), 1e-50, "the printing time is 1e-50. It is longer than 0"),
    (("strip", "patches", "time", "value", 4), 1e-50, "0.001 at least"),
    (("summary", "base_printing_time"), 1e-50, "base_printing_time is 1e-50"),
    (("summary", "base_printing_time_high"), 1e30, "base_printing_time_high is 1e"),
    (("summary", "reciprocity"), 1e6, "reciprocity is .*between 0.3 and 2"),
    (("summary", "film_density"), 1e6, "film_density is .*between -1 and 10"),
    (("exposure", 0), -1e6, "from -1e\\+06 to .*-20 to 20"),
    (("density_high", -1), 1e6, "Densities lie between -1 and 10"),
    (("summary",), {}, "the summary: base_printing_time"),
    (("summary", "base_printing_time"), "x", "base_printing"),
    (("summary", "base_printing_time"), -1, "base_printing"),
    (("summary", "base_printing_time"), None, "base_printing"),
    (("summary", "film_density"), "x", "film_density"),
    (("summary", "log_exposure_range"), "1.4", "log_exposure_range"),
    (("summary", "reciprocity"), 0, "reciprocity"),
    (("summary", "reached_black"), 1, "reached_black"),
    (("summary", "set_aside"), [62], "row 62 .* counted from 0"),
    (("summary", "extra"), 1, "extra"),
    (("findings",), "text", "findings"), (("findings", 0, "code"), "nonsense", "nonsense"),
    (("findings", 0, "file"), 3, "file is 3"),
    (("exposure",), None, "exposure"), (("density", 0), 9.0, "never falls"),
    (("exposure", 0), 9.0, "rises from row to row"),
    (("density",), [1.0], "density has 1 row, exposure .* equally long"),
    (("strip",), REMOVED, "strip"), (("strip", "patches", "step", 4), 99, "31 steps"),
    (("strip", "patches", "step", 4), 0, "step holds 0 in place 5"),
    (("strip", "patches", "step", 4), 1.5, "step holds 1.5"),
    (("strip", "patches", "step"), [], "equally long"),
    (("strip", "patches", "density", 4), None, "density"),
    (("strip", "patches", "density", 4), 99, "density holds 99 in place 5"),
    (("strip", "patches", "density", 4), float("nan"), "density"),
    (("strip", "patches", "density_sd", 4), 0, "density_sd"),
    (("strip", "patches", "through", 4), "glass", "glass"),
    (("strip", "patches", "time", "value", 4), 0, "longer than 0"),
    (("strip", "patches", "time", "unit", 4), "unit", "unit"),
    (("strip", "patches", "print_name", 4), 3, "print_name holds 3"),
    (("strip", "scale"), "status-a", "status-a"), (("strip", "sources"), "x", "sources is .*x"),
]


@pytest.mark.parametrize(("path", "value", "said"), DAMAGE,
                         ids=[".".join(map(str, p)) + f"-{i}" for i, (p, _, _) in
                              enumerate(DAMAGE)])
def test_damage_is_named_and_the_way_out_given(process, path, value, said):
    document = json.loads(json.dumps(FORM.encode(process)))
    inner = document
    for key in path[:-1]:
        inner = inner[key]
    if value is REMOVED:
        del inner[path[-1]]
    else:
        inner[path[-1]] = copy.copy(value)
    with pytest.raises(DocumentError, match=said) as caught:
        FORM.decode(Process, document)
    assert caught.value.way_out


@pytest.mark.parametrize("document", [None, [], "text", 7, {}])
def test_no_document_at_all(document):
    with pytest.raises(DocumentError, match="process response"):
        FORM.decode(Process, document)


def test_the_range_to_white_is_the_truth_of_a_known_response(process):
    """A straight line has its toe where arithmetic says; longer printing adds its own log10."""
    x = np.linspace(-3.0, 1.0, 401)
    line = np.clip(0.10 + 1.2 * (x + 2.0), 0.10, 1.60)
    straight = dataclasses.replace(process, exposure=x, density=line, density_low=line,
                                   density_high=line)
    once = straight.range_to_white(straight.reference_time)
    assert once == pytest.approx(2.0 - 0.04 / 1.2, abs=1e-3)
    twice = straight.range_to_white(straight.reference_time.times(2.0))
    assert twice - once == pytest.approx(process.summary.reciprocity * np.log10(2.0), abs=1e-6)
    flat = dataclasses.replace(straight, density=np.full(401, 0.1))
    assert flat.range_to_white(straight.reference_time) is None


def test_the_range_to_white_is_more_than_the_log_exposure_range(process):
    assert process.range_to_white(process.base_time) > process.summary.log_exposure_range
