"""Charts of inks printed in the virtual darkroom, for the tests of `inks`; all invented."""

from __future__ import annotations

from rooms import ColouredInks, measure_chart
from tonewright.inks.chart import ChartPatch, ChartReadings, chart_tones, usual_colours
from tonewright.measured.readings import Readings
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.strip.fit import make_process
from tonewright.strip.process import Process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.target.document import Target
from tonewright.target.layout import LayoutSettings, make_target
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_strip

TABLET = nominal_tablet("31")


def chart_target(levels=(1.0, 0.5), repeats: int = 2, colours=None) -> Target:
    """A chart of the usual colours."""
    tones = chart_tones(colours or usual_colours(), levels)
    return make_target(tones, LayoutSettings("inks", repeats=repeats, ppi=100.0))


def process_of(room: Darkroom, seed: int = 0, noise: float = 0.01) -> Process:
    """The process response as a strip printed a third of a stop long shows it."""
    seconds = float(round(1.25 * room.base_time))
    read = measure_strip(room, TABLET.density, seconds, flaws=Flaws(noise), seed=seed)
    patches = tuple(
        StripPatch(int(s), float(d), None, half, PrintingTime(seconds), None)
        for half, density in (("film", read.density_film), ("bare", read.density_bare))
        for s, d in zip(read.step, density, strict=True))
    return make_process(Strip(patches, "visual-density", ()), TABLET, Setup(), "invented")


def as_chart(target: Target, readings: Readings) -> ChartReadings:
    """What `chart_readings` makes of a file of these readings."""
    patches = tuple(
        ChartPatch(r.patch, target.colour_of(p) if p.level else None, p.level, r.density)
        for p, r in zip(target.patches, readings.patches, strict=True))
    return ChartReadings(patches, readings)


def printed(
    room: Darkroom, inks: ColouredInks, target: Target, stops: float = 0.0, seed: int = 0,
    noise: float = 0.01,
) -> ChartReadings:
    """The chart printed so many stops longer than the base printing time, and measured."""
    found = measure_chart(room, inks, target, room.base_time * 2.0**stops, flaws=Flaws(noise),
                          seed=seed)
    return as_chart(target, found.readings)
