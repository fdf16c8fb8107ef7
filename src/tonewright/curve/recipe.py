"""What a derived curve is made from: process responses, prints, and where it shall hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from tonewright.errors import DocumentError, OptionError
from tonewright.measured.readings import Readings, refuse_relative
from tonewright.record.codec import decode, encode
from tonewright.record.schema import TABLE, TABLES, TEXTS, Rule, check_entries, is_whole
from tonewright.record.times import TIME_RULE, UNIT_RULE, PrintingTime, ratio
from tonewright.strip.process import FORM, Process

FARTHEST = 32.0
"""Times as long or as short as the strip's that are still compared: five stops."""


@dataclass(frozen=True, eq=False)
class PrintedTarget:
    """A target as it was printed: on which of the recipe's processes, and for how long."""

    readings: Readings
    process: int
    time: PrintingTime
    left_out: tuple[str, ...] = ()
    """Names of its patches that do not count."""


@dataclass(frozen=True, eq=False)
class Recipe:
    """Everything that a curve by way of ``P(u) = H(x0 - N(u))`` is made from.

    The curve holds on ``processes[process]`` at ``printing_time``; the prints on any of the
    processes tell of the ink.
    """

    processes: tuple[Process, ...]
    prints: tuple[PrintedTarget, ...]
    process: int
    printing_time: PrintingTime

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        for print_ in self.prints:
            process = self.processes[print_.process]
            _refuse_far_time(print_.time, process, "a target was printed for")
            if print_.readings.relative_to_paper:
                refuse_relative()
            if print_.readings.scale != process.strip.scale:
                raise OptionError(
                    f"the readings are on the scale {print_.readings.scale}, the strip of"
                    f" {process.name} on {process.strip.scale}",
                    "on a coloured print the two differ by up to 0.07 in density and are not"
                    " mixed", "measure both in the same way, or choose with --scale")
        _refuse_far_time(self.printing_time, self.processes[self.process],
                         "the curve is wanted for")

    @property
    def spoken_time(self) -> str:
        """What the curve is for, as it is said."""
        return self.processes[self.process].spoken(self.printing_time)

    def spoken_print_time(self, print_: PrintedTarget) -> str:
        """What one of the prints was printed for, as it is said."""
        return self.processes[print_.process].spoken(print_.time)

    def to_dict(self) -> dict[str, Any]:
        """Plain dictionary."""
        return {
"processes": [FORM.encode(p) for p in self.processes],
            "prints": [{"readings": encode(p.readings), "process": p.process,
                        "time": p.time.value, "time_unit": p.time.unit,
                        "left_out": list(p.left_out)} for p in self.prints],
            "process": self.process, "printing_time": self.printing_time.value,
            "time_unit": self.printing_time.unit,
        }


_WHAT = "the curve's recipe"
_DAMAGED = "take an unedited copy, or make the curve again from its readings"
_RECIPE = {"processes": TABLES, "prints": TABLES, "printing_time": TIME_RULE,
           "time_unit": UNIT_RULE}
_PRINT = {"readings": TABLE, "time": TIME_RULE, "time_unit": UNIT_RULE, "left_out": TEXTS}


def recipe_from_dict(data: Any) -> Recipe:
    """Check and rebuild a recipe.

    Raises
    ------
    DocumentError
        Not what `Recipe.to_dict` writes.
    """
    check_entries(data, _RECIPE, _WHAT, _DAMAGED)
    count = len(data["processes"])
    index = Rule(lambda v: is_whole(v) and 0 <= v < count,
                 f"it is a place in the list of processes, counted from 0; there are {count}")
    check_entries(data, {"process": index}, _WHAT, _DAMAGED)
    for number, print_ in enumerate(data["prints"], 1):
        check_entries(print_, {**_PRINT, "process": index}, f"print {number} of {_WHAT}",
                      _DAMAGED)
    processes = tuple(FORM.decode(Process, p) for p in data["processes"])
    prints = tuple(
        PrintedTarget(decode(Readings, p["readings"], f"the readings of {_WHAT}", _DAMAGED),
                      p["process"], PrintingTime(float(p["time"]), p["time_unit"]),
                      tuple(p["left_out"]))
        for p in data["prints"])
    try:
        return Recipe(processes, prints, data["process"],
                      PrintingTime(float(data["printing_time"]), data["time_unit"]))
    except OptionError as error:  # a recipe knows its own rules
        raise DocumentError(f"{_WHAT}: {error.given}", error.rule, _DAMAGED) from error


def _refuse_far_time(time: PrintingTime, process: Process, what: str) -> None:
    """A strip says nothing of times far from its own; mostly one of the two was mistyped."""
    strip = process.reference_time
    if not 1.0 / FARTHEST <= ratio(time, strip) <= FARTHEST:
        raise OptionError(
            f"{what} {time}, the strip of {process.name} for {strip}",
            f"times more than {FARTHEST:g} times apart are not compared",
            "check both times and their units, or print a strip for a time nearer to it")


def pooled(
    processes: tuple[Process, ...], prints: tuple[PrintedTarget, ...], process: int,
    time: PrintingTime,
) -> Recipe:
    """A recipe in which each strip and each print counts once, however often it is named.

    Raises
    ------
    OptionError
        As `Recipe`.
    """
    kept: list[Process] = []
    place = []
    for one in processes:
        same = next((i for i, k in enumerate(kept)
                     if k.strip == one.strip and k.tablet == one.tablet
                     and k.settings == one.settings), len(kept))
        if same == len(kept):
            kept.append(one)
        place.append(same)
    once: dict[tuple[Any, ...], PrintedTarget] = {}
    for print_ in prints:
        moved = replace(print_, process=place[print_.process])
        once.setdefault((moved.process, moved.time, moved.readings.patches), moved)
    return Recipe(tuple(kept), tuple(once.values()), place[process], time)
