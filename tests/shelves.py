"""Documents of invented strips, checks and curves, as folders of them are tested."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tonewright.check.document import Cause, Check, Checked, CheckedTone
from tonewright.curve.aim import Aim
from tonewright.curve.document import Curve, Settings, make_correction
from tonewright.curve.make import make_curve
from tonewright.curve.responses import PrintResponse
from tonewright.files.documents import read_curve, write_document
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime, TimeUnit
from tonewright.scales import STOP
from tonewright.strip.fit import make_process
from tonewright.strip.process import Process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_strip, measure_target

TODAY = date(2026, 11, 1)
FIRST = date(2026, 1, 4)
SETUP = Setup(paper="cotton (invented)", coating="kallitype", developer="sodium acetate",
              lamp="UV tubes", film="clear film")
CURVE = Path(__file__).parents[1] / "curves" / "kallitype.curve.json"
_TONES = tuple(CheckedTone(f"A{i}", None, 0.1 * i, 100.0 - 10.0 * i, 95.0 - 8.0 * i,
                           95.0 - 8.0 * i, 0.01, 0.7) for i in range(11))


def day(week: int) -> date:
    """So many weeks after the first print."""
    return FIRST + timedelta(7 * week)


def check(when: date | None, off: float = 0.0, **more: Any) -> Check:
    """The check of a good print, exposed by ``off`` stops too much."""
    said = None if when is None else when.isoformat()
    entries: dict[str, Any] = {
        "made_by": "tests", "name": f"check {said}", "setup": replace(SETUP, date=said),
        "date": said, "curve": Checked("kallitype", "ab" * 32),
        "printing_time": PrintingTime(480.0), "scale": "visual-density",
        "relative_to_paper": False, "tones": _TONES, "passes": True, "probability": 0.5,
        "difference_lightness_rms": 0.6, "difference_lightness_mean": 0.1,
        "worst_image_lightness": 50.0, "worst_difference_lightness": -1.0,
        "black_lightness": 18.0, "white_lightness": 93.0,
        "cause": Cause("none", None, None, None, None, None),
        "exposure_off_stops": round(off, 3), "exposure_off_stops_sd": 0.04, "next_time": None}
    return Check(**(entries | more))


@cache
def process(
    when: date | None, slower: float = 0.0, unit: TimeUnit = "s", seed: int = 0
) -> Process:
    """A strip's process; paper or lamp are slower by so many stops."""
    room, tablet = Darkroom(), nominal_tablet("21")
    time = float(round(room.base_time * 2**0.5))
    room = replace(room, process=replace(
        room.process, speed_exposure=room.process.speed_exposure + slower * STOP))
    read = measure_strip(room, tablet.density, time, seed=seed,
                         flaws=Flaws(noise_density_sd=0.01, speed_sd=0.01))
    patches = tuple(StripPatch(int(s), round(float(d), 3), None, "film", PrintingTime(time, unit),
                               None) for s, d in zip(read.step, read.density_film, strict=True))
    setup = replace(SETUP, date=None if when is None else when.isoformat())
    return make_process(Strip(patches, "visual-density", ()), tablet, setup, f"strip {when}")


def curve(name: str, when: date | None, **more: Any) -> Curve:
    """The example's curve under another name and date, with figures of its own."""
    setup = replace(SETUP, date=None if when is None else when.isoformat(),
                    printing_time="8 min")
    one = read_curve(CURVE)
    summary = replace(one.summary, negative_density_range=2.3, band_halfwidth_mean=0.8)
    return replace(one, **({"name": name, "setup": setup, "summary": summary} | more))


def drawn(name: str, power: float, time: str = "20 min", lamp: str = "UV tubes") -> Curve:
    """A curve by a formula instead of a fit: L* 18 to 92, known to 0.7."""
    level = np.linspace(0.0, 1.0, 201)
    light = 18.0 + 74.0 * level**power
    response = PrintResponse(level, light, *(light + off for off in (-0.7, 0.7, -2.0, 2.0)))
    summary = replace(read_curve(CURVE).summary, black_lightness=18.0, white_lightness=92.0,
                      level_black=0.0, level_white=1.0)
    one = curve(name, FIRST, summary=summary, response=response, recipe=None,
                readings=fitted("any", 1).readings,
                correction=make_correction(response, Aim(), (0.0, 1.0)))
    return replace(one, setup=replace(one.setup, printing_time=time, lamp=lamp))


@cache
def fitted(name: str, seed: int, slower: float = 0.0, noise: float = 0.01) -> Curve:
    """A curve fitted to a target of the virtual darkroom; slower paper prints it lighter."""
    room = Darkroom()
    room = replace(room, printing_time=room.base_time * 2.0**-slower)
    found = measure_target(room, np.linspace(0.0, 1.0, 21), seed=seed,
                           flaws=Flaws(noise_density_sd=noise)).readings
    return make_curve(found, Settings(Aim()), replace(SETUP, printing_time="20 min",
                                                      date="2026-03-01"), name)


def checks_over_time(
    folder: Path, weeks: int, drift_from: int | None = None, stops: float = 0.0, seed: int = 0
) -> None:
    """A check a week, scattering by a twentieth of a stop; from one on the process is slower."""
    rng = np.random.default_rng(seed)
    for week in range(weeks):
        slower = stops if drift_from is not None and week >= drift_from else 0.0
        one = check(day(week), -slower + float(rng.normal(0.0, 0.05)),
                    black_lightness=round(18.0 + float(rng.normal(0.0, 0.5)), 2),
                    white_lightness=round(93.0 + float(rng.normal(0.0, 0.3)), 2),
                    difference_lightness_mean=round(float(rng.normal(0.0, 0.6)), 3))
        write(folder, day(week), one)


def write(folder: Path, name: str, document: Process | Check | Curve) -> Path:
    """Write a document under its kind's ending."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind, ending in ((Process, "process"), (Check, "check"), (Curve, "curve")):
        if isinstance(document, kind):
            path = folder / f"{name}.{ending}.json"
            write_document(path, document)
            return path
    raise TypeError(type(document))
