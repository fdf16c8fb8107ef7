"""A print read from its scan, or from an instrument's list."""

from __future__ import annotations

from dataclasses import dataclass

from tonewright.bench.tasks.views import View, channel_of, four_places, view
from tonewright.errors import OptionError
from tonewright.files.safe import scratch, write_text
from tonewright.files.scan.overlay import LONGEST
from tonewright.files.scan.read import ReadRequest, ReadResult, read_print
from tonewright.scan.instrument import ListOrder
from tonewright.scan.read import ScanReading
from tonewright.show import commands
from tonewright.show.advice import untyped
from tonewright.show.findings import sentence
from tonewright.show.scan_text import reading_advice, reading_facts


@dataclass(frozen=True)
class ReadPatch:
    """A patch in the overlay: its place there in pixels, and what is to be said of it."""

    name: str
    corners: tuple[tuple[float, float], ...]
    said: str
    doubtful: bool
    out: bool = False
    """Whether it is left out of the curve."""


@dataclass(frozen=True)
class ReadingView:
    """What was read."""

    view: View
    patches: tuple[ReadPatch, ...] = ()


def read(asked: commands.Read) -> ReadingView:
    """Read the print, and write readings and overlay."""
    result = read_print(asked.source, asked.target, asked.output, _request(asked))
    return ReadingView(view(reading_facts(result), result.reading.findings,
                            reading_advice(result), command=str(asked)), _patches(result))


def _request(asked: commands.Read) -> ReadRequest:
    return ReadRequest(
        asked.scanner, asked.densities, dict(asked.known), corners=four_places(asked.corners),
        channel=channel_of(asked.channel), flat=asked.flat, overlay=asked.overlay,
        order=ListOrder(asked.order, asked.snake, asked.reverse),
        beside_corners=four_places(asked.gray_scale_corners))


def keep_list(text: str, asked: commands.Read) -> None:
    """Keep an instrument's list that was pasted as the file that is to be read, if it can be."""
    if not text.strip():
        raise OptionError("nothing is pasted", "a list has a line for each patch",
                          "copy the list in the instrument's program, and paste it here",
                          code="list_pasted")
    with scratch() as folder:
        tried = folder / asked.source.name
        write_text(tried, text)
        read_print(tried, asked.target, request=_request(asked))
    write_text(asked.source, text)


def _patches(result: ReadResult) -> tuple[ReadPatch, ...]:
    """In pixels of the overlay, whose longer side is `LONGEST`."""
    if not isinstance(result.reading, ScanReading):
        return ()
    target = result.target
    per_mm = LONGEST / max(target.width_mm, target.height_mm)
    found = []
    for one in result.reading.patches:
        p = one.patch
        left, top = per_mm * p.x_mm, per_mm * p.y_mm
        right, foot = left + per_mm * p.width_mm, top + per_mm * p.height_mm
        density = "not read" if one.density is None else f"density {one.density:.2f}"
        doubts = " ".join(untyped(sentence(d)) for d in one.doubts)
        found.append(ReadPatch(p.name, ((left, top), (right, top), (right, foot), (left, foot)),
                               f"{p.name}: {density}. {doubts}".strip(), bool(one.doubts)))
    return tuple(found)
