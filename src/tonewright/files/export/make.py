"""A curve handed over: all that `tonewright export` does."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tonewright.curve.document import Curve
from tonewright.curve.export import (
    USUAL_POINTS,
    Dialect,
    csv_text,
    curve_rows,
    points,
    response_rows,
    value_rows,
)
from tonewright.errors import OptionError, listed, visible
from tonewright.files.documents import read_curve
from tonewright.files.export import text
from tonewright.files.safe import check_outputs, refuse_ending, whole_file
from tonewright.frozen import dataclass
from tonewright.negative.tones import ASSUMED_ENCODING, code_table, encoding_lightness
from tonewright.scales import Array

if TYPE_CHECKING:
    from tonewright.files.export.proof import Proof

USUAL_ROWS = 101
_TABLES, _CGATS, _ICC = (".csv", ".txt", ".tsv"), (".txt", ".cgats", ".csv"), (".icc", ".icm")


@dataclass(frozen=True)
class Form:
    """A form that a curve is handed over in."""

    what: str
    """As in ``the output of what is``."""
    suffixes: tuple[str, ...]
    """That its files may have; the first is usual."""
    settings: frozenset[str]
    """Fields of `ExportRequest` that count for it."""
    of_codes: bool = True
    """Whether it turns a picture into codes of the negative."""


_ROWS, _VALUES = frozenset({"rows", "dialect"}), frozenset({"encoding", "depth", "dialect"})
_POINTS, _CODES = frozenset({"encoding", "points", "dialect"}), frozenset({"encoding"})
_NONE: frozenset[str] = frozenset()
FORMS = {
    "curve-csv": Form("a table", _TABLES, _ROWS, of_codes=False),
    "response-csv": Form("a table", _TABLES, _ROWS, of_codes=False),
    "table": Form("a table", _TABLES, _VALUES),
    "points": Form("a list of points", _TABLES, _POINTS),
    "lut": Form("a look-up table in the Common LUT Format", (".clf",), _CODES),
    "icc-output": Form("an ICC output profile", _ICC, _NONE),
    "icc-link": Form("an ICC device link", _ICC, _CODES),
    "readings": Form("CGATS text", _CGATS, _NONE, of_codes=False),
    "aim": Form("CGATS text", _CGATS, _NONE, of_codes=False),
}
_WORDS = {"rows": "a number of rows", "encoding": "an encoding", "depth": "a depth",
          "points": "a number of points", "dialect": "a separator or decimal sign"}


@dataclass(frozen=True)
class ExportRequest:
    """What is handed over, and how; None: as is usual."""

    form: str
    """One of `FORMS`."""
    rows: int | None = None
    """Of a curve or response; usually `USUAL_ROWS`."""
    encoding: str | None = None
    """Of the pictures that it is for; usually `ASSUMED_ENCODING`."""
    depth: int | None = None
    """Bits of the pictures that a table is for: 8, or usually 16."""
    points: int | None = None
    """Usually `USUAL_POINTS`."""
    dialect: Dialect | None = None

    def __post_init__(self) -> None:
        """Hold the rule; `OptionError` for what would not count."""
        for name, words in _WORDS.items():
            if getattr(self, name) is not None and name not in FORMS[self.form].settings:
                forms = listed(form for form, kind in FORMS.items() if name in kind.settings)
                raise OptionError(f"{words} is asked for, of {self.form}",
                                  f"it counts for {forms}", "leave it out")


@dataclass(frozen=True, eq=False)
class Export:
    """What was handed over."""

    request: ExportRequest
    curve: Curve
    output: Path | None
    """None: the text alone."""
    text: str | None
    """None: it is no text."""
    columns: dict[str, Array]
    """Of a table or of points; else empty."""
    encoding: str | None
    """Of the pictures that it holds for; None: of any."""
    proof: Proof | None
    """None where nothing was written."""


def export_curve(
    curve_file: Path, request: ExportRequest, output: Path | None = None,
    plot: Path | None = None, *, force: bool = False,
) -> Export:
    """Hand a curve over in a form; what is written is read back before it is put in place.

    ``plot`` is a picture that the caller is going to write: its name is checked with the others.

    Raises `FileError`, `DocumentError`: the curve cannot be read, the output not be written, or
    another reader reads other tones; `OptionError`: the name does not fit the form; a form that the
    curve does not have; settings that cannot be.
    """
    form = FORMS[request.form]
    if plot is not None and request.form != "points":
        raise OptionError(f"a picture of {request.form} is asked for", "only points are drawn",
                          "leave it out")
    check_outputs(output, plot, [curve_file], force)
    _check_name(output, request.form, form)
    curve = read_curve(curve_file)
    made = _Maker(curve, request)
    if form.of_codes and curve.setup.ink_colour is not None:
        raise OptionError(
            f"the curve {curve.name} is for negatives in the ink colour {curve.setup.ink_colour}",
            f"{form.what} gives gray values, which print in black ink",
            "make the negatives of this curve here, which are in its colour", code="negative_here")
    content = made.content()
    proof = None
    if output is not None:
        data = content.encode() if isinstance(content, str) else content
        with whole_file(output, force=force) as temp:
            temp.write_bytes(data)
            proof = made.proof(temp)
    return Export(request, curve, output, content if isinstance(content, str) else None,
                  made.columns, made.encoding if form.of_codes else None, proof)


def _check_name(output: Path | None, name: str, form: Form) -> None:
    """Raise `OptionError` for a name that promises another kind of file."""
    if output is None:
        if form.suffixes == _ICC:
            raise OptionError("no output is named", f"{form.what} is a file, and no text",
                              f"name it NAME{form.suffixes[0]}", code="output_needed")
        return
    names = " or ".join(f"NAME{suffix}" for suffix in form.suffixes)
    refuse_ending(output, form.suffixes, f"{form.what} is a file {names}",
                  what=f"the output of {name}")


class _Maker:
    """One export: its content, and the proof of it."""

    def __init__(self, curve: Curve, request: ExportRequest) -> None:
        self._curve, self._request = curve, request
        self._dialect, self._depth = request.dialect or Dialect(), request.depth or 16
        rows = USUAL_ROWS if request.rows is None else request.rows
        count = USUAL_POINTS if request.points is None else request.points
        self.encoding = (request.encoding or ASSUMED_ENCODING).strip().lower()
        self.columns: dict[str, Array] = {}
        self._content: dict[str, Callable[[], str | bytes]] = {
            "curve-csv": lambda: self._table(curve_rows(curve, rows)),
            "response-csv": lambda: self._table(response_rows(curve, rows)),
            "table": lambda: self._table(
                value_rows(curve, self._lightness(self._depth), self._depth)),
            "points": lambda: self._table(points(curve, self._lightness(8), count), 1),
            "lut": lambda: text.clf_text(curve, self._codes(), self.encoding),
            "icc-output": self._output, "icc-link": self._link,
            "readings": lambda: text.readings_text(curve), "aim": lambda: text.aim_text(curve)}

    def content(self) -> str | bytes:
        """Of the file."""
        return self._content[self._request.form]()

    def _lightness(self, depth: int) -> Array:
        return encoding_lightness(self.encoding, 1 << depth)

    def _codes(self, depth: int = 16) -> NDArray[np.uint16]:
        """As a negative has them."""
        return code_table(self._lightness(depth), self._curve)

    def _table(self, columns: dict[str, Array], places: int = 6) -> str:
        if FORMS[self._request.form].of_codes:  # its first column says what pictures it holds for
            first, *others = columns.items()
            columns = {f"{first[0]} ({self.encoding})": first[1], **dict(others)}
        self.columns = columns
        return csv_text(columns, [], self._dialect, places)

    def _output(self) -> bytes:
        from tonewright.curve.export import print_tables
        from tonewright.files.raster.icc_write import ENTRIES, connection_lightness, output_profile

        levels = np.linspace(0.0, 1.0, ENTRIES)
        tables = print_tables(self._curve, connection_lightness(), levels)
        return output_profile(tables, f"Print: {visible(self._curve.name)}")

    def _link(self) -> bytes:
        from tonewright.files.raster.icc_write import device_link

        name = f"Negative: {visible(self._curve.name)}"
        return device_link(self._codes(), name, f"Picture: {self.encoding}")

    def proof(self, path: Path) -> Proof:
        """What another reader finds in the file."""
        from tonewright.files.export import proof as by  # not needed for a text on the screen

        curve = self._curve
        proofs: dict[str, Callable[[], Proof]] = {
            **dict.fromkeys(("curve-csv", "response-csv"), lambda: by.prove_columns(
                path, self.columns, self._dialect)),
            "table": lambda: by.prove_table(path, curve, self._codes(self._depth), self._dialect),
            "points": lambda: by.prove_points(path, curve, self._codes(8), self._dialect),
            "lut": lambda: by.prove_clf(path, curve, self._codes()),
            "icc-output": lambda: by.prove_output(path, curve, self._codes(), self.encoding),
            "icc-link": lambda: by.prove_link(path, curve, self._codes()),
            "readings": lambda: by.prove_readings(path, curve),
            "aim": lambda: by.prove_aim(path, curve)}
        return proofs[self._request.form]()
