"""The whole job in the virtual darkroom: nothing is coated, exposed or spoiled.

A small print room prints kallitype on cotton paper, and later moves to cyanotype.  All of it is
invented.  Each step takes the road of a real job: readings in a file, a curve in a file, a
negative in a file; only the printing and the measuring are simulated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from tonewright.curve.document import Curve, make_name
from tonewright.curve.make import FitRequest, fit_curve
from tonewright.curve.renew import RenewRequest, movement, renew_curve
from tonewright.files.documents import open_curve, write_curve, write_process
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.raster.icc import lightness_profile
from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.safe import make_folder, refuse_existing, write_bytes, write_text
from tonewright.files.tables import read_table
from tonewright.measured.readings import Readings, readings_from_table
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.rehearsal.scan import ScanNames, ScanRoad, target_by_scan
from tonewright.scales import Array
from tonewright.show.plots import ToneError, plot_curve, plot_errors, plot_prints, plot_process
from tonewright.show.rehearsal_text import (
    KEPT_ROAD,
    PATCHES_ROAD,
    STRIP_ROAD,
    Outcome,
    rehearsal_text,
)
from tonewright.strip.fit import make_process
from tonewright.strip.process import Process
from tonewright.strip.readings import StripOptions, strip_from_table
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual import darkroom
from tonewright.virtual.scene import scene

TONES = np.linspace(1.0, 99.0, 197)
"""Image lightness at which errors are counted: 1 % to 99 % of the tone scale."""
GUESS = 1.3
"""The first guess of the printing time, over the true one."""
NOISE = 0.02
"""Of the instrument, density."""
_INVENTED = "invented: made by the virtual darkroom of tonewright"
STRIP = "1-strip-readings.csv"
PROCESS = "1-kallitype.process.json"
STRIP_PLOT = "1-strip.png"
TARGET = "2-target.tif"
TARGET_LAYOUT = "2-target.target.json"
SCALE_SCAN = "2-gray-scale-scan.tif"
SCANNER = "2-desk.scanner.json"
SCAN = "2-target-scan.tif"
OVERLAY = "2-target-overlay.png"
READINGS = "2-target-readings.csv"
CURVE = "3-kallitype.curve.json"
CURVE_PLOT = "3-kallitype-curve.png"
PICTURE = "4-picture.tif"
NEGATIVE = "5-negative.tif"
STRAIGHT_NEGATIVE = "5-negative-without-curve.tif"
PRINTS = "6-prints.png"
TONES_PLOT = "6-tones.png"
NEW_STRIP = "7-new-strip-readings.csv"
NEW_PROCESS = "7-cyanotype.process.json"
NEW_CURVE = "8-cyanotype.curve.json"
NEW_CURVE_PLOT = "8-cyanotype-curve.png"
FEW_READINGS = "9-seven-patches.csv"
FEW_CURVE = "9-cyanotype-surer.curve.json"
FRESH_READINGS = "10-whole-new-target.csv"
FRESH_CURVE = "10-cyanotype-fresh.curve.json"
NEW_NEGATIVE = "11-renewed-negative.tif"
NEW_TONES_PLOT = "11-roads.png"
NEW_PRINTS = "11-prints.png"
GUIDE = "LOOK-HERE-FIRST.txt"
FILES = (
    STRIP, PROCESS, STRIP_PLOT, TARGET, TARGET_LAYOUT, SCALE_SCAN, SCANNER, SCAN,
    OVERLAY, READINGS, CURVE, CURVE_PLOT, PICTURE, NEGATIVE,
    STRAIGHT_NEGATIVE, PRINTS, TONES_PLOT, NEW_STRIP, NEW_PROCESS, NEW_CURVE, NEW_CURVE_PLOT,
    FEW_READINGS, FEW_CURVE, FRESH_READINGS, FRESH_CURVE, NEW_NEGATIVE, NEW_TONES_PLOT,
    NEW_PRINTS, GUIDE,
)

_KALLITYPE = Setup(
    paper="cotton, 300 g (invented)", coating="kallitype, one coat", developer="sodium acetate",
    lamp="UV tubes, 10 cm", film="clear inkjet film", printer="desk printer, best quality",
    ink="black only", date="2026-01-10", notes=_INVENTED)
_CYANOTYPE = {"coating": "cyanotype, one coat", "developer": "water", "date": "2026-02-07"}


@dataclass(frozen=True)
class RehearsalSettings:
    """How the rehearsal is done."""

    seed: int = 2
    levels: int = 31
    repeats: int = 2
    width: int = 1200
    height: int = 900
    force: bool = False


@dataclass(eq=False)
class _Rehearsal:
    """Where things go, and what the virtual darkroom holds."""

    folder: Path
    settings: RehearsalSettings
    tell: Callable[[str], None]
    old: darkroom.Darkroom = field(default_factory=lambda: darkroom.Darkroom(
        darkroom.DEMO_INK, darkroom.KALLITYPE))
    new: darkroom.Darkroom = field(default_factory=lambda: darkroom.Darkroom(
        darkroom.DEMO_INK, darkroom.CYANOTYPE))

    def path(self, name: str) -> Path:
        return self.folder / name


@dataclass(frozen=True)
class _Straight:
    """A negative without calibration: ink in proportion to the picture's lightness."""

    name: str = "no curve"

    def level_at(self, image_lightness: ArrayLike) -> Array:
        return np.asarray(image_lightness, dtype=np.float64) / 100.0


def rehearse(
    folder: Path, settings: RehearsalSettings | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> Outcome:
    """Run the whole job and leave everything in ``folder``.

    Parameters
    ----------
    folder:
        Made if it is not there.
    tell:
        Called with a line before each step.

    Raises
    ------
    FileError
        A file of the rehearsal exists and ``settings.force`` is not set, or cannot be written.
    """
    settings = settings or RehearsalSettings()
    make_folder(folder)
    for name in FILES:
        refuse_existing(folder / name, settings.force)
    room = _Rehearsal(folder, settings, tell)
    process, curve = _calibrate(room)
    _print_picture(room, curve)
    roads = _renew(room, curve)
    outcome = _judge(room, process, curve, roads)
    write_text(room.path(GUIDE), rehearsal_text(outcome), force=settings.force)
    return outcome


def _calibrate(room: _Rehearsal) -> tuple[Process, Curve]:
    """One coated sheet: a step tablet and a target side by side, at one guessed time."""
    settings, old = room.settings, room.old
    guess = PrintingTime(old.base_time * GUESS).on_timer()
    room.tell("printing a step tablet and a target on one sheet, at a guessed time")
    process = _strip(room, old, guess, (STRIP, PROCESS), _KALLITYPE)
    write_bytes(room.path(STRIP_PLOT), plot_process(process), force=settings.force)
    room.tell("scanning the target and reading the scan")
    road = ScanRoad(
        room.folder, ScanNames(TARGET, SCALE_SCAN, SCANNER, SCAN, OVERLAY, READINGS),
        settings.levels, settings.repeats, settings.seed, settings.force)
    readings = target_by_scan(road, replace(old, printing_time=guess.value), "kallitype, cotton")
    room.tell("working out the curve for the base printing time")
    curve = fit_curve(FitRequest(_called(CURVE), readings, process=process, target_time=guess))
    _keep(room, curve, CURVE)
    write_bytes(room.path(CURVE_PLOT), plot_curve(curve), force=settings.force)
    return process, curve


def _strip(
    room: _Rehearsal, printed: darkroom.Darkroom, time: PrintingTime, names: tuple[str, str],
    setup: Setup,
) -> Process:
    """Print and measure a tablet of 31 steps; the readings take the road through a file."""
    tablet = nominal_tablet("31")
    flaws = darkroom.Flaws(noise_density_sd=NOISE, uneven_exposure_sd=0.005)
    read = darkroom.measure_strip(printed, tablet.density, time.value, flaws=flaws,
                                  seed=room.settings.seed + 7)
    rows = [f"{step},{density:.3f},{half},{time.value:g}s"
            for half, column in (("film", read.density_film), ("bare", read.density_bare))
            for step, density in zip(read.step, column, strict=True)]
    text = "\n".join([f"# {_INVENTED}", "step,density,through,time", *rows]) + "\n"
    write_text(room.path(names[0]), text, force=room.settings.force)
    strip = strip_from_table(read_table(room.path(names[0]), "step"), tablet, StripOptions())
    process = make_process(strip, tablet, setup, _called(names[1]))
    write_process(room.path(names[1]), process, force=room.settings.force)
    return process


def _target(
    room: _Rehearsal, printed: darkroom.Darkroom, time: PrintingTime, name: str,
    what: tuple[Array, int, int],
) -> Readings:
    """Print and measure levels, so many times each, with so many stains, through a file."""
    levels, repeats, stains = what
    flaws = darkroom.Flaws(noise_density_sd=NOISE, uneven_exposure_sd=0.005, stains=stains)
    target = darkroom.measure_target(
        replace(printed, printing_time=time.value), levels, repeats=repeats, flaws=flaws,
        seed=room.settings.seed + len(levels))
    rows = [f"{p.patch},{p.level:.4f},{p.density:.3f}" for p in target.readings.patches]
    text = "\n".join([f"# {_INVENTED}", "patch,level,density", *rows]) + "\n"
    write_text(room.path(name), text, force=room.settings.force)
    return readings_from_table(read_table(room.path(name)))


def _called(file_name: str) -> str:
    """``3-kallitype.curve.json`` is called kallitype."""
    return make_name(file_name).partition("-")[2]


def _keep(room: _Rehearsal, curve: Curve, name: str) -> None:
    write_curve(room.path(name), curve, force=room.settings.force)


def _print_picture(room: _Rehearsal, curve: Curve) -> None:
    room.tell("making the picture, its negative, and the prints")
    settings = room.settings
    codes = scene(settings.width, settings.height, settings.seed)
    write_picture(room.path(PICTURE), codes, 360, description=f"{_INVENTED}; even steps of L*",
                  profile=lightness_profile(), force=settings.force)
    options = NegativeSettings(force=settings.force)
    make_negative(room.path(PICTURE), curve, room.path(NEGATIVE), options)
    make_negative(room.path(PICTURE), _Straight(), room.path(STRAIGHT_NEGATIVE), options)
    wanted = np.asarray(curve.print_lightness_at(codes / 655.35))
    at_its_time = _timed(room.old, curve)
    write_bytes(room.path(PRINTS), plot_prints([
        ("what the print should look like", wanted),
        ("printed without a curve", _printed(room, at_its_time, STRAIGHT_NEGATIVE)),
        ("printed through the curve", _printed(room, at_its_time, NEGATIVE)),
    ]), force=settings.force)


def _printed(room: _Rehearsal, printed: darkroom.Darkroom, negative: str) -> Array:
    """A print with the paper's grain."""
    flaws = darkroom.Flaws(noise_density_sd=0.0, texture_density_sd=0.01,
                           uneven_exposure_sd=0.005)
    return darkroom.print_image(read_codes(room.path(negative)), printed, flaws=flaws,
                                seed=room.settings.seed)


def _renew(room: _Rehearsal, old: Curve) -> dict[str, Curve]:
    """Cyanotype: by a strip alone, by a strip and seven patches, by a whole new target."""
    room.tell("changing to cyanotype: a strip, and the curve renewed without a new negative")
    new = room.new
    before = RenewRequest(old, open_curve(room.path(CURVE)).sha256, _called(NEW_CURVE))
    guess = PrintingTime(new.base_time * 1.25).on_timer()
    setup = _KALLITYPE.with_changes(dict(_CYANOTYPE))
    process = _strip(room, new, guess, (NEW_STRIP, NEW_PROCESS), setup)
    by_strip = renew_curve(replace(before, process=process)).curve
    _keep(room, by_strip, NEW_CURVE)
    write_bytes(room.path(NEW_CURVE_PLOT), plot_curve(by_strip), force=room.settings.force)
    base = process.base_time
    few = _target(room, new, base, FEW_READINGS, (np.linspace(0.1, 0.9, 7), 1, 0))
    surer = renew_curve(replace(before, name=_called(FEW_CURVE), process=process,
                                readings=few)).curve
    _keep(room, surer, FEW_CURVE)
    levels = np.linspace(0.0, 1.0, room.settings.levels)
    whole = _target(room, new, base, FRESH_READINGS, (levels, room.settings.repeats, 0))
    fresh = renew_curve(replace(
        before, name=_called(FRESH_CURVE), readings=whole,
        changes=Setup(**_CYANOTYPE, printing_time=process.spoken(base)))).curve
    _keep(room, fresh, FRESH_CURVE)
    _print_renewed(room, by_strip)
    return {KEPT_ROAD: old, STRIP_ROAD: by_strip, PATCHES_ROAD: surer,
            "whole new target": fresh}


def _print_renewed(room: _Rehearsal, curve: Curve) -> None:
    force = room.settings.force
    make_negative(room.path(PICTURE), curve, room.path(NEW_NEGATIVE),
                  NegativeSettings(force=force))
    write_bytes(room.path(NEW_PRINTS), plot_prints([
        ("cyanotype with the old curve", _printed(room, _timed(room.new, curve), NEGATIVE)),
        ("cyanotype, renewed by a strip", _printed(room, _timed(room.new, curve), NEW_NEGATIVE)),
    ]), force=force)


def _judge(
    room: _Rehearsal, process: Process, curve: Curve, roads: dict[str, Curve]
) -> Outcome:
    """Distances from the aim, known exactly because the virtual darkroom knows its truth."""
    force = room.settings.force
    old = _timed(room.old, curve)
    straight = _error(old, _Straight().level_at(TONES), curve)
    through = _error(old, curve.level_at(TONES), curve)
    write_bytes(room.path(TONES_PLOT), plot_errors([
        ToneError("without a curve", TONES, straight),
        ToneError("through the curve", TONES, through),
    ], "Kallitype: how far the print lands from its aim"), force=force)
    by_strip = roads[STRIP_ROAD]
    new = _timed(room.new, by_strip)
    errors = {name: _error(new, road.level_at(TONES),
                           by_strip if name == KEPT_ROAD else road)
              for name, road in roads.items()}
    write_bytes(room.path(NEW_TONES_PLOT), plot_errors(
        [ToneError(name, TONES, error) for name, error in errors.items()],
        "Cyanotype: four roads to a curve"), force=force)
    return Outcome(
        folder=str(room.folder), process=process, true_base_time=room.old.base_time,
        curve=curve, renewed=by_strip, without_curve=_rms(straight),
        through_curve=_rms(through), roads={name: _rms(e) for name, e in errors.items()},
        moved=movement(curve, by_strip), files=FILES)


def _timed(printed: darkroom.Darkroom, curve: Curve) -> darkroom.Darkroom:
    """The darkroom with its timer set to what the curve is for."""
    assert curve.recipe is not None
    return replace(printed, printing_time=curve.recipe.printing_time.value)


def _error(printed: darkroom.Darkroom, level: Array, aim_of: Curve) -> Array:
    """Print lightness less aim (L*) at each of TONES."""
    return np.asarray(printed.print_lightness(level) - aim_of.print_lightness_at(TONES))


def _rms(error: Array) -> float:
    return round(float(np.sqrt(np.mean(error**2))), 2)
