"""A target as it is asked for: a preview, and the files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tonewright.bench.tasks.views import View, view
from tonewright.files.documents import read_process
from tonewright.files.preview import Preview, preview_negative
from tonewright.files.safe import scratch
from tonewright.files.targets import ChartRequest, DrawnTarget, TargetRequest, draw_target
from tonewright.record.setup import ink_colour_text, parse_colour
from tonewright.show import commands
from tonewright.show.target_text import strip_time_fact, target_advice, target_facts
from tonewright.target.layout import USUAL_REPEATS, LayoutSettings, sheet_size


def try_target(
    asked: commands.Target, strip: Path | None = None
) -> tuple[View, Preview | None, float]:
    """What the target would be, its picture, and its width in millimetres; nothing is left in
    the folder.  ``strip`` is the process document that tells how long to print it."""
    with scratch() as folder:
        drawn = _drawn(asked, folder / "target.tif")
        picture = preview_negative(drawn.files.picture)
    named = replace(drawn, files=drawn.files._replace(picture=asked.output))
    return _view(named, strip), picture, drawn.target.width_mm


def keep_target(asked: commands.Target, strip: Path | None = None) -> View:
    """Write the negative of the target, its layout and its empty table."""
    return _view(_drawn(asked, asked.output), strip, str(asked))


def _drawn(asked: commands.Target, output: Path) -> DrawnTarget:
    width, height = sheet_size(None, asked.paper_size, landscape=asked.landscape)
    request = TargetRequest(asked.levels, through=asked.through,
                            chart=ChartRequest(
        tuple(map(parse_colour, asked.chart_colour))) if asked.ink_colours else None)
    colour = ink_colour_text(parse_colour(asked.ink_colour)) if asked.ink_colour else None
    return draw_target(output, request, LayoutSettings(
        name=asked.name, width_mm=width, height_mm=height, ink_colour=colour,
        repeats=USUAL_REPEATS, mirrored=not asked.no_mirror))


def _view(drawn: DrawnTarget, strip: Path | None, command: str | None = None) -> View:
    facts = target_facts(drawn)
    if strip is not None and (time := strip_time_fact(read_process(strip))) is not None:
        facts.append(time)
    return view(facts, drawn.findings, target_advice(drawn), command=command)
