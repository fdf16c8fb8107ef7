"""The whole job in the virtual darkroom: nothing is coated, exposed or spoiled.

A small print room prints kallitype on cotton paper, and later moves to cyanotype.  All of it is
invented.  Each step takes the road of a real job, by the same calls of the library: readings in
a file, a curve in a file, a negative in a file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from tonewright.check.document import Check
from tonewright.curve.document import Curve
from tonewright.curve.make import FitRequest, fit_curve
from tonewright.curve.renew import RenewRequest, movement, renew_curve
from tonewright.files.documents import open_curve
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.raster.icc import lightness_profile
from tonewright.files.raster.pictures import write_picture
from tonewright.frozen import dataclass
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.rehearsal.after import follow
from tonewright.rehearsal.folder import CHECKED, INVENTED, MONTHS, YEAR, File, Folder
from tonewright.rehearsal.printing import TABLET, PrintRoom
from tonewright.scales import Array
from tonewright.shelf.drift import Drift
from tonewright.show.plots import plot_curve, plot_errors, plot_prints, plot_process
from tonewright.show.rehearsal_text import Outcome, Road, rehearsal_text
from tonewright.strip.fit import make_process
from tonewright.strip.process import Process
from tonewright.virtual.darkroom import CYANOTYPE, DEMO_INK, KALLITYPE, Darkroom
from tonewright.virtual.scene import scene

TONES = np.linspace(1.0, 99.0, 197)
"""Image lightness at which errors are counted: 1 % to 99 % of the tone scale."""
LEVELS, REPEATS = 31, 2
"""Of the targets."""
SIZE = (1200, 900)
"""Of the picture, pixels."""
_KALLITYPE = Setup(
    paper="cotton, 300 g (invented)", coating="kallitype, one coat", developer="sodium acetate",
    lamp="UV tubes, 10 cm", film="clear inkjet film", printer="desk printer, best quality",
    ink="black only", date="2025-01-11", notes=INVENTED)
_CYANOTYPE = Setup(coating="cyanotype, one coat", developer="water", date="2026-02-07")


@dataclass(frozen=True)
class _Straight:
    """A negative without calibration: ink in proportion to the picture's lightness."""

    name: str = "no curve"

    def level_at(self, image_lightness: ArrayLike) -> Array:
        return np.asarray(image_lightness, dtype=np.float64) / 100.0


def rehearse(
    path: Path, seed: int = 2, tell: Callable[[str], None] = lambda _: None, *,
    force: bool = False,
) -> Outcome:
    """Run the whole job and leave everything in the folder ``path``.

    Parameters
    ----------
    path:
        Made if it is not there.
    seed:
        Another number, another paper grain, noise and stain.
    tell:
        Called with a line before each step.

    Raises
    ------
    FileError
        A file of the rehearsal exists and ``force`` is not set, or cannot be written.
    """
    folder = Folder(path, force)
    folder.prepare()
    old = PrintRoom(folder, Darkroom(DEMO_INK, KALLITYPE), seed)
    new = PrintRoom(folder, Darkroom(DEMO_INK, CYANOTYPE), seed)
    tell("printing a step tablet and a target on one sheet, at a guessed time")
    process = _strip(old, 1.3, (File.STRIP, File.PROCESS), _KALLITYPE)
    folder.keep(File.STRIP_PLOT, plot_process(process))
    tell("scanning the target and reading the scan")
    curve = _curve(old, process)
    tell("making the picture, its negative, and the prints")
    timed = old.at(_time_of(curve))
    _print_picture(timed, curve)
    tell("checking a print that went wrong, and a year of prints")
    followed = follow(timed, curve)
    tell("changing to cyanotype: a strip, and the curve renewed without a new negative")
    roads = _renew(new, curve)
    _print_renewed(new.at(_time_of(roads[Road.STRIP])), roads[Road.STRIP])
    outcome = _judge(old, new, process, roads, followed)
    folder.keep(File.GUIDE, rehearsal_text(outcome))
    return outcome


def _strip(room: PrintRoom, off: float, files: tuple[File, File], setup: Setup) -> Process:
    """The process response from a strip printed for a first guess, so many times the truth."""
    guess = PrintingTime(room.materials.base_time * off).on_timer()
    process = make_process(room.strip(files[0], guess), TABLET, setup, files[1].document_name)
    room.folder.keep(files[1], process)
    return process


def _curve(room: PrintRoom, process: Process) -> Curve:
    """From the target that lay beside the strip, at the same guessed time."""
    time = process.reference_time
    readings = room.at(time).scanned_target("kallitype, cotton", LEVELS, REPEATS)
    curve = fit_curve(FitRequest(File.CURVE.document_name, readings, process=process,
                                 target_time=time))
    room.folder.keep(File.CURVE, curve)
    room.folder.keep(File.CURVE_PLOT, plot_curve(curve))
    return curve


def _print_picture(room: PrintRoom, curve: Curve) -> None:
    """The picture, its negative with and without the curve, and what they print."""
    folder = room.folder
    codes = scene(*SIZE, room.seed)
    write_picture(folder / File.PICTURE, codes, 360, description=f"{INVENTED}; even steps of L*",
                  profile=lightness_profile(), force=folder.force)
    _make_negative(folder, curve, File.NEGATIVE)
    _make_negative(folder, _Straight(), File.STRAIGHT_NEGATIVE)
    folder.keep(File.PRINTS, plot_prints([
        ("what the print should look like",
         np.asarray(curve.print_lightness_at(codes / 655.35))),
        ("printed without a curve", room.picture(File.STRAIGHT_NEGATIVE)),
        ("printed through the curve", room.picture(File.NEGATIVE)),
    ]))


def _make_negative(folder: Folder, curve: Curve | _Straight, file: File) -> None:
    make_negative(folder / File.PICTURE, curve, folder / file,
                  NegativeSettings(force=folder.force))


def _renew(room: PrintRoom, old: Curve) -> dict[Road, Curve]:
    """Cyanotype: by a strip alone, by a strip and seven patches, by a whole new target."""
    folder = room.folder
    process = _strip(room, 1.25, (File.NEW_STRIP, File.NEW_PROCESS),
                     _KALLITYPE.with_changes(asdict(_CYANOTYPE)))
    base = process.base_time
    asked = RenewRequest(old, open_curve(folder / File.CURVE).sha256, "", process)

    def renewed(file: File, request: RenewRequest) -> Curve:
        curve = renew_curve(replace(request, name=file.document_name)).curve
        folder.keep(file, curve)
        return curve

    by_strip = renewed(File.NEW_CURVE, asked)
    folder.keep(File.NEW_CURVE_PLOT, plot_curve(by_strip, old))
    few = room.at(base).target(File.FEW_READINGS, np.linspace(0.1, 0.9, 7), 1)
    whole = room.at(base).target(File.FRESH_READINGS, np.linspace(0.0, 1.0, LEVELS), REPEATS)
    return {
        Road.OLD: old,
        Road.STRIP: by_strip,
        Road.PATCHES: renewed(File.FEW_CURVE, replace(asked, readings=few)),
        Road.FRESH: renewed(File.FRESH_CURVE, replace(
            asked, process=None, readings=whole, replace=True,
            changes=replace(_CYANOTYPE, printing_time=str(process.timer_time(base))))),
    }


def _print_renewed(room: PrintRoom, curve: Curve) -> None:
    _make_negative(room.folder, curve, File.NEW_NEGATIVE)
    room.folder.keep(File.NEW_PRINTS, plot_prints([
        ("cyanotype with the old curve", room.picture(File.NEGATIVE)),
        ("cyanotype, renewed by a strip", room.picture(File.NEW_NEGATIVE)),
    ]))


def _judge(
    old: PrintRoom, new: PrintRoom, process: Process, roads: dict[Road, Curve],
    followed: tuple[Check, Check, Curve, Drift],
) -> Outcome:
    """Distances from the aim, known exactly because the virtual darkroom knows its truth."""
    folder, curve, renewed = old.folder, roads[Road.OLD], roads[Road.STRIP]
    pale, good, refined, drift = followed
    straight = _error(old, curve, _Straight().level_at(TONES), curve)
    through = _error(old, curve, curve.level_at(TONES), curve)
    folder.keep(File.TONES_PLOT, plot_errors(
        TONES, [("without a curve", straight), ("through the curve", through)],
        "Kallitype: how far the print lands from its aim"))
    errors = {road: _error(new, renewed, made.level_at(TONES),
                           renewed if road is Road.OLD else made)
              for road, made in roads.items()}
    folder.keep(File.NEW_TONES_PLOT, plot_errors(
        TONES, errors.items(), "Cyanotype: four ways to a curve"))
    return Outcome(
        folder=str(folder.path), process=process, true_base_time=old.materials.base_time,
        curve=curve, renewed=renewed, without_curve=_distance(straight),
        through_curve=_distance(through), pale=pale, good=good, drift=drift,
        refined=_distance(_error(old, curve, refined.level_at(TONES), refined)),
        roads={road: _distance(error) for road, error in errors.items()},
        moved=movement(curve, renewed), files=(*(file.value for file in File),
               *(f"{YEAR}/{month}.{CHECKED}" for month in MONTHS)))


def _error(room: PrintRoom, printed_for: Curve, level: Array, aim_of: Curve) -> Array:
    """Print lightness less aim (L*) at each of TONES, printed for the time of a curve."""
    seconds = _time_of(printed_for).value
    return np.asarray(room.materials.print_lightness(level, seconds)
                      - aim_of.print_lightness_at(TONES))


def _distance(error: Array) -> float:
    """Root mean square, to 0.01."""
    return round(float(np.sqrt(np.mean(error**2))), 2)


def _time_of(curve: Curve) -> PrintingTime:
    """What the timer is set to for a curve."""
    assert curve.recipe is not None
    return curve.recipe.printing_time
