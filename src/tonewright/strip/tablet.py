"""Step tablets: strips of film whose steps grow denser by a known amount."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np

from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.frozen import dataclass
from tonewright.measured import columns
from tonewright.measured.columns import Table
from tonewright.scales import Array

NOMINAL = {"31": (31, 0.10), "21": (21, 0.15)}
"""The usual ones: both span a density of 3.0, ten stops."""
TABLETS = ("it is 31 (steps of 0.10), 21 (of 0.15), N x D such as 25x0.12, or a CSV file of its"
           " measured densities")
_NAMED = re.compile(r"(\d{1,3})\s*[x×]\s*(\d*[.,]?\d+)", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True)
class Tablet:
    """Printing density of each step, the clearest first.

    A nominal tablet counts from its first step, which is 0; a calibrated one from no film at
    all, as it was measured.
    """

    name: str
    densities: tuple[float, ...]
    calibrated: bool = False

    def __post_init__(self) -> None:
        """Hold the rules; `OptionError` says which one is broken."""
        if len(self.densities) < 6:
            raise OptionError(f"the tablet {self.name} has {counted(len(self.densities), 'step')}",
                              "a strip needs 6 at least", "use a tablet of 21 or 31 steps",
                              code="tablet_too_short")
        for number, (a, b) in enumerate(pairwise(self.densities), 2):
            if not b > a:
                raise OptionError(f"step {number} of the tablet {self.name} has density {b:g}"
                                  f" after {a:g}", "every step is denser than the one before",
                                  "list the steps from the clearest to the densest",
                                  code="tablet_not_rising")
        if not (self.densities[0] >= 0.0 and self.densities[-1] <= 6.0):
            raise OptionError(
                f"the tablet {self.name} runs from {self.densities[0]:g} to"
                f" {self.densities[-1]:g}", "densities of a tablet lie between 0 and 6",
                "check the numbers", code="tablet_beyond_film")

    @property
    def density(self) -> Array:
        """Densities, shape (steps,)."""
        return np.array(self.densities)

    @property
    def just_black(self) -> float:
        """Density that step 2 adds to step 1: at the base printing time it just prints black.

        Step 1 is the tablet's own base, which no negative has; so it is not counted.
        """
        return self.densities[1] - self.densities[0]

    @property
    def step(self) -> float:
        """Density from one step to the next, on the average."""
        return (self.densities[-1] - self.densities[0]) / (len(self.densities) - 1)


def nominal_tablet(text: str) -> Tablet:
    """``31``, ``21`` or any ``N x D``: N steps, each denser by D.

    Raises
    ------
    OptionError
        Neither of those.
    """
    plain = text.strip()
    named = _NAMED.fullmatch(plain)
    if plain in NOMINAL:
        count, step = NOMINAL[plain]
    elif named:
        count, step = int(named[1]), float(named[2].replace(",", "."))
    else:
        raise OptionError(f"the tablet is {text!r}",
                          TABLETS, "name the one you have", code="tablet_unknown")
    return Tablet(plain, tuple(round(step * k, 6) for k in range(count)))


def tablet_from_table(table: Table) -> Tablet:
    """A calibrated tablet from a file with the columns ``step`` and ``density``, or densities alone
    from step 1 on.

    Raises
    ------
    ReadingsError
        A column or a step is missing, or a cell is no number.
    """
    name = table.source.name
    step, density = columns.find(table, "step"), columns.find(table, "density")
    if density is None or (step is None and len(table.columns) > 1):
        raise ReadingsError(f"{name} has the columns {table.named}",
                            "a tablet's file has step and density",
                            "name the columns so; step 1 is the clearest",
                            code="no_tablet_columns")
    numbers = np.arange(1, len(table.rows) + 1) if step is None else columns.numbers(table, step)
    order = np.argsort(numbers, kind="stable")
    if not np.array_equal(numbers[order], np.arange(1, numbers.size + 1)):
        raise ReadingsError(f"{name} has the steps {', '.join(f'{n:g}' for n in numbers)}"[:200],
                            "steps are numbered 1, 2, 3 … without a gap", "correct the column step",
                            code="tablet_steps_with_gaps")
    values = columns.numbers(table, density)[order]
    return Tablet(name, tuple(float(v) for v in values), calibrated=True)
