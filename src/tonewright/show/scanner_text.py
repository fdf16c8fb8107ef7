"""The report on a scanner's response."""

from __future__ import annotations

from typing import Any

from tonewright.files.scanners import LearnedScanner
from tonewright.show.advice import Advice
from tonewright.show.report import doubts, found_json, report, taken
from tonewright.show.words import Fact, typed


def scanner_json(learned: LearnedScanner) -> dict[str, Any]:
    """The response and where the gray scale was found."""
    response, row = learned.response, learned.row
    return {
        "name": response.name,
        "steps": len(response.known),
        "steps_used": sum(s.used for s in response.known),
        **taken(response, "rms_density", "lightest_density", "darkest_density", "flare", "gamma"),
        "corners": [round(float(v), 1) for v in row.corners.ravel()],
        "corners_found": row.automatic,
        **found_json(response.findings),
        "output": learned.output,
    }


def scanner_text(learned: LearnedScanner) -> str:
    """The report: read, found, doubtful, written, next."""
    return report(f"Scanner {learned.response.name}",
                  [*scanner_facts(learned), *doubts(learned.response.findings)],
                  learned.output or "nothing", scanner_advice(learned).typed())


def scanner_facts(learned: LearnedScanner) -> list[Fact]:
    """What was read, and what the scanner makes of densities."""
    response, row = learned.response, learned.row
    known = [s.density for s in response.known]
    corners = ",".join(f"{v:.0f}" for v in row.corners.ravel())
    flare = response.flare >= 0.0005
    facts = [
        ("read", f"a gray scale of {len(known)} steps, density {known[0]:.2f} to"
                 f" {known[-1]:.2f}{'' if response.flat is None else ' in even light'}, at"
                 " corners that were"
                 f" {'found' if row.automatic else 'given'} (--corners {corners})"),
        ("range", f"densities from {max(response.lightest_density, 0.0):.2f} to"
                  f" {response.darkest_density:.2f}"),
        ("tones", f"gamma about {response.gamma:.1f}"
                  + (f"; stray light is {100.0 * response.flare:.1f} % of white" if flare else "")),
    ]
    if response.rms_density is not None:
        facts.append(("fit", f"the known steps lie within {response.rms_density:.3f} in density"
                             " (RMS) of the response"))
    return facts


def scanner_advice(learned: LearnedScanner) -> Advice:
    """What to do next."""
    file = learned.output or "NAME.scanner.json"
    return Advice("scan your prints with the same settings",
                  f"tonewright read SCAN.tif --target T.target.json --scanner {typed(file)} -o"
                  " READINGS.csv")
