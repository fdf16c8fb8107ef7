"""The codec: what is written is read back the same, and nothing else is read."""

from __future__ import annotations

import json
import math
from dataclasses import FrozenInstanceError, field, replace
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonewright.curve.aim import Aim
from tonewright.curve.responses import NegativeResponse
from tonewright.errors import DocumentError, OptionError
from tonewright.frozen import dataclass
from tonewright.record import codec
from tonewright.record.codec import (
    COLUMNS,
    FALLING,
    LEVEL,
    NEVER_FALLING,
    RISING,
    SPARSE,
    UNORDERED,
    Called,
    Form,
    between,
    decode,
    encode,
    later,
)
from tonewright.record.findings import Finding
from tonewright.record.schema import ABOVE_ZERO, Rule, is_number
from tonewright.record.times import PrintingTime, TimeUnit
from tonewright.scales import Array
from tonewright.strip.process import ProcessSettings

if TYPE_CHECKING:
    from nowhere import Unknown  # a name that cannot be imported

TIME_RULE = Rule(lambda v: is_number(v) and 0 < v <= 1e7,
                 "a time is a number above 0, at most 10000000")
LEVELS = Rule(LEVEL.fits, "it is a list of levels, 0 to 1", each=True)


class EdgesUneven(Finding):
    """A finding of the tests."""

    patch: str
    off_by_density: float


class TonesMissing(Finding, kind="note"):
    """Another."""

    levels: tuple[float, ...]
    step: int | None


@dataclass(frozen=True)
class Exposed:
    """A part with a rule of its own."""

    value: Annotated[float, TIME_RULE]
    unit: TimeUnit = "s"

    def __post_init__(self) -> None:
        if self.unit == "unit" and self.value > 1000.0:
            raise OptionError(f"the light is {self.value:g} units", "1000 at most", "never said")


@dataclass(frozen=True)
class Row:
    """A row that is written in columns."""

    level: Annotated[float, LEVEL]
    density_sd: Annotated[float, ABOVE_ZERO] | None
    name: str
    time: Exposed


@dataclass(frozen=True, eq=False)
class Tones:
    """A table."""

    level: Annotated[Array, RISING, replace(LEVEL, each=True)]
    density: Annotated[Array, NEVER_FALLING]
    code: Annotated[tuple[float, ...], FALLING]
    density_sd: Annotated[tuple[float, ...], UNORDERED]


@dataclass(frozen=True)
class Doubt:
    """One of a list."""

    patch: str
    deviations: float


@dataclass(frozen=True)
class Sheet:
    """One of each kind."""

    name: str
    steps: int
    black: float
    calibrated: bool
    basis: Literal["scale", "anchors"]
    label: str | None
    plan: Annotated[tuple[float, ...], LEVELS]
    points: tuple[tuple[float, float], ...] | None
    pair: tuple[int, str]
    kinds: tuple[Literal["film", "bare"], ...]
    time: Exposed
    strict: Exposed | None
    rows: Annotated[tuple[Row, ...], COLUMNS]
    doubtful: Annotated[tuple[Doubt, ...], Called("doubtful patch")]
    patches: tuple[Doubt, ...]
    findings: tuple[Finding, ...]
    spare: Annotated[tuple[Doubt, ...], COLUMNS] | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Print:
    """A part of a part, in a list."""

    time: Exposed
    settings: Doubt


@dataclass(frozen=True)
class Recipe:
    """A part with a list of parts."""

    prints: tuple[Print, ...]


@dataclass(frozen=True)
class Whole:
    """A document whose recipe may be left out."""

    name: str
    recipe: Recipe | None = None
    heavy: Unknown | None = None
    plan: tuple[float, ...] = (0.5,)


def exposed_type() -> Any:
    """As a module does it that imports only when it must."""
    loaded.append("exposed")
    return Exposed | None


loaded: list[str] = []


@dataclass(frozen=True)
class Light:
    """A field whose type is known later."""

    name: str
    time: Unknown | None = field(default=None, metadata=later(exposed_type))


SHEET = Sheet(
    name="kallitype", steps=31, black=1.62, calibrated=False, basis="scale", label=None,
    plan=(0.0, 0.5, 1.0), points=((0.0, 5.0), (100.0, 95.0)), pair=(2, "x"), kinds=("film", "bare"),
    time=Exposed(90.0), strict=None,
    rows=(Row(0.0, None, "A1", Exposed(90.0)), Row(0.5, 0.02, "A2", Exposed(120.0, "unit"))),
    doubtful=(Doubt("A1", 4.5),), patches=(Doubt("B2", 1.0), Doubt("B3", 2.0)),
    findings=(EdgesUneven("A1", 0.1), TonesMissing((0.1, 0.2), None)),
    spare=(Doubt("C1", 3.0),),
)


def through_json(value: Any) -> Any:
    """As a file gives it back."""
    return json.loads(json.dumps(encode(value), allow_nan=False))


def read(kind: Any, data: Any, **more: Any) -> Any:
    return decode(kind, data, "the sheet", "mend it", **more)


def changed(*path: Any, to: Any) -> Any:
    """The sheet's document with one entry changed."""
    data = through_json(SHEET)
    place = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = to
    return data


def refused(kind: Any, data: Any, **more: Any) -> str:
    """The message, without the way out, which is always the one that was given."""
    with pytest.raises(DocumentError) as caught:
        read(kind, data, **more)
    assert caught.value.way_out == "mend it"
    return f"{caught.value.given} / {caught.value.rule}"


def test_a_document_in_the_order_of_its_fields():
    written = encode(SHEET)
    assert list(written) == list(Sheet.__dataclass_fields__)
    assert written["rows"] == {
        "level": [0.0, 0.5], "density_sd": [None, 0.02], "name": ["A1", "A2"],
        "time": {"value": [90.0, 120.0], "unit": ["s", "unit"]}}
    assert written["findings"] == [
        {"code": "edges_uneven", "patch": "A1", "off_by_density": 0.1},
        {"code": "tones_missing", "levels": [0.1, 0.2], "step": None}]
    assert written["points"] == [[0.0, 5.0], [100.0, 95.0]]
    assert written["spare"] == {"patch": ["C1"], "deviations": [3.0]}
    assert written["doubtful"] == [{"patch": "A1", "deviations": 4.5}]


def test_what_is_written_is_read_back_the_same():
    assert read(Sheet, through_json(SHEET)) == SHEET
    empty = replace(SHEET, rows=(), findings=(), plan=(), points=None, doubtful=(), patches=())
    assert encode(empty)["rows"] == {"level": [], "density_sd": [], "name": [],
                                     "time": {"value": [], "unit": []}}
    assert read(Sheet, through_json(empty)) == empty


numbers = st.floats(-1e290, 1e290)
exposures = st.builds(Exposed, st.floats(1e-3, 1000.0), st.sampled_from(["s", "unit"]))
doubts = st.lists(st.builds(Doubt, st.text(), numbers), max_size=3).map(tuple)
uneven = st.builds(EdgesUneven, st.text(), numbers)
missing = st.builds(TonesMissing, st.lists(numbers, max_size=3).map(tuple), st.none() | st.integers(
    -10**9, 10**9))
sheets = st.builds(
    Sheet, name=st.text(), steps=st.integers(-10**9, 10**9), black=numbers,
    calibrated=st.booleans(), basis=st.sampled_from(["scale", "anchors"]),
    label=st.none() | st.text(), plan=st.lists(st.floats(0.0, 1.0), max_size=4).map(tuple),
    points=st.none() | st.lists(st.tuples(numbers, numbers), max_size=3).map(tuple),
    pair=st.tuples(st.integers(0, 9), st.text()),
    kinds=st.lists(st.sampled_from(["film", "bare"]), max_size=3).map(tuple),
    time=exposures, strict=st.none() | exposures,
    rows=st.lists(st.builds(Row, st.floats(0.0, 1.0), st.none() | st.floats(1e-9, 1.0), st.text(),
                            exposures), max_size=4).map(tuple),
    doubtful=doubts, patches=doubts, findings=st.lists(uneven | missing, max_size=3).map(tuple),
    spare=st.none() | doubts,
    notes=st.lists(st.text(), max_size=2).map(tuple))


@given(sheets)
def test_every_sheet_is_read_back_the_same(sheet):
    read_back = read(Sheet, through_json(sheet))
    assert read_back == sheet
    # numbers that were written without a point come back as the numbers they are
    assert all(type(v) is float for v in (read_back.black, *read_back.plan))


@given(st.data())
def test_any_entry_replaced_by_another_kind_is_refused(data):
    document = through_json(SHEET)
    name = data.draw(st.sampled_from([*document]))
    # of no kind that any of the fields has
    document[name] = data.draw(st.sampled_from([{"nothing": 1}, 10**400, [[[]]]]))
    assert refused(Sheet, document)


def test_whole_numbers_are_numbers_but_not_the_other_way_round():
    back = read(Sheet, changed("black", to=2))
    assert (back.black, type(back.black)) == (2.0, float)
    assert refused(Sheet, changed("steps", to=31.0)) == (
        "the sheet: steps is 31 / it must be a whole number")


@pytest.mark.parametrize(("path", "to", "said"), [
    (("name",), 3, "the sheet: name is 3 / it must be text"),
    (("black",), "x", 'the sheet: black is the text "x" / it must be a number'),
    (("black",), True, "the sheet: black is true / it must be a number"),
    (("black",), None, "the sheet: black is missing or empty / it must be a number"),
    (("black",), math.nan, "the sheet: black is NaN / it must be a number"),
    (("black",), -math.inf, "the sheet: black is -Infinity / it must be a number"),
    (("steps",), True, "the sheet: steps is true / it must be a whole number"),
    (("calibrated",), 1, "the sheet: calibrated is 1 / it must be true or false"),
    (("basis",), "Scale", 'the sheet: basis is the text "Scale" / it must be scale or anchors'),
    (("basis",), ["scale"], "the sheet: basis is a list / it must be scale or anchors"),
    (("label",), 3, "the sheet: label is 3 / it must be text, or empty (null)"),
    (("notes",), "x", 'the sheet: notes is the text "x" / it must be a list of texts'),
    (("notes", ), ["x", None],
     "the sheet: notes holds nothing (null) in place 2 / it must be a list of texts"),
    (("plan",), [0, 1.1], "the sheet: plan holds 1.1 in place 2 / it is a list of levels, 0 to 1"),
    (("plan",), [0, True],
     "the sheet: plan holds true in place 2 / it is a list of levels, 0 to 1"),
    (("points",), [[0, 1], [0, 1, 2]], "the sheet: points holds a list in place 2 / "
     "it must be a list of 2 values, each of its kind, throughout the list"),
    (("pair",), ["x", 2], "the sheet: pair is a list / it must be a list of 2 values, each of"
     " its kind"),
    (("kinds",), ["film", "glass"], 'the sheet: kinds holds the text "glass" in place 2 / '
     "it must be film or bare, throughout the list"),
    (("time",), 90, "the time is 90 / it has value, unit"),
    (("time",), None, "the time is missing or empty / it has value, unit"),
    (("strict",), [], "the strict is an empty list / it has value, unit"),
    (("time", "value"), 0,
     "the time: value is 0 / a time is a number above 0, at most 10000000"),
    (("time",), {"value": 2e3, "unit": "unit"},
     "in the time, the light is 2000 units / 1000 at most"),
    (("time",), {"value": 1}, "the time: unit is missing / it has value, unit"),
    (("doubtful",), {}, "the sheet: doubtful is an empty table / it must be a list"),
    (("doubtful", 0, "deviations"), "x",
     'doubtful patch 1 of the sheet: deviations is the text "x" / it must be a number'),
    (("patches", 1), 7, "patch 2 of the sheet is 7 / it has patch, deviations"),
    (("patches", 1, "more"), 7,
     'patch 2 of the sheet: "more" does not belong there / it has patch, deviations'),
    (("rows",), [], "the rows is an empty list / it has level, density_sd, name, time"),
    (("rows", "level"), 0.5, "the rows: level is 0.5 / a level lies between 0 (clear film) and 1"
     " (heaviest ink), throughout the list"),
    (("rows", "level", 1), None, "the rows: level holds nothing (null) in place 2 / a level lies "
     "between 0 (clear film) and 1 (heaviest ink), throughout the list"),
    (("rows", "density_sd", 0), 0, "the rows: density_sd holds 0 in place 1 / it must be a number"
     " above 0, or empty (null), throughout the list"),
    (("rows", "name"), ["A"], "the rows: name has 1 row, level 2 / all columns are equally long"),
    (("rows", "time", "value", 1), 2e3,
     "in the rows, time (row 2), the light is 2000 units / 1000 at most"),
    (("rows", "time", "value"), [1], "the rows, time: unit has 2 rows, value 1 / "
     "all columns are equally long"),
    (("rows", "x"), [], 'the rows: "x" does not belong there / it has level, density_sd, name, '
     "time"),
    (("findings", 0), "x", 'finding 1 of the sheet is the text "x" / it must be a table of code'),
    (("findings", 1, "code"), "tones_lost", 'finding 2 of the sheet: code is the text "tones_lost"'
     " / it must be the code of a finding known here"),
    (("findings", 0, "code"), ["edges_uneven"],
     "finding 1 of the sheet: code is a list / it must be the code of a finding known here"),
    (("findings", 0, "off_by_density"), "much", "finding 1 of the sheet: off_by_density is the text"
     ' "much" / it must be a number'),
    (("findings", 1, "why"), "x", 'finding 2 of the sheet: "why" does not belong there / it has '
     "code, levels, step"),
    (("spare", "patch", 0), 1, "the spare: patch holds 1 in place 1 / it must be a list of texts"),
])
def test_what_is_said_of_a_wrong_entry(path, to, said):
    assert refused(Sheet, changed(*path, to=to)) == said


def test_entries_missing_or_unknown():
    data = through_json(SHEET)
    names = ", ".join(Sheet.__dataclass_fields__)
    for name in data:
        assert refused(Sheet, {k: v for k, v in data.items() if k != name}) == (
            f"the sheet: {name} is missing / it has {names}")
    assert refused(Sheet, {**data, "more": 1}) == (
        f'the sheet: "more" does not belong there / it has {names}')
    assert refused(Sheet, [data]) == f"the sheet is a list / it has {names}"


@pytest.mark.parametrize("name", ["plan", "notes", "patches", "findings", "points"])
def test_a_list_without_end_is_refused(name, monkeypatch):
    monkeypatch.setattr(codec, "LONGEST", 8)
    assert refused(Sheet, changed(name, to=[0.5] * 9)) == (
        f"the sheet: {name} has 9 values / a list has 8 at most")


def test_a_column_without_end_is_refused(monkeypatch):
    monkeypatch.setattr(codec, "LONGEST", 8)
    assert refused(Sheet, changed("rows", "level", to=[0.5] * 9)) == (
        "the rows: level has 9 values / a list has 8 at most")


TONES = {"level": [0, 0.5, 1], "density": [0.1, 0.1, 1], "code": [0.9, 0.5, 0.1],
         "density_sd": [0.1, 0.3, 0.1]}


def test_a_table_is_read_as_arrays():
    tones = read(Tones, TONES)
    assert tones.level.dtype == np.float64
    assert encode(tones) == TONES
    assert isinstance(encode(tones)["level"], list)
    assert tones.code == (0.9, 0.5, 0.1)


@pytest.mark.parametrize(("change", "said"), [
    ({"level": [0, 1, 1]}, "sheet, level: 1 follows 1 (row 3) / this column rises from row to row"),
    ({"density": [1, 0.5, 2]}, "sheet, density: 0.5 follows 1 (row 2) / this column never falls"),
    ({"code": [1, 0.5, 0.5]},
     "sheet, code: 0.5 follows 0.5 (row 3) / this column falls from row to row"),
    ({"level": [0, 0.5]}, "the sheet: density has 3 rows, level 2 / all columns are equally long"),
    ({"density_sd": [0.1]},
     "the sheet: density_sd has 1 row, level 3 / all columns are equally long"),
    ({"level": [0, 0.5, 1.5]}, "the sheet: level holds 1.5 in place 3 / "
     "a level lies between 0 (clear film) and 1 (heaviest ink)"),
    ({"density": [0, "1", 2]},
     'the sheet: density holds the text "1" in place 2 / it must be a list of numbers'),
    ({"density": [0, True, 2]},
     "the sheet: density holds true in place 2 / it must be a list of numbers"),
    ({"density": 1}, "the sheet: density is 1 / it must be a list of numbers"),
    ({n: [0.5] for n in TONES}, "the sheet has 1 row / it has two at least"),
    ({n: [] for n in TONES}, "the sheet has 0 rows / it has two at least"),
])
def test_what_is_said_of_a_wrong_table(change, said):
    assert refused(Tones, {**TONES, **change}) == said


WHOLE = {"name": "x", "recipe": {"prints": [
    {"time": {"value": 1, "unit": "s"}, "settings": {"patch": "A1", "deviations": 1}},
    {"time": {"value": 1, "unit": "s"}, "settings": {"patch": "A1", "deviations": "x"}}]},
    "heavy": {"anything": math.nan}, "plan": "anything"}


def test_fields_left_out_are_not_looked_at():
    whole = read(Whole, WHOLE, skip=("recipe", "heavy", "plan"))
    assert whole == Whole("x", None, None, (0.5,))
    assert "has name, recipe, heavy, plan" in refused(Whole, {}, skip=("recipe", "heavy", "plan"))
    with pytest.raises(TypeError, match="no field rcipe"):
        read(Whole, WHOLE, skip=("rcipe",))
    with pytest.raises(NameError, match="Unknown"):
        read(Whole, WHOLE, skip=("recipe",))


def test_a_part_of_one_of_several_says_of_which():
    assert refused(Whole, WHOLE, skip=("heavy",)) == (
        'the settings of print 2 of the recipe: deviations is the text "x" / it must be a number')


def test_a_type_is_imported_when_its_field_is_read():
    assert read(Light, {"name": "x", "time": {"no": 1}}, skip=("time",)) == Light("x")
    assert encode(Light("x", Exposed(1.0))) == {"name": "x", "time": {"value": 1.0, "unit": "s"}}
    assert loaded == []
    assert read(Light, {"name": "x", "time": {"value": 1, "unit": "s"}}).time == Exposed(1.0)
    assert loaded == ["exposed"]


FORM = Form("tonewright-tones", 2, "sheet", "mend it")


def test_a_document_has_a_head():
    written = FORM.encode(SHEET)
    assert list(written)[:3] == ["format", "version", "name"]
    assert FORM.decode(Sheet, json.loads(json.dumps(written))) == SHEET
    light = FORM.decode(Light, FORM.encode(Light("x", Exposed(1.0))), skip=("time",))
    assert light == Light("x")
    for change, said in (({"version": 1}, "this sheet has version 1"),
                         ({"format": "tonewright-curve"}, "this is a correction curve"),
                         ({"black": "x"}, 'the sheet: black is the text "x"')):
        with pytest.raises(DocumentError) as caught:
            FORM.decode(Sheet, {**written, **change})
        assert caught.value.given == said
    with pytest.raises(DocumentError, match="does not say what it is"):
        FORM.decode(Sheet, None)


@pytest.mark.parametrize("value", [math.nan, math.inf, np.float64("nan"), 10**400,
                                   np.array([1.0, math.inf])])
def test_no_number_is_written_that_could_not_be_read(value):
    with pytest.raises(ValueError, match="a document cannot hold"):
        encode(value)


@pytest.mark.parametrize("value", [{1, 2}, b"x", np.int64(3), Exposed, [1], {"a": 1}, 1j])
def test_what_is_of_no_kind_is_not_written(value):
    with pytest.raises(TypeError, match="a document cannot hold a"):
        encode(value)


def test_numbers_of_numpy_are_written_as_plain_ones():
    assert type(encode(np.float64(0.5))) is float


@dataclass(frozen=True)
class Odd:
    """Kinds that documents do not hold."""

    anything: Any = None
    mapping: dict[str, float] | None = None
    two: tuple[Doubt, Doubt] | None = None
    either: Doubt | Exposed | None = None
    whole: NDArrayOfInt | None = None
    lists: tuple[tuple[float, ...], ...] = ()


NDArrayOfInt = np.ndarray[Any, np.dtype[np.int64]]


@pytest.mark.parametrize("name", list(Odd.__dataclass_fields__))
def test_a_kind_that_documents_do_not_hold_is_a_fault_of_the_program(name):
    others = tuple(n for n in Odd.__dataclass_fields__ if n != name)
    with pytest.raises(TypeError, match="documents hold no"):
        read(Odd, {**dict.fromkeys(others), name: [1, 2]}, skip=others)


def test_a_rule_adds_to_the_kind():
    @dataclass(frozen=True)
    class Steps:
        count: Annotated[int, between(1, 9)]

    Steps.__dataclass_fields__["count"].type = Annotated[int, between(1, 9)]  # a local name
    assert read(Steps, {"count": 9}) == Steps(9)
    for wrong in (9.0, 10, True, None):
        assert refused(Steps, {"count": wrong}).endswith("/ it lies between 1 and 9")


@dataclass(frozen=True)
class Two:
    """A rule for a list as a whole."""

    ends: Annotated[tuple[float, ...], Rule(lambda v: len(v) == 2, "it has two numbers")]


def test_a_rule_for_a_list_as_a_whole():
    assert read(Two, {"ends": [1, 2]}) == Two((1.0, 2.0))
    for wrong in ([1], [1, 2, 3], [1, True], "xy", None):
        assert refused(Two, {"ends": wrong}).endswith("/ it has two numbers")


@dataclass(frozen=True)
class OwnAim(Aim):
    """Its fields' types are known where `Aim` is written, not here."""

    note: str = ""


def test_inherited_fields_are_of_the_types_they_had():
    assert read(OwnAim, {"kind": "density", "label": None, "points": None, "note": "x"}) == OwnAim(
        "density", note="x")


# ---- the library's own documents


def test_rules_of_a_part_are_said_with_its_place():
    with pytest.raises(DocumentError) as caught:
        decode(ProcessSettings, {"just_visible_lightness": 20, "count_all": False}, "the settings",
               "x")
    assert caught.value.given == "in the settings, a just-visible step of 20 L*"
    with pytest.raises(DocumentError, match="in the reference time, the printing time is 0"):
        decode(PrintingTime, {"value": 0, "unit": "s"}, "the reference time", "x")


def test_an_aim_of_points():
    aim = Aim("points", "mine.csv", ((0.0, 10.0), (100.0, 90.0)))
    assert read(Aim, through_json(aim)) == aim
    assert refused(Aim, {**through_json(aim), "kind": "lightness"}) == (
        "in the sheet, the aim is lightness, with points / the aims like and points have points,"
        " the others none")


GOOD = {"level": [0, 0.5, 1], "density": [0, 1, 2], "density_low": [0, 1, 2],
        "density_high": [0, 1, 2]}


@pytest.mark.parametrize(("change", "given", "rule"), [
    ({"level": [0, 0.5, 0.5]}, "negative response, level: 0.5 follows 0.5 (row 3)",
     "this column rises from row to row"),
    ({"density": [0, 2, 1]}, "negative response, density: 1 follows 2 (row 3)",
     "this column never falls"),
    ({"density_high": [0, 1]}, "the negative response: density_high has 2 rows, level 3",
     "all columns are equally long"),
    ({n: [1] for n in GOOD}, "the negative response has 1 row", "it has two at least"),
    ({"level": [0, 0.5, 1.2]}, "the negative response: level holds 1.2 in place 3", LEVEL.words),
])
def test_a_declared_table_says_what_is_wrong(change, given, rule):
    with pytest.raises(DocumentError) as caught:
        decode(NegativeResponse, {**GOOD, **change}, "the negative response", "x")
    assert (caught.value.given, caught.value.rule) == (given, rule)


def test_what_is_read_stays_as_it_is():
    with pytest.raises(FrozenInstanceError):
        read(Sheet, through_json(SHEET)).name = "other"


@dataclass(frozen=True)
class Grown:
    """A part that got a field after documents of it were written."""

    name: str
    colour: float | None = field(default=None, metadata=SPARSE)


def test_a_sparse_field_has_an_entry_only_where_it_is_known():
    assert encode(Grown("a")) == {"name": "a"}
    assert encode(Grown("a", 0.5)) == {"name": "a", "colour": 0.5}
    for whole in (Grown("a"), Grown("a", 0.5)):
        assert decode(Grown, encode(whole), "the part", "") == whole
    assert decode(Grown, {"name": "a", "colour": None}, "the part", "") == Grown("a")
    for wrong in ({"colour": 0.5}, {"name": "a", "color": 0.5}, {"name": "a", "colour": "red"}):
        with pytest.raises(DocumentError):
            decode(Grown, wrong, "the part", "")
