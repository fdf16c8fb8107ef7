"""A print's readings from its scan or an instrument's list: all that `tonewright read` does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from pathlib import Path

from numpy.typing import ArrayLike

from tonewright.errors import OptionError
from tonewright.files.blank import is_blank
from tonewright.files.safe import check_outputs, one_call, refuse_existing, write_text
from tonewright.files.scan.readings import list_csv, write_readings
from tonewright.files.scanners import ScanOrTable, ScanSettings, read_scanner
from tonewright.files.tables import LISTS, STRIPS, read_table
from tonewright.files.targets import read_target
from tonewright.frozen import dataclass
from tonewright.measured.columns import PLAIN_SHEET_LINE, SCAN_LINE
from tonewright.measured.readings import ReadingOptions, Readings
from tonewright.scan.instrument import ListOrder, listed_densities, map_list
from tonewright.scan.read import ReadSettings, ScanReading, read_target_scan
from tonewright.target.document import Target


@dataclass(frozen=True, eq=False)
class ReadRequest(ScanSettings):
    """What the files do not say of themselves."""

    scanner: Path | None = None
    """Of a scan: the scanner response; None: known patches, or the embedded profile."""
    densities: Path | None = None
    """Of a scan: a table of the known densities of a gray scale that lies beside the print."""
    known: Mapping[str, float] = field(default_factory=dict)
    """Of a scan: densities of known patches, see `ReadSettings`."""
    overlay: Path | None = None
    """Of a scan: a PNG to draw, of what was read where."""
    order: ListOrder = field(default_factory=ListOrder)
    """Of an instrument's list: how it goes over the target."""
    options: ReadingOptions = field(default_factory=ReadingOptions)
    """Of an instrument's list: what its numbers are."""
    print_name: str | None = None
    """Which sheet this is, to tell several prints of one target apart."""
    comments: tuple[str, ...] = ()
    """Further comments at the top of the readings."""
    beside_corners: ArrayLike | None = None
    """Of a scan: corners of the gray scale beside the print, see `read_step_row`; None: it is
    looked for."""


@dataclass(frozen=True, eq=False)
class ReadResult:
    """A target as read, and where that was written."""

    source: Path
    target: Target
    reading: ScanReading | Readings
    output: Path | None
    overlay: Path | None


@one_call()
def read_print(
    source: Path, target: Path, output: Path | None = None, request: ReadRequest | None = None, *,
    force: bool = False,
) -> ReadResult:
    """Read a print of the target from a scan, or from an instrument's list.

    ``target`` is its document; ``output`` the CSV to write, None for none.  Each file is opened
    once.  With ``force`` existing files are replaced, and a JPEG is read all the same; the empty
    table that came with the target is replaced without it.

    Raises `FileError`, `DocumentError`, `ReadingsError`, `ImageError`: a file cannot be read, holds
    something else, or cannot be written, and as `read_target_scan` and `map_list`.
    `OptionError`: what is asked for would not count, or contradicts itself.
    """
    request = request or ReadRequest()
    inputs = (source, target, request.scanner, request.densities, request.flat)
    layout, allow_jpeg = read_target(target), request.allow_jpeg or force
    if not force and output is not None and is_blank(output, layout):
        if request.overlay is not None:
            refuse_existing(request.overlay, force)
        force = True
    check_outputs(output, request.overlay, inputs, force)
    file = ScanOrTable(source)
    _check_counts(source, request, scan=file.is_scan)
    if not file.is_scan:
        listed = map_list(file.table(holds=LISTS), layout, request.order, request.options)
        if output is not None:
            write_text(output, list_csv(listed, layout, request.comments, request.print_name),
                       force=force)
        return ReadResult(source, layout, listed, output, None)
    response = None if request.scanner is None else read_scanner(request.scanner)
    beside = None if request.densities is None else listed_densities(
        read_table(request.densities, "step", STRIPS))
    flat = request.read_flat()  # before the scan: one of them in memory
    scan = file.scan(allow_jpeg=allow_jpeg, channel=request.channel)
    reading = read_target_scan(scan, layout, ReadSettings(
        response, request.known, request.corners, flat, beside, request.beside_corners))
    if output is not None:
        write_readings(output, reading, _comments(scan.name, request), force=force,
                       overlay=None if request.overlay is None else (request.overlay, scan.pixels),
                       print_name=request.print_name)
    return ReadResult(source, layout, reading, output, request.overlay)


def _comments(scan: str, request: ReadRequest) -> tuple[str, ...]:
    """Which files the readings come from."""
    flat = () if request.flat is None else (f"{PLAIN_SHEET_LINE}{request.flat.name}",)
    return f"{SCAN_LINE}{scan}", *flat, *request.comments


def _check_counts(source: Path, request: ReadRequest, *, scan: bool) -> None:
    """Refuse what would silently not count."""
    of_scans = {
        "a scanner response": request.scanner, "a gray scale": request.densities,
        "known densities": request.known, "corners": request.corners is not None,
        "corners of a gray scale": request.beside_corners is not None,
        "a channel": request.channel, "reading a JPEG": request.allow_jpeg,
        "an overlay": request.overlay, "a plain sheet's scan": request.flat}
    of_lists = {
        "a reading order": request.order != ListOrder(), "a weighting": request.options.scale,
        "readings from the paper": request.options.relative_to_paper}
    if scan and request.beside_corners is not None and request.densities is None:
        raise OptionError("corners of a gray scale are given, but no densities of its steps",
                          "a gray scale is read with both", "name the list of its densities",
                          code="gray_scale_densities")
    given = [thing for thing, asked in (of_lists if scan else of_scans).items() if asked]
    if given:
        kind, other = ("a scan", "an instrument's list") if scan else ("no scan", "a scan")
        raise OptionError(f"{source} is {kind}, but was to be read with {' and '.join(given)}",
                          f"that is for {other}", "leave it out, or name the other file",
                          code="for_lists_alone" if scan else "for_scans_alone")
