"""Curves from files, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tonewright.curve.document import Curve
from tonewright.files.documents import read_curve
from tonewright.files.safe import check_outputs
from tonewright.shelf.side_by_side import Compared, compare_curves


def read_side_by_side(
    paths: Sequence[Path], plot: Path | None = None, *, force: bool = False
) -> tuple[list[Curve], tuple[Compared, ...]]:
    """Curves from their files, and each after the first compared with it.

    ``plot`` is where a picture is to go, which is checked before anything is read.

    Raises
    ------
    FileError, DocumentError, OptionError
        A file cannot be read or is no curve; as `compare_curves`.
    """
    check_outputs(None, plot, paths, force)
    curves = [read_curve(path) for path in paths]
    return curves, compare_curves(curves)
