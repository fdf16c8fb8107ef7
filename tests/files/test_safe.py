"""Files are written whole or not at all."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import time
from contextvars import copy_context
from pathlib import Path

import pytest

from tonewright.errors import FileError
from tonewright.files import safe
from tonewright.files.safe import (
    make_folder,
    refuse_existing,
    together,
    whole_file,
    write_bytes,
    write_text,
)


def names(folder):
    """What lies in a folder."""
    return sorted(path.name for path in folder.iterdir())


def test_what_was_written_arrives_under_the_name(tmp_path):
    target = tmp_path / "a.csv"
    with whole_file(target) as temp:
        assert temp.parent == tmp_path
        assert temp.suffix == ".csv"
        temp.write_bytes(b"one")
        assert not target.exists()
    assert target.read_bytes() == b"one"
    assert names(tmp_path) == ["a.csv"]


def test_text_is_utf8_with_unix_line_ends(tmp_path):
    write_text(tmp_path / "a.txt", "Grün\nzwei\n")
    assert (tmp_path / "a.txt").read_bytes() == b"Gr\xc3\xbcn\nzwei\n"


def test_a_file_name_that_is_no_text_does_not_stop_a_report(tmp_path):
    write_text(tmp_path / "a.txt", "scan\udcff.tif")
    assert (tmp_path / "a.txt").read_bytes() == b"scan\\udcff.tif"


@pytest.mark.parametrize("error", [RuntimeError("x"), KeyboardInterrupt(), OSError(28, "full")])
def test_a_failure_leaves_everything_as_it_was(tmp_path, error):
    target = tmp_path / "a.json"
    target.write_bytes(b"old")
    with (
        pytest.raises(FileError if isinstance(error, OSError) else type(error)),
        whole_file(target, force=True) as temp,
    ):
        temp.write_bytes(b"half")
        raise error
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["a.json"]


def test_an_existing_file_is_kept_unless_forced(tmp_path):
    target = tmp_path / "a.json"
    target.write_bytes(b"old")
    with pytest.raises(FileError, match="is there already"):
        write_text(target, "new")
    assert target.read_bytes() == b"old"
    write_text(target, "new", force=True)
    assert target.read_bytes() == b"new"


def test_a_file_that_appears_meanwhile_is_kept(tmp_path):
    target = tmp_path / "a.json"
    with pytest.raises(FileError, match="there already"), whole_file(target) as temp:
        temp.write_bytes(b"mine")
        target.write_bytes(b"theirs")
    assert target.read_bytes() == b"theirs"
    assert names(tmp_path) == ["a.json"]


GATED = """
import sys
from pathlib import Path
from tonewright.errors import FileError
from tonewright.files import safe
target, other, text, links = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], sys.argv[4]
if links == "without":
    def refuse(*_):
        raise PermissionError(1, "no hard links on this disk")
    Path.hardlink_to = refuse
def wait(path, force, check=safe.refuse_existing):
    check(path, force)
    if path == target:
        print("free", flush=True)
        sys.stdin.readline()
try:
    with safe.whole_file(other) as beside, safe.whole_file(target) as temp:
        beside.write_text(text)
        temp.write_text(text)
        safe.refuse_existing = wait
except FileError as error:
    raise SystemExit(2 if error.code == "output_exists" else 3)
"""


@pytest.mark.parametrize("links", [
    pytest.param("with", marks=pytest.mark.skipif(sys.platform == "win32", reason="renamed there")),
    "without"])
def test_of_two_that_found_a_name_free_the_second_is_refused(tmp_path, links):
    """Two processes have made sure that nothing is there; only then is either let go on."""
    target = tmp_path / "a.txt"
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", GATED, str(target), str(tmp_path / f"{text}.txt"), text, links],
            text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        for text in ("one", "two")
    ]  # fmt: skip
    assert [run.stdout.readline() for run in runs] == ["free\n", "free\n"]
    for run in runs:
        run.communicate("\n", timeout=60)
    assert sorted(run.returncode for run in runs) == [0, 2]
    kept = "one" if runs[0].returncode == 0 else "two"
    assert contents(tmp_path) == {"a.txt": kept, f"{kept}.txt": kept}, "and no half of a pair"


def test_a_missing_folder_is_named_and_not_made(tmp_path):
    with pytest.raises(FileError, match="no folder"):
        write_text(tmp_path / "none" / "a.json", "x")
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("name", ["", "x" * 300, "a\0b"])
def test_impossible_names(tmp_path, name):
    with pytest.raises(FileError):
        write_text(tmp_path / name, "x", force=True)
    assert names(tmp_path) == []


def test_the_longest_name_still_works(tmp_path):
    name = "x" * 250 + ".json"
    write_text(tmp_path / name, "x")
    assert names(tmp_path) == [name]


def test_a_folder_below_a_file(tmp_path):
    (tmp_path / "a").write_bytes(b"")
    with pytest.raises(FileError):
        write_text(tmp_path / "a" / "b.txt", "x")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_a_device_is_not_replaced():
    with pytest.raises(FileError, match="ordinary file"):
        refuse_existing("/dev/full", True)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_a_full_disk_is_called_so(tmp_path):
    """The operating system itself reports the full disk here, through /dev/full."""
    with (
        pytest.raises(FileError, match="disk is full"),
        whole_file(tmp_path / "a.tif"),
        Path("/dev/full").open("wb") as full,
    ):
        full.write(b"x" * 100_000)
    assert names(tmp_path) == []


def test_no_permission_is_called_so(tmp_path):
    if not hasattr(os, "geteuid") or os.geteuid() == 0:
        pytest.skip("this user may write everywhere")
    tmp_path.chmod(0o500)
    with pytest.raises(FileError, match="not allowed"):
        write_text(tmp_path / "a.txt", "x")


@pytest.mark.parametrize(
    ("code", "words"),
    [(errno.ENOSPC, "disk is full"), (errno.EACCES, "not allowed"), (errno.EROFS, "not allowed")],
)
def test_system_errors_in_plain_words(tmp_path, code, words):
    with pytest.raises(FileError, match=words), whole_file(tmp_path / "a"):
        raise OSError(code, "in the system's words")


HALF = """
import os, sys
from tonewright.files.safe import whole_file
with whole_file(sys.argv[1]) as temp:
    temp.write_bytes(b"half")
    print(temp.name, flush=True)
    if sys.argv[2] == "killed":
        os._exit(9)
    sys.stdin.readline()
    os.utime(temp, (0, 0))  # as old as can be
    print("old", flush=True)
    sys.stdin.readline()
"""
LOCKS = pytest.mark.skipif(sys.platform == "win32", reason="there age alone tells")


@LOCKS
def test_a_killed_run_leaves_no_output_and_its_leftover_goes_at_once(tmp_path):
    target = tmp_path / "a.txt"
    command = [sys.executable, "-c", HALF, str(target), "killed"]
    killed = subprocess.run(command, timeout=60, check=False, capture_output=True, text=True)
    assert killed.returncode == 9
    assert names(tmp_path) == [killed.stdout.strip()]
    write_text(tmp_path / "other.txt", "another name leaves it alone")
    assert killed.stdout.strip() in names(tmp_path)
    write_text(target, "whole")
    assert target.read_bytes() == b"whole"
    assert names(tmp_path) == ["a.txt", "other.txt"]


@LOCKS
def test_what_a_live_run_is_writing_is_never_touched(tmp_path):
    """Neither new nor old: a run may have been stopped for the night."""
    target = tmp_path / "a.txt"
    run = subprocess.Popen(
        [sys.executable, "-c", HALF, str(target), "alive"], text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    try:
        part = run.stdout.readline().strip()
        write_text(target, "mine")
        assert names(tmp_path) == sorted([part, "a.txt"])
        run.stdin.write("\n")
        run.stdin.flush()
        assert run.stdout.readline() == "old\n"
        write_text(target, "mine again", force=True)
        assert names(tmp_path) == sorted([part, "a.txt"])
        assert (tmp_path / part).read_bytes() == b"half"
    finally:
        _, _ = run.communicate("\n", timeout=60)
    assert run.returncode != 0  # a.txt had appeared meanwhile
    assert names(tmp_path) == ["a.txt"]


@LOCKS
def test_many_at_once_write_one_name(tmp_path):
    """Whoever tidies up never takes what another one has just begun."""
    from concurrent.futures import ThreadPoolExecutor

    target = tmp_path / "a.txt"

    def write(number):
        for _ in range(40):
            write_text(target, f"{number}" * 1000, force=True)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(4)))
    assert len(set(target.read_text(encoding="utf-8"))) == 1
    assert names(tmp_path) == ["a.txt"]


def test_a_leftover_of_another_machine_is_removed_when_it_is_old(tmp_path):
    with pytest.raises(RuntimeError), whole_file(tmp_path / "a.txt") as temp:
        prefix = temp.name.rsplit("-", 1)[0]
        raise RuntimeError
    new, old = (tmp_path / f"{prefix}-00000000{n:08x}.part.txt" for n in (1, 2))
    other = tmp_path / ".tonewright-00000000-0000000000000000.part.txt"  # of another target
    for leftover in (new, old, other):
        leftover.write_bytes(b"half")
    for leftover in (old, other):
        os.utime(leftover, (time.time() - 7200,) * 2)
    write_text(tmp_path / "a.txt", "whole")
    assert names(tmp_path) == sorted([other.name, new.name, "a.txt"])


@LOCKS
def test_without_locks_age_tells(tmp_path, monkeypatch):
    def none(*_):
        raise OSError

    monkeypatch.setattr("fcntl.flock", none)
    with pytest.raises(RuntimeError), whole_file(tmp_path / "a.txt") as temp:
        name = temp.name
        raise RuntimeError
    new, old = tmp_path / name, tmp_path / name.replace(".part", "0.part")
    for leftover in (new, old):
        leftover.write_bytes(b"half")
    os.utime(old, (time.time() - 7200,) * 2)
    write_text(tmp_path / "a.txt", "whole")
    assert names(tmp_path) == sorted([new.name, "a.txt"])


def test_make_folder(tmp_path):
    assert make_folder(tmp_path / "new")
    assert not make_folder(tmp_path / "new")
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileError, match="is a file"):
        make_folder(tmp_path / "file")
    with pytest.raises(FileError, match="no folder"):
        make_folder(tmp_path / "none" / "deeper")


@pytest.mark.skipif(not Path("/dev/stdout").is_symlink(), reason="there is no such link here")
def test_a_link_to_a_device_is_never_replaced(tmp_path):
    """Even where what it leads to is an ordinary file at the moment."""
    code = ("from tonewright.errors import FileError\n"
            "from tonewright.files.safe import write_text\n"
            "try: write_text('/dev/stdout', 'x', force=True)\n"
            "except FileError: raise SystemExit(2)")
    with (tmp_path / "out").open("w") as out:
        done = subprocess.run([sys.executable, "-c", code], stdout=out, stderr=subprocess.PIPE)
    assert done.returncode == 2, done.stderr
    assert Path("/dev/stdout").is_symlink()


def test_a_link_is_never_replaced(tmp_path):
    (tmp_path / "real").write_text("a", encoding="utf-8")
    (tmp_path / "link").symlink_to("real")
    with pytest.raises(FileError, match="is a link"):
        write_text(tmp_path / "link", "b", force=True)
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text(encoding="utf-8") == "a"


def pair(folder, text):
    """A document and its picture, one within the other."""
    with whole_file(folder / "a.json", force=True) as document:
        document.write_text(text, encoding="utf-8")
        with whole_file(folder / "a.png", force=True) as picture:
            picture.write_text(text, encoding="utf-8")


def contents(folder):
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


@pytest.mark.parametrize(("moves", "left"), [
    (0, {"a.json": "old"}), (1, {"a.json": "new"}), (2, {"a.json": "new", "a.png": "new"})])
def test_a_pair_is_of_one_run_whenever_that_ends(tmp_path, monkeypatch, moves, left):
    pair(tmp_path, "old")
    assert contents(tmp_path) == {"a.json": "old", "a.png": "old"}
    own, done = Path.replace, []

    def replace(self, target):
        if len(done) == moves:
            raise OSError("ended here")
        done.append(target)
        return own(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    if moves == 2:
        pair(tmp_path, "new")
    else:
        with pytest.raises(FileError):
            pair(tmp_path, "new")
    assert contents(tmp_path) == left


def test_of_a_pair_that_fails_neither_is_there(tmp_path):
    (tmp_path / "b").write_text("old", encoding="utf-8")
    with pytest.raises(FileError, match="is there already"), whole_file(tmp_path / "a") as first:
        first.write_text("new", encoding="utf-8")
        write_text(tmp_path / "c", "new")
        write_text(tmp_path / "b", "new")
    assert contents(tmp_path) == {"b": "old"}


def test_together_or_not_at_all(tmp_path):
    with together():
        pass
    with together():
        write_text(tmp_path / "a", "new")
        write_bytes(tmp_path / "b", b"new")
        assert not (tmp_path / "a").exists()
    assert contents(tmp_path) == {"a": "new", "b": "new"}
    with pytest.raises(ZeroDivisionError), together():
        write_text(tmp_path / "a", "newer", force=True)
        _ = 1 / 0
    assert contents(tmp_path) == {"a": "new", "b": "new"}


def test_what_is_written_in_a_copy_of_its_context_is_not_part_of_it_once_it_has_ended(tmp_path):
    with together():
        later = copy_context()
    later.run(write_text, tmp_path / "a", "new")
    assert contents(tmp_path) == {"a": "new"}


@pytest.mark.skipif(sys.platform == "win32", reason="folders are not synced there")
def test_a_document_is_on_the_disk_when_it_has_its_name(tmp_path, monkeypatch):
    """As POSIX asks of who renames: the file is synced before it, the folder after it."""
    seen = []
    own = os.fsync
    monkeypatch.setattr(os, "fsync", lambda file: (
        seen.append((os.fstat(file).st_ino, (tmp_path / "a").exists())), own(file)))
    write_text(tmp_path / "a", "words")
    assert seen == [((tmp_path / "a").stat().st_ino, False), (tmp_path.stat().st_ino, True)]
    seen.clear()
    write_bytes(tmp_path / "large", bytes(safe._SYNCED + 1))
    assert seen == []
