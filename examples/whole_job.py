"""The whole job from Python: a strip, a target, a curve, a negative, a check of its print, a surer
curve, and a renewal.

Run ``python examples/whole_job.py FOLDER``.  The readings are those of ``curves/``, the picture
is made by the virtual darkroom; all of it is invented.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tonewright.curve.make import FitRequest, fit_curve
from tonewright.curve.renew import RenewRequest, renew_curve
from tonewright.files.checks import PrintFiles, check_files, refine_files
from tonewright.files.curves import ReadingFiles
from tonewright.files.documents import (
    open_curve,
    read_setup,
    read_tablet,
    write_document,
)
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.raster.icc import lightness_profile
from tonewright.files.raster.pictures import write_picture
from tonewright.files.strips import read_strip
from tonewright.files.tables import read_readings
from tonewright.files.targets import TargetRequest, draw_target
from tonewright.strip.fit import make_process
from tonewright.target.layout import LayoutSettings
from tonewright.virtual.scene import scene

CURVES = Path(__file__).parents[1] / "curves"


def whole_job(folder: Path) -> None:
    """From the readings of a strip and a target to a negative, in a new folder."""
    folder.mkdir(parents=True)

    # A step tablet of 31 steps was printed on the coated paper, half of it under film.
    setup, tablet = read_setup(CURVES / "kallitype-setup.toml"), read_tablet("31")
    strip = read_strip([CURVES / "kallitype-strip.csv"], tablet)
    process = make_process(strip, tablet, setup, "kallitype")
    write_document(folder / "kallitype.process.json", process)
    print(f"base printing time {process.timer_time(process.base_time)}")

    # A target is drawn, printed on film and then on the paper, and measured.
    drawn = draw_target(folder / "target.tif", TargetRequest(levels=31),
                        LayoutSettings("kallitype"))
    print(f"print {drawn.files.picture}")
    readings = read_readings([CURVES / "kallitype-target.csv"])
    curve = fit_curve(FitRequest("kallitype", readings, setup=setup, process=process))
    write_document(folder / "kallitype.curve.json", curve)
    print(f"the print reaches L* {curve.summary.black_lightness:.1f}"
          f" to {curve.summary.white_lightness:.1f}")

    # A finished picture becomes a negative.
    write_picture(folder / "picture.tif", scene(600, 450), 360, profile=lightness_profile())
    made = make_negative(folder / "picture.tif", curve, folder / "negative.tif",
                         NegativeSettings())
    print(f"{made.output}: {made.width} x {made.height} pixels, mirrored")

    # Eleven tones of its print, measured, say whether the curve holds; they make it surer.
    prints = ReadingFiles((CURVES / "kallitype-print.csv",))
    check = check_files(PrintFiles(folder / "kallitype.curve.json", prints))
    print("the print is what the curve promises" if check.passes else "the print is off")
    refined = refine_files(PrintFiles(folder / "kallitype.curve.json", prints,
                                      output=folder / "kallitype-surer.curve.json"))
    print(f"the curve is sure to {refined.curve.summary.band_halfwidth_mean:.1f} L*,"
          f" {curve.summary.band_halfwidth_mean:.1f} before")

    # The same ink on the same paper for another printing time: nothing is printed for it.
    old = open_curve(folder / "kallitype.curve.json")
    shorter = renew_curve(RenewRequest(old.document, old.sha256, "kallitype-shorter",
                                       printing_time=process.base_time.times(0.8).on_timer()))
    write_document(folder / "kallitype-shorter.curve.json", shorter.curve)
    print(f"a shorter time moves tones by {shorter.movement.rms_shift_lightness:.1f} L*")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("name a new folder: python examples/whole_job.py FOLDER")
    whole_job(Path(sys.argv[1]))
