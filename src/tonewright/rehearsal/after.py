"""After the first print: a fault found by its check, the curve made surer, a year of prints.

The negative's tone scale is printed and measured each time.  First the lamp gives too little
light, and the check must say so; then it is right, and the print makes the curve surer; then it
ages, and the months' checks must show it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from tonewright.check.document import Check
from tonewright.curve.document import Curve
from tonewright.files.checks import PrintFiles, check_files, refine_files
from tonewright.files.curves import ReadingFiles, SetupFiles
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.shelf import read_drift
from tonewright.files.targets import read_target
from tonewright.negative.sheet import SheetSettings
from tonewright.record.setup import Setup
from tonewright.rehearsal.folder import CHECKED, MONTHS, READ, File
from tonewright.rehearsal.printing import PrintRoom
from tonewright.shelf.drift import Drift
from tonewright.show.plots import plot_check
from tonewright.show.shelf_plots import plot_drift
from tonewright.virtual.darkroom import Flaws, measure_target

COLD_LAMP_STOPS = 1.0 / 3.0
"""Light that is missing from the first print."""
AGES_FROM, AGES_STOPS = 4, 1.0 / 24.0
"""How many months the lamp keeps its light, and by how many stops a month it then loses it."""
TONES = Flaws(noise_density_sd=0.01, speed_sd=0.01, uneven_exposure_sd=0.003)
"""How the tones beside a negative turn out and are measured."""
FIRST_DAYS = "2025-01-18", "2025-01-19"
LAST_DAY = date(2026, 1, 1)
"""By which all these prints are made."""


def follow(room: PrintRoom, curve: Curve) -> tuple[Check, Check, Curve, Drift]:
    """Check a pale print and a good one, refine the curve, and watch a year of prints."""
    folder = room.folder
    make_negative(folder / File.PICTURE, curve, folder / File.SCALE_NEGATIVE, NegativeSettings(
        sheet=SheetSettings(tone_scale=True), force=folder.force))
    pale, good = (
        _check(room, folder / readings, folder / check, day, lost, seed)
        for readings, check, day, lost, seed in zip(
            (File.PALE_READINGS, File.GOOD_READINGS), (File.PALE, File.GOOD), FIRST_DAYS,
            (COLD_LAMP_STOPS, 0.0), (1, 2), strict=True))
    folder.keep(File.PALE_PLOT, plot_check(pale))
    refined = refine_files(PrintFiles(
        folder / File.CURVE, ReadingFiles((folder / File.GOOD_READINGS,)), folder / File.REFINED,
        target=folder / File.SCALE_LAYOUT, force=folder.force)).curve
    for number, month in enumerate(MONTHS):
        lost = AGES_STOPS * max(number - AGES_FROM, 0)
        _check(room, folder.year / f"{month}.{READ}", folder.year / f"{month}.{CHECKED}",
               f"{month}-15", lost, 10 + number)
    drift = read_drift([folder.year], today=LAST_DAY).drift
    folder.keep(File.YEAR_PLOT, plot_drift(drift))
    return pale, good, refined, drift


def _check(
    room: PrintRoom, readings: Path, check: Path, day: str, stops_lost: float, seed: int
) -> Check:
    """Print the tone scale with a lamp that has lost some light, measure it, and check it."""
    folder, lamp = room.folder, room.materials.lamp
    dimmed = replace(lamp, intensity=lamp.intensity * 2.0**-stops_lost)
    patches = read_target(folder / File.SCALE_LAYOUT).patches
    printed = measure_target(replace(room.materials, lamp=dimmed), [p.level for p in patches],
                             flaws=TONES, seed=room.seed + seed).readings
    folder.table(readings, ["patch,density", *(
        f"{p.name},{read.density:.3f}" for p, read in zip(patches, printed.patches, strict=True))])
    return check_files(PrintFiles(
        folder / File.CURVE, ReadingFiles((readings,)), check, target=folder / File.SCALE_LAYOUT,
        changes=SetupFiles(Setup(date=day)), force=folder.force), today=LAST_DAY)
