"""The whole job in the virtual darkroom: nothing is coated, exposed or spoiled.

A small print room prints kallitype on cotton paper, and later moves to cyanotype.  All of it is
invented.  Each step takes the road of a real job: readings in a file, a curve in a file, a
negative in a file; only the printing and the measuring are simulated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from tonewright import darkroom
from tonewright.aim import Aim
from tonewright.calibrate import make_curve
from tonewright.curve import Curve, Settings
from tonewright.files.documents import fingerprint, write_curve
from tonewright.files.negatives import NegativeSettings, make_negative
from tonewright.files.pictures import read_codes, write_picture
from tonewright.files.safe import make_folder, refuse_existing, write_bytes, write_text
from tonewright.files.tables import read_table
from tonewright.readings import Readings, readings_from_table
from tonewright.renew import movement, renew_from_readings
from tonewright.scales import Array
from tonewright.scene import scene
from tonewright.setup import Setup
from tonewright.show.plots import ToneError, plot_curve, plot_errors, plot_prints
from tonewright.show.rehearsal_text import Outcome, rehearsal_text

TONES = np.linspace(1.0, 99.0, 197)
"""Image lightness at which errors are counted: 1 % to 99 % of the tone scale."""
_INVENTED = "invented: made by the virtual darkroom of tonewright"
READINGS = "1-target-readings.csv"
CURVE = "2-kallitype.curve.json"
CURVE_PLOT = "2-kallitype-curve.png"
PICTURE = "3-picture.tif"
NEGATIVE = "4-negative.tif"
STRAIGHT_NEGATIVE = "4-negative-without-curve.tif"
PRINTS = "5-prints.png"
TONES_PLOT = "5-tones.png"
NEW_READINGS = "6-new-readings.csv"
NEW_CURVE = "7-cyanotype.curve.json"
NEW_CURVE_PLOT = "7-cyanotype-curve.png"
NEW_NEGATIVE = "8-renewed-negative.tif"
NEW_TONES_PLOT = "9-renewal-tones.png"
NEW_PRINTS = "9-renewal-prints.png"
GUIDE = "LOOK-HERE-FIRST.txt"
FILES = (
    READINGS, CURVE, CURVE_PLOT, PICTURE, NEGATIVE, STRAIGHT_NEGATIVE, PRINTS,
    TONES_PLOT, NEW_READINGS, NEW_CURVE, NEW_CURVE_PLOT, NEW_NEGATIVE, NEW_TONES_PLOT, NEW_PRINTS, GUIDE,
)

_KALLITYPE = Setup(
    paper="cotton, 300 g (invented)", coating="kallitype, one coat", developer="sodium acetate",
    lamp="UV tubes, 10 cm", film="clear inkjet film", printer="desk printer, best quality",
    ink="black only", date="2026-01-10", notes=_INVENTED)
_CYANOTYPE = {"coating": "cyanotype, one coat", "developer": "water", "date": "2026-02-07"}


@dataclass(frozen=True)
class RehearsalSettings:
    """How the rehearsal is done."""

    seed: int = 1
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
    curve = _calibrate(room)
    _print_picture(room, curve)
    renewed = _renew(room, curve)
    outcome = _judge(room, curve, renewed)
    write_text(room.path(GUIDE), rehearsal_text(outcome), force=settings.force)
    return outcome


def _calibrate(room: _Rehearsal) -> Curve:
    room.tell("printing a target and measuring it")
    readings = _measure(room, room.old, READINGS, room.settings.seed)
    room.tell("fitting the curve")
    setup = _KALLITYPE.with_changes({"printing_time": _minutes(room.old.base_time)})
    curve = make_curve(readings, Settings(Aim()), setup, "2-kallitype")
    write_curve(room.path(CURVE), curve, force=room.settings.force)
    write_bytes(room.path(CURVE_PLOT), plot_curve(curve), force=room.settings.force)
    return curve


def _measure(
    room: _Rehearsal, printed: darkroom.Darkroom, name: str, seed: int
) -> Readings:
    """Print and measure a target; the readings take the road through a file."""
    settings = room.settings
    levels = np.linspace(0.0, 1.0, settings.levels)
    flaws = darkroom.Flaws(noise_density_sd=0.02, uneven_exposure_sd=0.01, stains=1)
    target = darkroom.measure_target(
        printed, levels, repeats=settings.repeats, flaws=flaws, seed=seed)
    rows = [f"{p.patch},{p.level:.4f},{p.density:.3f}" for p in target.readings.patches]
    text = "\n".join([f"# {_INVENTED}", "patch,level,density", *rows]) + "\n"
    write_text(room.path(name), text, force=settings.force)
    return readings_from_table(read_table(room.path(name)))


def _print_picture(room: _Rehearsal, curve: Curve) -> None:
    room.tell("making the picture, its negative, and the prints")
    settings = room.settings
    codes = scene(settings.width, settings.height, settings.seed)
    write_picture(room.path(PICTURE), codes, 360, f"{_INVENTED}; even steps of L*",
                  force=settings.force)
    options = NegativeSettings(force=settings.force)
    make_negative(room.path(PICTURE), curve, room.path(NEGATIVE), options)
    make_negative(room.path(PICTURE), _Straight(), room.path(STRAIGHT_NEGATIVE), options)
    wanted = np.asarray(curve.print_lightness_at(codes / 655.35))
    write_bytes(room.path(PRINTS), plot_prints([
        ("what the print should look like", wanted),
        ("printed without a curve", _printed(room, room.old, STRAIGHT_NEGATIVE)),
        ("printed through the curve", _printed(room, room.old, NEGATIVE)),
    ]), force=settings.force)


def _printed(room: _Rehearsal, printed: darkroom.Darkroom, negative: str) -> Array:
    flaws = darkroom.Flaws(noise_density_sd=0.0, texture_density_sd=0.01,
                           uneven_exposure_sd=0.005)
    return darkroom.print_image(read_codes(room.path(negative)), printed, flaws=flaws,
                                seed=room.settings.seed)


def _renew(room: _Rehearsal, old: Curve) -> Curve:
    room.tell("changing to cyanotype, and renewing the curve")
    force = room.settings.force
    readings = _measure(room, room.new, NEW_READINGS, room.settings.seed + 1)
    changes = {**_CYANOTYPE, "printing_time": _minutes(room.new.base_time)}
    curve = renew_from_readings(old, fingerprint(room.path(CURVE)), readings, "7-cyanotype",
                                dict(changes))
    write_curve(room.path(NEW_CURVE), curve, force=force)
    write_bytes(room.path(NEW_CURVE_PLOT), plot_curve(curve), force=force)
    kept = _printed(room, room.new, NEGATIVE)
    make_negative(room.path(PICTURE), curve, room.path(NEW_NEGATIVE),
                  NegativeSettings(force=force))
    renewed = _printed(room, room.new, NEW_NEGATIVE)
    write_bytes(room.path(NEW_PRINTS), plot_prints([
        ("cyanotype with the old curve", kept), ("cyanotype with the renewed curve", renewed),
    ]), force=force)
    return curve


def _judge(room: _Rehearsal, curve: Curve, renewed: Curve) -> Outcome:
    """Distances from the aim, known exactly because the virtual darkroom knows its truth."""
    force = room.settings.force
    straight = _error(room.old, _Straight().level_at(TONES), curve)
    through = _error(room.old, curve.level_at(TONES), curve)
    write_bytes(room.path(TONES_PLOT), plot_errors([
        ToneError("without a curve", TONES, straight),
        ToneError("through the curve", TONES, through),
    ], "Kallitype: how far the print lands from its aim"), force=force)
    kept = _error(room.new, curve.level_at(TONES), renewed)
    fresh = _error(room.new, renewed.level_at(TONES), renewed)
    write_bytes(room.path(NEW_TONES_PLOT), plot_errors([
        ToneError("old curve kept", TONES, kept), ToneError("renewed curve", TONES, fresh),
    ], "Cyanotype: the old curve and the renewed one"), force=force)
    return Outcome(
        folder=str(room.folder), curve=curve, renewed=renewed,
        without_curve=_rms(straight), through_curve=_rms(through), old_curve_kept=_rms(kept),
        renewed_curve=_rms(fresh), moved=movement(curve, renewed), files=FILES)


def _error(printed: darkroom.Darkroom, level: Array, aim_of: Curve) -> Array:
    """Print lightness less aim (L*) at each of TONES."""
    return np.asarray(printed.print_lightness(level) - aim_of.print_lightness_at(TONES))


def _rms(error: Array) -> float:
    return round(float(np.sqrt(np.mean(error**2))), 2)


def _minutes(seconds: float) -> str:
    return f"{seconds / 60.0:.1f} min"
