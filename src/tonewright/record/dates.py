"""The day of a print."""

from __future__ import annotations

import re
from datetime import date

from tonewright.errors import OptionError

OLDEST = date(1839, 1, 1)
"""No print is older than photography: an older day lacks a digit, or has one too many."""
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def parse_date(text: str, today: date | None = None, code: str = "print_date") -> date:
    """A day, as ``2026-03-31``; ``today`` is the last that can be, ``code`` the error's.

    Raises `OptionError` for any other text, for a day before `OLDEST`, and for one still to come.
    """
    try:
        if not _DAY.fullmatch(text.strip()):
            raise ValueError(text)
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise OptionError(f"the date is {text!r}", "a date is a year, a month and a day, as"
                          " 2026-03-31", "write it so", code=code) from error
    if day < OLDEST:
        raise OptionError(f"the date is {day}", f"no print is older than {OLDEST.year}",
                          "correct the year", code=code)
    if today is not None and day > today:
        raise OptionError(f"the date is {day}, and today is {today}",
                          "a print has been made before it is measured",
                          "correct the date, or the computer's clock", code=code)
    return day
