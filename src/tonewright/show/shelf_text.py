"""What stands on the shelf, in plain words."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

from tonewright.errors import counted, listed
from tonewright.record.provenance import short_id
from tonewright.record.setup import INK, Setup
from tonewright.shelf.arrange import LeftOut, Place, Shelf, Shelved
from tonewright.show.report import report, taken
from tonewright.show.words import WIDTH, Fact, typed

_BECAUSE = {
    "check_failed": "DUE: the last check did not pass",
    "never_checked": "DUE: never checked",
    "checked_long_ago": "DUE: the last check is long ago",
    "strip_old": "DUE: the strip is old; print a new one",
    "superseded": "a later one has taken its place",
    "date_unknown": "whether it is due is not known: its date is missing",
}
Changes = Sequence[tuple[str, str, str]]
"""Entries of a setup, with their words then and now."""
_EXPOSES = ("check_failed", "strip_old")
"""Where a strip is to be printed."""
MOST_LEFT_OUT = 20
"""Files that could not be used, by name."""


def shelf_json(shelf: Shelf, folder: str) -> dict[str, Any]:
    """Every document by setup, under the names the command line promises."""
    return {
        "folder": folder, "documents": sum(len(b.places) for b in shelf.boards),
        "read_whole": shelf.whole,
        "due": [p.document.file for b in shelf.boards for p in b.places if p.due],
        "setups": [{"setup": None if b.setup is None else asdict(b.setup),
                    "documents": [*map(_place_json, b.places)]} for b in shelf.boards],
        "left_out": [asdict(one) for one in shelf.left_out],
    }


def _place_json(place: Place) -> dict[str, Any]:
    one, check = place.document, place.last_check
    return {
        **taken(one, "file", "kind", "name", "sha256", "date", "date_said", "printing_time",
                "density_range", "log_exposure_range", "error_lightness", "passes"),
        "ancestor": asdict(one.of) if one.of and one.kind == "curve" else None,
        "checks": asdict(one.of) if one.of and one.kind == "check" else None,
        "last_check": check and taken(check, "file", "passes", "date"),
        **taken(place, "due", "because"),
    }


def shelf_text(shelf: Shelf, folder: str) -> str:
    """The documents by setup, what is due, what was left out, and what to do next."""
    places = [p for board in shelf.boards for p in board.places]
    due = [p for p in places if p.due]
    lines: list[Fact | str] = []
    for board in shelf.boards:
        lines += ["", filled(setup_words(board.setup))]
        for place in board.places:
            lines += _place_lines(place)
    lines += ["", *left_out_facts(shelf.left_out)] if shelf.left_out else []
    if not shelf.whole:
        lines += ["", filled(f"With {len(places)} documents only the head of each was read: damage"
                              " to its tables shows when it is used.", "", "")]
    return report(f"{folder}: {counted(len(places), 'document')}, {len(due) or 'none'} due for a"
                  " check or a new strip", lines, None, _next(due),
                  exposes=any(p.because in _EXPOSES for p in due))


def setup_words(setup: Setup | None) -> str:
    """``cotton 300 g; lamp: UV tubes``: a setup in one line."""
    if setup is None:
        return "No setup (targets, scanners)"
    said = [value if entry == "paper" else f"{entry.replace('_', ' ')}: {value}"
            for entry, value in asdict(setup).items() if value is not None]
    return "; ".join(said) or "A setup of which nothing is noted"


def filled(text: str, first: str = "", rest: str = "  ") -> str:
    """A line, wrapped where it is too long."""
    line = first + text
    if len(line) <= WIDTH:  # most are, and there may be thousands
        return line
    return textwrap.fill(text, WIDTH, initial_indent=first, subsequent_indent=rest,
                         break_on_hyphens=False)


def _place_lines(place: Place) -> list[str]:
    one, check = place.document, place.last_check
    facts = [one.name, one.printing_time,
             one.density_range is not None and f"density range {one.density_range:.2f}",
             one.log_exposure_range is not None
             and f"log exposure range {one.log_exposure_range:.2f}", _error(one)]
    relation = "from" if one.kind == "curve" else "of"
    more = [one.file, one.of and f"{relation} {one.of.name} ({short_id(one.of.sha256)})",
            check and f"last check {check.date or 'without a date'}"
                      f" {'passed' if check.passes else 'did not pass'}",
            one.date is None and one.date_said is not None
            and f"the date {one.date_said} is not one such as 2026-03-31, before 1839, or still to"
            " come",
            because_words(place)]
    head = f"  {one.date or ''!s:<10} {_kind(one):<8}"
    return [filled(", ".join(f for f in facts if f), head, " " * 21),
            filled("; ".join(m for m in more if m), " " * 21, " " * 21)]


def kept_words(place: Place) -> tuple[str, ...]:
    """Of a curve or process its name, black and white, printing time, age and last check; "" where
    it does not say."""
    one, check = place.document, place.last_check
    passed = "" if check is None else "passed" if check.passes else "did not pass"
    return (f"{one.name} ({_kind(one)})", _tone(one.black_lightness), _tone(one.white_lightness),
            one.printing_time or "", _age(one.date),
            "" if check is None else f"{_age(check.date) or 'no date'}, {passed}")


def _kind(one: Shelved) -> str:
    return "strip" if one.kind == "process" else one.kind


def _tone(lightness: float | None) -> str:
    return "" if lightness is None else f"L*\N{NO-BREAK SPACE}{lightness:.1f}"


def _age(day: date | None) -> str:
    if day is None:
        return ""
    days = (date.today() - day).days
    if days < 1:
        return "today"
    return f"{counted(days, 'day')} old" if days < 60 else f"{days // 30} months old"


def because_words(place: Place) -> str:
    """Whether a document is due and why; empty where there is nothing to say."""
    return _BECAUSE.get(place.because or "", "")


def changed_words(changes: Changes) -> str:
    """In which entries a curve or process was made otherwise."""
    return f"Made with another {listed(entry for entry, *_ in changes)}."


def otherwise_words(kind: str, changes: Changes) -> tuple[str, ...]:
    """What was otherwise when a curve or process was made, and what that asks for."""
    if kind == "process":
        need = "print a new strip"
    elif {entry.replace(" ", "_") for entry, *_ in changes}.isdisjoint(INK):
        need = "print a strip, and renew the curve"
    else:  # the ink itself has another density then
        need = "print a target, and make a new curve"
    return (*(f"Another {entry}: {old} then, {new} now." for entry, old, new in changes),
            f"Next: {need}.")


def _error(one: Shelved) -> str | None:
    if one.error_lightness is None:
        return None
    if one.kind == "curve":
        return f"known to ±{one.error_lightness:.1f} L*"
    return f"{'passes' if one.passes else 'does not pass'}, {one.error_lightness:.1f} L* off"


def left_out_facts(left_out: tuple[LeftOut, ...]) -> list[Fact]:
    """The files that could not be used, and why."""
    facts = [("left out", f"{one.file}: {one.given}") for one in left_out[:MOST_LEFT_OUT]]
    more = len(left_out) - MOST_LEFT_OUT
    return [*facts, *([("", f"and {counted(more, 'more file')}")] if more > 0 else [])]


def _next(due: list[Place]) -> str:
    curve = next((p for p in due if p.document.kind == "curve"), None)
    if curve is None:
        return ("print a new strip for each setup whose strip is due." if due else
                "nothing is due; to see what moved over time, type  tonewright drift FOLDER")
    if curve.because == "check_failed":
        return (f"do what the check of {curve.document.name} says, or print a strip and renew the"
                " curve.")
    return (f"measure a print made through {curve.document.name}, and type  tonewright check"
            f" {typed(curve.document.file)} READINGS.csv")
