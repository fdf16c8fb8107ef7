"""What the rehearsal says: a short guide to the files it leaves."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from enum import StrEnum
from typing import Any

from tonewright.check.document import Check
from tonewright.curve.document import Curve
from tonewright.curve.renew import Movement
from tonewright.frozen import dataclass
from tonewright.record.codec import encode
from tonewright.record.times import PrintingTime
from tonewright.shelf.drift import Drift
from tonewright.show.cautions import with_cautions
from tonewright.show.check_text import cause_text, check_json, what_to_do
from tonewright.show.curve_text import fit_json, readings_line
from tonewright.show.findings import sentence
from tonewright.show.words import WIDTH
from tonewright.strip.process import Process


class Road(StrEnum):
    """The roads to a curve for the new chemistry."""

    OLD = "old curve kept"
    STRIP = "renewed by a strip"
    PATCHES = "strip and seven patches"
    FRESH = "whole new target"


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a rehearsal; every distance is a root mean square in L* from the aim."""

    folder: str
    process: Process
    true_base_time: float
    """Seconds."""
    curve: Curve
    renewed: Curve
    """Renewed by a strip alone."""
    without_curve: float
    through_curve: float
    pale: Check
    """Of a print for which the lamp gave too little light."""
    good: Check
    refined: float
    """Distance through the curve refined by the good print."""
    drift: Drift
    """Of a year in which the lamp aged."""
    roads: dict[Road, float]
    """Distance after the change of chemistry, by the road taken."""
    moved: Movement
    files: tuple[str, ...]



def rehearsal_json(outcome: Outcome) -> dict[str, Any]:
    """The figures of a rehearsal."""
    return {
        "folder": outcome.folder, "files": list(outcome.files),
        "without_curve_rms_lightness": outcome.without_curve,
        "through_curve_rms_lightness": outcome.through_curve,
        "pale_print": check_json(outcome.pale), "good_print": check_json(outcome.good),
        "refined_rms_lightness": outcome.refined,
        "drift": [encode(f) for f in outcome.drift.findings],
        "roads_rms_lightness": outcome.roads,
        "base_printing_time_s": outcome.process.summary.base_printing_time,
        "true_base_printing_time_s": round(outcome.true_base_time, 1),
        "curve": fit_json(outcome.curve), "renewed": fit_json(outcome.renewed),
        "moved": asdict(outcome.moved),
    }


def rehearsal_text(outcome: Outcome) -> str:
    """The guide that lies beside the files."""
    curve, renewed = outcome.curve.summary, outcome.renewed.summary
    found, roads, recipe = outcome.process.summary, outcome.roads, outcome.curve.recipe
    assert recipe is not None  # of a strip
    passed = "passed" if outcome.good.passes else "did not pass"
    drifted = " ".join(map(sentence, outcome.drift.findings)) or "nothing has moved."
    story = [
        ("A rehearsal: everything here is invented, printed and measured in a virtual darkroom."
         " One unit of L* is about the smallest step of tone that the eye sees."),
        ("1  A step tablet was printed on kallitype paper, half of it through clear film, at a"
         f" guessed time of {_time(outcome.process.reference_time.value)}. `tonewright strip`"
         f" found the base printing time, {_time(found.base_printing_time)}, nine times in ten"
         f" between {_time(found.base_printing_time_low)} and"
         f" {_time(found.base_printing_time_high)} (the truth, which only a virtual darkroom knows:"
         f" {_time(outcome.true_base_time)}), and what the paper makes of light: 1-strip.png."),
        ("2  A target (2-target.tif, `tonewright target`) was printed beside it, on the same sheet"
         " at the same guessed time, and the dry print scanned. `tonewright read` found it in the"
         " scan, stains, dust, crooked sheet and all: 2-target-overlay.png shows what was read"
         " where. A gray scale of known densities lay beside it in the same scan and told what the"
         " scanner makes of a density; the scan of a plain white sheet took the lamp's unevenness"
         " out (`read --densities 2-gray-scale.csv --flat 2-plain-sheet-scan.tif`)."
         f" {readings_line(recipe.prints[0].readings)}."),
        ("3  `tonewright fit --process` worked out the curve for the base printing time, without"
         " another print. Open 3-kallitype-curve.png: the dark band is how sure the curve is. It"
         f" found a black of L* {curve.black_lightness:.0f}, a white of L*"
         f" {curve.white_lightness:.0f}, and uses {curve.level_black:.0%} to"
         f" {curve.level_white:.0%} of the ink."),
        ("4, 5  A picture was made (4-picture.tif) and `tonewright negative` turned it into"
         " 5-negative.tif, corrected, inverted and mirrored."),
        ("6  Open 6-prints.png: what the print should look like, the print without a curve, and"
         " the print through the curve. 6-tones.png shows the same in numbers: without a curve"
         f" the tones are off by {outcome.without_curve:.1f} L* on the whole, through the curve by"
         f" {outcome.through_curve:.1f}."),
        ("7  For the first real print the lamp was still cold. The eleven tones beside the picture"
         " (`tonewright negative --tone-scale`) were measured, and `tonewright check` said:"
         f" {cause_text(outcome.pale)}. Its advice: {what_to_do(outcome.pale)} 7-pale-check.png"
         " shows it tone by tone. The truth: a third of a stop."),
        (f"8  With the lamp warm, the next print {passed}. `tonewright refine` added"
         " its tones to the curve, which now lands"
         f" {outcome.refined:.2f} L* from the aim on the whole ({outcome.through_curve:.2f}"
         " before)."),
        ("9  Each month a print was checked (the files in 9-year). From July the lamp lost light"
         " unnoticed, a twenty-fourth of a stop a month. `tonewright drift` on that folder said at"
         f" the end of the year: {drifted} See 9-year.png."),
        ("10, 11  Then the print room moved to cyanotype. One strip through the step tablet, and"
         " `tonewright renew --process` made the new curve: no new negative, no new target. Black"
         f" L* {renewed.black_lightness:.0f}, white L* {renewed.white_lightness:.0f}, ink"
         f" {renewed.level_black:.0%} to {renewed.level_white:.0%}."),
        ("12, 13  For comparison, seven patches were added to the strip, and a whole new target"
         " was printed as well."),
        ("14  Open 14-prints.png and 14-roads.png. Off from the aim, on the whole: "
         + "; ".join(f"{name} {error:.1f} L*" for name, error in roads.items()) + "."
         + (" The seven patches agree with the strip and leave its curve as it is: the two lines"
            " lie on each other." if roads[Road.STRIP] == roads[Road.PATCHES] else "")),
        ("Next, with your own paper: print a step tablet and a target, measure both into tables,"
         " and type  tonewright strip STRIP.csv --tablet 31 --time 10min -o MINE.process.json"
         "  and then  tonewright fit TARGET.csv --process MINE.process.json -o MINE.curve.json"),
    ]
    return with_cautions(["\n\n".join(map(_paragraph, story))]) + "\n"


def _paragraph(text: str) -> str:
    head, mark, rest = text.partition("  ")
    if mark and head[:1].isdigit():
        return textwrap.fill(rest, WIDTH, initial_indent=f"{head:<8}", subsequent_indent=" " * 8,
                             break_on_hyphens=False)
    return textwrap.fill(text, WIDTH, break_on_hyphens=False)


def _time(seconds: float) -> str:
    return str(PrintingTime(seconds).on_timer())
