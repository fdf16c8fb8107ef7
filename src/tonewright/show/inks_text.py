"""What the inks command says, in plain words and under the promised names."""

from __future__ import annotations

from typing import Any

from tonewright.errors import counted
from tonewright.inks.findings import InkPatchesDiffer
from tonewright.inks.rank import Amount, InkRanking, InkStep, RankedInk
from tonewright.record.codec import encode
from tonewright.record.findings import Finding
from tonewright.record.setup import ink_colour_text
from tonewright.scales import STOP
from tonewright.show.advice import Advice
from tonewright.show.inks_findings import typed
from tonewright.show.report import doubts, report, taken
from tonewright.show.words import Fact, percent

_MOST_PAIRS = 6
_ENOUGH = {True: "yes", False: "no", None: "perhaps"}


def inks_json(ranking: InkRanking) -> dict[str, Any]:
    """The ranking, under the names the command line promises; what is not known is null."""
    pick, next_time, findings = ranking.pick, ranking.next_time, _findings(ranking)
    return {
        "process": ranking.process.name, "printing_time_s": ranking.time.value,
        "time_unit": ranking.time.unit,
        "base_printing_time_s": ranking.process.base_time.value,
        "process_log_exposure_range": ranking.process.summary.log_exposure_range,
        "needed_density_range": ranking.needed_range,
        "seen_up_to_density": round(ranking.seen_up_to, 3),
        "inks": [_ink_json(ink, rank) for rank, ink in enumerate(ranking.inks, start=1)],
        "pick": None if pick is None else ink_colour_text(pick.colour),
        "pick_sure": None if pick is None else ranking.sure,
        "why": why(ranking),
        "shortfall": ranking.shortfall and round(ranking.shortfall, 3),
        "only_bounds": sum(ink.seen_white for ink in ranking.inks),
        "next_time_s": None if next_time is None else next_time.value,
        "next_stops": ranking.longer_stops,
        "doubtful": [taken(f, "patches", "difference_density") for f in findings
                     if isinstance(f, InkPatchesDiffer)],
        "next": next_step(ranking), "findings": [encode(f) for f in findings],
        "warnings": [said for kind, said in inks_doubts(ranking) if kind == "warning"],
    }


def _ink_json(ink: RankedInk, rank: int) -> dict[str, Any]:
    red, green, blue = ink.colour
    return {
        "rank": rank, "ink_colour": ink_colour_text(ink.colour), "red": red, "green": green,
        "blue": blue, **_amount_json(ink.full), "estimated": ink.estimated,
        "paper_white": ink.seen_white,
        "slope": None if ink.slope is None else round(ink.slope, 3), "enough": ink.enough,
        "levels": [{"level": s.level, "patches": s.patches,
                    "print_density": round(s.print_density, 4), **_amount_json(s.amount)}
                   for s in ink.steps],
    }  # fmt: skip


def _amount_json(amount: Amount) -> dict[str, float | None]:
    pairs = (("density", amount.density), ("density_low", amount.low),
             ("density_high", amount.high))
    return {f"printing_{name}": None if value is None else round(value, 3)
            for name, value in pairs}


def inks_text(ranking: InkRanking) -> str:
    """What was read, the colours from the densest to the lightest, the pick and the next step."""
    return report(f"Inks on {ranking.process.name}", [
        *inks_facts(ranking), "", *_table(ranking), "", ("pick", why(ranking)),
        *inks_doubts(ranking)], None, next_step(ranking), exposes=_exposes(ranking))


def _exposes(ranking: InkRanking) -> bool:
    return ranking.pick is None or ranking.next_time is not None


def inks_facts(ranking: InkRanking) -> list[Fact]:
    """What was read, and what is asked of the ink."""
    base = ranking.time == ranking.process.base_time
    return [
        ("read", _read(ranking)),
        ("time", f"printed for {ranking.time_as_set}"
         + (", the base printing time (--time, if it was another)" if base else "")),
        ("needs", _needs(ranking)),
        ("seen", f"printing densities up to {ranking.seen_up_to:.2f}; whatever is denser is paper"
         " white in this print"),
    ]


def inks_advice(ranking: InkRanking) -> Advice:
    """The next step."""
    return Advice(next_step(ranking), exposes=_exposes(ranking))


def _read(ranking: InkRanking) -> str:
    steps: list[InkStep] = [s for ink in ranking.inks for s in ink.steps]
    levels = sorted({s.level for s in steps}, reverse=True)
    return (f"{sum(s.patches for s in steps)} patches of {len(ranking.inks)} colours, at"
            f" {' and '.join(map(percent, levels))} ink")


def _needs(ranking: InkRanking) -> str:
    if ranking.given_range:
        return f"a density range of {ranking.needed_range:.2f}, as asked"
    process = ranking.process
    said = (f"a density range of {ranking.needed_range:.2f} from black to paper white, at the base"
            f" printing time of {process.base_time.on_timer()}")
    found = process.summary.log_exposure_range
    if found is not None and found < ranking.needed_range:
        said += f" ({found:.2f} by the ISO 6846 definition, which leaves whites gray)"
    return said


def inks_rows(ranking: InkRanking) -> list[tuple[str, str, str, str]]:
    """Colour, density at full ink, steepest rise and whether that is enough, for each colour."""
    return [(ink_colour_text(ink.colour), _full_text(ink),
             "-" if ink.slope is None else f"{ink.slope:.2f}",
             _ENOUGH[ink.enough]) for ink in ranking.inks]


def _table(ranking: InkRanking) -> list[str]:
    marks = ["", *("  <- pick" if ink is ranking.pick else "" for ink in ranking.inks)]
    return [f"  {colour:<13}{full:<31}{slope:<10}{enough}{mark}"
            for mark, (colour, full, slope, enough) in zip(marks, (
                ("colour", "density at full ink", "steepest", "enough"), *inks_rows(ranking)),
                strict=True)]


def _full_text(ink: RankedInk) -> str:
    full = ink.full
    if full.density is None:
        if full.low is not None:
            return f"at least {full.low:.2f}"
        return "not known" if full.high is None else f"at most {full.high:.2f}"
    if ink.estimated:
        return f"at least {full.low:.2f}, about {full.density:.2f}"
    return f"{full.density:.2f}  ({full.low:.2f} to {full.high:.2f})"


def why(ranking: InkRanking) -> str:
    """Why this colour, or why none."""
    pick, needed = ranking.pick, ranking.needed_range
    if pick is None:
        return _none_enough(ranking)
    name, full = ink_colour_text(pick.colour), pick.full
    enough = sum(ink.enough is True for ink in ranking.inks)
    if not ranking.sure:
        return (f"{name}, with reservations: it blocks about {full.density:.2f}, the print needs"
                f" {needed:.2f}, and this print does not tell the two apart.")
    blocks = f"{full.density:.2f}" if full.density is not None and not pick.estimated else \
        f"at least {full.low:.2f}"
    if pick.estimated:
        blocks += f" (about {full.density:.2f})"
    if enough == 1:
        choice = "It is the only colour that is surely enough."
    elif pick.slope is not None:
        choice = (f"Of the {enough} colours that are surely enough it is the gentlest: its density"
                  f" rises by at most{' about' if pick.estimated else ''} {pick.slope:.2f} over the"
                  " full range of ink, so each step of the file moves the print least.")
    else:
        choice = (f"{enough} colours are surely enough, but all print paper white, so the gentlest"
                  " cannot be told; this one takes the least ink.")
    if ranking.gentler:
        some = "; ".join(ink_colour_text(i.colour) for i in ranking.gentler[:3])
        choice += f" Gentler still, and perhaps enough: {some}."
    return f"{name} blocks {blocks}; the print needs {needed:.2f}. {choice}"


def _none_enough(ranking: InkRanking) -> str:
    heaviest, short = ranking.inks[0], ranking.shortfall
    said = f"none. The heaviest colour, {ink_colour_text(heaviest.colour)}, blocks"
    advice = (" To reach further, use heavier or better-blocking ink (a higher ink setting of the"
              " printer, a second pass, a pigment that blocks UV) or a process of higher contrast.")
    if short is None:
        low, high = heaviest.full.low, heaviest.full.high
        bound = f"at least {low:.2f}" if low is not None else \
            "an unknown density" if high is None else f"at most {high:.2f}"
        said += f" {bound}; the print needs {ranking.needed_range:.2f}."
        return said + ("" if ranking.longer_stops is not None else advice)
    return (f"{said} about {heaviest.full.density:.2f}: {short:.2f} ({short / STOP:.1f} stops)"
            f" less than the {ranking.needed_range:.2f} the print needs, so its whites stay gray."
            + advice)


def _findings(ranking: InkRanking) -> list[Finding]:
    """What the printer should know before trusting the pick, the strip's first."""
    return [*ranking.process.findings, *ranking.findings]


def inks_doubts(ranking: InkRanking) -> list[Fact]:
    """The same as kind and sentence; of many pairs that differ only some are named."""
    findings = _findings(ranking)
    unnamed = [f for f in findings if isinstance(f, InkPatchesDiffer)][_MOST_PAIRS:]
    said = doubts(f for f in findings if f not in unnamed)
    if unnamed:
        said.append(("warning", f"{counted(len(unnamed), 'more pair')} of one ink differ too much."
                     " If most do, the readings are in another order than the patches."))
    return said


def next_step(ranking: InkRanking) -> str:
    """What to do now; what is typed for it stands in brackets."""
    pick, time = ranking.pick, ranking.next_time
    if pick is None:
        if time is not None:
            return (f"print the same chart for {time}, and rank it for that time"
                    f" (--time {typed(time)}).")
        return ("change the ink setting or the process, and print the chart again; or take"
                f" {ink_colour_text(ranking.inks[0].colour)} and accept grayer whites.")
    said = ("draw a target in this colour (tonewright target --ink-colour"
            f" {ink_colour_text(pick.colour)} -o ink.tif); the curve made from it remembers the"
            " colour, and its negatives come out in it.")
    return said if ranking.sure or time is None else \
        f"to be sure, print the chart again for {time}; or go on: {said}"
