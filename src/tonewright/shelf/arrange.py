"""What stands on the shelf: documents by setup, what was checked last, and what is due."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import cached_property
from typing import Literal

from tonewright.errors import OptionError, counted
from tonewright.frozen import dataclass
from tonewright.record.dates import parse_date
from tonewright.record.setup import COATED, MADE_WITH, Setup, alike, other_light

DUE_AFTER_DAYS = 90
"""Common practice, no source: lamps, papers and rooms change with the season."""

Kind = Literal["curve", "process", "target", "scanner", "check"]
Because = Literal["check_failed", "never_checked", "checked_long_ago", "strip_old", "recent",
                  "superseded", "date_unknown"]


@dataclass(frozen=True)
class Relative:
    """Another document: its name and the fingerprint of its file (SHA-256, hex)."""

    name: str
    sha256: str


@dataclass(frozen=True, kw_only=True)
class Shelved:
    """One document, as far as the shelf shows it; None: it does not say."""

    file: str
    """Its path within the folder."""
    sha256: str
    kind: Kind
    name: str
    setup: Setup | None = None
    date: date | None = None
    date_said: str | None = None
    """As the document has it."""
    printing_time: str | None = None
    density_range: float | None = None
    """Of a curve's negatives."""
    log_exposure_range: float | None = None
    """Of a process, by ISO 6846."""
    black_lightness: float | None = None
    """L* that prints reach, of a curve and of a process that knows it; also the next."""
    white_lightness: float | None = None
    error_lightness: float | None = None
    """L*: half the band of a curve on the average, root mean square of a check."""
    passes: bool | None = None
    """Of a check."""
    of: Relative | None = None
    """The ancestor of a curve; the curve that a check is of."""

    @cached_property
    def place(self) -> tuple[str, ...]:
        """What it was made with, to tell setups apart."""
        return () if self.setup is None else alike(self.setup)


@dataclass(frozen=True)
class Place:
    """A document on the shelf, and whether it is due for a check or a new strip."""

    document: Shelved
    last_check: Shelved | None
    due: bool | None
    """None: of a kind that is never due, or its date is not known."""
    because: Because | None


@dataclass(frozen=True)
class Board:
    """The documents of one setup, the newest first."""

    setup: Setup | None
    """None: documents that have none."""
    places: tuple[Place, ...]


@dataclass(frozen=True)
class LeftOut:
    """A file that could not be used, and why."""

    file: str
    given: str
    rule: str


@dataclass(frozen=True)
class Shelf:
    """Everything that was found."""

    boards: tuple[Board, ...]
    left_out: tuple[LeftOut, ...]
    whole: bool
    """False: so many documents that their tables of numbers were not looked at."""


def day_of(text: str | None, today: date) -> date | None:
    """The day that a setup or a document says; None where it says none, or one to come."""
    try:
        return None if text is None else parse_date(text, today)
    except OptionError:
        return None


def due_limit(today: date, days: int = DUE_AFTER_DAYS) -> date:
    """What is older than this day is due; raises `OptionError` for days out of reason."""
    if not 1 <= days <= 36_500:
        raise OptionError(f"documents are due after {counted(days, 'day')}",
                          "it is 1 day at least, and a lifetime at most",
                          f"leave it out for {DUE_AFTER_DAYS}", code="due_after")
    return today - timedelta(days)


def arrange(documents: Sequence[Shelved], limit: date) -> tuple[Board, ...]:
    """Documents by setup, in each the newest first; those without a setup come last.

    A curve is due for a check where the last one failed, or where it and its last check are older
    than ``limit``; a process for a new strip where it is older.  Neither is due once a later one
    of the same setup has taken its place.
    """
    rule = _Rule(documents, limit)
    boards: dict[tuple[str, ...], list[Shelved]] = {}
    for one in documents:
        boards.setdefault(one.place, []).append(one)
    return tuple(
        Board(group[0].setup and group[0].setup.without_occasion(),
              tuple(map(rule.place, sorted(group, key=_newest_first))))
        for _, group in sorted(boards.items(), key=lambda item: (not item[0], item[0])))


def made_otherwise(place: Place, now: Setup) -> tuple[tuple[str, str, str], ...]:
    """In what a curve or process was made otherwise than the paper is used now: entry, old and new
    words, as `other_light`; nothing for one that a later has taken the place of."""
    one, entries = place.document, {"process": COATED, "curve": MADE_WITH}
    if one.setup is None or one.kind not in entries or place.because == "superseded":
        return ()
    return other_light(one.setup, now, entries[one.kind])


def _newest_first(one: Shelved) -> tuple[int, str, str]:
    return -(one.date or date.min).toordinal(), one.kind, one.file


class _Rule:
    """What is known of all documents, to judge one of them."""

    def __init__(self, documents: Sequence[Shelved], limit: date) -> None:
        self.limit = limit
        self.checks: dict[str, Shelved] = {}
        self.latest_strip: dict[tuple[str, ...], date] = {}
        self.heirs: dict[tuple[str, tuple[str, ...]], date] = {}
        for one in sorted(documents, key=_newest_first, reverse=True):  # the newest counts
            if one.kind == "check" and one.of is not None:
                self.checks[one.of.sha256] = one
            elif one.kind == "process" and one.date is not None:
                self.latest_strip[one.place] = one.date
            elif one.kind == "curve" and one.of is not None and one.date is not None:
                self.heirs[one.of.sha256, one.place] = one.date

    def place(self, one: Shelved) -> Place:
        if one.kind == "curve":
            check = self.checks.get(one.sha256)
            return Place(one, check, *self._curve(one, check))
        return Place(one, None, *(self._process(one) if one.kind == "process" else (None, None)))

    def _curve(self, one: Shelved, check: Shelved | None) -> tuple[bool | None, Because]:
        heir = self.heirs.get((one.sha256, one.place))
        if heir is not None and (one.date is None or heir > one.date):
            return False, "superseded"
        if check is not None and check.passes is False:
            return True, "check_failed"
        last = max((d for d in (one.date, check and check.date) if d), default=None)
        if last is None:
            return None, "date_unknown"
        if last >= self.limit:
            return False, "recent"
        return True, "never_checked" if check is None else "checked_long_ago"

    def _process(self, one: Shelved) -> tuple[bool | None, Because]:
        if one.date is None:
            return None, "date_unknown"
        if self.latest_strip[one.place] > one.date:
            return False, "superseded"
        return (True, "strip_old") if one.date < self.limit else (False, "recent")
