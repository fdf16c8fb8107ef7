"""Making negatives, side by side with libvips doing lookup, mirror and save on the same file.

    pip install "pyvips[binary]"        # for this script only
    python tests/benchmarks/negative_speed.py [--megapixels 100] [--cases none lzw ...] [--batch 24]

Both run as whole commands, the interpreter's start included, by turns, on the same files; what
counts is the ratio of the median times in one run.  The outputs are compared pixel by
pixel.  The exit code says whether every ratio and every peak of memory was reached.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import imagecodecs
import numpy as np
import tifffile
from negative_memory import picture

PEAK = 150.0
"""MB, whatever the size."""
BATCH_GAIN = 1.6
"""Times one core's throughput on two cores."""

OURS = """
import sys
from pathlib import Path
from tonewright.__main__ import run
listing, sys.argv = sys.argv[1], sys.argv[1:]
try:
    run()
except SystemExit as end:
    code = end.code
status = Path("/proc/self/status")
peak = "nan"
if status.exists():
    line = next(l for l in status.read_text(encoding="utf-8").splitlines() if "VmHWM" in l)
    peak = str(float(line.split()[1]) * 1024 / 1e6)
Path(listing).write_text(peak, encoding="utf-8")
sys.exit(code)
"""

VIPS = """
import sys
from pathlib import Path
import pyvips
table = pyvips.Image.new_from_memory(Path(sys.argv[4]).read_bytes(), 65536, 1, 1, "ushort")
image = pyvips.Image.new_from_file(sys.argv[2], access="sequential")
options = {"compression": "deflate", "predictor": "horizontal"} if sys.argv[5] == "deflate" else {}
image.maplut(table).fliphor().tiffsave(sys.argv[3], **options)
status = Path("/proc/self/status")
peak = "nan"
if status.exists():
    line = next(l for l in status.read_text(encoding="utf-8").splitlines() if "VmHWM" in l)
    peak = str(float(line.split()[1]) * 1024 / 1e6)
Path(sys.argv[1]).write_text(peak, encoding="utf-8")
"""


@dataclass(frozen=True)
class Case:
    """One pair of formats and the ratio to reach; None: only reported."""

    source: dict
    out: str
    limit: float | None
    suffix: str = ".tif"


CASES = {
    "none": Case({}, "none", 0.75),
    "lzw": Case({"compression": "lzw", "predictor": True, "rowsperstrip": 16}, "none", 0.75),
    "deflate": Case({"compression": "zlib", "predictor": True, "rowsperstrip": 16}, "none", 0.6),
    "to-deflate": Case({}, "deflate", 0.7),
    "png": Case({}, "none", None, ".png"),
}


def make_curve(folder: Path) -> tuple[Path, Path]:
    """A curve fitted to invented readings, and its table of codes for linear values of L*."""
    from tonewright.files.documents import read_curve
    from tonewright.virtual.darkroom import Darkroom, measure_target

    readings = measure_target(Darkroom(), np.linspace(0.0, 1.0, 31), 2, seed=1).readings
    rows = [f"{p.level:.5f},{p.density:.4f}" for p in readings.patches]
    (folder / "readings.csv").write_text("\n".join(["level,density", *rows]), encoding="utf-8")
    curve = folder / "invented.curve.json"
    subprocess.run(
        [sys.executable, "-c", "from tonewright.cli import main; main()", "fit",
         str(folder / "readings.csv"), "-o", str(curve)],
        check=True, capture_output=True,
    )  # fmt: skip
    table = folder / "table.bin"
    codes = read_curve(curve).code_at(np.linspace(0.0, 100.0, 65536))
    table.write_bytes(codes.tobytes())
    return curve, table


def compiled(beside: Path) -> dict[str, str]:
    """An environment in which modules are compiled once, as an installer does it, and not at each
    start, as PYTHONDONTWRITEBYTECODE does it to a checkout."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPYCACHEPREFIX": str(beside.parent / "compiled")}


def timed(command: list[str], peak: Path, cores: set[int] | None = None) -> tuple[float, float]:
    """Seconds and peak MB of one run."""
    pin = (lambda: os.sched_setaffinity(0, cores)) if cores else None
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, preexec_fn=pin, env=compiled(peak))
    return time.perf_counter() - start, float(peak.read_text(encoding="utf-8"))


def write_source(path: Path, data: np.ndarray, case: Case) -> None:
    """The picture in the case's format."""
    if case.suffix == ".png":
        path.write_bytes(imagecodecs.png_encode(data, level=4))
    else:
        tifffile.imwrite(path, data, photometric="minisblack", metadata=None, **case.source)


def race(folder: Path, data: np.ndarray, case: Case, curve: tuple[Path, Path], repeats: int):
    """Median seconds of both and their largest peaks, by turns; outputs must agree."""
    source = folder / f"source{case.suffix}"
    write_source(source, data, case)
    outputs, peak = [folder / "ours.tif", folder / "vips.tif"], folder / "peak"
    ours = [sys.executable, "-c", OURS, str(peak), "negative", str(source), "--curve",
            str(curve[0]), "-o", str(outputs[0]), "--encoding", "lightness",
            "--compression", case.out]  # fmt: skip
    vips = [sys.executable, "-c", VIPS, str(peak), str(source), str(outputs[1]), str(curve[1]),
            case.out]  # fmt: skip
    found = ([], [])
    for run in range(repeats + 1):
        for command, output, rows in zip((ours, vips), outputs, found, strict=True):
            output.unlink(missing_ok=True)
            taken = timed(command, peak)
            if run:  # the first one compiles, and brings the source into memory
                rows.append(taken)
    same = np.array_equal(tifffile.imread(outputs[0]), tifffile.imread(outputs[1]))
    for path in (source, *outputs):
        path.unlink()
    return [(median(s for s, _ in rows), max(p for _, p in rows)) for rows in found], same


def batch(folder: Path, count: int, curve: Path, repeats: int, key: str) -> float:
    """How many times the throughput of one core two cores reach, images of 24 megapixels."""
    inside, out, peak = folder / "many", folder / "made", folder / "peak"
    inside.mkdir()
    data = picture(24.0)
    names = [inside / f"{n:02d}.tif" for n in range(count)]
    for name in names:
        write_source(name, data, CASES[key])
    command = [sys.executable, "-c", OURS, str(peak), "negative", *map(str, names), "--curve",
               str(curve), "-o", str(out), "--encoding", "lightness"]  # fmt: skip
    seconds: dict[int, list[float]] = {1: [], 2: []}
    for _ in range(repeats):
        for cores in (1, 2):
            shutil.rmtree(out, ignore_errors=True)
            seconds[cores].append(timed(command, peak, set(range(cores)))[0])
    shutil.rmtree(inside)
    shutil.rmtree(out)
    one, two = (median(seconds[n]) for n in (1, 2))
    print(f"{count} images of 24 megapixels, {key}: {one:.2f} s on one core, {two:.2f} s on two,"
          f" {one / two:.2f} times the throughput")  # fmt: skip
    return one / two


def main() -> int:
    """Print a line for each case."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--megapixels", type=float, nargs="+", default=[100.0])
    parser.add_argument("--cases", nargs="*", choices=CASES, default=list(CASES))
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--batch", type=int, default=0, help="also so many images in one call")
    parser.add_argument("--folder", type=Path, help="where to put the large files")
    options = parser.parse_args()
    good = True
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        curve = make_curve(folder)
        head = f"{'case':<12}{'MP':>6}{'ours s':>9}{'libvips s':>11}{'ratio':>7}{'limit':>7}"
        print(f"{head}{'ours MB':>9}{'libvips MB':>12}  same pixels")
        for megapixels in options.megapixels:
            data = picture(megapixels)
            for key in options.cases:
                case = CASES[key]
                (ours, vips), same = race(folder, data, case, curve, options.repeats)
                ratio = ours[0] / vips[0]
                limit = "-" if case.limit is None else f"{case.limit:.2f}"
                print(f"{key:<12}{megapixels:>6.0f}{ours[0]:>9.2f}{vips[0]:>11.2f}{ratio:>7.2f}"
                      f"{limit:>7}{ours[1]:>9.0f}{vips[1]:>12.0f}  {same}", flush=True)  # fmt: skip
                good &= same and ours[1] < PEAK and (case.limit is None or ratio <= case.limit)
        if options.batch:
            for key in ("none", "lzw"):
                good &= batch(folder, options.batch, curve[0], options.repeats, key) >= BATCH_GAIN
    print(f"everything reached: {'yes' if good else 'NO'}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
