"""Tables to fill in by hand: a row for each patch or step, and an empty cell for its density."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from tonewright.errors import FileError, TonewrightError, visible
from tonewright.files.documents import document_text
from tonewright.files.negative.again import scale_document, scale_table
from tonewright.files.safe import refuse_existing, whole_file, write_text
from tonewright.files.tables import parse_table
from tonewright.measured.columns import COLOUR_NAMES, holds_values
from tonewright.record.times import PrintingTime
from tonewright.strip.tablet import Tablet
from tonewright.target.document import Target

Columns = Mapping[str, Sequence[str]]
BOTH = ("film", "bare")
"""Halves of a strip."""


def patch_columns(target: Target, names: Sequence[str]) -> dict[str, Sequence[str]]:
    """Name and level of patches; where the target is in coloured ink also ``red, green, blue``,
    which of clear film on a chart is white."""
    place = {p.name: p for p in target.patches}
    patches = [place[name] for name in names]
    inks = [target.colour_of(p) or (255, 255, 255) for p in patches]
    colours = {name: [str(ink[i]) for ink in inks] for i, name in enumerate(COLOUR_NAMES)}
    return {"patch": names, "level": [f"{p.level:.6g}" for p in patches],
            **(colours if target.in_colour else {})}


def aim_column(target: Target, names: Sequence[str]) -> dict[str, Sequence[str]]:
    """Print lightness (L*) that patches aim at; no column where the target has no aims."""
    aims = {p.name: p.aim_lightness for p in target.patches}
    return {} if all(aim is None for aim in aims.values()) else {"aim_lightness": [
        "" if (aim := aims[name]) is None else f"{aim:.3f}" for name in names]}


def csv_text(columns: Columns) -> str:
    """Comma-separated text with the names of the columns on top."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([*map(visible, row)] for row in zip(*columns.values(), strict=True))
    return stream.getvalue()


def blank_target(target: Target) -> str:
    """The patches of a target in reading order: patch, level and an empty density."""
    names = [p.name for p in target.patches]
    return csv_text({**patch_columns(target, names), "density": [""] * len(names),
                     **aim_column(target, names)})


def is_blank(path: Path, target: Target) -> bool:
    """Whether this is the empty table of that target, with nothing filled in."""
    try:
        return path.read_bytes() == blank_target(target).encode()
    except (OSError, ValueError):
        return False


def blank_strip(
    tablet: Tablet, halves: Iterable[str] = BOTH, time: PrintingTime | None = None,
) -> str:
    """The steps of a tablet, an empty column for each half of the strip, and its printing time
    where that is known."""
    empty = [""] * len(tablet.densities)
    return strip_table(tablet, {half: empty for half in halves}, time)


def strip_table(
    tablet: Tablet, densities: Mapping[str, Sequence[str]], time: PrintingTime | None = None,
) -> str:
    """The steps of a tablet with what was measured on each half, as it was typed: ``densities``
    has a text for each step, blank where none was."""
    count = len(tablet.densities)
    columns = {"step": [str(number) for number in range(1, count + 1)],
               **({} if time is None else {"time": [str(time)] * count})}
    return csv_text({**columns, **densities})


def write_blank(path: str | os.PathLike[str], text: str, *, force: bool = False) -> None:
    """Write a table to fill in; raises as `refuse_filled` and `safe.write_text`."""
    refuse_filled(Path(path), force)
    write_text(path, text, force=force)


@contextmanager
def layout_and_table(picture: Path, target: Target, *, force: bool) -> Iterator[None]:
    """Write the document of a picture's patches and their table to fill in, together with the
    picture that is written meanwhile: all or none.  Raises as `refuse_beside` and `whole_file`."""
    refuse_beside(picture, force)
    with (
        whole_file(scale_table(picture), force=force) as table,
        whole_file(scale_document(picture), force=force) as document,
    ):
        table.write_text(blank_target(target), encoding="utf-8", newline="\n")
        document.write_text(document_text(target), encoding="utf-8", newline="\n")
        yield


def refuse_beside(picture: Path, force: bool) -> None:
    """Refuse, before any work, a document or a table that may not be written beside a picture;
    raises as `refuse_existing` and `refuse_filled`."""
    refuse_existing(scale_document(picture), force)
    refuse_filled(scale_table(picture), force)


def refuse_filled(path: Path, force: bool) -> None:
    """Raise `FileError` if a blank table may not be written there: as `refuse_existing`, and even
    with ``force`` where a table of measurements would be lost."""
    refuse_existing(path, force)
    try:  # not as an input of this call, which would never be replaced
        table = parse_table(path.read_bytes(), path.name)
    except (OSError, TonewrightError):  # nothing, or no table: replaced, as asked for
        return
    if holds_values(table):
        raise FileError(f"the file {path} holds measurements",
                        "an empty table never takes their place",
                        "move that file, or give the output another name", code="table_filled")
