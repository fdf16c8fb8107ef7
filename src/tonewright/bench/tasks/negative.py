"""Negatives of pictures, and what their prints will look like."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tonewright.bench.tasks.views import View, view
from tonewright.files.negative.batch import Batch, Step, make_negatives
from tonewright.files.negative.settings import NegativeSettings
from tonewright.files.preview import Preview, preview_negative
from tonewright.files.proof import make_proofs
from tonewright.files.safe import scratch
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish, parse_length, parse_margin, parse_ppi
from tonewright.show.advice import Advice
from tonewright.show.commands import NegativeCommand
from tonewright.show.negative_text import negative_facts, print_words


@dataclass(frozen=True)
class MadeNegatives:
    """What became of the pictures."""

    views: tuple[tuple[str, View], ...]
    """Name of each negative, and what is said of it."""
    failures: tuple[tuple[str, str], ...]
    """Name of a picture, and why it could not be used."""


def proof(image: Path, curve: Path) -> Preview | None:
    """What the print of a picture will look like; nothing stays in the folder."""
    with scratch() as folder:
        made = folder / "proof.png"
        make_proofs([image], [curve], made)
        return preview_negative(made)


def sheet(asked: NegativeCommand) -> Preview | None:
    """The sheet of the first picture as it would be; nothing stays in the folder."""
    with scratch() as folder:
        made = folder / "sheet.tif"
        make_negatives(asked.images[:1], asked.curve, made, _settings(asked))
        return preview_negative(made)


def make(asked: NegativeCommand, progress: Callable[[int, int], None]) -> MadeNegatives:
    """Write the negatives."""
    def tell(step: Step) -> None:
        progress(round(1000 * (step.number - 1 + step.share)), 1000 * step.of)

    batch = make_negatives(asked.images, asked.curve, asked.output, _settings(asked), tell)
    return _made(batch, str(asked))


def _settings(asked: NegativeCommand) -> NegativeSettings:
    """As the library takes them; `OptionError` for a size that is none."""
    width = parse_length(asked.width, "the width") if asked.width else None
    ppi = parse_ppi(asked.ppi, "the resolution") if asked.ppi else None
    margin = parse_margin(asked.margin, "the margin") if asked.margin else None
    return NegativeSettings(size=SizeWish(width, None, ppi), sheet=SheetSettings(
        margin, None, asked.marks or None, asked.tone_scale or None, asked.caption or None))


def _made(batch: Batch, command: str) -> MadeNegatives:
    return MadeNegatives(
        tuple((report.output.name, view(
            negative_facts(report), report.curve_findings,
            Advice(print_words(report), exposes=True), command=command))
            for report in batch.reports),
        tuple((failure.source.name, failure.error.sentences()) for failure in batch.failures))
