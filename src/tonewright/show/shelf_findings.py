"""What strips and checks show over time, as sentences."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from tonewright.shelf import findings
from tonewright.show.sentence import says

QUANTITY = {
    "printing_time": "printing time", "middle_tone_time": "middle tone", "black_lightness": "black",
    "white_lightness": "white", "log_exposure_range": "log exposure range",
    "difference_lightness_mean": "average tone",
}
_SHARES = ((1 / 6, "a sixth of a stop"), (1 / 4, "a quarter of a stop"),
           (1 / 3, "a third of a stop"), (1 / 2, "half a stop"), (2 / 3, "two thirds of a stop"),
           (3 / 4, "three quarters of a stop"), (1.0, "a stop"))


def stops_words(stops: float) -> str:
    """``a third of a stop``: an amount, as it is said at the bench."""
    amount = abs(stops)
    if not 0.13 <= amount <= 1.12:
        return f"{amount:.2f} stop" if amount < 1.0 else f"{amount:.1f} stops"
    return min(_SHARES, key=lambda share: abs(share[0] - amount))[1]


def month_words(day: str) -> str:
    """``March 2026``: a day is said more roughly, for it is not known better."""
    return date.fromisoformat(day).strftime("%B %Y")


def _since_words(found: findings.TimeDrifted | findings.Drifted, what: str = "") -> str:
    """``since June 2026`` where it left its limits in the month in which it began to move; what
    follows is how far it has moved by now."""
    moving, out = month_words(found.moving_since), month_words(found.out_since)
    if moving == out:
        return f"since {out}" + (f" the {what} is" if what else "")
    both = f"moving since about {moving}, outside its limits since {out},"
    return f"{both} the {what} is now" if what else f"{both} now"


def change_words(quantity: findings.Quantity, change: float) -> str:
    """How far something has moved, and which way."""
    if quantity in ("printing_time", "middle_tone_time"):
        return f"{stops_words(change)} {'slower' if change > 0 else 'faster'}"
    if quantity == "log_exposure_range":
        return f"{abs(change):.2f} {'longer' if change > 0 else 'shorter'}"
    return f"{abs(change):.1f} L* {'lighter' if change > 0 else 'darker'}"


_MEANS: dict[findings.Quantity, tuple[str, str]] = {
    "black_lightness": ("look at coating and developer", "the black has become deeper"),
    "white_lightness": ("paper or clearing bath may have changed",
                        "clear longer, or look for fog and stale chemistry"),
    "log_exposure_range": ("renew the curve: contrast has changed",
                           "renew the curve: contrast has changed"),
    "difference_lightness_mean": ("check the printing time, then refine or renew the curve",
                                  "check the printing time, then refine or renew the curve"),
}


def _of(found: findings.TimeDrifted | findings.Drifted | findings.FewForLimits, text: str) -> str:
    return f"{found.of}: {text}" if found.of else text[:1].upper() + text[1:]


def _time_drifted(found: findings.TimeDrifted) -> str:
    instead = "" if found.print_for is None else f", or print for {found.print_for}"
    return _of(found, _since_words(found) +
               f" {change_words('printing_time', found.slower_stops)}"
               f" (±{2.0 * found.slower_stops_sd:.2f} stop)"
               f"{', and still moving' if found.still_moving else ''}; renew{instead}.")


says(findings.TimeDrifted, _time_drifted)
says(findings.Drifted, lambda f: _of(
    f, f"{_since_words(f, QUANTITY[f.quantity])} {change_words(f.quantity, f.change)}:"
    f" {_MEANS[f.quantity][f.change < 0]}."))
says(findings.FewForLimits, lambda f: _of(
    f, f"{f.prints} prints are too few to tell drift from scatter: {f.needed} at least, better"
    " ten."))
says(findings.PrintStrays,
     "{name} stands apart ({what} {how}). One print is no drift: print it again if it matters.",
     name=lambda f: Path(f.file).name, what=lambda f: QUANTITY[f.quantity],
     how=lambda f: change_words(f.quantity, f.change))
says(findings.DatesMissing,
     "Left out, because they have no date such as 2026-03-31, or one before 1839: {files|files}."
     " Make them again with their date.")
says(findings.DatesToCome,
     "Left out, because their date is still to come: {files|files}. Correct the date, or the"
     " computer's clock.")
says(findings.StripsContradicted,
     "Left out, because their readings contradict each other: {files|files}.")
says(findings.CountedOnce, "Copies of others, counted once: {files|files}.")
says(findings.TimeUnitsMixed,
     "{of}: some strips are timed in minutes, others in integrator units; they are followed"
     " apart.")
