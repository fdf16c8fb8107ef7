"""Documents from dataclasses and back, by the types of their fields.

`encode` gives what JSON can hold; `decode` checks it strictly and rebuilds the same object.  A
field may be a text, a number, true or false, a `Literal` of texts, ``X | None``, a tuple, an
array (1-D, float64), a dataclass or any `Finding`.  ``Annotated`` says what else holds: a `Rule`,
an `Order`, `COLUMNS`, `Called`.

Our own: msgspec 0.22 takes NaN, reads no array and says "Expected `float`, got `str` - at
`$.xs[1]`"; cattrs 26 takes true and "0.5" as numbers.  Loading takes 25, 75 and here 10 ms of CPU.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Sequence
from dataclasses import fields, is_dataclass, replace
from functools import cache, partial, reduce
from operator import or_
from types import GenericAlias, NoneType, UnionType
from typing import Annotated, Any, Literal, NamedTuple, Self, TypeVar, Union, get_args, get_origin

import numpy as np

from tonewright.errors import DocumentError, TonewrightError, counted
from tonewright.frozen import dataclass
from tonewright.record.findings import Finding, all_codes, finding_class
from tonewright.record.provenance import check_header
from tonewright.record.schema import (
    FAR,
    NUMBER,
    NUMBERS,
    TEXT,
    TEXTS,
    TRUTH,
    Rule,
    all_within,
    is_number,
    is_text,
    is_whole,
    one_of,
    or_none,
    spoken,
)

_T = TypeVar("_T")
LONGEST = 100_000
"""Values in one list of a document, at most."""
COLUMNS = "columns"
"""Rows (a tuple of dataclasses) that are written as one list for each of their fields."""
WHOLE = Rule(is_whole, "it must be a whole number")
LIST = Rule(lambda v: isinstance(v, list), "it must be a list")


def between(low: float, high: float, words: str = "") -> Rule:
    """A number from ``low`` to ``high``, both included."""
    return Rule(lambda v: is_number(v) and low <= v <= high,
                words or f"it lies between {low:g} and {high:g}", span=(low, high))


LEVEL = between(0.0, 1.0, "a level lies between 0 (clear film) and 1 (heaviest ink)")


@dataclass(frozen=True)
class Order:
    """A column of a table, and what holds of each row and the one before it.

    The fields of a dataclass that have one are a table: equally long, with two rows at least.
    """

    holds: Callable[[Any, Any], Any] | None
    words: str = ""


RISING = Order(np.greater, "this column rises from row to row")
FALLING = Order(np.less, "this column falls from row to row")
NEVER_FALLING = Order(np.greater_equal, "this column never falls")
UNORDERED = Order(None)


@dataclass(frozen=True)
class Called:
    """What messages call one entry of a list, where the field's name does not do."""

    name: str


def later(kind: Callable[[], Any]) -> dict[str, Any]:
    """Metadata of a field whose type is imported (by ``kind``) only if the field is decoded."""
    return {"kind": kind}


SPARSE: dict[str, Any] = {"sparse": True}
"""Metadata of a field, by default None, that has no entry at all where it is None: documents from
before there was such a field hold it as well."""


@dataclass(frozen=True)
class Form:
    """The head of one sort of document: ``tonewright-curve``, a version, "correction curve"."""

    name: str
    version: int
    what: str
    way_out: str
    """What to do about a damaged one."""

    def encode(self, value: Any) -> dict[str, Any]:
        """The whole document of a dataclass."""
        return {"format": self.name, "version": self.version, **encode(value)}

    def decode(self, kind: type[_T], data: Any, *, skip: Collection[str] = ()) -> _T:
        """What `encode` wrote; raises as `decode`, and for another format or version."""
        check_header(data, self.name, self.version, self.what)
        parts = {k: v for k, v in data.items() if k not in ("format", "version")}
        return decode(kind, parts, f"the {self.what}", self.way_out, skip=skip)

    def decode_head(self, kind: type[_T], data: Any) -> _T:
        """Some of a document's entries: those that ``kind`` has.  Raises as `decode`."""
        names = {"format", "version", *(f.name for f in fields(kind))}  # type: ignore[arg-type]
        return self.decode(kind, {k: v for k, v in data.items() if k in names})


class Document:
    """A dataclass that is kept in a file of its own."""

    form: Form

    @classmethod
    def decode(cls, data: Any) -> Self:
        """What `Form.encode` wrote; raises as `Form.decode`."""
        return cls.form.decode(cls, data)


def encode(value: Any) -> Any:
    """A value as JSON can hold it: dataclasses as tables, tuples and arrays as lists.

    Raises `TypeError` for what documents do not hold, `ValueError` for a number not finite.
    """
    if isinstance(value, str):  # the name of a file may hold bytes that are no text
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        if not is_number(value):
            raise ValueError(f"a document cannot hold {value}")
        return value if isinstance(value, int) else float(value)
    if isinstance(value, tuple | np.ndarray):
        values = [*value] if isinstance(value, tuple) else value.tolist()
        return values if all_within(values, (-FAR, FAR)) else [*map(encode, values)]
    if not is_dataclass(value) or isinstance(value, type):
        raise TypeError(f"a document cannot hold a {type(value).__name__}")
    entries: dict[str, Any] = {"code": value.code} if isinstance(value, Finding) else {}
    for f in fields(value):
        part = getattr(value, f.name)
        if part is None and "sparse" in f.metadata:
            continue
        # only a tuple can be columns: the types of all else need not be known
        kind = _some(_kind_of(type(value), f.name)) if isinstance(part, tuple) else None
        columns = COLUMNS in _marks(kind)
        entries[f.name] = _encode_rows(_row_kind(kind), part) if columns else encode(part)
    return entries


def _encode_rows(row: Any, rows: Sequence[Any]) -> dict[str, Any]:
    columns: dict[str, Any] = {}
    for f in fields(row):
        kind, cells = _kind_of(row, f.name), [getattr(r, f.name) for r in rows]
        columns[f.name] = _encode_rows(kind, cells) if _is_plain(kind) else encode((*cells,))
    return columns


@dataclass(frozen=True)
class _At:
    """Where in a document we are."""

    what: str
    way_out: str
    within: str = ""
    """`` of print 2 of the recipe``: which of several alike."""

    def part(self, name: str) -> _At:
        return replace(self, what=f"the {name.replace('_', ' ')}{self.within}")

    def entry(self, name: str, number: int) -> _At:
        what = f"{name} {number} of {self.what}"
        return replace(self, what=what, within=f" of {what}")

    def row(self, number: int) -> _At:
        return replace(self, what=f"{self.what} (row {number})")

    def check(self, rule: Rule, name: str, value: Any) -> None:
        if not rule.holds(value):
            raise self.fault(f"{self.what}: {rule.fault(name, value)}", rule.words)

    def check_names(
        self, data: Any, names: Collection[str], may_lack: Collection[str] = ()
    ) -> None:
        """A table with just these entries, of which some may be missing."""
        rule = f"it has {', '.join(names)}"
        if not isinstance(data, dict):
            raise self.fault(f"{self.what} is {spoken(data)}", rule)
        lacking = [name for name in names if name not in data and name not in may_lack]
        if lacking:
            verb = "are" if lacking[1:] else "is"
            raise self.fault(f"{self.what}: {', '.join(lacking)} {verb} missing", rule)
        unknown = [name for name in data if name not in names]
        if unknown:
            shown = spoken(unknown[0]).removeprefix("the text ")
            raise self.fault(f"{self.what}: {shown} does not belong there", rule)

    def check_equal_lengths(self, columns: dict[str, Any]) -> None:
        first, *others = columns
        for name in others:
            if len(columns[name]) != len(columns[first]):
                raise self.fault(f"{self.what}: {name} has {counted(len(columns[name]), 'row')},"
                                 f" {first} {len(columns[first])}", "all columns are equally long")

    def fault(self, given: str, rule: str) -> DocumentError:
        return DocumentError(given, rule, self.way_out)


def decode(
    kind: type[_T], data: Any, what: str, way_out: str, *, skip: Collection[str] = ()
) -> _T:
    """The dataclass that `encode` wrote, every entry checked.

    Messages say ``what`` it is (``the curve``) and the ``way_out`` of a damaged one.  Fields in
    ``skip`` get their default: neither their entries nor their types are looked at.

    Raises
    ------
    DocumentError
        An entry is missing, unknown, of another kind, or breaks a rule: its own, or one that the
        dataclass holds in ``__post_init__``.
    """
    made: _T = _part(kind, data, _At(what, way_out), skip)
    return made


def _part(kind: Any, data: Any, at: _At, skip: Collection[str] = ()) -> Any:
    """A dataclass from a table of its fields."""
    known = _fields(kind, frozenset(skip))
    if not isinstance(data, dict) or [*data] != known.names:  # as it was written
        at.check_names(data, ["code", *known.names] if _is_finding(kind) else known.names,
                       known.sparse)
    values = {name: _value(entry, data[name], name, at) for name, entry in known.read
              if name in data or name not in known.sparse}
    if known.ordered:
        _check_table({n: (order, values[n]) for n, order in known.ordered}, at)
    return _make(kind, values, lambda: at)


class _Fields(NamedTuple):
    """The fields of a dataclass, worked out once."""

    names: list[str]
    read: list[tuple[str, _Entry]]
    """Without those that are skipped."""
    ordered: list[tuple[str, Order]]
    """Of these the columns with an order."""
    sparse: set[str]
    """Those that a document need not have."""


@cache
def _fields(kind: Any, skip: frozenset[str]) -> _Fields:
    names = [f.name for f in fields(kind)]
    if unknown := skip.difference(names):
        raise TypeError(f"{kind.__name__} has no field {', '.join(sorted(unknown))}")
    read = [(name, _entry(kind, name)) for name in names if name not in skip]
    return _Fields(
        names, read, [(name, entry.order) for name, entry in read if entry.order],
        {f.name for f in fields(kind) if "sparse" in f.metadata})


def _check_table(columns: dict[str, tuple[Order, Any]], at: _At) -> None:
    """Columns are equally long and keep their order."""
    at.check_equal_lengths({n: c for n, (_, c) in columns.items()})
    for name, (order, values) in columns.items():
        if len(values) < 2:
            raise at.fault(f"{at.what} has {counted(len(values), 'row')}", "it has two at least")
        good = order.holds is None or order.holds(values[1:], values[:-1])
        if not np.all(good):
            row = int(np.argmin(good))
            raise at.fault(f"{at.what.removeprefix('the ')}, {name}: {values[row + 1]:g} follows"
                           f" {values[row]:g} (row {row + 2})", order.words)


def _make(kind: Any, values: dict[str, Any], where: Callable[[], _At]) -> Any:
    """The dataclass; ``where`` it stands is worked out only if a rule is broken."""
    try:
        return kind(**values)
    except TonewrightError as error:  # the parts know their own rules
        at = where()
        raise at.fault(f"in {at.what}, {error.given}", error.rule) from error


def _value(entry: _Entry, value: Any, name: str, at: _At) -> Any:
    """An entry of any kind, by its name."""
    if isinstance(value, list) and len(value) > LONGEST:
        raise at.fault(f"{at.what}: {name} has {counted(len(value), 'value')}",
                       f"a list has {LONGEST} at most")
    if value is None and entry.may_be_none:
        return None
    if leaf := entry.leaf:
        at.check(leaf.rule, name, value)
        return leaf.make(value)
    if entry.row is None:
        return _part_or_finding(_bare(entry.kind), value, at.part(name))
    row, one = entry.row, entry.called or _singular(name)
    if entry.columns:
        within = at.part(name)
        rows = _rows(row, value, within)
        return tuple(_make(row, cells, partial(within.entry, one, i))
                     for i, cells in enumerate(rows, 1))
    at.check(LIST, name, value)
    return tuple(_part_or_finding(row, v, at.entry(one, i)) for i, v in enumerate(value, 1))


_KNOWN_CODE = Rule(lambda v: is_text(v) and v in all_codes(),
                   "it must be the code of a finding known here")


def _part_or_finding(kind: Any, data: Any, at: _At) -> Any:
    """A dataclass, or whichever finding the code says."""
    if _is_plain(kind):
        return _part(kind, data, at)
    if kind is not Finding:
        raise TypeError(f"documents hold no {kind}")
    if not isinstance(data, dict):
        raise at.fault(f"{at.what} is {spoken(data)}", "it must be a table of code")
    at.check(_KNOWN_CODE, "code", data.get("code"))
    return _part(finding_class(data["code"]), data, at)


def _rows(row: Any, data: Any, at: _At) -> list[dict[str, Any]]:
    """A table of columns as one dictionary of checked cells for each row."""
    names = [f.name for f in fields(row)]
    at.check_names(data, names)
    columns: dict[str, list[Any]] = {}
    for name in names:
        kind, inner = _kind_of(row, name), replace(at, what=f"{at.what}, {name}")
        if _is_plain(kind):
            columns[name] = [_make(kind, cells, partial(inner.row, i))
                             for i, cells in enumerate(_rows(kind, data[name], inner), 1)]
        else:
            columns[name] = [*_value(_column(row, name), data[name], name, at)]
    at.check_equal_lengths(columns)
    return [dict(zip(names, cells, strict=True))
            for cells in zip(*columns.values(), strict=True)]


class _Leaf(NamedTuple):
    """A kind of entry that one rule describes, and how it is made where the rule holds."""

    rule: Rule
    make: Callable[[Any], Any]


class _Entry(NamedTuple):
    """What a field's type says of the entry, worked out once."""

    kind: Any
    """Without ``None``."""
    may_be_none: bool
    leaf: _Leaf | None
    """None: it has parts of its own."""
    called: str | None
    row: Any
    """What a tuple is made of; None for anything else that has parts."""
    columns: bool
    order: Order | None


@cache
def _entry(owner: Any, name: str) -> _Entry:
    return _entry_of(_kind_of(owner, name))


@cache
def _column(owner: Any, name: str) -> _Entry:
    return _entry_of(GenericAlias(tuple, (_kind_of(owner, name), ...)))


def _entry_of(kind: Any) -> _Entry:
    some = _some(kind)
    # a number that may be missing says so
    leaf = _leaf(kind) or _leaf(some)
    rows = leaf is None and get_origin(_bare(some)) is tuple
    called = next((m.name for m in _marks(some, Called)), None)
    return _Entry(some, some != kind, leaf, called, _row_kind(some) if rows else None,
                  COLUMNS in _marks(some), next(iter(_marks(kind, Order)), None))


_LEAVES = {str: _Leaf(TEXT, str), int: _Leaf(WHOLE, int), float: _Leaf(NUMBER, float),
           bool: _Leaf(TRUTH, bool)}
_LISTS = {TEXT: TEXTS, NUMBER: NUMBERS}


@cache
def _leaf(kind: Any) -> _Leaf | None:
    """How a kind is checked by one rule; None if it has parts of its own."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Annotated:
        leaf = _leaf(inner[0])
        return leaf and reduce(_with_rule, _marks(kind, Rule), leaf)
    if origin is Literal and all(map(is_text, inner)):
        return _Leaf(one_of(*inner), str)
    if origin is np.ndarray and inner[1] == np.dtype[np.float64]:
        return _Leaf(NUMBERS, lambda v: np.array(v, dtype=np.float64))
    if origin in (Union, UnionType) and NoneType in inner and len(inner) == 2:
        one = _leaf(inner[0] if inner[1] is NoneType else inner[1])
        if one is None or one.rule.each:
            return None
        return _Leaf(or_none(one.rule), lambda v: None if v is None else one.make(v))
    return _tuple_leaf(inner) if origin is tuple else _LEAVES.get(kind)


def _with_rule(leaf: _Leaf, more: Rule) -> _Leaf:
    """The same, with a rule that holds too and whose words are said."""
    base = leaf.rule.fits if more.each else leaf.rule.holds
    a, b = leaf.rule.span, more.span
    return _Leaf(Rule(lambda v: base(v) and more.fits(v), more.words, more.each,
                      a and b and (max(a[0], b[0]), min(a[1], b[1]))), leaf.make)


def _tuple_leaf(inner: tuple[Any, ...]) -> _Leaf | None:
    """Lists of any length (``X, ...``), or of just as many values."""
    leaves = [leaf for k in inner if (leaf := _leaf(k)) and not leaf.rule.each]
    if inner[1:] == (Ellipsis,) and leaves:
        rule, make = leaves[0]
        many = _LISTS.get(rule) or Rule(rule.fits, f"{rule.words}, throughout the list", each=True,
                                          span=rule.span)
        return _Leaf(many, lambda v: tuple(map(make, v)))
    if len(leaves) < len(inner):
        return None
    return _Leaf(Rule(lambda v: isinstance(v, list) and len(v) == len(leaves)
                      and all(one.rule.fits(x) for one, x in zip(leaves, v, strict=True)),
                      f"it must be a list of {len(leaves)} values, each of its kind"),
                 lambda v: tuple(one.make(x) for one, x in zip(leaves, v, strict=True)))


@cache
def _kind_of(owner: Any, name: str) -> Any:
    """The type of one field, resolved where its class is written."""
    field = owner.__dataclass_fields__[name]
    if "kind" in field.metadata:
        return field.metadata["kind"]()
    home = [c for c in owner.__mro__
            if getattr(c, "__dataclass_fields__", {}).get(name) is field][-1]
    names = vars(sys.modules[home.__module__])
    return eval(field.type, names) if isinstance(field.type, str) else field.type


def _row_kind(kind: Any) -> Any:
    """What a tuple of any length is made of."""
    row, *more = get_args(_bare(kind))
    if more != [Ellipsis]:
        raise TypeError(f"documents hold no {kind}")
    return row


def _some(kind: Any) -> Any:
    """The kind of an entry that may be missing, where it is not."""
    if get_origin(kind) not in (Union, UnionType):
        return kind
    return reduce(or_, (k for k in get_args(kind) if k is not NoneType))


def _bare(kind: Any) -> Any:
    return get_args(kind)[0] if get_origin(kind) is Annotated else kind


def _marks(kind: Any, of: type[_T] | Any = object) -> list[Any]:
    """What an annotation adds to a type."""
    marks = get_args(kind)[1:] if get_origin(kind) is Annotated else ()
    return [m for m in marks if isinstance(m, of)]


def _is_finding(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, Finding)


def _is_plain(kind: Any) -> bool:
    """Whether it is a dataclass that is no finding."""
    return isinstance(kind, type) and is_dataclass(kind) and not _is_finding(kind)


def _singular(name: str) -> str:
    """``patches`` to ``patch``, as one entry is called."""
    ending = "es" if name.endswith(("ches", "xes", "sses")) else "s"
    return name.removesuffix(ending).replace("_", " ")
