"""Documents: JSON of numbers and text, checked on reading; setups in TOML; points of an aim."""

from __future__ import annotations

import hashlib
import json
import os
import re
from codecs import BOM_UTF8
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from tonewright.curve.aim import Aim
from tonewright.curve.document import Curve, refuse_two_zeros
from tonewright.errors import DocumentError
from tonewright.files.opening import parse_toml, read_bytes, setup_bytes, shown
from tonewright.files.safe import write_text
from tonewright.frozen import dataclass
from tonewright.record.codec import Document
from tonewright.record.provenance import not_ours
from tonewright.record.setup import Setup, setup_from_dict

if TYPE_CHECKING:
    from tonewright.measured.readings import Readings
    from tonewright.strip.process import Process
    from tonewright.strip.tablet import Tablet

_T = TypeVar("_T")
_D = TypeVar("_D", bound=Document)
LARGEST = 16 * 1024 * 1024
MOST_VALUES = 500_000
"""Values in one document: what it takes in memory depends on their number."""
_PER_LINE = 12


@dataclass(frozen=True)
class Opened(Generic[_T]):
    """A document as it was read, once, and the fingerprint of the same bytes."""

    document: _T
    sha256: str
    """Of the file, in hex."""
    name: str
    """Of the file, without its folder."""


@dataclass(frozen=True)
class Sort:
    """One sort of document."""

    kind: type[Document]
    head: type
    """Some of its entries: a dataclass whose fields are called and made as the whole one's."""

    @cached_property
    def names(self) -> tuple[bytes, ...]:
        """Entries of the head."""
        return tuple(f.name.encode() for f in fields(self.head))


def open_document(
    path: str | os.PathLike[str], kind: type[_D], decode: Callable[[Any], _D] | None = None
) -> Opened[_D]:
    """Read a document once; ``decode`` is what rebuilds it, if not the ``kind`` itself.

    Raises `FileError`, `DocumentError`: it cannot be read, is cut short, is no such document, or
    does not hold together.
    """
    name, what = Path(path).name, kind.form.what
    raw = read_bytes(path, LARGEST, f"a {what} is a file")
    data = _parsed(raw, name, what)
    with _naming(path):
        return Opened((decode or kind.decode)(data), hashlib.sha256(raw).hexdigest(), name)


def open_one_of(
    path: str | os.PathLike[str], sorts: Mapping[str, Sort], whole: Collection[str] = ()
) -> tuple[str, Opened[Any]]:
    """Read a document of one of several sorts, once: its format, and what was read.

    Unless its format is one of those to be read ``whole`` it is only what its `Sort.head` holds;
    the rest is then not looked at, if the document is laid out as it was written.

    Raises as `open_document`.
    """
    name = os.path.basename(path)  # noqa: PTH119 - a Path for each of thousands takes longer
    raw = read_bytes(path, LARGEST, "documents are files")
    data = _heads(raw, sorts, whole) or _parsed(raw, name, "document")
    with _naming(path):
        form = data.get("format") if isinstance(data, dict) else None
        if not isinstance(form, str) or form not in sorts:
            raise not_ours(data, [sort.kind.form.what for sort in sorts.values()])
        sort = sorts[form]
        made = sort.kind.decode(data) if form in whole else \
            sort.kind.form.decode_head(sort.head, data)
        return form, Opened(made, hashlib.sha256(raw).hexdigest(), name)


def _heads(
    raw: bytes, sorts: Mapping[str, Sort], whole: Collection[str]
) -> dict[str, Any] | None:
    """The entries of a head alone; None for a document to be read ``whole``, and where the text
    is not laid out as `to_text` does it.

    There every entry of the document itself stands on a line of its own, two spaces in.
    """
    found = _WRITTEN.match(raw)
    if not found or not raw.endswith(b"\n}\n") or b"\0" in raw:
        return None
    form = found[1].decode("ascii")
    sort = sorts.get(form)
    if sort is None or form in whole:
        return None
    entries, wanted, at = [raw[1:found.end()]], {b"version", *sort.names}, found.end()
    while wanted and at != -1:
        end = raw.find(_LINE, at + 1)
        entry = raw[at:end if end != -1 else -3]
        name = entry[len(_LINE):].partition(b'"')[0]
        if name in wanted:
            entries.append(entry)
            wanted.remove(name)
        at = end
    try:
        data: dict[str, Any] = _parsed(b"{" + b"".join(entries).rstrip(b",") + b"}", "", "")
        return data
    except DocumentError:  # said of the whole of it
        return None


_LINE = b'\n  "'
_WRITTEN = re.compile(rb'\{\n  "format": "([a-z-]+)",')


def document_text(document: Document) -> str:
    """The bytes of a document, as text."""
    return to_text(document.form.encode(document))


def write_document(
    path: str | os.PathLike[str], document: Document, *, force: bool = False
) -> None:
    """Write a document, whole or not at all; never over another file without ``force``."""
    write_text(path, document_text(document), force=force)


def open_curve(path: str | os.PathLike[str], *, sources: bool = True) -> Opened[Curve]:
    """Open a ``*.curve.json``; without ``sources``, all but what it was made from.

    Raises as `open_document`.
    """
    return open_document(path, Curve, partial(Curve.decode, sources=sources))


def read_curve(path: str | os.PathLike[str], *, sources: bool = True) -> Curve:
    """The curve that `open_curve` opens."""
    return open_curve(path, sources=sources).document


def read_process(path: str | os.PathLike[str]) -> Process:
    """Read and check a ``*.process.json``; raises as `open_document`."""
    from tonewright.strip.process import Process  # making a negative does without

    return open_document(path, Process).document


def read_tablet(text: str) -> Tablet:
    """A tablet as it is named: ``31``, ``21``, ``N x D``, or a CSV file of its densities.

    Raises `OptionError`, `FileError`, `ReadingsError`: no such tablet, or a file that does not hold
    one.
    """
    from tonewright.files.tables import STRIPS, read_table
    from tonewright.strip.tablet import nominal_tablet, tablet_from_table

    if text.lower().endswith((".csv", ".txt")):
        return tablet_from_table(read_table(Path(text), "step", STRIPS))
    return nominal_tablet(text)


@contextmanager
def _naming(path: str | os.PathLike[str]) -> Iterator[None]:
    """What is wrong with a document is said with the name of its file."""
    try:
        yield
    except DocumentError as error:
        given = f"{Path(path).name}: {error.given}"
        raise DocumentError(given, error.rule, error.way_out, code=error.code,
                            **error.values) from error


_MADE_FROM = {
    "correction curve": ("; one is made from a target's readings", "curve_made_from"),
    "process response": ("; one is made from a strip's readings", "process_made_from"),
    "check of a print": ("; one is made from a print's readings", "check_made_from"),
    "target": ("; one is written beside the target to print", "target_made_from"),
    "scanner response": ("; one is made from the scan of a gray scale", "scanner_made_from"),
    "document": ("; one is made from the readings of a strip or a print", "document_made_from"),
}


def _parsed(raw: bytes, name: str, what: str) -> Any:
    """What the JSON holds; NaN, infinity and an entry named twice are refused."""
    try:
        if sum(raw.count(sign) for sign in b",[{") > MOST_VALUES:
            raise _Spoilt(f"it has more than {MOST_VALUES} values")
        return json.loads(raw.decode("utf-8-sig"), parse_constant=_no_constant,
                          object_pairs_hook=_once_each)
    except (ValueError, RecursionError) as error:
        made_from, code = _MADE_FROM.get(what, ("", None))
        ours = raw.removeprefix(BOM_UTF8).strip()[:1] in (b"{", b"")
        raise DocumentError(
            f"{name} is not a whole JSON document: {_json_fault(error)}" if ours else
            f"{name} is not a {what}{_but(raw)}",
            f"a {what} is a JSON file that tonewright wrote{made_from}",
            "give the right file; if it was cut short, take a copy or make it again" if ours else
            "give the right file", code=code,
        ) from error


def _but(raw: bytes) -> str:
    """What a file is that is no JSON, if that can be told."""
    from tonewright.files.tables import what_instead

    kind = what_instead(raw)
    return f", but {kind}" if kind else ""


class _Spoilt(ValueError):
    """What JSON may hold and a document may not, in plain words."""


def _no_constant(word: str) -> float:
    raise _Spoilt(f"it holds {word}, which is not a number")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    entries = dict(pairs)
    if len(entries) < len(pairs):
        twice = next(name for name, count in Counter(n for n, _ in pairs).items() if count > 1)
        raise _Spoilt(f"it has {shown(twice)} twice in one place")
    return entries


def _json_fault(error: ValueError | RecursionError) -> str:
    """What is wrong with a text that should be JSON, in plain words."""
    if isinstance(error, RecursionError):
        return "it is nested too deeply"
    if isinstance(error, UnicodeDecodeError):
        return "it holds bytes that are no text"
    if isinstance(error, _Spoilt):
        return str(error)
    if not isinstance(error, json.JSONDecodeError):
        return "it holds a number with thousands of digits"
    text = error.doc
    if not text.strip():
        return "it is empty"
    # cut within a text, or within a number or a word: nothing but the rest of it follows
    rest = text[error.pos:].strip()
    if error.msg.startswith("Unterminated") or re.fullmatch(r"[\w.+-]*", rest):
        return f"it breaks off in line {text.rstrip().count(chr(10)) + 1}"
    lines = text.splitlines()
    return f"it cannot be understood in line {error.lineno}, {shown(lines[error.lineno - 1])}"


_CELLS = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=("\0", ": "))
"""Of a list, all at once: within a text, JSON writes its separator otherwise."""


def to_text(document: dict[str, Any]) -> str:
    """JSON that reads well in a diff: one entry a line, long lists of numbers in rows."""
    return _render(document, 0) + "\n"


def _render(value: Any, depth: int) -> str:
    pad = "  " * (depth + 1)
    if isinstance(value, dict) and value:
        entries = (f"{pad}{json.dumps(k)}: {_render(v, depth + 1)}" for k, v in value.items())
        return "{\n" + ",\n".join(entries) + "\n" + "  " * depth + "}"
    if isinstance(value, list | tuple) and value:
        if not {dict, list, tuple}.isdisjoint(map(type, value)):
            rows = [pad + _render(v, depth + 1) for v in value]
        else:
            cells = _CELLS.encode(value)[1:-1].split("\0")
            if len(cells) <= _PER_LINE:
                return "[" + ", ".join(cells) + "]"
            rows = [
                pad + ", ".join(cells[i : i + _PER_LINE]) for i in range(0, len(cells), _PER_LINE)
            ]
        return "[\n" + ",\n".join(rows) + "\n" + "  " * depth + "]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def read_setup(path: str | os.PathLike[str]) -> Setup:
    """A setup from a small TOML file: lines such as ``paper = "cotton 300 g"``.

    Raises `FileError`, `DocumentError`: it cannot be read, is not TOML, or has an unknown entry.
    """
    return parse_setup(setup_bytes(path), path)


def parse_setup(raw: bytes, path: str | os.PathLike[str]) -> Setup:
    """The same from the bytes of the file; raises `DocumentError`."""
    try:
        data = parse_toml(raw, parse_float=str)
    except ValueError as error:
        raise DocumentError(
            f"{Path(path).name} is not a setup file: {error}",
            'it is TOML: lines such as paper = "cotton 300 g", each name once',
            "put every text in straight double quotes",
        ) from error
    with _naming(path):
        return setup_from_dict(data)


def read_aim(text: str, readings: Readings | None = None) -> Aim:
    """An aim as it is typed: ``lightness``, ``density``, ``like:CURVE`` or ``points:CSV``.

    Raises `DocumentError`, `FileError`, `OptionError`: an unknown aim, a file that does not hold
    one, or a print to be like whose readings count from the bare paper where ``readings`` do not,
    or the other way round.
    """
    kind, _, name = text.partition(":")
    if kind in ("lightness", "density") and not name:
        return Aim(kind)  # type: ignore[arg-type]
    if kind == "like" and name:
        curve = read_curve(name)
        if readings is not None:
            refuse_two_zeros(curve.relative_to_paper, readings.relative_to_paper,
                             f"the print of {Path(name).name}")
        image = curve.correction.image_lightness[::10]
        # counted from the bare paper, noise takes a white a little past 100
        light = curve.print_lightness_at(image).clip(max=100.0)
        pairs = zip(image.tolist(), light.tolist(), strict=True)
        return Aim("like", Path(name).name, tuple(pairs))
    if kind == "points" and name:
        return Aim("points", Path(name).name, _read_points(name))
    raise DocumentError(
        f"the aim is {text!r}",
        "it is lightness, density, like:NAME.curve.json or points:NAME.csv",
        "leave it out for equal steps of lightness",
    )


def _read_points(path: str) -> tuple[tuple[float, float], ...]:
    from tonewright.files.tables import read_table

    wanted = ("image_lightness", "print_lightness")
    table = read_table(Path(path), holds=(wanted,))
    names = [c.lower() for c in table.columns]
    if not all(w in names for w in wanted):
        raise DocumentError(
            f"{Path(path).name} has the columns {table.named}",
            f"the points of an aim need {' and '.join(wanted)}",
            "rename the columns; both are L*, 0 to 100",
        )
    places = [names.index(w) for w in wanted]
    points = []
    for line, row in zip(table.line_numbers, table.rows, strict=True):
        try:
            points.append((float(row[places[0]]), float(row[places[1]])))
        except ValueError as error:
            raise DocumentError(
                f"{Path(path).name}, line {line}: {row}", "a point is two numbers",
                "correct that line"
            ) from error
    return tuple(points)
