"""Colours of ink ranked by a printed chart of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tonewright.bench.tasks.views import View, view
from tonewright.files.inks import InkFiles, rank_ink_files
from tonewright.inks.rank import InkSettings
from tonewright.record.setup import ink_colour_text
from tonewright.record.times import parse_time
from tonewright.show import commands
from tonewright.show.advice import untyped
from tonewright.show.inks_text import inks_advice, inks_doubts, inks_facts, inks_rows, why


@dataclass(frozen=True)
class InksView:
    """The ranking in words."""

    view: View
    """Its result is the colour to print in; None: no colour is enough."""
    rows: tuple[tuple[str, str, str, str], ...]
    """Colour, density at full ink, steepest rise, whether that is enough."""


def rank(asked: commands.Inks) -> InksView:
    """Rank the colours of a chart; nothing is written."""
    ranking = rank_ink_files(InkFiles(asked.readings, asked.process, asked.target), InkSettings(
        parse_time(asked.time) if asked.time else None, asked.range, asked.leave_out))
    pick = None if ranking.pick is None else ink_colour_text(ranking.pick.colour)
    found = view([*inks_facts(ranking), ("pick", why(ranking))], (), inks_advice(ranking),
                 result=pick, command=str(asked))
    said = tuple((kind, untyped(doubt)) for kind, doubt in inks_doubts(ranking))
    return InksView(replace(found, doubts=said), tuple(inks_rows(ranking)))
