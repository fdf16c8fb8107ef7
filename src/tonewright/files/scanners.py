"""Scanner responses on disk, and the lists of known densities they are made from."""

from __future__ import annotations

import os
from pathlib import Path

from tonewright.files.documents import open_document, to_text
from tonewright.files.safe import write_text
from tonewright.files.tables import read_table
from tonewright.scales import Array
from tonewright.scan.instrument import listed_densities
from tonewright.scan.scanner import ScannerResponse, response_from_dict


def read_scanner(path: str | os.PathLike[str]) -> ScannerResponse:
    """Read and check a ``*.scanner.json``.

    Raises
    ------
    FileError, DocumentError
        It cannot be read, is cut short, is no scanner response, or does not hold together.
    """
    return open_document(path, "scanner response", response_from_dict).document


def write_scanner(
    path: str | os.PathLike[str], response: ScannerResponse, *, force: bool = False
) -> None:
    """Write a response, whole or not at all; never over another without ``force``."""
    write_text(path, to_text(response.to_dict()), force=force)


def read_densities(path: str | os.PathLike[str]) -> Array:
    """Known densities of a gray scale, step 1 first, shape (n,); see `listed_densities`.

    Raises
    ------
    FileError, ReadingsError
        It cannot be read or holds something else.
    """
    return listed_densities(read_table(Path(path), "step"))
