"""A target as it is asked for: a preview, and the files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tonewright.bench.tasks.views import View, view
from tonewright.files.preview import Preview, preview_negative, scratch
from tonewright.files.targets import DrawnTarget, TargetRequest, draw_target
from tonewright.show.commands import TargetCommand
from tonewright.show.target_text import target_advice, target_facts
from tonewright.target.layout import DEFAULT_PAPER, USUAL_REPEATS, LayoutSettings, sheet_size


@dataclass(frozen=True)
class AskedTarget:
    """What stands in the fields of the page."""

    name: str
    levels: int | None = None
    """How many; None: the usual number."""
    paper_size: str = DEFAULT_PAPER
    landscape: bool = False
    through: Path | None = None
    """A curve: even steps of tone through it, to check it or to be surer of it."""


def try_target(asked: AskedTarget) -> tuple[View, Preview | None, float]:
    """What the target would be, its picture, and its width in millimetres; nothing is left in
    the folder."""
    with scratch() as folder:
        drawn = _drawn(asked, folder / "target.tif")
        picture = preview_negative(drawn.files.picture)
    return _view(drawn), picture, drawn.target.width_mm


def keep_target(asked: AskedTarget, output: Path) -> View:
    """Write the negative of the target, its layout and its empty table."""
    return _view(_drawn(asked, output), str(TargetCommand(
        output=output, levels=asked.levels, paper_size=asked.paper_size,
        landscape=asked.landscape, through=asked.through, name=asked.name)))


def _drawn(asked: AskedTarget, output: Path) -> DrawnTarget:
    width, height = sheet_size(None, asked.paper_size, landscape=asked.landscape)
    return draw_target(output, TargetRequest(asked.levels, through=asked.through), LayoutSettings(
        name=asked.name, width_mm=width, height_mm=height, repeats=USUAL_REPEATS))


def _view(drawn: DrawnTarget, command: str | None = None) -> View:
    return view(target_facts(drawn), drawn.findings, target_advice(drawn), exposes=True,
                command=command)
