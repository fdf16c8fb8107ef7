"""Curves from files: each file is opened once, and one call does the whole job."""

from __future__ import annotations

import builtins
import io
import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from tonewright.curve.document import FORM
from tonewright.errors import FileError, OptionError
from tonewright.files.curves import (
    FitFiles,
    ReadingFiles,
    RenewFiles,
    SetupFiles,
    fit_files,
    rebuild_file,
    renew_files,
)
from tonewright.files.documents import read_curve
from tonewright.record.setup import Setup
from tonewright.show.curve_text import rebuild_text
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, measure_target


def target(name, room=None, colour=""):
    found = measure_target(room or Darkroom(), np.linspace(0, 1, 21), seed=4).readings
    rows = [f"{p.level:.4f},{p.density:.4f}{colour and f',{colour}'}" for p in found.patches]
    head = "level,density" + (",red,green,blue" if colour else "")
    Path(name).write_text("\n".join([head, *rows]), encoding="utf-8")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with a target, one of another paper, and a setup."""
    monkeypatch.chdir(tmp_path)
    target("a.csv")
    target("b.csv", Darkroom(process=CYANOTYPE))
    Path("s.toml").write_text('paper = "cotton"\nink = "black"\n', encoding="utf-8")


def fitted(**more):
    return fit_files(FitFiles(Path("a.curve.json"), None, ReadingFiles((Path("a.csv"),)), **more))


def test_fit_renew_and_rebuild_in_a_call_each(here):
    made = fitted(setup=SetupFiles(Setup(ink="sepia"), Path("s.toml")))
    assert (made.name, made.setup.paper, made.setup.ink) == ("a", "cotton", "sepia")
    assert FORM.encode(read_curve("a.curve.json")) == FORM.encode(made)
    renewed = renew_files(RenewFiles(Path("a.curve.json"), Path("b.curve.json"), None,
                                     ReadingFiles((Path("b.csv"),)),
                                     SetupFiles(Setup(paper="linen")), replace=True)).curve
    assert (renewed.name, renewed.ancestor.name, renewed.setup.paper) == ("b", "a", "linen")
    rebuilt = rebuild_file(Path("b.curve.json"), Path("c.curve.json"))
    assert rebuilt.same_bytes
    assert Path("c.curve.json").read_bytes() == Path("b.curve.json").read_bytes()


def test_every_file_is_opened_once(here, monkeypatch):
    opened = Counter()
    own = io.open

    def counting(file, *more, **settings):
        if isinstance(file, str | Path):
            opened[Path(file).name] += 1
        return own(file, *more, **settings)

    fitted()
    for module in (io, builtins):
        monkeypatch.setattr(module, "open", counting)
    fit_files(FitFiles(Path("x.curve.json"), None, ReadingFiles((Path("a.csv"), Path("b.csv"))),
                       SetupFiles(file=Path("s.toml")), "like:a.curve.json"))
    read = {name: opened[name] for name in ("a.csv", "b.csv", "s.toml", "a.curve.json")}
    assert read == dict.fromkeys(read, 1)
    opened.clear()
    renew_files(RenewFiles(Path("x.curve.json"), Path("y.curve.json"), None,
                           ReadingFiles((Path("a.csv"),)), SetupFiles(file=Path("s.toml")),
                           replace=True))
    read = {name: opened[name] for name in ("a.csv", "s.toml", "x.curve.json")}
    assert read == dict.fromkeys(read, 1)


def test_two_ink_colours_are_refused(here):
    Path("s.toml").write_text('ink_colour = "255,0,0"\n', encoding="utf-8")
    target("red.csv", colour="255,0,0")
    for readings, setup in (("a.csv", SetupFiles(Setup(ink_colour="0,0,0"), Path("s.toml"))),
                            ("red.csv", SetupFiles(Setup(ink_colour="0,0,0")))):
        with pytest.raises(OptionError) as caught:
            fit_files(FitFiles(Path("a.curve.json"), None, ReadingFiles((Path(readings),)), setup))
        assert caught.value.code == "ink_colours_differ"
        assert not Path("a.curve.json").exists()
    made = fit_files(FitFiles(Path("a.curve.json"), None, ReadingFiles((Path("red.csv"),))))
    assert made.setup.ink_colour == "255,0,0"


def test_an_existing_curve_stays_without_force(here):
    fitted()
    before = Path("a.curve.json").read_bytes()
    with pytest.raises(FileError):
        fitted(aim="density")
    assert Path("a.curve.json").read_bytes() == before
    assert fitted(aim="density", force=True).settings.aim.kind == "density"


def test_what_cannot_be_told_or_drawn_is_not_written(here):
    """Report and picture come first: a fault in them leaves no curve behind."""
    def fault(_):
        raise OptionError("a time of 1e-50", "it cannot be said", "name another")

    files = FitFiles(Path("a.curve.json"), Path("a.png"), ReadingFiles((Path("a.csv"),)))
    with pytest.raises(OptionError):
        fit_files(files, fault)
    assert not Path("a.curve.json").exists()
    assert not Path("a.png").exists()
    seen = []
    made = fit_files(files, lambda curve: seen.append(curve) or b"picture")
    assert seen == [made]
    assert Path("a.png").read_bytes() == b"picture"
    with pytest.raises(OptionError):
        renew_files(RenewFiles(Path("a.curve.json"), Path("b.curve.json"), None,
                               ReadingFiles((Path("b.csv"),))), fault)
    with pytest.raises(OptionError):
        rebuild_file(Path("a.curve.json"), Path("c.curve.json"), before_writing=fault)
    assert not Path("b.curve.json").exists()
    assert not Path("c.curve.json").exists()


def test_a_rebuild_tells_rounding_from_a_difference(here):
    """On another processor the last figures differ; by a thousandth of ink it is no rounding."""
    fitted()
    made = json.loads(Path("a.curve.json").read_text(encoding="utf-8"))
    for off, same in ((1e-6, True), (2e-3, False)):
        other = json.loads(json.dumps(made))
        for column in ("level", "level_high"):
            other["correction"][column] = [v and v + off for v in other["correction"][column]]
        other["correction"]["level_high"] = [min(v, 1.0) for v in
                                             other["correction"]["level_high"]]
        Path("b.curve.json").write_text(json.dumps(other), encoding="utf-8")
        rebuilt = rebuild_file(Path("b.curve.json"))
        assert not rebuilt.same_bytes
        assert (rebuilt.differences == ()) is same
    assert {d.part for d in rebuilt.differences} >= {"correction.level"}
    assert max(d.amount for d in rebuilt.differences) == pytest.approx(2e-3, abs=2e-4)
    assert "predicts changes by up to" in rebuild_text(rebuilt, "b.curve.json", None)
    assert 0.05 < rebuilt.print_shift_lightness < 2.0
    for off, same in ((1e-6, True), (0.3, False)):
        other = json.loads(json.dumps(made))
        for column in ("lightness", "lightness_high", "reading_high"):
            other["response"][column] = [min(v + off, 100.0) for v in other["response"][column]]
        Path("b.curve.json").write_text(json.dumps(other), encoding="utf-8")
        rebuilt = rebuild_file(Path("b.curve.json"))
        assert (rebuilt.differences == ()) is same
        assert ("comes out the same" in rebuild_text(rebuilt, "b.curve.json", None)) is same
    assert max(d.amount for d in rebuilt.differences) == pytest.approx(0.3, abs=0.01)
    assert "predicts changes by up to 0.3 L*" in rebuild_text(rebuilt, "b.curve.json", None)
    made["setup"]["paper"] = None
    Path("b.curve.json").write_text(json.dumps(made), encoding="utf-8")
    assert rebuild_file(Path("b.curve.json")).differences == ()  # the setup is taken as it stands
