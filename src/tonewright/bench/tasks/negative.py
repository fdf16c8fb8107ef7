"""Negatives of pictures, and what their prints will look like."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tonewright.bench.tasks.views import View, view
from tonewright.errors import TonewrightError
from tonewright.files.negative.batch import Batch, Step, make_negatives
from tonewright.files.negative.settings import NegativeSettings
from tonewright.files.preview import Preview, preview_negative, scratch
from tonewright.files.proof import make_proofs
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish, parse_length, parse_margin, parse_ppi
from tonewright.show.advice import Advice
from tonewright.show.commands import NegativeCommand
from tonewright.show.negative_text import negative_facts, print_words


@dataclass(frozen=True)
class AskedNegatives:
    """What stands in the fields of the page; paths count from the bench's folder."""

    images: tuple[Path, ...]
    curve: Path
    output: Path
    """The negative, or the folder for several."""
    width: str = ""
    ppi: str = ""
    margin: str = ""
    marks: bool = False
    tone_scale: bool = False
    caption: bool = False

    def settings(self) -> NegativeSettings:
        """As the library takes them; `OptionError` for a size that is none."""
        width = parse_length(self.width, "the width") if self.width else None
        ppi = parse_ppi(self.ppi, "the resolution") if self.ppi else None
        margin = parse_margin(self.margin, "the margin") if self.margin else None
        return NegativeSettings(size=SizeWish(width, None, ppi), sheet=SheetSettings(
            margin, None, self.marks or None, self.tone_scale or None, self.caption or None))

    def command(self) -> str:
        """The command that does the same."""
        return str(NegativeCommand(
            images=self.images, curve=self.curve, output=self.output, width=self.width or None,
            ppi=self.ppi or None, margin=self.margin or None,
            marks=self.marks, tone_scale=self.tone_scale, caption=self.caption))


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


def sheet(asked: AskedNegatives) -> Preview | None:
    """The sheet of the first picture as it would be; nothing stays in the folder."""
    with scratch() as folder:
        made = folder / "sheet.tif"
        make_negatives(asked.images[:1], asked.curve, made, asked.settings())
        return preview_negative(made)


def make(asked: AskedNegatives, progress: Callable[[int, int], None]) -> MadeNegatives:
    """Write the negatives."""
    def tell(step: Step) -> None:
        progress(round(1000 * (step.number - 1 + step.share)), 1000 * step.of)

    batch = make_negatives(asked.images, asked.curve, asked.output, asked.settings(), tell)
    return _made(batch, asked.command())


def _made(batch: Batch, command: str) -> MadeNegatives:
    views = []
    for report in batch.reports:
        views.append((report.output.name, view(
            negative_facts(report), report.curve_findings, Advice(print_words(report)),
            exposes=True, command=command)))
    return MadeNegatives(tuple(views), tuple(
        (failure.source.name, _said(failure.error)) for failure in batch.failures))


def _said(error: TonewrightError) -> str:
    return error.sentences()
