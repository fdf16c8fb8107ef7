"""The second process: the same files, and nothing lost when it is."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
import types
from pathlib import Path

import numpy as np
import pytest
import tifffile

from tonewright.errors import FileError, ImageError, OptionError
from tonewright.files.documents import Opened, read_curve
from tonewright.files.negative import second
from tonewright.files.negative.batch import make_negatives
from tonewright.files.negative.second import Second, second_for
from tonewright.files.negative.settings import NegativeSettings
from tonewright.negative.sheet import SheetSettings


@pytest.fixture
def images(tmp_path):
    """Seven pictures in gray and colour, one of which is none."""
    random = np.random.default_rng(3)
    for number in range(7):
        path = tmp_path / f"{number}.tif"
        if number == 3:
            path.write_text("words", encoding="utf-8")
            continue
        shape = (120, 90, 3) if number % 2 else (120, 90)
        data = random.integers(0, 65536, shape).astype(np.uint16)
        kind = "rgb" if number % 2 else "minisblack"
        tifffile.imwrite(path, data, photometric=kind, metadata=None)
    return sorted(tmp_path.glob("*.tif"))


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def made_in(folder, images, curve, other=None):
    return make_negatives(images, curve, folder, second=other)


class Counting(Second):
    """Says how many answers it gave."""

    answers = 0

    def make(self, source, output):
        found = super().make(source, output)
        self.answers += found is not None
        return found


def without_folder(report):
    return {**vars(report), "output": report.output.name}


def test_the_same_files_and_the_same_words(tmp_path, images, curve_file):
    alone = made_in(tmp_path / "a", images, curve_file)
    with Counting() as other:
        both = made_in(tmp_path / "b", images, curve_file, other)
    assert other.answers >= 1  # small ones are quick: it may come late
    assert names(tmp_path / "a") == names(tmp_path / "b")
    assert len(names(tmp_path / "a")) == 6
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()
    assert list(map(without_folder, alone.reports)) == list(map(without_folder, both.reports))
    (one,), (two,) = alone.failures, both.failures
    assert (type(one.error), str(one.error)) == (type(two.error), str(two.error))


def test_each_answer_by_itself(tmp_path, images, curve_file):
    with Second() as other:
        other.prepare(read_curve(curve_file, sources=False), NegativeSettings(depth=8))
        report = other.make(images[0], tmp_path / "n.tif")
        assert (report.depth, report.source) == (8, images[0])
        assert tifffile.imread(tmp_path / "n.tif").dtype == np.uint8
        with pytest.raises(FileError, match="16-bit gray"):
            other.make(images[3], tmp_path / "m.tif")
        with pytest.raises(FileError, match="is there already"):
            other.make(images[0], tmp_path / "n.tif")
        cut = tmp_path / "cut.tif"
        cut.write_bytes(images[0].read_bytes()[:3000])
        with pytest.raises(ImageError):
            other.make(cut, tmp_path / "m.tif")


def test_an_error_comes_back_whole(tmp_path, images, curve_file):
    """With its code and values, for the front that shows it."""
    sheet = NegativeSettings(sheet=SheetSettings(marks=True))
    with Second() as other:
        other.prepare(read_curve(curve_file, sources=False), sheet)
        with pytest.raises(OptionError) as raised:
            other.make(images[0], tmp_path / "n.tif")
    assert raised.value.code == "picture_size_unknown"


def test_a_second_process_that_is_killed_is_done_without(tmp_path, images, curve_file):
    class Mortal(Counting):
        def make(self, source, output):
            if self.answers == 1:
                self._process.kill()
            return super().make(source, output)

    with Mortal() as other:
        other.prepare(read_curve(curve_file, sources=False), NegativeSettings())
        other.make(images[0], tmp_path / "first.tif")  # it is there, and has answered
        found = made_in(tmp_path / "b", images, curve_file, other)
    assert other.answers == 1
    assert len(found.reports) == 6 and len(found.failures) == 1
    assert len(names(tmp_path / "b")) == 6


def own_curve(module):
    """A curve of a class that lives in a module of that name."""

    class OwnCurve:
        name = "own"

        def level_at(self, lightness):
            return np.asarray(lightness) / 100.0

    OwnCurve.__module__, OwnCurve.__qualname__ = module, "OwnCurve"
    return OwnCurve()


@pytest.mark.parametrize("known", [True, False])
def test_a_curve_that_only_this_process_knows_is_used_here(tmp_path, images, monkeypatch, known):
    """Whether it cannot be told at all, or is told and not understood."""
    curve = own_curve("only_here")
    if known:
        module = types.ModuleType("only_here")
        module.OwnCurve = type(curve)
        monkeypatch.setitem(sys.modules, "only_here", module)
    opened = Opened(curve, "", "")
    monkeypatch.setattr("tonewright.files.negative.batch.open_curve", lambda *_, **__: opened)
    with Counting() as other:
        found = made_in(tmp_path / "a", images, tmp_path / "k.curve.json", other)
    assert other.answers == 0
    assert len(found.reports) == 6
    if not known:
        with Second() as other:
            other.prepare(curve, NegativeSettings())
            assert other.make(images[0], tmp_path / "n.tif") is None


def test_it_is_started_for_many_large_images_on_two_cores(tmp_path, monkeypatch):
    images = [tmp_path / f"{n}.tif" for n in range(5)]
    for path in images:
        with path.open("wb") as file:
            file.truncate(second.LEAST_BYTES // 4)
    monkeypatch.setattr(second, "_cores", lambda: 2)
    assert second_for(images[:3]) is None
    assert second_for([*images[:2], *[tmp_path / "none.tif"] * 9]) is None
    monkeypatch.setattr(second, "_cores", lambda: 1)
    assert second_for(images) is None
    monkeypatch.setattr(second, "_cores", lambda: 2)
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no-python"))
    assert second_for(images) is None
    monkeypatch.undo()
    monkeypatch.setattr(second, "_cores", lambda: 2)
    other = second_for(images)
    assert other is not None
    other.close()


def many(folder, count=6, side=3000):
    """Large enough for a second process, and quick to write: all one tone."""
    one = folder / "0.tif"
    tifffile.imwrite(
        one, np.full((side, side), 30000, np.uint16), photometric="minisblack", metadata=None
    )
    for number in range(1, count):
        (folder / f"{number}.tif").write_bytes(one.read_bytes())
    return [f"{number}.tif" for number in range(count)]


COMMAND = """
import sys
from tonewright.files.negative import second
second._cores = lambda: 2
print("ready", flush=True)
from tonewright.cli import main
main()
"""


def test_the_command_uses_it(tmp_path, curve_file):
    code = COMMAND.replace("print(", "make = second.Second.make\ndef counted(self, *pair):\n"
                           "    found = make(self, *pair)\n"
                           "    print('second', file=sys.stderr)\n    return found\n"
                           "second.Second.make = counted\nprint(")  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", code, "negative", *many(tmp_path), "--curve", str(curve_file),
         "-o", "out", "--json"],
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert "second" in done.stderr
    found = json.loads(done.stdout.removeprefix("ready\n"))
    assert [Path(o["source"]).name for o in found["outputs"]] == [f"{n}.tif" for n in range(6)]
    assert len(names(tmp_path / "out")) == 6


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no SIGKILL here")
def test_when_the_command_is_killed_what_is_there_is_whole(tmp_path, curve_file):
    """Whatever the second process was at; a rerun just works."""
    files = many(tmp_path)
    arguments = ["negative", *files, "--curve", str(curve_file), "-o", "out", "--force"]
    seen = set()
    for moment in (0.15, 0.3, 0.45):
        run = subprocess.Popen(
            [sys.executable, "-c", COMMAND, *arguments], cwd=tmp_path, stdout=subprocess.PIPE
        )
        run.stdout.readline()
        time.sleep(moment)
        run.kill()
        run.wait(timeout=60)
        run.stdout.close()
        whole = list((tmp_path / "out").glob("*-negative.tif"))
        seen.add(len(whole))
        for path in whole:
            assert tifffile.imread(path).shape == (3000, 3000)
            path.unlink()
    assert seen - {6}  # it was killed before its end at least once
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, *arguments], cwd=tmp_path, capture_output=True, timeout=120
    )
    assert done.returncode == 0
    assert names(tmp_path / "out") == sorted(f"{n}-negative.tif" for n in range(6))
