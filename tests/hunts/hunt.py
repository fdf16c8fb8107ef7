"""One worker of the hunt: harms files, runs commands on them, and says what went wrong."""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
import traceback
import unicodedata
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tifffile
from click.testing import CliRunner
from mutate import good_files, mutated
from PIL import Image

from tonewright.cli import main
from tonewright.files.documents import read_curve, read_process
from tonewright.files.targets import read_target

SLOW, LARGE = 10, 500
"""Seconds of processor time and megabytes that no command may take on the hunt's small files."""
STUCK = 120
"""Seconds on the clock, where nothing is computed."""
CASES = {
    "tiff": ["negative BAD --curve good.curve.json -o out.tif",
             "negative BAD --curve good.curve.json -o out.tif --width 30mm --ppi 720",
             "negative BAD --curve good.curve.json -o out.tif --depth 8 --page 1 --flatten",
             "negative BAD gray.tif --curve good.curve.json -o out.tif --film 8x10 --ppi 72"
             " --width 60mm",
             "proof BAD --curve good.curve.json -o out.png --mark",
             "read BAD --target good.target.json -o out.csv"],
    "csv": ["target --levels-file BAD -o out.tif --ppi 72", "fit BAD -o out.curve.json",
            "strip BAD --tablet 21 --time 10min -o out.process.json",
            "strip BAD --tablet BAD --time 10min",
            "read BAD --target good.target.json -o out.csv"],
    "cgats": ["fit BAD -o out.curve.json", "target --levels-file BAD -o out.tif --ppi 72",
              "read BAD --target good.target.json -o out.csv"],
    "setup": ["fit readings.csv -o out.curve.json --setup BAD --date x"],
    "sheet": ["negative gray.tif --curve good.curve.json -o out.tif --layout BAD --width 40mm"],
    "curve": ["export BAD --as curve-csv", "export BAD --as icc-output -o out.icc",
              "export BAD --as readings -o out.txt", "export BAD --as points -o out.csv",
              "negative gray.tif --curve BAD -o out.tif",
              "target --levels-for BAD -o out.tif --ppi 72", "fit --rebuild BAD",
              "target --through BAD -o out.tif --ppi 72",
              "proof gray.tif --curve BAD -o out.png", "report BAD -o out.html",
              "worksheet BAD -o out.html --sensitiser 2 --coats 8x10"],
    "process": ["fit readings.csv --process BAD -o out.curve.json",
                "renew good.curve.json --process BAD -o out.curve.json",
                "report good.curve.json BAD -o out.html"],
    "target": ["read lab.txt --target BAD -o out.csv", "read gray.tif --target BAD -o out.csv"],
}
WARM = ("fit spectra.txt --scale luminance -o x", "strip strip.csv --tablet 21 --time 1min",
        "read gray.tif --target good.target.json -o x", "negative rgb.jpg --curve x -o x.tif")
FITS = ("fit", "strip", "renew")
"""What takes a second where a file is accepted: tried less often."""
CASES["png"] = CASES["jpeg"] = CASES["tiff"]


class Hang(BaseException):
    """A command took longer than it may."""


def hunt(cases: int, seed: int, kinds: tuple[str, ...] = ()) -> dict[str, Any]:
    """So many harmed files, each given to one command; counts and what went wrong.

    The same seed gives the same files and commands.
    """
    counts: dict[str, int] = {"files": 0, "accepted": 0, "refused": 0}
    faults: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as place, contextlib.chdir(place):
        folder = Path(place)
        good = good_files(folder)
        for line in WARM:  # imports are no part of a hang
            CliRunner().invoke(main, line.split())
        (folder / "x").unlink(missing_ok=True)
        names = {p.name for p in folder.iterdir()}
        kept = {p.name: p.read_bytes() for p in folder.iterdir()}
        for number in range(cases):
            rng = random.Random(f"{seed} {number}")
            kind = rng.choice(kinds or tuple(good))
            source = rng.choice(good[kind])
            bad = folder / f"BAD{''.join(source.suffixes)}"
            harmed = mutated(kept[source.name], kind, rng)
            bad.write_bytes(harmed)
            which = source.name.split(".")[1] if kind == "json" else kind
            which = which if kind != "toml" else source.stem
            lines = CASES[which]
            often = [1 if line.startswith(FITS) else 8 for line in lines]
            line = rng.choices(lines, often)[0].replace("BAD", bad.name)
            fault, done = _one(line.split(), folder)
            counts["files"] += 1
            counts["accepted" if done == 0 else "refused"] += 1
            left = {p.name for p in folder.iterdir()} - names - {bad.name}
            fault = fault or _files_fault(folder, left, done)
            if any((folder / n).read_bytes() != data for n, data in kept.items()):
                fault = "an input was changed"
            if fault:
                faults.append({"seed": seed, "case": number, "from": source.name, "line": line,
                               "fault": fault})
                if save := os.environ.get("TONEWRIGHT_HUNT_KEEP"):
                    shutil.copy(bad, Path(save) / f"{seed}-{number}-{bad.name}")
            if fault and fault.startswith("hang"):
                break  # what was interrupted may be half imported
            for name in (*left, bad.name):
                (folder / name).unlink(missing_ok=True)
    return {**counts, "faults": faults}


def _one(arguments: list[str], folder: Path) -> tuple[str | None, int]:
    """What is wrong with how a command ends (None: nothing), and its exit status."""
    started = time.process_time()
    _forget_peak()
    try:
        with _at_most(SLOW), warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            done = CliRunner().invoke(main, arguments)
    except Hang:
        return f"hang: more than {SLOW} s", -1
    if isinstance(done.exception, Hang):
        return f"hang: more than {SLOW} s", -1
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        trace = traceback.format_exception(done.exception)
        return "traceback: " + " | ".join(trace[-2:]).replace("\n", " "), done.exit_code
    said = done.stdout + done.stderr
    if time.process_time() - started > SLOW:
        return f"hang: {time.process_time() - started:.0f} s", done.exit_code
    if _peak() > LARGE:
        return f"memory: {_peak():.0f} MB", done.exit_code
    if ours := [w for w in warned if w.category is not ResourceWarning]:
        return f"warning: {ours[0].message}", done.exit_code
    if done.exit_code == 1 and "--rebuild" in arguments:
        return None, 1  # it says that the curve comes out different
    if done.exit_code not in (0, 2) or (done.exit_code == 2 and (done.stdout or not said)):
        return f"exit {done.exit_code}: {said[:200]!r}", done.exit_code
    if not all(_seen(sign) for line in said.split("\n") for sign in line):
        return f"control characters: {said[:300]!r}", done.exit_code
    return None, done.exit_code


def _seen(sign: str) -> bool:
    """A sign that a screen shows; spaces of any width are seen as spaces."""
    return sign.isprintable() or unicodedata.category(sign) == "Zs"


def _files_fault(folder: Path, left: set[str], done: int) -> str | None:
    """What is wrong with the files a command leaves."""
    wrong = {n for n in left if not n.startswith("out.")}
    if wrong or (done != 0 and left):
        return f"files: {sorted(left)} after exit {done}"
    for name in left:
        try:
            _whole(folder / name)
        except Exception as error:  # whatever another reader says
            return f"half or wrong file: {name}: {error!r}"[:400]
    return None


def _whole(path: Path) -> None:
    """Read an output back; raises if it is not whole."""
    if path.suffix == ".tif":
        assert tifffile.imread(path).size
    elif path.suffix == ".png":
        with Image.open(path) as image:
            image.load()
    elif path.suffix == ".html":
        assert path.read_text(encoding="utf-8").endswith("</html>\n")
    elif path.name.endswith(".curve.json"):
        curve = read_curve(path)
        assert 0.0 <= curve.correction.level.min() <= curve.correction.level.max() <= 1.0
    elif path.name.endswith(".process.json"):
        read_process(path)
    elif path.name.endswith(".target.json"):
        read_target(path)
    else:
        assert path.stat().st_size


@contextlib.contextmanager
def _at_most(seconds: int) -> Iterator[None]:
    def stop(*_: object) -> None:
        raise Hang

    signals = (signal.SIGPROF, signal.SIGALRM)
    before = [signal.signal(s, stop) for s in signals]
    signal.setitimer(signal.ITIMER_PROF, seconds + 1)
    signal.alarm(STUCK)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.alarm(0)
        for number, old in zip(signals, before, strict=True):
            signal.signal(number, old)


def _forget_peak() -> None:
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def _peak() -> float:
    """Most memory since it was last forgotten, in MB; 0 where the system does not say."""
    try:
        found = re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text("ascii"))
    except OSError:
        return 0.0
    return int(found[1]) / 1000.0 if found else 0.0


if __name__ == "__main__":
    print(json.dumps(hunt(int(sys.argv[1]), int(sys.argv[2]), tuple(sys.argv[3:]))))
