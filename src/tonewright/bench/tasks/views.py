"""What a page shows of something that was found: texts and a picture, nothing to be decided."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.show.advice import Advice, untyped
from tonewright.show.findings import sentence

if TYPE_CHECKING:
    from tonewright.files.raster.scans import Channel


@dataclass(frozen=True)
class View:
    """Sentences and figures of one result, as the library says them."""

    facts: tuple[tuple[str, str], ...]
    """Label and text."""
    doubts: tuple[tuple[str, str], ...]
    """Kind (warning or note) and sentence."""
    next: str
    result: str | None = None
    """The one figure of the page; None where it is not known."""
    label: str = ""
    """Names that figure."""
    chart: dict[str, Any] | None = None
    axis: tuple[float | None, float] = (None, 0.0)
    """Of a strip's picture: the film's density, and where 0 stops is from the longest time."""
    aside: tuple[int, ...] = ()
    """Steps that were set aside."""
    exposes: bool = False
    """Whether the next step is to coat, mix or expose, and the cautions go with it."""
    command: str | None = None
    """The command that does the same."""


def four_places(numbers: tuple[float, ...] | None) -> Array | None:
    """Eight pixel numbers as x and y of four places, shape (4, 2)."""
    return None if numbers is None else np.reshape(numbers, (4, 2))


def channel_of(chosen: str) -> Channel | None:
    """What is read of a colour scan; None: its luminance."""
    return cast("Channel | None", chosen or None)


def view(
    facts: Iterable[tuple[str, str]], findings: Sequence[Finding], advice: Advice, **more: Any,
) -> View:
    """A result as a page shows it."""
    return View(tuple((label, untyped(text)) for label, text in facts),
                tuple((f.kind, untyped(sentence(f))) for f in findings), untyped(advice.words),
                exposes=advice.exposes, **more)
