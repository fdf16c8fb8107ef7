"""The folder of the bench: papers by name, and nothing outside it by any spelling."""

from __future__ import annotations

import os
import sys

import pytest

from tonewright.errors import FileError, OptionError
from tonewright.files.papers import SETUP, Papers, kind_of
from tonewright.files.safe import whole_file
from tonewright.record.setup import Setup

OUT = ["../secret.txt", "..", "a/../../secret.txt", "/etc/passwd", "..\\secret.txt",
       "a\\..\\..\\secret.txt", "//host/share"]  # fmt: skip
UNUSABLE = ["", " ", ".hidden", "a/.hidden", ".git/config", "a//b", "a/", "C:", "C:\\boot.ini",
            "C:boot.ini", "a.txt:stream", "a\0.txt", "a\n.txt", "\x1b[2J.txt", "a\u202etxt.exe",
            "con", "NUL.txt", "com1.csv", "LPT9", "CON .txt", "a.", "a ", " a", "a\\b", "what?",
            "<b>.tif", "a" * 300, "ü" * 120, "scan\udcff.tif", "./a.txt"]  # fmt: skip
links = pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")


@pytest.fixture
def papers(tmp_path):
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    root = tmp_path / "prints"
    for folder in ("kallitype/negatives", "salt", ".git"):
        (root / folder).mkdir(parents=True)
    for name in ("kallitype/k.curve.json", "kallitype/negatives/a-negative.tif", "notes.txt",
                 "kallitype/.hidden", "kallitype/.tonewright-1-2.part.tif", ".git/config"):
        (root / name).write_text("x", encoding="utf-8")
    return Papers(root)


def refused(call, *arguments):
    with pytest.raises(OptionError) as raised:
        call(*arguments)
    return raised.value.code


def test_papers_are_the_folders_in_it(papers):
    assert papers.names() == ("kallitype", "salt")
    (papers.root / "strip.process.json").write_text("{}", encoding="utf-8")
    assert papers.names() == (".", "kallitype", "salt")
    assert papers.folder(".") == papers.root
    with pytest.raises(FileError, match="there is no paper cyanotype"):
        papers.folder("cyanotype")
    with pytest.raises(FileError, match="there is no folder"):
        Papers(papers.root / "none")


def test_the_files_of_a_paper_by_kind(papers):
    found = papers.files("kallitype")
    assert [(f.name, f.kind, f.size) for f in found] == [
        ("k.curve.json", "curve", 1), ("negatives/a-negative.tif", "image", 1)]
    assert papers.inside("kallitype", found[1].name).read_text(encoding="utf-8") == "x"
    assert [f.name for f in papers.files(".")] == ["notes.txt"]
    assert [kind_of(n) for n in ("A.TIFF", "s.csv", "p.html", "s.toml", "x.json", "CURVE")] == [
        "image", "table", "page", "setup", "other", "other"]


@pytest.mark.parametrize("name", OUT)
def test_no_name_leads_out(papers, name):
    (papers.root / "kallitype" / "a").mkdir()
    assert refused(papers.inside, "kallitype", name) == "outside_folder"
    assert refused(papers.inside, ".", name) == "outside_folder"
    for call in (papers.folder, papers.new, papers.files):
        assert refused(call, name) == "outside_folder"


@pytest.mark.parametrize("name", UNUSABLE)
def test_hard_names_are_refused(papers, name):
    for call in (papers.inside, papers.free_name):
        assert refused(call, "kallitype", name) == "name_unusable"
    if "/" not in name and "\\" not in name:
        assert refused(papers.new, name) == "name_unusable"
        assert refused(papers.folder, name) == "name_unusable"
    with pytest.raises(OptionError) as raised, whole_file(papers.inside("kallitype", name)):
        pass
    assert str(raised.value).isprintable() and len(str(raised.value)) < 250
    assert refused(papers.new, "-") == "name_unusable"


@links
def test_no_link_leads_out(papers):
    paper = papers.root / "kallitype"
    outside = papers.root.parent
    (paper / "file.txt").symlink_to(outside / "secret.txt")
    (paper / "folder").symlink_to(outside, target_is_directory=True)
    (papers.root / "linked").symlink_to(outside, target_is_directory=True)
    (paper / "config.txt").symlink_to(papers.root / ".git" / "config")
    (paper / "new.txt").symlink_to(outside / "not-there-yet.txt")
    (paper / "loop").symlink_to(paper / "loop")
    for name in ("file.txt", "folder/secret.txt", "folder/new.txt", "config.txt", "new.txt"):
        assert refused(papers.inside, "kallitype", name) == "outside_folder"
        with pytest.raises(OptionError), whole_file(papers.inside("kallitype", name)):
            pass
    assert refused(papers.folder, "linked") == "outside_folder"
    assert papers.names() == ("kallitype", "salt")
    assert len(papers.files("kallitype")) == 2
    assert sorted(p.name for p in outside.iterdir()) == ["prints", "secret.txt"]


@links
def test_links_and_odd_names_within_are_told_or_refused(papers):
    paper = papers.root / "kallitype"
    (paper / "same.json").symlink_to(paper / "k.curve.json")
    assert papers.inside("kallitype", "same.json").read_text(encoding="utf-8") == "x"
    (paper / "a\x1b[2J.tif").write_text("x", encoding="utf-8")
    os.mkfifo(paper / "pipe.csv")
    names = [f.name for f in papers.files("kallitype")]
    assert names == ["a\\x1b[2J.tif", "k.curve.json", "negatives/a-negative.tif", "same.json"]
    assert refused(papers.inside, "kallitype", names[0]) == "name_unusable"


def test_a_paper_is_new_or_refused(papers):
    assert papers.new("Grün 300 g").is_dir()
    assert "Grün 300 g" in papers.names()
    for there in ("salt", "notes.txt"):
        with pytest.raises(FileError) as raised:
            papers.new(there)
        assert raised.value.code == "paper_exists"


def test_a_setup_is_changed_and_what_it_said_is_kept(papers):
    folder = papers.folder("salt")
    assert papers.write_setup("salt", Setup(lamp="tubes")) is None
    (folder / SETUP).write_bytes(b'# mine\nlamp = "sun"\n')
    before = papers.setup_bytes("salt")
    kept = papers.write_setup("salt", Setup(lamp="LED"), before)
    assert kept.read_bytes() == before and kept.name.startswith("setup-until-")
    assert (folder / SETUP).read_text(encoding="utf-8") == 'lamp = "LED"\n'
    with pytest.raises(FileError) as raised:  # another window still shows what was before
        papers.write_setup("salt", Setup(lamp="sun"), before)
    assert raised.value.code == "setup_changed"
    assert {f.name for f in papers.files("salt")} == {SETUP, kept.name}


def test_the_first_free_name(papers):
    def free(name):
        return papers.free_name("kallitype", name)

    assert free("new.curve.json") == "new.curve.json"
    assert free("k.curve.json") == "k-2.curve.json"
    (papers.root / "kallitype" / "k-2.curve.json").touch()
    assert free("k.curve.json") == "k-3.curve.json"
    (papers.root / "kallitype" / "other.icc").touch()
    (papers.root / "kallitype" / "bare").touch()
    assert (free("other.icc"), free("bare")) == ("other-2.icc", "bare-2")


def test_what_arrives_is_there_whole_or_not_at_all(papers):
    with whole_file(papers.inside("salt", "scan.tif")) as part:
        part.write_bytes(b"scan")
        assert papers.files("salt") == ()
    assert (papers.root / "salt" / "scan.tif").read_bytes() == b"scan"
    with pytest.raises(FileError) as raised, whole_file(papers.inside("salt", "scan.tif")) as part:
        part.write_bytes(b"other")
    assert raised.value.code == "output_exists"
    with pytest.raises(KeyboardInterrupt), whole_file(papers.inside("salt", "cut.tif")):
        raise KeyboardInterrupt
    assert [p.name for p in (papers.root / "salt").iterdir()] == ["scan.tif"]


def test_the_stamp_changes_with_everything_that_is_shown(papers):
    seen = {papers.stamp()}

    def changed(is_new=True):
        new = papers.stamp()
        assert (new not in seen) is is_new
        assert new == papers.stamp()
        seen.add(new)

    changed(False)
    file = papers.root / "kallitype" / "negatives" / "a-negative.tif"
    file.write_text("y", encoding="utf-8")
    os.utime(file, ns=(1, 1))
    changed()
    file.rename(file.with_name("b-negative.tif"))
    changed()
    papers.new("platinum")
    changed()
    (papers.root / ".git" / "config").write_text("other", encoding="utf-8")
    (papers.root / "salt" / ".x.part").touch()
    changed(False)
    file.with_name("b-negative.tif").unlink()
    changed()
