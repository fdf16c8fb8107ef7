"""Ctrl-C, closed streams, and what becomes of the second process when the first one ends."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from tonewright.cli import main

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are others there")
PATIENCE = 15.0
"""Seconds; 2 are promised, on a machine that is not busy."""
STOPPED = b"tonewright: stopped; files are whole or not there\n"
READY = """
import sys
from tonewright import __main__ as start
watch = start._watch_for_interrupt
def watched():
    watch()
    print("ready", flush=True)
start._watch_for_interrupt = watched
{more}
start.run()
"""


CALCULATE = """
import ctypes
def watched_and_busy():
    watched()
    while True:  # a signal cuts one short
        ctypes.CDLL(None).sleep(20)
start._watch_for_interrupt = watched_and_busy
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A curve and six images, enough for a second process."""
    monkeypatch.chdir(tmp_path)
    rows = "".join(f"{i / 20:g},{1.5 - 1.4 * i / 20:.3f}\n" for i in range(21))
    Path("r.csv").write_text(f"level,density\n{rows}", encoding="utf-8")
    assert CliRunner().invoke(main, ["fit", "r.csv", "-o", "a.curve.json"]).exit_code == 0
    codes = np.random.default_rng(1).integers(0, 65536, (3000, 3000), np.uint16)
    tifffile.imwrite("0.tif", codes, photometric="minisblack")
    for number in range(1, 6):
        Path(f"{number}.tif").hardlink_to("0.tif")
    # the tests themselves may run in the background, where a shell has Ctrl-C ignored
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield tmp_path
    signal.signal(signal.SIGINT, before)


BATCH = "negative 0.tif 1.tif 2.tif 3.tif 4.tif 5.tif --curve a.curve.json -o out"


def started(line, more=""):
    run = subprocess.Popen([sys.executable, "-c", READY.format(more=more), *line.split()],
                           stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert run.stdout.readline() == b"ready\n"
    return run


def there():
    """Finished negatives, and pieces of unfinished ones."""
    found = [path.name for path in Path("out").glob("*")]
    return {n for n in found if ".part" not in n}, {n for n in found if ".part" in n}


def children(number):
    return Path(f"/proc/{number}/task/{number}/children").read_text(encoding="ascii").split()


@pytest.mark.parametrize("line", [BATCH, "fit r.csv -o b.curve.json --plot b.png", "--help"])
def test_ctrl_c_is_one_line_at_any_moment(folder, line):
    before = set(folder.iterdir())
    stopped = 0
    for moment in (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8):
        run = started(line)
        time.sleep(moment)
        run.send_signal(signal.SIGINT)
        asked = time.monotonic()
        _, said = run.communicate(timeout=30)
        assert time.monotonic() - asked < PATIENCE
        # the signal itself ends an interpreter that is past its last line: 130 to a shell
        assert run.returncode in (0, 130, -signal.SIGINT)
        if run.returncode == 130:
            stopped += 1
            assert said == STOPPED
        assert not any(".part" in path.name for path in folder.rglob("*"))
        for path in set(folder.iterdir()) - before:
            for made in [path] if path.is_file() else path.iterdir():
                made.unlink()
        if run.returncode == 0:
            break  # it was done: a later moment is no other
    assert stopped or line == "--help"


def test_ctrl_c_while_the_first_modules_are_imported():
    stop = ("import sys\nclass Stop:\n  def find_spec(self, name, *rest):\n"
            "    if name == 'tonewright.files.streams': raise KeyboardInterrupt\n"
            "sys.meta_path.insert(0, Stop())\nimport tonewright.__main__")
    done = subprocess.run([sys.executable, "-c", stop], capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (130, STOPPED)


def test_ctrl_c_does_not_wait_for_a_long_calculation(folder):
    """Not even where the interpreter itself waits for it."""
    run = started(BATCH, CALCULATE)
    run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=30)
    assert (run.returncode, said) == (130, STOPPED)


def test_what_a_shell_runs_in_the_background_is_not_interrupted(folder):
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        run = started("fit r.csv -o b.curve.json")
    finally:
        signal.signal(signal.SIGINT, before)
    run.send_signal(signal.SIGINT)
    run.communicate(timeout=60)
    assert run.returncode == 0


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="children are found there")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_nothing_appears_after_the_end(folder, how):
    """The second process ends with the first, and has put nothing in place since."""
    more = "from tonewright.files.negative import second\nsecond._cores = lambda: 2"
    seen = []
    for moment in (0.15, 0.3, 0.6, 1.0):
        run = started(BATCH, more)
        time.sleep(moment)
        others = children(run.pid)  # none if it has finished
        seen += others
        run.send_signal(how)
        run.wait(timeout=30)
        finished = there()[0]
        run.communicate()
        end = time.monotonic() + 10.0
        while any(Path(f"/proc/{n}").is_dir() for n in others) and time.monotonic() < end:
            time.sleep(0.01)
        assert time.monotonic() < end
        time.sleep(0.2)
        assert there()[0] == finished
        assert how == signal.SIGKILL or not there()[1]
        for path in Path("out").glob("*"):
            if path.suffix == ".tif" and ".part" not in path.name:
                assert tifffile.imread(path).shape == (3000, 3000)
            path.unlink()
    assert seen


def shell(line):
    return subprocess.run(["sh", "-c", f"'{sys.executable}' -m tonewright {line}"],
                          capture_output=True, text=True, timeout=60)


def test_closed_streams(folder):
    """Messages may be lost, results may not; a file is never opened in the place of a stream."""
    tifffile.imwrite("0.tif", tifffile.imread("0.tif")[:300, :300], photometric="minisblack")
    done = shell("negative 0.tif --curve a.curve.json -o a.tif 2>&-")
    assert (done.returncode, done.stderr) == (0, "") and "a.tif" in done.stdout
    done = shell("negative 0.tif --curve a.curve.json -o b.tif <&- 2>&-")
    assert done.returncode == 0
    assert Path("a.tif").read_bytes() == Path("b.tif").read_bytes()
    done = shell("export a.curve.json --as curve-csv >&-")
    assert done.returncode == 2
    assert "standard output is closed" in done.stderr and done.stderr.count("\n") == 1
    assert shell("negative 0.tif --curve a.curve.json -o c.tif >&- 2>&-").returncode == 2
