"""Printing times, as they are typed and as a timer is set."""

from __future__ import annotations

import re
from typing import Literal

from tonewright.errors import OptionError
from tonewright.frozen import dataclass

TimeUnit = Literal["s", "unit"]
"""Seconds, or the units of a light integrator, which count light instead of time."""

_SECONDS = {"s": 1.0, "sec": 1.0, "second": 1.0, "m": 60.0, "min": 60.0, "minute": 60.0,
            "h": 3600.0, "hour": 3600.0}
_PART = re.compile(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*([a-z]+)\.?", re.ASCII)
_CLOCK = re.compile(r"(\d+):(\d{1,2})(?::(\d{1,2}))?", re.ASCII)
SHORTEST, LONGEST = 1e-3, 1e7
"""No timer is set to less or more; ten powers of ten bound what has to be computed."""
_WAY_OUT = "write 12min, 90s, 7:30 or, with an integrator, 120units"


@dataclass(frozen=True)
class PrintingTime:
    """A printing time above 0, in seconds or in integrator units."""

    value: float
    unit: TimeUnit = "s"

    def __post_init__(self) -> None:
        """Hold the rule; `OptionError` otherwise."""
        if not SHORTEST <= self.value <= LONGEST:
            raise OptionError(f"the printing time is {self.value:g}",
                              f"it is longer than 0: {SHORTEST:g} at least, {LONGEST:.0f} at most"
                              " (seconds or units)", _WAY_OUT,
                              code="time_impossible")

    def times(self, factor: float) -> PrintingTime:
        """So many times as long."""
        return PrintingTime(self.value * factor, self.unit)

    def on_timer(self) -> PrintingTime:
        """Rounded to what a timer is set to: about a twentieth of a stop or finer."""
        steps: tuple[tuple[float, float], ...] = (
            (75.0, 1.0), (300.0, 5.0), (1200.0, 15.0), (3600.0, 30.0), (LONGEST, 60.0))
        if self.unit == "unit":
            steps = ((30.0, 0.5), (1000.0, 1.0), (LONGEST, 10.0))
        step = next(s for most, s in steps if self.value <= most)
        return PrintingTime(max(round(self.value / step), 1) * step, self.unit)

    def __str__(self) -> str:
        """As it is read aloud: ``12 min 30 s`` or ``120 units``."""
        if self.unit == "unit":
            return f"{self.value:g} units"
        hours, rest = divmod(round(self.value, 1), 3600.0)
        minutes, seconds = divmod(rest, 60.0)
        parts = [f"{hours:.0f} h" if hours else "", f"{minutes:.0f} min" if minutes else "",
                 f"{seconds:g} s" if seconds else ""]
        return " ".join(p for p in parts if p) or f"{self.value:g} s"


def parse_time(text: str) -> PrintingTime:
    """A printing time as it is typed: ``10min``, ``8 min 30 s``, ``7:30``, ``120units``.

    Raises
    ------
    OptionError
        Not a time, no unit, or 0.
    """
    plain = text.strip().lower()
    clock = _CLOCK.fullmatch(plain)
    if clock:
        parts = [int(p) for p in clock.groups() if p is not None]
        if max(parts[1:]) > 59:
            places = "minutes and seconds" if parts[2:] else "seconds"
            raise OptionError(f"the printing time is {text!r}",
                              f"{places} must be 59 or less", _WAY_OUT, code="time_unclear")
        seconds = 0.0
        for part in parts:
            seconds = 60.0 * seconds + part
        return PrintingTime(seconds)
    total, unit, at = 0.0, None, 0
    while match := _PART.match(plain, at):
        number, word = float(match[1].replace(",", ".")), match[2]
        singular = word if word in _SECONDS else word.removesuffix("s")
        kind: TimeUnit = "unit" if singular in ("unit", "u") else "s"
        if (kind == "s" and singular not in _SECONDS) or (unit is not None and unit != kind):
            break
        total += number * _SECONDS.get(singular, 1.0)
        unit, at = kind, match.end()
    if unit is None or plain[at:].strip():
        bare = plain.replace(",", ".").replace(".", "", 1).isdigit()
        raise OptionError(f"the printing time is {text!r}",
                          "a time has a unit" if bare else "that is not a time", _WAY_OUT,
                          code="time_unclear")
    return PrintingTime(total, unit)


THIRDS = 3
"""Of a stop: as far as a ladder goes either way."""


def ladder(
    time: PrintingTime, reciprocity: float = 1.0
) -> tuple[tuple[int, PrintingTime], ...]:
    """Times from a stop less to a stop more, each with its count of thirds, as a timer is set.

    With a Schwarzschild exponent of ``reciprocity`` light grows as time to that power, so a stop is
    more or less than twice the time.
    """
    return tuple((n, time.times(2.0 ** (n / 3.0 / reciprocity)).on_timer() if n else time)
                 for n in range(-THIRDS, THIRDS + 1))


def ratio(longer: PrintingTime, shorter: PrintingTime) -> float:
    """How many times as long one time is as another.

    Raises
    ------
    OptionError
        One in minutes, the other in integrator units.
    """
    if longer.unit != shorter.unit:
        raise OptionError(f"one time is {longer}, another {shorter}",
                          "minutes and integrator units cannot be compared",
                          "give all times in the same unit", code="time_units_differ")
    return longer.value / shorter.value
