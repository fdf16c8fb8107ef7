"""Negatives of pictures, and what their prints will look like."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, cast

from tonewright.bench.tasks.views import View, view
from tonewright.errors import OptionError
from tonewright.files.negative.batch import Batch, Step, make_negatives
from tonewright.files.negative.make import NegativeReport
from tonewright.files.negative.settings import NegativeSettings
from tonewright.files.preview import Preview, preview_negative
from tonewright.files.proof import ProofSettings, make_proofs
from tonewright.files.raster.source import OpenOptions
from tonewright.files.safe import scratch
from tonewright.negative.film import parse_film
from tonewright.negative.sheet import Border, SheetSettings
from tonewright.negative.size import SizeWish, parse_length, parse_margin, parse_ppi
from tonewright.show import commands
from tonewright.show.advice import Advice
from tonewright.show.negative_text import film_facts, how_to_print, negative_facts, print_words
from tonewright.show.words import Fact

T = TypeVar("T")
IN_ALL = 1000
"""Parts of the work that one picture is, as progress is told."""


@dataclass(frozen=True)
class MadeNegatives:
    """What became of the pictures; of each its name."""

    views: tuple[tuple[str, View], ...]
    """What is said of the negatives, of their films first."""
    files: tuple[tuple[str, Path], ...]
    """What was written."""
    failures: tuple[tuple[str, str], ...]
    """Why a picture could not be used."""
    how_to_print: str
    command: str


def proof(asked: commands.Negative) -> Preview | None:
    """What the print of the first picture will look like; nothing stays in the folder."""
    with scratch() as folder:
        made = folder / "proof.png"
        make_proofs(asked.images[:1], [asked.curve], made, ProofSettings(
            encoding=asked.encoding or None, image=OpenOptions(flatten=asked.flatten)))
        return preview_negative(made)


def sheet(asked: commands.Negative) -> Preview | None:
    """The sheet of the first picture, or its film, as it would be; nothing stays in the folder."""
    with scratch() as folder:
        made = folder / "sheet.tif"
        images = asked.images if asked.film else asked.images[:1]
        batch = make_negatives(images, asked.curve, made, _settings(asked))
        return preview_negative(batch.reports[0].output)


def make(asked: commands.Negative, progress: Callable[[int, int], None]) -> MadeNegatives:
    """Write the negatives."""
    def tell(step: Step) -> None:
        progress(round(IN_ALL * (step.number - 1 + step.share)), IN_ALL * step.of)

    batch = make_negatives(asked.images, asked.curve, asked.output, _settings(asked), tell)
    return _made(batch, str(asked))


def _settings(asked: commands.Negative) -> NegativeSettings:
    """As the library takes them; `OptionError` for a size that is none."""
    width = _parsed(parse_length, asked.width, "width")
    ppi = _parsed(parse_ppi, asked.ppi, "resolution")
    height = _parsed(parse_length, asked.height, "height")
    border = cast("Border | None", asked.border or None)
    return NegativeSettings(
        encoding=asked.encoding or None, image=OpenOptions(flatten=asked.flatten),
        mirror=not asked.no_mirror, depth=8 if asked.depth == "8" else 16,
        film=_parsed(parse_film, asked.film, "film"),
        size=SizeWish(width, height, ppi, int(asked.rotate or 0)),
        sheet=SheetSettings(_parsed(parse_margin, asked.margin, "margin"), border,
                            asked.marks or None, asked.tone_scale or None, asked.caption or None))


def _parsed(parse: Callable[[str, str], T], text: str, what: str) -> T | None:
    """What was typed; the code of an error says into which field."""
    if not text:
        return None
    try:
        return parse(text, f"the {what}")
    except OptionError as error:
        raise OptionError(error.given, error.rule, error.way_out, code=f"negative_{what}"
                          ) from error


def _made(batch: Batch[NegativeReport], command: str) -> MadeNegatives:
    def said(facts: list[Fact], report: NegativeReport) -> View:
        return view(facts, report.curve_findings, Advice(print_words(report), exposes=True))

    films = tuple((film.output.name, said(film_facts(film), batch.reports[0]))
                  for film in batch.films)
    negatives = tuple((report.source.name, said(negative_facts(report), report))
                      for report in batch.reports)
    return MadeNegatives(
        films + negatives,
        tuple((report.source.name, report.output) for report in batch.reports),
        tuple((failure.source.name, failure.error.sentences()) for failure in batch.failures),
        how_to_print(batch) if batch.reports else "", command)
