"""What a derived curve is made from: process responses, prints, and where it shall hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from tonewright.errors import OptionError
from tonewright.measured.readings import Readings, refuse_relative
from tonewright.record.times import PrintingTime, ratio
from tonewright.strip.process import Process

if TYPE_CHECKING:
    from tonewright.curve.document import Curve

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
            _refuse_far_time(print_.time, process, "a target was printed for")
            if print_.readings.relative_to_paper:
                refuse_relative()
            if print_.readings.scale != process.strip.scale:
                raise OptionError(
                    f"the readings are on the scale {print_.readings.scale}, the strip of"
                    f" {process.name} on {process.strip.scale}",
                    "on a coloured print the two differ by up to 0.07 in density and are not"
                    " mixed", "measure both in the same way, or choose one scale for both",
                    code="scales_differ")
        _refuse_far_time(self.printing_time, self.processes[self.process],
                         "the curve is wanted for")

    def timer_time(self, process: int, time: PrintingTime) -> PrintingTime:
        """A time as it is said: a base printing time rounded as a timer is set, any other as it
        was given."""
        return time.on_timer() if time == self.processes[process].base_time else time

    @property
    def spoken_time(self) -> str:
        """What the curve is for, as it is said."""
        return str(self.timer_time(self.process, self.printing_time))

    def spoken_print_time(self, print_: PrintedTarget) -> str:
        """What one of the prints was printed for, as it is said."""
        return str(self.timer_time(print_.process, print_.time))


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


@dataclass(frozen=True, eq=False)
class DerivedSettings:
    """What a derived curve is wanted for; None: the usual."""

    target_time: PrintingTime | None = None
    """What the target was printed for; None: the strip's time, as on one sheet."""
    printing_time: PrintingTime | None = None
    """What the curve shall hold for; None: the base printing time."""
    ink_from: tuple[Curve, ...] = ()
    """Other curves made with the same printer, film and ink, whose prints count too."""


def make_recipe(
    process: Process, readings: Readings | None, settings: DerivedSettings
) -> Recipe:
    """The recipe of a curve for ``process`` from readings of a target, from other curves' ink,
    or from both.

    Raises
    ------
    OptionError
        Nothing tells of the ink, what the target was printed for is not known, or scales or units
        do not go together.
    """
    processes = [process]
    prints = []
    if readings is not None:
        times = process.strip.times()
        if settings.target_time is None and len(times) > 1:
            raise OptionError(
                f"strips of {process.name} were printed for {' and '.join(map(str, times))}",
                "for which of them, or for what else, the target was printed must be known",
                "name the time that the target was printed for", code="target_time_unknown",
                time=str(times[0]).replace(" ", ""))
        prints.append(PrintedTarget(readings, 0, settings.target_time or times[0]))
    for other in settings.ink_from:
        recipe = recipe_of(other)
        first = len(processes)
        processes += recipe.processes
        prints += [replace(p, process=p.process + first) for p in prints_of(other)]
    if not prints:
        raise OptionError("nothing tells how dense the ink is", "it must be known from a print",
                          "name the readings of a target, or a curve made with the same ink",
                          code="ink_unknown")
    return pooled(tuple(processes), tuple(prints), 0, settings.printing_time or process.base_time)


def recipe_of(curve: Curve) -> Recipe:
    """What a curve was derived from; `OptionError` if it was fitted without a process."""
    if curve.recipe is None:
        raise OptionError(
            f"the curve {curve.name} was made without a process response",
            "how dense its ink is can only be told through one",
            "print a strip on its paper and make the curve again with it, or print a whole target",
            code="curve_without_process")
    return curve.recipe


def prints_of(curve: Curve) -> tuple[PrintedTarget, ...]:
    """The prints of a curve's recipe, without the patches that it leaves out."""
    return tuple(replace(p, left_out=tuple(dict.fromkeys((*p.left_out,
                                                          *curve.settings.left_out))))
                 for p in recipe_of(curve).prints)
