"""A curve as tables of numbers."""

from __future__ import annotations

import numpy as np

from tonewright import scales
from tonewright.curve.document import Curve
from tonewright.errors import OptionError, counted
from tonewright.scales import Array

MOST_ROWS = 65536


def curve_rows(curve: Curve, rows: int) -> dict[str, Array]:
    """The correction at ``rows`` even steps of image lightness, 0 to 100.

    Columns: ``image_lightness`` and ``print_lightness`` (L*), ``level``, ``level_low`` and
    ``level_high`` (0 to 1), ``code`` (0 to 65535, clear film 65535).

    Raises
    ------
    OptionError
        Fewer than 2 or more than 65536 rows.
    """
    _check_rows(rows)
    image = np.linspace(0.0, 100.0, rows)
    table = curve.correction

    def at(column: Array) -> Array:
        return np.asarray(np.interp(image, table.image_lightness, column))

    return {
        "image_lightness": image, "print_lightness": at(table.print_lightness),
        "level": at(table.level), "level_low": at(table.level_low),
        "level_high": at(table.level_high),
        "code": curve.code_at(image).astype(np.float64),
    }


def response_rows(curve: Curve, rows: int) -> dict[str, Array]:
    """The print response at ``rows`` even steps of ink level over the range it is known for.

    Columns: ``level`` (0 to 1), ``lightness``, ``lightness_low``, ``lightness_high`` (L*) and
    ``density`` of the curve.

    Raises
    ------
    OptionError
        Fewer than 2 or more than 65536 rows.
    """
    _check_rows(rows)
    table = curve.response
    level = np.linspace(float(table.level[0]), float(table.level[-1]), rows)

    def at(column: Array) -> Array:
        return np.asarray(np.interp(level, table.level, column))

    lightness = at(table.lightness)
    return {
        "level": level, "lightness": lightness, "lightness_low": at(table.lightness_low),
        "lightness_high": at(table.lightness_high),
        "density": scales.lightness_to_density(np.maximum(lightness, 1e-3)),
    }


def csv_text(columns: dict[str, Array], notes: list[str]) -> str:
    """Comma-separated text with ``#`` notes above the header; codes without decimals."""
    lines = [f"# {note}" for note in notes] + [",".join(columns)]
    formats = ["{:.0f}" if name == "code" else "{:.6f}" for name in columns]
    lines += [",".join(f.format(v) for f, v in zip(formats, row, strict=True))
              for row in zip(*columns.values(), strict=True)]
    return "\n".join(lines) + "\n"


def rounded(columns: dict[str, Array]) -> dict[str, list[float]]:
    """The same numbers as lists, rounded as `csv_text` does; codes are whole numbers."""
    return {name: [round(v) for v in column.tolist()] if name == "code"
            else np.round(column, 6).tolist() for name, column in columns.items()}


def _check_rows(rows: int) -> None:
    if not 2 <= rows <= MOST_ROWS:
        raise OptionError(f"the table is to have {counted(rows, 'row')}",
                          f"it has 2 to {MOST_ROWS}", "ask for 101, for example", code="rows")
