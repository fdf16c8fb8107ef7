"""Peak memory and wall time of large negatives, each in a process of its own.

    python tests/benchmarks/negative_memory.py [--megapixels 24 100 400] [--formats none lzw ...]

What must hold (promised): 100 megapixels, uncompressed in and out, peak memory below 200 MB.  The
exit code says whether it did.  Times contain the interpreter's start.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np
import tifffile

LIMIT = 200.0
"""MB, for 100 megapixels uncompressed."""

FORMATS = {
    "none": {},
    "white-is-zero-foreign-order": {"photometric": "miniswhite", "byteorder": ">"},
    "lzw": {"compression": "lzw", "predictor": True, "rowsperstrip": 16},
    "deflate": {"compression": "zlib", "predictor": True, "rowsperstrip": 16},
    "deflate-one-strip": {"compression": "zlib", "predictor": True, "rowsperstrip": 1 << 20},
    "deflate-tiles": {"compression": "zlib", "predictor": True, "tile": (256, 256)},
    "turned": {"extratags": [(274, 3, 1, 6, True)], "rowsperstrip": 16},
    "lzw-turned": {
        "compression": "lzw", "predictor": True, "rowsperstrip": 16,
        "extratags": [(274, 3, 1, 6, True)],
    },
}  # fmt: skip

# The peak is that of the new process alone: on Linux ru_maxrss may hold its parent's as well.
CHILD = """
import sys
from pathlib import Path
from tonewright.files.negative.make import NegativeSettings, make_negative
class Curve:
    name = "straight"
    def level_at(self, image_lightness):
        return image_lightness / 100.0
make_negative(sys.argv[1], Curve(), sys.argv[2], NegativeSettings(encoding="srgb"))
status = Path("/proc/self/status")
if status.exists():
    line = next(l for l in status.read_text(encoding="utf-8").splitlines() if "VmHWM" in l)
    print(float(line.split()[1]) * 1024 / 1e6)
else:
    try:
        import resource
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(peak / 1e6 if sys.platform == "darwin" else peak * 1024 / 1e6)
    except ImportError:
        print("nan")
"""


def picture(megapixels: float) -> np.ndarray:
    """A smooth scene with grain, 4:3, uint16; invented."""
    height = int((megapixels * 1e6 * 3 / 4) ** 0.5)
    width = int(megapixels * 1e6 / height)
    random = np.random.default_rng(1)
    data = np.empty((height, width), np.uint16)
    across = np.sin(np.arange(width) / 1500.0)
    for top in range(0, height, 256):
        down = np.cos(np.arange(top, min(top + 256, height)) / 900.0)[:, None]
        scene = 32768 + 20000 * down * across
        grain = random.integers(-90, 91, scene.shape)
        data[top : top + 256] = scene + grain
    return data


def run(source: Path, output: Path, repeats: int) -> tuple[float, float]:
    """Median seconds and largest peak (MB) of a few runs."""
    seconds, peaks = [], []
    for _ in range(repeats):
        output.unlink(missing_ok=True)
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", CHILD, str(source), str(output)],
            check=True, capture_output=True, text=True,
        )  # fmt: skip
        seconds.append(time.perf_counter() - start)
        peaks.append(float(done.stdout))
    return median(seconds), max(peaks)


def main() -> int:
    """Print a line for each format and size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--megapixels", type=float, nargs="+", default=[100.0])
    parser.add_argument("--formats", nargs="+", choices=FORMATS, default=["none"])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--folder", type=Path, help="where to put the large files")
    options = parser.parse_args()
    good = True
    print(f"{'source':<30}{'megapixels':>11}{'seconds':>9}{'peak MB':>9}")
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        source, output = Path(folder) / "source.tif", Path(folder) / "negative.tif"
        for megapixels in options.megapixels:
            data = picture(megapixels)
            for name in options.formats:
                settings = {"photometric": "minisblack", **FORMATS[name]}
                tifffile.imwrite(source, data, metadata=None, **settings)
                seconds, peak = run(source, output, options.repeats)
                print(f"{name:<30}{data.size / 1e6:>11.1f}{seconds:>9.2f}{peak:>9.0f}", flush=True)
                good = good and not peak >= LIMIT
    print(f"every peak below {LIMIT:.0f} MB: {'yes' if good else 'NO'}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
