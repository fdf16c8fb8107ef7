"""`tonewright shelf` as it is typed: folders of good, damaged and foreign files."""

from __future__ import annotations

import hashlib
import json
import re
import time
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

import commands
import shelves
from reports import check_report
from tonewright.cli import main
from tonewright.cli.options import json_text
from tonewright.curve.document import Ancestor
from tonewright.files import shelf as files_shelf
from tonewright.files.shelf import read_shelf
from tonewright.files.targets import Target
from tonewright.show.shelf_text import shelf_json, shelf_text

TODAY = shelves.TODAY


def invoke(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def folder(tmp_path):
    """Two curves of one setup, the second renews the first; a strip, two checks, a spoilt file."""
    first = shelves.write(tmp_path, "march", shelves.curve("march", date(2026, 3, 1)))
    sha = hashlib.sha256(first.read_bytes()).hexdigest()
    renewed = shelves.curve("june", date(2026, 6, 2),
                            ancestor=Ancestor("march", sha, shelves.SETUP))
    june = shelves.write(tmp_path / "new", "june", renewed)
    checked = shelves.check(date(2026, 8, 30)).curve
    checked = type(checked)("june", hashlib.sha256(june.read_bytes()).hexdigest())
    shelves.write(tmp_path, "early", shelves.check(date(2026, 7, 1), curve=checked))
    shelves.write(tmp_path, "late", shelves.check(date(2026, 9, 5), curve=checked))
    shelves.write(tmp_path, "strip", shelves.process(date(2026, 3, 1)))
    (tmp_path / "cut.process.json").write_bytes(
        (tmp_path / "strip.process.json").read_bytes()[:2500])
    (tmp_path / "list.json").write_text('{"recipes": []}', encoding="utf-8")
    (tmp_path / "scan.tif").write_bytes(b"II*")
    return tmp_path


def test_the_report(folder, monkeypatch):
    monkeypatch.chdir(folder)
    text = shelf_text(read_shelf(Path(), today=TODAY), "calibrations")
    check_report("shelf.txt", re.sub(r"\([0-9a-f]{8}\)", "(1a2b3c4d)", text))


def _documents(data):
    setups = json.loads(json_text(data))["setups"]
    return {d["file"]: d for s in setups for d in s["documents"]}


def test_what_is_due(folder):
    data = shelf_json(read_shelf(folder, today=TODAY), "x")
    found = _documents(data)
    assert set(found) == {"march.curve.json", "new/june.curve.json", "early.check.json",
                          "late.check.json", "strip.process.json"}
    assert found["march.curve.json"]["because"] == "superseded"
    june = found["new/june.curve.json"]
    assert june["ancestor"]["name"] == "march"
    assert june["last_check"] == {"file": "late.check.json", "passes": True, "date": "2026-09-05"}
    assert (june["due"], june["because"]) == (False, "recent")
    assert found["strip.process.json"]["because"] == "strip_old"
    assert data["due"] == ["strip.process.json"]
    later = _documents(shelf_json(read_shelf(folder, today=date(2027, 1, 1)), "x"))
    assert later["new/june.curve.json"]["because"] == "checked_long_ago"
    assert [one["file"] for one in data["left_out"]] == ["cut.process.json", "list.json"]


def test_a_curve_whose_check_failed_is_due(tmp_path):
    path = shelves.write(tmp_path, "one", shelves.curve("one", date(2026, 10, 1)))
    sha = hashlib.sha256(path.read_bytes()).hexdigest()
    good = shelves.check(date(2026, 10, 20))
    bad = shelves.check(
        date(2026, 10, 20), passes=False, curve=type(good.curve)("one", sha),
        cause=type(good.cause)("exposure", None, "fog", 3.0, 0.3, 0.05))
    shelves.write(tmp_path, "bad", bad)
    found = _documents(shelf_json(read_shelf(tmp_path, today=TODAY), "x"))
    assert found["one.curve.json"]["because"] == "check_failed"
    assert found["one.curve.json"]["due"] is True


@pytest.mark.parametrize("said", [None, "in spring", "2027-05-01", "0226-05-01"])
def test_a_day_that_is_none_is_unknown_not_zero(tmp_path, said):
    one = shelves.curve("one", None)
    one = type(one)(**{**vars(one), "setup": type(one.setup)(**{**vars(one.setup), "date": said})})
    shelves.write(tmp_path, "one", one)
    shelf = read_shelf(tmp_path, today=TODAY)
    assert said is None or f"the date {said} is not one" in " ".join(shelf_text(shelf, "x").split())
    found = _documents(shelf_json(shelf, "x"))["one.curve.json"]
    assert (found["date"], found["date_said"]) == (None, said)
    assert (found["due"], found["because"]) == (None, "date_unknown")


def test_a_check_of_a_day_before_photography_is_named(tmp_path):
    path = shelves.write(tmp_path, "one", shelves.check(date(2026, 5, 1)))
    path.write_text(path.read_text(encoding="utf-8").replace("2026-05-01", "0226-05-01"),
                    encoding="utf-8")
    for month in (6, 7):
        shelves.write(tmp_path, f"m{month}", shelves.check(date(2026, month, 1)))
    shelf = read_shelf(tmp_path, today=TODAY)
    assert [one.file for one in shelf.left_out] == ["one.check.json"]
    said = " ".join(invoke("drift", tmp_path).stdout.split())
    assert "one.check.json: in the check of a print, the date is 0226-05-01" in said


@pytest.mark.parametrize(("text", "kind"), [
    ("# by hand\nimage_lightness,density\n0,1.5\n", ", but a table"),
    ("patch;density\nA1;1,5\n", ", but a table"), ("CGATS.17\n", ", but a table"),
    ("II*\0", ", but a TIFF image"), ("cotton, 300 g\n\nready since May\n", "")])
@pytest.mark.parametrize("more", [True, False])
def test_drift_says_what_a_file_is_that_is_no_document(tmp_path, text, kind, more):
    (tmp_path / "may.csv").write_text(text, encoding="utf-8")
    one = [shelves.write(tmp_path, "one", shelves.check(date(2026, 5, 1)))] if more else []
    said = " ".join(invoke("drift", tmp_path / "may.csv", *one).stderr.split())
    assert ("only one strip or check was found; " in said) is more
    assert f"may.csv: not a document{kind}. A drift shows" in said
    assert said.endswith("readings of one strip or one print (tonewright strip, tonewright check).")


def test_heads_say_what_whole_documents_say(folder, monkeypatch):
    whole = read_shelf(folder, today=TODAY)
    monkeypatch.setattr(files_shelf, "FEW", 0)
    heads = read_shelf(folder, today=TODAY)
    assert whole.whole
    assert not heads.whole
    assert heads.boards == whole.boards
    assert heads.left_out == whole.left_out
    assert "only the head of each was read" in shelf_text(heads, "x").replace("\n", " ")


@pytest.mark.parametrize("harm", [
    lambda raw: raw[:-3], lambda raw: raw.replace(b'"version": 2', b'"version": 9'),
    lambda raw: raw.replace(b'"name": "strip 2026-03-01",', b""),
    lambda raw: raw.replace(b'"base_printing_time": ', b'"base_printing_time": "x'),
    lambda raw: raw[:4000] + b"\0" * 64 + raw[4064:],
    lambda raw: raw.replace(b'\n  "exposure": [', b'\n  "exposure": [NaN, '),
    lambda raw: b"\xff\xfe" + raw, lambda raw: b"", lambda raw: b"[]",
    lambda raw: raw.replace(b'"tonewright-process"', b'["tonewright-process"]')])
@pytest.mark.parametrize("few", [0, 200])
def test_damage_is_named_and_not_fatal(tmp_path, monkeypatch, harm, few):
    monkeypatch.setattr(files_shelf, "FEW", few)
    good = shelves.write(tmp_path, "good", shelves.process(date(2026, 3, 1)))
    spoilt = harm(good.read_bytes())
    assert spoilt != good.read_bytes()
    (tmp_path / "bad.process.json").write_bytes(spoilt)
    shelf = read_shelf(tmp_path, today=TODAY)
    inside = few == 0 and b"[NaN" in spoilt  # in a table, of which the head says nothing
    assert [one.file for one in shelf.left_out] == ([] if inside else ["bad.process.json"])


def test_a_document_laid_out_otherwise_is_read_all_the_same(tmp_path, monkeypatch):
    good = shelves.write(tmp_path, "good", shelves.process(date(2026, 3, 1)))
    data = json.loads(good.read_text(encoding="utf-8"))
    for indent in (None, 0, 1, 2):
        (tmp_path / f"{indent}.process.json").write_text(json.dumps(data, indent=indent))
    (tmp_path / "windows.process.json").write_bytes(good.read_bytes().replace(b"\n", b"\r\n"))
    monkeypatch.setattr(files_shelf, "FEW", 0)
    shelf = read_shelf(tmp_path, today=TODAY)
    assert shelf.left_out == ()
    assert len({(p.document.name, p.document.printing_time, p.document.log_exposure_range)
                for p in shelf.boards[0].places}) == 1
    assert len(shelf.boards[0].places) == 6


def test_targets_and_hidden_folders(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert invoke("target", "--levels", "5", "-o", "small.tif").exit_code == 0
    hidden = tmp_path / ".old"
    shelves.write(hidden, "hidden", shelves.process(None))
    shelf = read_shelf(tmp_path, today=TODAY)
    assert [p.document.kind for b in shelf.boards for p in b.places] == ["target"]
    assert shelf.boards[0].setup is None
    assert Target is not None


def test_bad_input(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("empty").mkdir()
    Path("foreign").mkdir()
    Path("foreign/x.json").write_text("no", encoding="utf-8")
    assert "there is no folder nowhere" in commands.said(invoke, "shelf", "nowhere")
    assert "there is no document in empty" in commands.said(invoke, "shelf", "empty")
    assert "x.json" in commands.said(invoke, "shelf", "foreign")
    Path("file").write_text("x", encoding="utf-8")
    assert "file is not a folder" in commands.said(invoke, "shelf", "file")
    assert "--due-after" in commands.said(invoke, "shelf", "empty", "--due-after", "0")
    assert "FOLDER" in commands.said(invoke, "shelf").upper()
    assert invoke("shelf", "foreign", "empty").exit_code == 2


def test_hostile_names(tmp_path):
    one = shelves.curve("x\x1b[31m\nnew line", date(2026, 3, 1))
    shelves.write(tmp_path, "a b$(x)", one)
    done = invoke("shelf", tmp_path)
    assert done.exit_code == 0, done.output
    assert "\x1b" not in done.output
    assert json.loads(invoke("shelf", tmp_path, "--json").output)["documents"] == 1


def test_a_large_shelf_is_read_fast(tmp_path):
    """A twentieth of 10 000 documents in a twentieth of 5 s of processor time, on any machine:
    counted in the time that plain JSON takes here."""
    text = shelves.write(tmp_path, "k", shelves.curve("k", date(2026, 3, 1))).read_text("utf-8")
    for i in range(500):
        (tmp_path / f"{i}.curve.json").write_text(text.replace('"k"', f'"k{i}"', 1), "utf-8")
    start = time.process_time()
    for _ in range(100):
        json.loads(text)
    plain = (time.process_time() - start) / 100
    start = time.process_time()
    shelf = read_shelf(tmp_path, today=TODAY)
    each = (time.process_time() - start) / 501
    assert sum(len(b.places) for b in shelf.boards) == 501
    assert each < 0.6 * plain
