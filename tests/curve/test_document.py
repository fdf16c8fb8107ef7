"""The correction curve: inverted, evaluated, written whole and checked when read."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tonewright.curve.aim import Aim
from tonewright.curve.document import (
    FORM,
    ROWS,
    Ancestor,
    Curve,
    Settings,
    make_correction,
    refuse_two_zeros,
)
from tonewright.curve.make import make_curve
from tonewright.curve.responses import PrintResponse
from tonewright.errors import DocumentError, OptionError, TonewrightError
from tonewright.record.provenance import document_name
from tonewright.record.setup import Setup
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_target


@pytest.fixture(scope="module")
def made():
    """A curve of the virtual darkroom with a doubtful patch and an ancestor."""
    flaws = Flaws(noise_density_sd=0.01, stains=1)
    readings = measure_target(Darkroom(), np.linspace(0, 1, 21), 1, flaws=flaws, seed=4).readings
    return make_curve(
        readings, Settings(Aim("points", "own.csv", ((0.0, 20.0), (100.0, 90.0)))),
        Setup(paper="cotton (invented)"), "kallitype",
        Ancestor("older", "ab" * 32, Setup(paper="linen (invented)")),
    )  # fmt: skip


@pytest.fixture(scope="module")
def text(made):
    return json.dumps(FORM.encode(made))


@pytest.fixture
def document(text):
    return json.loads(text)


def table(lightness, band=2.0) -> PrintResponse:
    light = np.asarray(lightness, dtype=float)
    level = np.linspace(0.0, 1.0, light.size)
    return PrintResponse(level, light, light - band, light + band, light - 5, light + 5)


def test_correction_of_a_straight_response_is_worked_out_by_hand():
    """Print lightness 20 + 60 u: an even aim asks for level = image lightness / 100."""
    found = make_correction(table(np.linspace(20, 80, 101)), Aim(), (0.0, 1.0))
    assert found.image_lightness.size == ROWS
    np.testing.assert_allclose(found.level, found.image_lightness / 100.0, atol=1e-8)
    np.testing.assert_allclose(found.print_lightness, 20 + 0.6 * found.image_lightness, atol=1e-6)
    # a band of 2 L* is a band of 2/60 in level, cut off at the ends
    inside = slice(50, 950)
    np.testing.assert_allclose(
        (found.level - found.level_low)[inside], 2 / 60, atol=1e-8)
    np.testing.assert_allclose((found.level_high - found.level)[inside], 2 / 60, atol=1e-8)
    assert found.level_low.min() >= 0.0
    assert found.level_high.max() <= 1.0


def test_only_usable_levels_are_used():
    light = np.interp(np.linspace(0, 1, 101), [0.1, 0.8], [20.0, 90.0])
    found = make_correction(table(light), Aim(), (0.1, 0.8))
    assert found.level[0] == pytest.approx(0.1)
    assert found.level[-1] == pytest.approx(0.8)
    narrow = make_correction(table(light), Aim(), (0.2, 0.7))
    assert narrow.level.min() == pytest.approx(0.2)
    assert narrow.level.max() == pytest.approx(0.7)


def test_every_column_rises_and_keeps_its_order(made):
    found = made.correction
    for column in (found.print_lightness, found.level, found.level_low, found.level_high):
        assert np.all(np.diff(column) >= 0.0)
    assert np.all(found.level_low <= found.level)
    assert np.all(found.level <= found.level_high)


def test_print_through_the_curve_is_the_aim(made):
    """Response after correction is the aim: the two are inverse to each other."""
    image = np.linspace(2.0, 98.0, 49)
    printed = made.response.lightness_at(made.level_at(image))
    np.testing.assert_allclose(printed, made.print_lightness_at(image), atol=0.05)


def test_evaluation_and_codes(made):
    image = np.array([[0.0, 50.0], [100.0, 25.05]])
    level = made.level_at(image)
    assert level.shape == (2, 2)
    np.testing.assert_array_equal(made.level_at([-3.0, 104.0]), made.level_at([0.0, 100.0]))
    code = made.code_at(image)
    assert code.dtype == np.uint16
    np.testing.assert_array_equal(code, np.floor(65535 * (1 - level) + 0.5))


def test_round_trip(made, document):
    again = Curve.decode(document)
    assert FORM.encode(again) == FORM.encode(made)
    assert again.readings == made.readings
    assert again.settings == made.settings
    assert again.summary == made.summary
    assert again.findings == made.findings
    assert made.findings
    assert again.ancestor == made.ancestor
    assert again.setup == made.setup


def test_document_is_readable_and_says_what_it_is(document):
    assert list(document)[:4] == ["format", "version", "made_by", "name"]
    assert document["format"] == "tonewright-curve"
    assert document["version"] == 2
    assert document["readings"]["patches"]
    assert document["summary"]["negative_density_range"] is None


def set_in(*path_and_value):
    *path, last, value = path_and_value

    def change(data):
        for key in path:
            data = data[key]
        data[last] = value

    change.__name__ = "-".join(str(p) for p in (*path, last))
    return change


def drop(*path):
    *path, last = path

    def change(data):
        for key in path:
            data = data[key]
        del data[last]

    change.__name__ = "without " + "-".join((*path, last))
    return change


NAN, INF, HUGE = float("nan"), float("inf"), 10**400
CHANGES = [
    (set_in("format", "tonewright-process"), "a strip's process file"),
    (drop("format"), "does not say what it is"),
    (set_in("version", 1), "version 1.*reads version 2"),
    (set_in("version", True), "version .* is true"),
    (drop("version"), "version .* is missing"),
    *[(drop(part), f"{part} is missing") for part in (
        "made_by", "name", "setup", "settings", "summary", "findings", "correction", "response",
        "ancestor", "readings")],
    (set_in("readings", None), "neither readings nor"),
    (set_in("readings", [1]), "readings"),
    (set_in("name", 3), "name is 3. It must be text"),
    (set_in("correction", [1, 2]), "the correction is a list"),
    (set_in("extra", 1), 'the correction curve: "extra" does not belong there'),
    (drop("correction", "level"), "the correction: level is missing. It has image_l"),
    (set_in("correction", "level", 500, 0.999), "follows 0.999.*row 502"),
    (set_in("correction", "image_lightness", 500, 10.0), "image_lightness"),
    (set_in("correction", "level", 500, NAN), "level holds NaN in place 501"),
    (set_in("correction", "level", 500, None), "nothing .* in place 501"),
    (set_in("correction", "level", 500, "0.5"), 'the text "0.5" in place 501'),
    (set_in("correction", "level", -1, HUGE), "too large a number"),
    (set_in("correction", "level_high", -1, 1.2), "level_high holds 1.2 .*between 0"),
    (set_in("correction", "level_low", 0, -0.1), "level_low holds -0.1"),
    (set_in("correction", "level_low", [0.999] * ROWS), "level_low, level and level_high"),
    (set_in("correction", "image_lightness", -1, 101.0), "to 101"),
    (set_in("response", "lightness", 100, 0.0), "response, lightness"),
    (set_in("response", "level", -1, 3.0), "level holds 3"),
    (set_in("plan", [1.5]), "plan holds 1.5"),
    (drop("summary", "level_black"), "the summary: level_black is missing"),
    (set_in("summary", "more", 1), 'the summary: "more" does not belong'),
    (set_in("summary", "black_lightness", None), "black_lightness is missing or empty"),
    (set_in("summary", "black_lightness", True), "black_lightness is true"),
    (set_in("summary", "black_lightness", INF), "black_lightness is Infinity"),
    (set_in("findings", ["wide"]), "finding 1 of the correction curve"),
    (set_in("findings", 0, "code", "brighter"), 'code is the text "brighter"'),
    (set_in("findings", [{"code": "few_levels", "levels": 8.5}]), "levels is 8.5"),
    (set_in("summary", "doubtful", [3]), "doubtful patch 1 of the summary is 3"),
    (set_in("summary", "doubtful", [{"patch": "A1"}]), "doubtful patch 1 .*level, .* are missing"),
    (set_in("summary", "doubtful", 0, "level", "x"), 'doubtful patch 1 .*level is the text "x"'),
    (set_in("settings", "left_out", "A1"), "left_out is"),
    (set_in("settings", "left_out", [1]), "left_out holds 1 in place 1"),
    (drop("settings", "aim"), "the settings: aim is missing"),
    (set_in("settings", "aim", "kind", "brighter"), 'the aim: kind is the text "brighter"'),
    (set_in("settings", "aim", "points", None), "the aim is points, with no points"),
    (set_in("settings", "aim", "points", [[0, 50], [100, 20]]), "never print darker"),
    (set_in("settings", "aim", "points", [[0, "a"]]), "points holds a list in place 1"),
    (set_in("setup", "papr", "x"), "papr"),
    (set_in("setup", "paper", ["x"]), "the setup: paper is a list. It must be text"),
    (set_in("ancestor", 3), "ancestor"),
    (drop("ancestor", "sha256"), "ancestor"),
    (set_in("ancestor", "name", 3), "ancestor"),
]


@pytest.mark.parametrize(("change", "said"), CHANGES, ids=lambda v: getattr(v, "__name__", None))
def test_a_damaged_document_is_refused_by_name(document, change, said):
    change(document)
    with pytest.raises(TonewrightError, match=said) as caught:
        Curve.decode(document)
    assert len(str(caught.value)) < 700


@pytest.mark.parametrize("data", [None, [], 3, "curve", {}])
def test_what_is_no_document_is_refused(data):
    with pytest.raises(DocumentError, match="does not say what it is"):
        Curve.decode(data)


def test_without_its_sources_a_curve_is_read_as_fast_and_prints_the_same(document, made):
    document["readings"] = "spoilt"
    part = Curve.decode(document, sources=False)
    assert part.readings is None
    assert part.recipe is None
    assert part.findings == made.findings
    np.testing.assert_array_equal(part.code_at(np.arange(101.0)), made.code_at(np.arange(101.0)))


def test_an_ancestor_may_be_empty(document):
    document["ancestor"] = None
    assert Curve.decode(document).ancestor is None


def test_unknown_is_none_in_the_summary(document):
    document["summary"]["negative_density_range"] = 1.42
    document["summary"]["print_to_print_lightness_sd"] = None
    found = Curve.decode(document).summary
    assert found.negative_density_range == 1.42
    assert found.print_to_print_lightness_sd is None


@pytest.mark.parametrize(
    ("file", "name"),
    [
        ("kallitype.curve.json", "kallitype"),
        ("kallitype.json", "kallitype"),
        ("kallitype", "kallitype"),
        ("my.best.curve.json", "my.best"),
        ("march.check.json", "march"),
        ("flatbed.scanner.json", "flatbed"),
        ("kallitype.csv", "kallitype"),
    ],
)
def test_a_document_is_called_like_its_file(file, name):
    assert document_name(file) == name


def test_absolute_and_relative_measurements_are_not_compared():
    refuse_two_zeros(True, True, "the old curve")
    refuse_two_zeros(False, False, "the old curve")
    with pytest.raises(OptionError, match=r"old curve is absolute.* measurement counts from the"):
        refuse_two_zeros(False, True, "the old curve")
    with pytest.raises(OptionError, match=r"old curve counts from the.* measurement is absolute"):
        refuse_two_zeros(True, False, "the old curve")
