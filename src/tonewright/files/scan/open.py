"""A file that is a scan or a list of measurements, opened once whichever it is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tonewright.files.opening import too_large
from tonewright.files.raster.open import is_picture
from tonewright.files.raster.page import ByteSource
from tonewright.files.raster.scans import Channel, read_scan
from tonewright.files.tables import MOST_BYTES, parse_table
from tonewright.measured.columns import Table
from tonewright.scan.image import Scan

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
