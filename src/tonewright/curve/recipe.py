"""What a derived curve is made from: process responses, prints, and where it shall hold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.measured.readings import Readings, refuse_relative
from tonewright.record.times import PrintingTime, ratio
from tonewright.strip.process import Process

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
        for place in (self.process, *(p.process for p in self.prints)):
            if not 0 <= place < len(self.processes):
                raise OptionError(f"process is {place}", "it is a place in the list of processes,"
                                  f" counted from 0; there are {len(self.processes)}", "")
        for print_ in self.prints:
            process = self.processes[print_.process]
            refuse_far_time(print_.time, process, "a target was printed for")
            if print_.readings.relative_to_paper:
                refuse_relative()
            if print_.readings.scale != process.strip.scale:
                raise OptionError(
                    f"the readings are on the scale {print_.readings.scale}, the strip of"
                    f" {process.name} on {process.strip.scale}",
                    "on a coloured print the two differ by up to 0.07 in density and are not"
                    " mixed", "measure both in the same way, or choose one scale for both",
                    code="scales_differ")
        refuse_far_time(self.printing_time, self.own_process, "the curve is wanted for")

    @property
    def own_process(self) -> Process:
        """The one that the curve holds on."""
        return self.processes[self.process]

    @property
    def timer_time(self) -> PrintingTime:
        """What the curve is for, as a timer is set; see `Process.timer_time`."""
        return self.own_process.timer_time(self.printing_time)

    def spoken_print_time(self, print_: PrintedTarget) -> str:
        """What one of the prints was printed for, as it is said."""
        return str(self.processes[print_.process].timer_time(print_.time))


def refuse_far_time(time: PrintingTime, process: Process, what: str) -> None:
    """A strip says nothing of times far from its own; mostly one of the two was mistyped."""
    strip = process.reference_time
    if not 1.0 / FARTHEST <= ratio(time, strip) <= FARTHEST:
        raise OptionError(
            f"{what} {time}, the strip of {process.name} for {strip}",
            f"times more than {FARTHEST:g} times apart are not compared",
            "check both times and their units, or print a strip for a time nearer to it",
            code="time_far")


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
