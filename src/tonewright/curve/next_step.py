"""What to do next with a curve: one step, as a code with what it needs."""

from __future__ import annotations

from typing import Literal

from tonewright.curve.derive import UNSURE
from tonewright.curve.document import Curve
from tonewright.frozen import dataclass
from tonewright.record.times import PrintingTime

CONTRADICTS = 1.8
"""From how many times more disagreement than reading noise on something is plainly wrong."""
Code = Literal["repeat_strip", "print_longer_strip", "settle_contradiction", "print_patches",
               "make_negative"]


@dataclass(frozen=True)
class NextStep:
    """The one thing to do next, from the most urgent on.

    ``repeat_strip``: its readings contradict each other.  ``print_longer_strip``: it did not show
    black.  ``settle_contradiction``: strips and patches contradict each other.
    ``print_patches``: the curve is too unsure, and its plan says what would help.
    ``make_negative``: nothing speaks against the curve.
    """

    code: Code
    doubtful: bool = False
    """Whether doubtful patches are to be measured again or left out first."""
    strip_time: PrintingTime | None = None
    """What the longer strip is to be printed for."""


def next_step(curve: Curve) -> NextStep:
    """What to do with a curve."""
    found, doubtful = curve.summary, bool(curve.summary.doubtful)
    if curve.recipe is not None:
        process = curve.recipe.own_process
        longer = process.summary.next_time
        if process.contradicted:
            return NextStep("repeat_strip")
        if longer is not None:
            return NextStep("print_longer_strip", strip_time=PrintingTime(longer, process.unit))
        if found.disagreement is not None and found.disagreement > CONTRADICTS:
            return NextStep("settle_contradiction", doubtful)
        if curve.plan and found.band_halfwidth_max > UNSURE:
            return NextStep("print_patches", doubtful)
    return NextStep("make_negative")


def plan_to_print(curve: Curve, *, renewed: bool = False) -> tuple[float, ...]:
    """Ink levels worth printing and measuring now: where the curve is too unsure, and always after
    a renewal without patches, unless something else must be put right first."""
    code = next_step(curve).code
    wanted = code == "print_patches" or (
        code == "make_negative" and renewed and curve.summary.few_patches_moved_lightness is None)
    return curve.plan if wanted else ()
