"""What comes from a scanner: scans, or lists in their place; the scan of a plain sheet; and
responses, on disk and made from the scan of a gray scale."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from numpy.typing import ArrayLike

from tonewright.files.documents import open_document, write_document
from tonewright.files.opening import too_large
from tonewright.files.raster.open import is_picture
from tonewright.files.raster.page import ByteSource
from tonewright.files.raster.scans import Channel, read_scan
from tonewright.files.safe import check_outputs, one_call
from tonewright.files.tables import MOST_BYTES, STRIPS, parse_table, read_table
from tonewright.frozen import dataclass
from tonewright.measured.columns import Source, Table
from tonewright.record.provenance import document_name
from tonewright.scan.flat import Flat, flat_of
from tonewright.scan.image import Scan
from tonewright.scan.instrument import listed_densities
from tonewright.scan.response import response_of_row
from tonewright.scan.scanner import ScannerResponse
from tonewright.scan.steps import StepRow, read_step_row

_RULE = "readings come from a scan (TIFF or PNG) or a list (CSV or CGATS text)"


class ScanOrTable:
    """A file that is open; read it once."""

    def __init__(self, path: Path) -> None:
        """Raises `FileError` if it cannot be opened."""
        self.path = path
        self._source = ByteSource(path, _RULE)
        self.is_scan = is_picture(self._source)

    def scan(self, *, allow_jpeg: bool = False, channel: Channel | None = None,
             fingerprint: bool = False) -> Scan:
        """The scan; raises as `read_scan`."""
        return read_scan(self._source, allow_jpeg=allow_jpeg, channel=channel,
                         fingerprint=fingerprint)

    def table(
        self, level_field: str | None = None, holds: Sequence[tuple[str, ...]] = ()
    ) -> Table:
        """The list of measurements; raises as `read_table`."""
        with self._source as source:
            if source.size > MOST_BYTES:
                raise too_large(self.path, MOST_BYTES)
            return parse_table(source.read(0, source.size), self.path.name, level_field,
                               holds)


def read_scanner(path: str | os.PathLike[str]) -> ScannerResponse:
    """Read and check a ``*.scanner.json``.

    Raises `FileError`, `DocumentError`: it cannot be read, is cut short, is no scanner response, or
    does not hold together.
    """
    return open_document(path, ScannerResponse).document


@dataclass(frozen=True, eq=False, kw_only=True)
class ScanSettings:
    """What scans do not say of themselves."""

    corners: ArrayLike | None = None
    """Where the row of steps, or the marks of a target, lie; None: they are looked for."""
    channel: Channel | None = None
    """Of an RGB scan: the channel to read; None: the luminance."""
    allow_jpeg: bool = False
    """Read a JPEG all the same."""
    flat: Path | None = None
    """The scan of a plain white sheet: takes the lamp's unevenness out."""

    def read_flat(self) -> Flat | None:
        """The light of the glass from that scan; None without one.

        Raises as `read_scan` and `flat_of`.
        """
        if self.flat is None:
            return None
        return flat_of(read_scan(self.flat, channel=self.channel, fingerprint=True))


@dataclass(frozen=True, eq=False)
class ScannerRequest(ScanSettings):
    """What the scan of a gray scale and its list do not say of themselves."""

    name: str | None = None
    """Of the response; None: the output's."""
    date: str = ""
    """Of the scan."""


@dataclass(frozen=True, eq=False)
class LearnedScanner:
    """A scanner's response, the row it was learnt from, and where it was written."""

    response: ScannerResponse
    row: StepRow
    output: Path | None


@one_call()
def learn_scanner(
    scan: Path, densities: Path | Table, output: Path | None = None,
    request: ScannerRequest | None = None, *, force: bool = False,
) -> LearnedScanner:
    """What densities a scanner's codes stand for, from the scan of a gray scale.

    ``densities`` is a table of the known densities of its steps, or its file; ``output`` the
    document to write, None for none.

    Raises `FileError`, `ImageError`, `ReadingsError`, `OptionError`: a file cannot be read, holds
    something else, or cannot be written, and as `listed_densities`, `read_step_row` and
    `response_of_row`.
    """
    request = request or ScannerRequest()
    listed = None if isinstance(densities, Table) else densities
    check_outputs(output, None, (scan, listed, request.flat), force, ".scanner.json")
    table = densities if isinstance(densities, Table) else read_table(densities, "step", STRIPS)
    known = listed_densities(table)
    flat = request.read_flat()  # before the scan: one of them in memory
    picture = read_scan(scan, allow_jpeg=request.allow_jpeg or force, channel=request.channel,
                        fingerprint=True)
    row = read_step_row(picture, known.size, request.corners,
                        dark_first=bool(known[0] > known[-1]))
    name = request.name
    if name is None:
        name = "" if output is None else document_name(output.name)
    response = replace(
        response_of_row(row, known, picture, name, flat), date=request.date,
        sources=(Source(picture.name, "scan", picture.sha256 or ""), table.source))
    if output is not None:
        write_document(output, response, force=force)
    return LearnedScanner(response, row, output)
