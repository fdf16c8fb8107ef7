"""Commands killed at random moments: no half file, no input harmed, and the next run does it."""

from __future__ import annotations

import contextlib
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import tifffile
from mutate import good_files

LINES = (
    "negative large.tif --curve good.curve.json -o out.tif --compression deflate",
    "negative large.tif gray.tif lzw.tif --curve good.curve.json -o . --force",
    "fit readings.csv -o out.curve.json --plot out.png",
    "target -o out.tif --ppi 200",
    "strip strip.csv --tablet 21 --time 10min -o out.process.json",
)


def _start(line: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", "tonewright", *line.split()],
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _outputs(folder: Path, inputs: set[str]) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()
            if p.name not in inputs and not p.name.startswith(".tonewright-")}


def kills(count: int, seed: int) -> list[str]:
    """What went wrong in so many kills."""
    rng, faults = random.Random(seed), []
    with tempfile.TemporaryDirectory() as place, contextlib.chdir(place):
        folder = Path(place)
        good_files(folder)
        codes = np.random.default_rng(seed).integers(0, 65536, (1500, 2000), np.uint16)
        tifffile.imwrite("large.tif", codes)
        kept = {p.name: p.read_bytes() for p in folder.iterdir()}
        for line in LINES[: max(count, 1)]:
            begun = time.monotonic()
            assert _start(line).wait() == 0, line
            usual, whole = time.monotonic() - begun, _outputs(folder, set(kept))
            share = count // len(LINES) + (LINES.index(line) < count % len(LINES))
            for _ in range(share):
                _clear(folder, set(kept))
                running = _start(line)
                time.sleep(rng.uniform(0.0, 1.1 * usual))
                running.kill()
                running.wait()
                time.sleep(0.3)  # a second process ends after its first
                for name, data in _outputs(folder, set(kept)).items():
                    if data != whole.get(name):
                        faults.append(f"{line}: {name} is half or wrong after a kill")
                if any((folder / n).read_bytes() != data for n, data in kept.items()):
                    faults.append(f"{line}: an input was changed")
            _clear(folder, set(kept), parts=False)
            if _start(line).wait() != 0 or _outputs(folder, set(kept)) != whole:
                faults.append(f"{line}: the run after a kill is not whole")
            _clear(folder, set(kept))
    return faults


def _clear(folder: Path, inputs: set[str], *, parts: bool = True) -> None:
    for path in folder.iterdir():
        if path.name not in inputs and (parts or not path.name.startswith(".tonewright-")):
            path.unlink()
