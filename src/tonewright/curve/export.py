"""A curve as numbers for other programs: tables, points, and what an ICC profile is made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tonewright import scales
from tonewright.curve.document import Curve
from tonewright.errors import OptionError, counted
from tonewright.frozen import dataclass
from tonewright.numeric.inverse import invert
from tonewright.scales import FULL_CODE, Array

MOST_ROWS = 65536
FEWEST_POINTS, USUAL_POINTS, MOST_POINTS = 10, 14, 20
WHOLE = {"code", "code_8", "code_16", "picture_value", "picture", "negative"}
"""Columns of whole numbers."""
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
DECIMALS = {"point": ".", "comma": ","}


@dataclass(frozen=True)
class Dialect:
    """How a table is written."""

    separator: str | None = None
    """One of `SEPARATORS`; None: a comma, or a semicolon where numbers have decimal commas."""
    decimal: str = "point"
    """One of `DECIMALS`."""

    def __post_init__(self) -> None:
        """Hold the rule; `OptionError` otherwise."""
        if (self.separator, self.decimal) == ("comma", "comma"):
            raise OptionError("cells and decimals are both separated by commas",
                              "the two signs must differ", "separate the cells by semicolons",
                              code="two_commas")

    @property
    def between(self) -> str:
        """The sign between cells."""
        usual = "semicolon" if self.decimal == "comma" else "comma"
        return SEPARATORS[self.separator or usual]


def value_rows(curve: Curve, image_lightness: Array, depth: int) -> dict[str, Array]:
    """The code of the negative for every value of a picture.

    ``image_lightness`` (L*) is what each value from black to white stands for, shape (256,) for a
    ``depth`` of 8 bits or (65536,) for 16.  Columns: ``picture_value``, ``image_lightness``,
    ``ink_percent``, with 8 bits ``code_8`` (255 is clear film), and ``code_16``.
    """
    codes = curve.code_at(image_lightness).astype(np.float64)
    return {
        "picture_value": np.arange(image_lightness.size, dtype=np.float64),
        "image_lightness": image_lightness, "ink_percent": 100.0 * curve.level_at(image_lightness),
        **({"code_8": np.floor(codes / 257.0 + 0.5)} if depth == 8 else {}), "code_16": codes,
    }


def print_lightness_of(curve: Curve, codes: ArrayLike) -> Array:
    """What codes of the negative (0 to 65535, any shape) print as: L*; held at the ends of what is
    known."""
    return curve.response.lightness_at(scales.code_to_level(codes))


def points(curve: Curve, image_lightness: Array, count: int) -> dict[str, Array]:
    """A few rounded points of the curve from picture to negative, both in 8 bits.

    Begun with both ends; the next one stands each time where straight lines through those that
    are there miss the print's lightness by most (as Ramer 1972 and Douglas and Peucker 1973 put
    points on a line).

    Parameters
    ----------
    curve:
        The curve.
    image_lightness:
        L* of the picture's values 0 to 255, shape (256,).
    count:
        How many, 10 to 20.

    Returns
    -------
    ``picture`` and ``negative``: whole numbers, 0 to 255; ``picture_percent`` and
    ``negative_percent``: the same, 0 to 100.

    Raises
    ------
    OptionError
        Too few or too many.
    """
    if not FEWEST_POINTS <= count <= MOST_POINTS:
        raise OptionError(f"{counted(count, 'point')} of the curve are asked for",
                          f"choose {FEWEST_POINTS} to {MOST_POINTS}",
                          f"ask for {USUAL_POINTS}, for example", code="points")
    value = np.arange(image_lightness.size)
    codes = curve.code_at(image_lightness)
    rounded_codes = np.floor(codes / 257.0 + 0.5)
    wanted = print_lightness_of(curve, codes)
    places = [0, int(value[-1])]
    while len(places) < count:
        drawn = 257.0 * np.interp(value, places, rounded_codes[places])
        off = np.abs(print_lightness_of(curve, drawn) - wanted)
        off[places] = -1.0
        places = sorted([*places, int(np.argmax(off))])
    at = np.array(places, dtype=np.float64)
    return {"picture": at, "negative": rounded_codes[places],
            "picture_percent": 100.0 * at / 255.0,
            "negative_percent": 100.0 * rounded_codes[places] / 255.0}


def joined(table: dict[str, Array]) -> dict[str, Array]:
    """What a curve dialogue makes of points: codes, 0 to 65535, of the picture's values 0 to 255,
    shape (256,), by ``straight lines`` and by ``a smooth curve`` (a natural cubic spline)."""
    from scipy.interpolate import CubicSpline

    value, at, codes = np.arange(256.0), table["picture"], 257.0 * table["negative"]
    smooth = CubicSpline(at, codes, bc_type="natural")(value).clip(0.0, FULL_CODE)
    return {"straight lines": np.asarray(np.interp(value, at, codes)),
            "a smooth curve": np.asarray(smooth)}


@dataclass(frozen=True, eq=False)
class PrintTables:
    """A print on this paper as a colour-managed program sees it; tables are even in what goes in.

    Image lightness and the print's lightness relative to its own white (ICC media-relative) run
    from 0 to 100, levels from 0 to 1.
    """

    level_of_image: Array
    """By the curve's aim."""
    level_of_print: Array
    """That prints this lightness, where the print has it."""
    image_of_level: Array
    print_of_level: Array
    white_luminance: float
    """Of the print's lightest tone, 0 to 100."""


def print_tables(curve: Curve, lightness: Array, level: Array) -> PrintTables:
    """The tables for so many values of ``lightness`` (L*) and ``level``, shapes (n,) and (m,)."""
    response, table = curve.response, curve.correction
    white = float(scales.lightness_to_luminance(response.lightness[-1]))
    printed = scales.luminance_to_lightness(
        100.0 * scales.lightness_to_luminance(response.lightness) / white)
    usable = curve.level_at([0.0, 100.0])
    ends = np.interp(usable, response.level, printed)
    reached = invert(response.level, printed, np.clip(lightness, *np.sort(ends)))
    rising, first = np.unique(table.level, return_index=True)
    return PrintTables(
        curve.level_at(np.clip(lightness, 0.0, 100.0)), np.clip(reached, *np.sort(usable)),
        np.asarray(np.interp(level, rising, table.image_lightness[first])),
        np.asarray(np.interp(level, response.level, printed)).clip(0.0, 100.0), white)


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
    image, table = np.linspace(0.0, 100.0, rows), curve.correction
    return {
        "image_lightness": image, "print_lightness": curve.print_lightness_at(image),
        **_resampled(image, table.image_lightness, level=table.level, level_low=table.level_low,
                     level_high=table.level_high),
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
    found = _resampled(level, table.level, lightness=table.lightness,
                       lightness_low=table.lightness_low, lightness_high=table.lightness_high)
    density = scales.lightness_to_density(np.maximum(found["lightness"], 1e-3))
    return {"level": level, **found, "density": density}


def _resampled(wanted: Array, places: Array, **columns: Array) -> dict[str, Array]:
    return {name: np.interp(wanted, places, column) for name, column in columns.items()}


def _whole(column: str) -> bool:
    """Whether a column holds whole numbers; in brackets it may say of what."""
    return column.partition(" ")[0] in WHOLE


def csv_text(
    columns: dict[str, Array], notes: list[str], dialect: Dialect | None = None, places: int = 6
) -> str:
    """Text with ``#`` notes above the header; codes without decimals, the rest with ``places``."""
    dialect = dialect or Dialect()
    between, sign = dialect.between, DECIMALS[dialect.decimal]
    lines = [f"# {note}" for note in notes] + [between.join(columns)]
    row = between.join("{:.0f}" if _whole(name) else f"{{:.{places}f}}" for name in columns)
    lines += [row.format(*values).replace(".", sign)
              for values in zip(*(c.tolist() for c in columns.values()), strict=True)]
    return "\n".join(lines) + "\n"


def rounded(columns: dict[str, Array]) -> dict[str, list[float]]:
    """The same numbers as lists, rounded as `csv_text` does; codes are whole numbers."""
    return {name: [round(v) for v in column.tolist()] if _whole(name)
            else np.round(column, 6).tolist() for name, column in columns.items()}


def _check_rows(rows: int) -> None:
    if not 2 <= rows <= MOST_ROWS:
        raise OptionError(f"the table is to have {counted(rows, 'row')}",
                          f"it has 2 to {MOST_ROWS}", "ask for 101, for example", code="rows")
