"""Curves and checked prints of the virtual darkroom, some with one thing gone wrong."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from tonewright import scales
from tonewright.check.aims import printed_tones
from tonewright.check.make import PrintRequest, check_print
from tonewright.curve.aim import Aim
from tonewright.curve.derive import make_derived_curve
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.curve.prints import make_recipe
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_strip, measure_target

TABLET = nominal_tablet("31")
ROOM = Darkroom()
FINE = Flaws(noise_density_sd=0.005, states_sd=True)


def rebuilt(process):
    """A process evaluated again from the strip it carries."""
    return make_process(process.strip, process.tablet, process.setup, process.name,
                        process.settings)


@cache
def curve_of(room=ROOM, strip=True, levels=26, seed=3):
    """For the base printing time of a room."""
    time = PrintingTime(float(round(room.base_time)))
    room = replace(room, printing_time=time.value)
    readings = measure_target(room, np.linspace(0, 1, levels), flaws=FINE, seed=seed).readings
    if not strip:
        return make_curve(readings, Settings(Aim()), Setup(paper="cotton"), "plain")
    read = measure_strip(room, TABLET.density, time.value, flaws=FINE, seed=seed + 1)
    patches = tuple(StripPatch(int(s), float(d), None, "film", time, None)
                    for s, d in zip(read.step, read.density_film, strict=True))
    process = make_process(Strip(patches, "visual-density", ()), TABLET, Setup(paper="cotton"), "p")
    recipe = make_recipe(process, readings, time, time)
    return make_derived_curve(recipe, Settings(Aim()), Setup(paper="cotton"), "kallitype")


def gone_wrong(room=ROOM, stops=0.0, fog=0.0, black=0.0, ink=0.0):
    """The room with another exposure (stops), white down or black up (L*), or a denser ink (a
    share)."""
    process, seconds = room.process, float(round(room.base_time))
    white, dark = (float(scales.density_to_lightness(d)) for d in
                   (process.white_density, process.black_density))
    process = replace(process, white_density=float(scales.lightness_to_density(white - fog)),
                      black_density=float(scales.lightness_to_density(dark + black)))
    bad = replace(room, process=process, printing_time=seconds * 2.0**stops,
                  ink=replace(room.ink, max_density=room.ink.max_density * (1.0 + ink)))
    # what a sheet gets of light does not hang on how it answers
    bad.__dict__["base_log_exposure"] = room.base_log_exposure
    return bad


def tones_of(curve, room, *, count=11, sheets=1, flaws=FINE, seed=9, change=lambda patch: patch):
    """A print of even tones through the curve, in a row."""
    image = np.linspace(0.0, 100.0, count)
    found = measure_target(room, curve.level_at(image), flaws=flaws, sheets=sheets,
                           seed=seed).readings
    patches = tuple(change(replace(p, patch=f"A{i % count + 1}"))
                    for i, p in enumerate(found.patches))
    return printed_tones(curve, replace(found, patches=patches),
                         np.tile(curve.print_lightness_at(image), sheets))


def checked(curve, tones, **more):
    return check_print(PrintRequest(curve, "ab" * 32, "march", tones, **more))
