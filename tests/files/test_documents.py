"""Curve documents on disk, setups in TOML, aims as they are typed."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonewright.curve.aim import Aim
from tonewright.curve.document import FORM, Curve, Settings
from tonewright.curve.make import FitRequest, fit_curve, make_curve, rebuild
from tonewright.errors import DocumentError, FileError, OptionError, TonewrightError
from tonewright.files import documents
from tonewright.files.documents import (
    document_text,
    open_curve,
    read_aim,
    read_curve,
    read_process,
    read_setup,
    to_text,
    write_document,
)
from tonewright.record.setup import Setup
from tonewright.scan.response import response_from_gray_scale
from tonewright.scan.scanner import FORM as SCANNER
from tonewright.scan.scanner import ScannerResponse
from tonewright.strip.process import FORM as PROCESS
from tonewright.strip.process import Process
from tonewright.target.document import FORM as TARGET
from tonewright.target.document import Target
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_target

CURVES = Path(__file__).parents[2] / "curves"


def invented(relative=False):
    flaws = Flaws(noise_density_sd=0.01, stains=1)
    readings = measure_target(Darkroom(), np.linspace(0, 1, 21), 1, flaws=flaws, seed=4).readings
    if relative:
        patches = tuple(
            type(p)(p.level, p.density - 0.13, None, p.print_name, p.patch)
            for p in readings.patches
        )
        readings = type(readings)(patches, readings.scale, True)
    setup = Setup(paper="Bütten, 300 g — “rough”", notes='a "quote", a \\ and a\nnew line')
    return make_curve(readings, Settings(Aim()), setup, "kallitype")


@pytest.fixture(scope="module")
def curve():
    return invented()


@pytest.fixture(scope="module")
def text(curve):
    return document_text(curve)


@pytest.fixture
def written(tmp_path, curve):
    path = tmp_path / "kallitype.curve.json"
    write_document(path, curve)
    return path


# curves


def test_read_back_is_what_was_written(written, curve, text):
    assert written.read_bytes() == text.encode("utf-8")
    assert FORM.encode(read_curve(written)) == FORM.encode(curve)


@pytest.mark.fits_anew
def test_rebuilt_to_the_same_bytes(written):
    assert document_text(rebuild(read_curve(written))).encode() == written.read_bytes()


def test_a_rebuild_in_another_process_gives_the_same_bytes(written):
    """Threads, hash seeds and locale of another interpreter change nothing."""
    code = (
        "import sys\n"
        "from tonewright.curve.make import rebuild\n"
        "from tonewright.files.documents import document_text, read_curve\n"
        "sys.stdout.buffer.write(document_text(rebuild(read_curve(sys.argv[1]))).encode('utf-8'))\n"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "77", "OPENBLAS_NUM_THREADS": "2", "LC_ALL": "C"}
    done = subprocess.run(
        [sys.executable, "-c", code, str(written)], capture_output=True, check=True, timeout=60,
        env=environment,
    )  # fmt: skip
    assert done.stdout == written.read_bytes()


def test_evaluation_needs_numpy_alone(written):
    """A fresh interpreter reads a curve and uses it without scipy, matplotlib or click."""
    code = (
        "import json, sys\n"
        "from tonewright.files.documents import read_curve\n"
        "curve = read_curve(sys.argv[1])\n"
        "level = curve.level_at([0.0, 50.0, 100.0]).tolist()\n"
        "code = curve.code_at([0.0, 50.0, 100.0]).tolist()\n"
        "names = sorted({m.split('.')[0] for m in sys.modules})\n"
        "print(json.dumps([level, code, names]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(written)], capture_output=True, check=True, timeout=60
    )
    level, code, names = json.loads(done.stdout)
    assert "numpy" in names
    assert not set(names) & {"scipy", "matplotlib", "click", "colour", "PIL", "tifffile"}
    assert level == read_curve(written).level_at([0.0, 50.0, 100.0]).tolist()
    assert code[0] > code[1] > code[2]


def test_never_over_another_file_without_force(written, curve):
    before = written.read_bytes()
    with pytest.raises(FileError, match="there already"):
        write_document(written, curve)
    assert written.read_bytes() == before
    written.write_text("old", encoding="utf-8")
    write_document(written, curve, force=True)
    assert written.read_bytes() == before
    assert [p.name for p in written.parent.iterdir()] == [written.name]


def test_a_document_is_opened_once_with_the_fingerprint_of_its_bytes(written, monkeypatch):
    opened, read = [], documents.read_bytes
    monkeypatch.setattr(documents, "read_bytes",
                        lambda path, *more: opened.append(path) or read(path, *more))
    found = open_curve(written)
    assert opened == [written]
    assert found.sha256 == hashlib.sha256(written.read_bytes()).hexdigest()
    assert (found.name, found.document.name) == ("kallitype.curve.json", "kallitype")


@pytest.mark.parametrize("share", [0.0, 0.001, 0.1, 0.5, 0.9, 0.999])
def test_cut_short_is_refused(tmp_path, text, share):
    path = tmp_path / "cut.curve.json"
    path.write_text(text[: int(share * len(text))], encoding="utf-8")
    with pytest.raises(DocumentError, match=r"cut\.curve\.json is not a whole JSON document") as it:
        read_curve(path)
    assert ("it is empty" if share == 0.0 else "it breaks off in line") in it.value.given


@pytest.mark.parametrize("end", ["0.", "1e-", "nul", "tr", "", '"a', "-"])
def test_a_document_cut_within_a_word_or_a_number_breaks_off(tmp_path, end):
    path = tmp_path / "cut.curve.json"
    path.write_text('{"b": 1,\n"a": ' + end, encoding="utf-8")
    with pytest.raises(DocumentError, match="it breaks off in line 2"):
        read_curve(path)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"{\xff\xfe}", "it holds bytes that are no text"),
        (b'{\n"name": "a\nb"}', 'it cannot be understood in line 2, "name": "a$'),
        (b'{"name": 1\n"x": 2}', 'it cannot be understood in line 2, "x": 2}'),
        (b'{"name": 1}\n}\n', "it cannot be understood in line 2, }"),
        (b'{"name": 1', "it breaks off in line 1"),
        (b'{\n"name": "half', "it breaks off in line 2"),
        (b'{"name": {"a": 1, "b": 2, "a": 1}}', "it has a twice in one place"),
        (b'{"name": NaN}', "it holds NaN, which is not a number"),
        (b'{"name": ' + b"9" * 5000 + b"}", "it holds a number with thousands of digits"),
    ],
)
def test_why_it_is_no_json_is_said_in_plain_words(tmp_path, raw, said):
    path = tmp_path / "x.curve.json"
    path.write_bytes(raw)
    with pytest.raises(DocumentError) as caught:
        read_curve(path)
    assert re.search(f"not a whole JSON document: {said}", caught.value.given)
    assert not PYTHON.search(str(caught.value))


PYTHON = re.compile(r"\b(dict|str|int|float|NoneType|None|True|False|bool|codec|delimiter|object"
                    r"|char|Expecting|Invalid|subscriptable|argument|indices|nan|inf)\b|\.\)|Error")
"""Words of the language this is written in, and a message within a message."""
SPOILT = (None, "x", 7, -1, True, [], {}, ["x"], 10**400)


def places(node, at=()):
    """Every entry of a document; of a list the first."""
    if at:
        yield at
    inner = node.items() if isinstance(node, dict) else enumerate(node[:1])
    for key, value in inner:
        if isinstance(value, dict | list):
            yield from places(value, (*at, key))
        else:
            yield (*at, key)


def spoilt(document, place):
    """Copies of a document in which one entry is changed or missing; the others are its own."""
    for value in (*SPOILT, "missing"):
        node = copy = document.copy()
        for key in place[:-1]:
            node[key] = node[key].copy()
            node = node[key]
        if value == "missing":
            del node[place[-1]]
        else:
            node[place[-1]] = value
        yield copy


@pytest.mark.parametrize("kind", ["curve", "process", "target", "scanner"])
def test_whatever_is_spoilt_is_said_in_plain_words(kind, curve):
    made, rebuild = {
        "curve": lambda: (FORM.encode(curve), Curve.decode),
        "process": lambda: (PROCESS.encode(read_process(CURVES / "kallitype.process.json")),
                            lambda data: PROCESS.decode(Process, data)),
        "target": lambda: (TARGET.encode(make_target(even_levels(5), LayoutSettings())),
                           lambda data: TARGET.decode(Target, data)),
        "scanner": lambda: (SCANNER.encode(response_from_gray_scale(
            np.linspace(0.1, 2.0, 12), np.linspace(0.9, 0.1, 12), np.full(12, 1e-3))),
            lambda data: SCANNER.decode(ScannerResponse, data)),
    }[kind]()
    document = json.loads(json.dumps(made))
    refused = 0
    for place in places(document):
        for copy in spoilt(document, place):
            try:
                rebuild(copy)
            except DocumentError as error:
                refused += 1
                assert not PYTHON.search(str(error)), (place, str(error))
    assert refused > 100


@pytest.fixture(scope="module")
def derived():
    """The document of a curve by way of a process response."""
    process = read_process(CURVES / "kallitype.process.json")
    readings = measure_target(Darkroom(), np.linspace(0, 1, 21), seed=4).readings
    return FORM.encode(fit_curve(FitRequest("derived", readings, process=process)))


@pytest.mark.parametrize(("place", "value", "said"), [
    (("recipe",), 7, "the recipe is 7"),
    (("recipe", "processes"), [], "process is 0. It is a place in the list .* there are 0"),
    (("recipe", "prints", 0, "process"), 3, "in the recipe, process is 3"),
    (("recipe", "prints", 0, "time", "value"), 0, "time of print 1 .*0. It is longer than 0"),
    (("recipe", "printing_time", "value"), 1, "in the recipe, the curve is wanted for 1 s"),
    (("recipe", "processes", 0, "strip"), [], "the strip .*an empty list. It "),
])
def test_a_spoilt_recipe_is_said_in_plain_words(derived, place, value, said):
    document = json.loads(json.dumps(derived))
    node = document
    for key in place[:-1]:
        node = node[key]
    node[place[-1]] = value
    with pytest.raises(DocumentError, match=said) as caught:
        Curve.decode(document)
    assert not PYTHON.search(str(caught.value))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"noise_density_sd": ', '"noise_density_sd": NaN, "x": ', "NaN"),
        ('"noise_density_sd": ', '"noise_density_sd": Infinity, "x": ', "Infinity"),
        ('"noise_density_sd": 0', '"noise_density_sd": 1e999, "x": 0', "the summary: "),
        ('"version": 2', '"version": 99', "version 99"),
        ('"version": 2', '"version": 1', "version 1.*reads version 2"),
        ('"version": 2', '"version": 2, "version": 2', "it has version twice"),
        ('"format": "tonewright-curve"', '"format": "tonewright-target"',
         "this is a target's layout"),
        ('"kallitype"', '"kallitype', "whole JSON"),
        ('"left_out": []', '"left_out": ' + "9" * 5000, "JSON|left_out"),
        ('"left_out": []', '"left_out": ' + "[" * 100_000, "nested too deeply"),
    ],
)
def test_damage_is_refused_by_name(tmp_path, text, old, new, said):
    assert old in text
    path = tmp_path / "x.curve.json"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DocumentError, match=said):
        read_curve(path)


@pytest.mark.parametrize(
    "raw",
    [b"", b"\x00\x01\x02", b"\xff\xfe{}", b"level,density\n0,1.6\n", b"null", b"[]", b'"x"', b"{}"],
)
def test_another_file_is_refused(tmp_path, raw):
    path = tmp_path / "x.curve.json"
    path.write_bytes(raw)
    with pytest.raises(DocumentError):
        read_curve(path)


def test_not_there_a_folder_not_readable(tmp_path):
    with pytest.raises(FileError, match="no file"):
        read_curve(tmp_path / "none.curve.json")
    with pytest.raises(FileError, match="is a folder"):
        read_curve(tmp_path)
    with pytest.raises(FileError, match="cannot be read"):
        read_curve("a\0b")


def test_a_mark_at_the_start_and_other_line_ends_are_no_damage(tmp_path, text, curve):
    path = tmp_path / "x.curve.json"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert FORM.encode(read_curve(path)) == FORM.encode(curve)


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_a_flipped_byte_is_read_or_refused_and_never_a_crash(text, tmp_path_factory, data):
    raw = bytearray(text.encode("utf-8"))
    place = data.draw(st.integers(0, len(raw) - 1))
    raw[place] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.getbasetemp() / "flipped.curve.json"
    path.write_bytes(bytes(raw))
    try:
        level = read_curve(path).level_at(np.linspace(0, 100, 11))
    except TonewrightError:
        return
    assert np.all(np.diff(level) >= 0.0)


# JSON text


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9)
    | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=20) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=30,
)  # fmt: skip


@settings(max_examples=40)
@given(st.dictionaries(st.text(max_size=5), json_values, max_size=5))
def test_any_document_reads_back(document):
    assert json.loads(to_text(document)) == document


def test_documents_read_well_in_a_diff(text):
    assert max(map(len, text.splitlines())) < 400
    assert text.endswith("}\n")
    assert "Bütten" in text


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_no_document_holds_what_is_no_number(number):
    with pytest.raises(ValueError, match=r"(?i)not JSON compliant|out of range"):
        to_text({"x": [number]})


def test_no_json_names_the_file_and_what_it_should_be(tmp_path):
    path = tmp_path / "odd.json"
    path.write_text("{", encoding="utf-8")
    with pytest.raises(DocumentError, match=r"odd\.json.*process response"):
        read_process(path)


# setups


def test_numbers_of_a_setup_are_taken_as_they_are_spelled(tmp_path):
    path = tmp_path / "kallitype.toml"
    path.write_text("printing_time = 7.50\nnotes = 12\ndate = 2024-05-01\nlamp = 1e3\n",
                    encoding="utf-8")
    assert read_setup(path) == Setup(printing_time="7.50", notes="12", date="2024-05-01",
                                     lamp="1e3")


@pytest.mark.parametrize(("content", "said"), [
    ("paper = cotton", r"line 1 cannot be understood, paper = cotton\. It is TOML"),
    ('paper = "a"\npaper = "b"\n', 'line 2 cannot be understood, paper = "b".*each name once'),
    ('# mine\n\npaper = "a', r"line 3 cannot be understood"),
    ("paper = [1,\n", "line 1 cannot be understood"),
    ("paper = true", "bad.toml: the setup: paper is true. An entry is text"),
    ('paper = ["a"]', "the setup: paper is a list"),
    ('[paper]\nname = "x"', "the setup: paper is a table"),
    ("papr = 1", "bad.toml: .*'papr'"),
])
def test_what_is_wrong_with_a_setup_is_said_in_plain_words(tmp_path, content, said):
    path = tmp_path / "bad.toml"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(DocumentError, match=said) as caught:
        read_setup(path)
    assert not PYTHON.search(str(caught.value))


def test_setup_from_toml(tmp_path):
    path = tmp_path / "kallitype.toml"
    path.write_text(
        '# my usual\npaper = "Bütten"\nprinting_time = 12.5\ndate = 2024-05-01\n', encoding="utf-8"
    )
    assert read_setup(path) == Setup(paper="Bütten", printing_time="12.5", date="2024-05-01")
    path.write_bytes(b"\xef\xbb\xbf" + b'paper = "x"\r\n')
    assert read_setup(path) == Setup(paper="x")
    path.write_text("", encoding="utf-8")
    assert read_setup(path) == Setup()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"paper = cotton", "not a setup file"),
        ("paper = “cotton”".encode(), "straight double quotes"),
        (b'papr = "x"', "papr"),
        (b'paper = ["x"]', "paper"),
        (b'[paper]\nname = "x"', "paper"),
        (b'paper = "a"\npaper = "b"', "not a setup file"),
        (b"\xff\xfe\x00", "not a setup file"),
        (b"level,density\n0,1", "not a setup file"),
    ],
)
def test_a_bad_setup_is_refused(tmp_path, content, said):
    path = tmp_path / "bad.toml"
    path.write_bytes(content)
    with pytest.raises(DocumentError, match=said):
        read_setup(path)


# aims


def test_plain_aims():
    assert read_aim("lightness") == Aim()
    assert read_aim("density") == Aim("density")


def test_an_aim_like_another_print(written, curve):
    aim = read_aim(f"like:{written}")
    assert (aim.kind, aim.label) == ("like", "kallitype.curve.json")
    black, white = curve.summary.black_lightness, curve.summary.white_lightness
    image = np.linspace(0, 100, 33)
    np.testing.assert_allclose(
        aim.print_lightness(image, black, white), curve.print_lightness_at(image), atol=0.01
    )


def test_like_a_print_measured_from_another_zero_is_refused(written, curve, tmp_path):
    relative = invented(relative=True)
    path = tmp_path / "relative.curve.json"
    write_document(path, relative)
    assert relative.summary.white_lightness > 99.0
    with pytest.raises(OptionError, match=r"relative\.curve\.json.*bare paper"):
        read_aim(f"like:{path}", curve.readings)
    with pytest.raises(OptionError, match="bare paper"):
        read_aim(f"like:{written}", relative.readings)
    # among their own kind it works, even where noise took the white past 100
    assert max(p for _, p in read_aim(f"like:{path}", relative.readings).points) <= 100.0
    assert read_aim(f"like:{written}", curve.readings).kind == "like"


@pytest.mark.parametrize(
    ("content", "points"),
    [
        ("image_lightness,print_lightness\n0,20\n100,90\n", ((0, 20), (100, 90))),
        ("print_lightness;image_lightness\n20,5;0\n90;100\n", ((0, 20.5), (100, 90))),
        ("# mine\n Image_Lightness , Print_Lightness \n0,20\n\n100,90", ((0, 20), (100, 90))),
    ],
)
def test_points_from_a_table(tmp_path, content, points):
    path = tmp_path / "own.csv"
    path.write_text(content, encoding="utf-8")
    assert read_aim(f"points:{path}") == Aim("points", "own.csv", points)


def test_points_from_an_exported_curve(tmp_path, curve):
    """A table that was exported can be an aim: its columns have the same names."""
    from tonewright.curve.export import csv_text, curve_rows

    path = tmp_path / "own.csv"
    path.write_text(csv_text(curve_rows(curve, 21), []), encoding="utf-8")
    aim = read_aim(f"points:{path}")
    assert len(aim.points) == 21


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("level,density\n0,1.6\n", "need image_lightness and print_lightness"),
        ("image_lightness,print_lightness\n", "no points|no rows"),
        ("image_lightness,print_lightness\n0,20\n", "1 point"),
        ("image_lightness,print_lightness\n0,20\n50,x\n100,90\n", r"own\.csv, line 3"),
        ("image_lightness,print_lightness\n0,20\n50,nan\n", "nan"),
        ("image_lightness,print_lightness\n0,20\n50,10\n", "never print darker"),
        ("image_lightness,print_lightness\n0,0.2\n50,130\n", "between 0 and 100"),
        ("", "empty"),
    ],
)
def test_bad_points_are_refused(tmp_path, content, said):
    path = tmp_path / "own.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(TonewrightError, match=said):
        read_aim(f"points:{path}")


@pytest.mark.parametrize(
    "text", ["", "bright", "Lightness", "like", "like:", "points:", "lightness:x", "points", ":x"]
)
def test_an_unknown_aim_names_the_known_ones(text):
    with pytest.raises(DocumentError, match=r"lightness, density, like:NAME\.curve\.json"):
        read_aim(text)


@pytest.mark.parametrize("kind", ["like", "points"])
def test_an_aim_in_a_file_that_is_not_there(kind, tmp_path):
    with pytest.raises(FileError, match="no file"):
        read_aim(f"{kind}:{tmp_path / 'none.csv'}")
