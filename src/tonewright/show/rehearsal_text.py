"""What the rehearsal says: a short guide to the files it leaves."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, dataclass
from typing import Any

from tonewright.curve import Curve
from tonewright.renew import Movement
from tonewright.show.text import WIDTH, fit_json, read_text


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a rehearsal; every distance is a root mean square in L* from the aim."""

    folder: str
    curve: Curve
    renewed: Curve
    without_curve: float
    through_curve: float
    old_curve_kept: float
    renewed_curve: float
    moved: Movement
    files: tuple[str, ...]


CAUTIONS = (
    "UV lamps hurt eyes and skin, sensitisers and developers can poison: shield the lamp, wear"
    " gloves and eye protection, air the room, read the safety data sheets of your chemicals,"
    " and follow your local rules and what trained people showed you."
)


def rehearsal_json(outcome: Outcome) -> dict[str, Any]:
    """The figures of a rehearsal."""
    return {
        "folder": outcome.folder, "files": list(outcome.files),
        "without_curve_rms_lightness": outcome.without_curve,
        "through_curve_rms_lightness": outcome.through_curve,
        "old_curve_kept_rms_lightness": outcome.old_curve_kept,
        "renewed_curve_rms_lightness": outcome.renewed_curve,
        "curve": fit_json(outcome.curve), "renewed": fit_json(outcome.renewed),
        "moved": asdict(outcome.moved),
    }


def rehearsal_text(outcome: Outcome) -> str:
    """The guide that lies beside the files."""
    curve, renewed = outcome.curve.summary, outcome.renewed.summary
    story = [
        ("A rehearsal: everything here is invented, printed and measured in a virtual darkroom."
         " One unit of L* is about the smallest step of tone that the eye sees."),
        (f"1  A target was printed as kallitype and measured: {read_text(outcome.curve.readings)}."
         f" The readings scatter by ±{curve.noise_density_sd:.3f} in density, and one patch has a"
         " stain."),
        ("2  `tonewright fit` drew a smooth curve through them. Open 2-kallitype-curve.png: the"
         " dark band is how sure the curve is. It found a black of L*"
         f" {curve.black_lightness:.0f}, a white of L* {curve.white_lightness:.0f}, and uses"
         f" {curve.level_black:.0%} to {curve.level_white:.0%} of the ink."),
        ("3, 4  A picture was made (3-picture.tif) and `tonewright negative` turned it into"
         " 4-negative.tif, corrected, inverted and mirrored."),
        ("5  Open 5-prints.png: what the print should look like, the print without a curve, and"
         " the print through the curve. 5-tones.png shows the same in numbers: without a curve"
         f" the tones are off by {outcome.without_curve:.1f} L* in the mean, through the curve by"
         f" {outcome.through_curve:.1f}."),
        ("6, 7  Then the print room moved to cyanotype. The same target was printed and measured"
         " again, and `tonewright renew` made a new curve: black L*"
         f" {renewed.black_lightness:.0f}, white L* {renewed.white_lightness:.0f}, ink"
         f" {renewed.level_black:.0%} to {renewed.level_white:.0%}."),
        ("8, 9  Open 9-renewal-prints.png: cyanotype with the old curve and with the renewed one."
         f" The old curve would be off by {outcome.old_curve_kept:.1f} L* in the mean, the renewed"
         f" one is off by {outcome.renewed_curve:.1f}."),
        ("Next, with your own paper: print a target, measure it into a table with the columns"
         " level (0 clear film to 1 heaviest ink) and density, and type  tonewright fit"
         " YOURS.csv -o YOURS.curve.json"),
        CAUTIONS,
    ]
    return "\n\n".join(_paragraph(p) for p in story) + "\n"


def _paragraph(text: str) -> str:
    head, mark, rest = text.partition("  ")
    if mark and head[:1].isdigit():
        return textwrap.fill(rest, WIDTH, initial_indent=f"{head:<6}", subsequent_indent=" " * 6,
                             break_on_hyphens=False)
    return textwrap.fill(text, WIDTH, break_on_hyphens=False)
