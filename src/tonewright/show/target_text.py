"""What the target command says, in plain words."""

from __future__ import annotations

from typing import Any

from tonewright.errors import counted
from tonewright.files.targets import DrawnTarget
from tonewright.show.advice import Advice
from tonewright.show.report import doubts, found_json, report, taken
from tonewright.show.words import RULE_WORDS, Fact, percent, typed
from tonewright.strip.process import Process
from tonewright.target.draw import has_rule
from tonewright.target.pen import RULE

_TARGET = (
    "print {picture} on film at actual size: no scaling, no fit to page. Switch colour management"
    " off in the program and in the printer driver. Use the side that takes ink, and let it dry."
    " {rule}{lay} Print it as you print your pictures. Write paper and chemistry into the white"
    " boxes, and let the print dry fully."
)
_CHART = (
    "print {picture} on film with the printer and driver settings that your negatives will have,"
    " at actual size and without colour management. Use the side that takes ink, and let it dry."
    " {rule}{lay} Take a paper whose strip you have evaluated. Print for the base printing time,"
    " or better for two stops more (four times as long): heavy colours show more then. Note the"
    " time, and let the print dry fully."
)
_LAY = {
    True: "Lay it with the ink on the coating; the print then reads right.",
    False: "It is not mirrored: lay it with its back on the coating, so that the print reads"
           " right.",
}


def target_json(drawn: DrawnTarget) -> dict[str, Any]:
    """What was drawn, under the names the command line promises."""
    target = drawn.target
    tones = [p for p in target.patches if p.kind == "tone"]
    return {
        "output": drawn.files.picture, "target": drawn.files.document, "table": drawn.files.table,
        **taken(target, "name", "seed"), "patches": len(target.patches),
        "tone_patches": len(tones), "levels": len({p.level for p in tones}),
        "clear_patches": len(target.of_kind("clear")),
        "full_patches": len(target.of_kind("full")), "patch_mm": target.patches[0].width_mm,
        **taken(target, "width_mm", "height_mm", "ppi", "mirrored", "through"),
        **found_json(drawn.findings),
        "ink_colour": target.ink_colour, "ink_chart": target.is_ink_chart,
        **({} if not target.is_ink_chart else {
            "colours": len({p.ink_colour for p in tones}),
            "ink_levels": sorted({p.level for p in tones}, reverse=True)}),
    }


def target_text(drawn: DrawnTarget) -> str:
    """What was drawn, where it was written, and how to print and read it."""
    target, files = drawn.target, drawn.files
    picture, document, table = map(str, files)
    chart = target.is_ink_chart
    then = (f"measure the print and type the densities into {typed(table)}; or scan it and type"
            f"  tonewright read SCAN.tif --target {typed(document)} -o READINGS.csv")
    if chart:
        then += "  and  tonewright inks READINGS.csv --process NAME.process.json --time TIME"
    elif target.through is not None:
        then += "  and  tonewright check CURVE READINGS.csv"
    return report(
        f"{'Chart of inks' if chart else 'Target'} {target.name}",
        [*target_facts(drawn), *doubts(drawn.findings)],
        f"{picture} (to print), {document} (keep it: the print is read with it) and {table} (to"
        " fill in by hand)", target_advice(drawn).words, ("Then:", then), exposes=True)


def target_facts(drawn: DrawnTarget) -> list[Fact]:
    """What was drawn."""
    target = drawn.target
    return [("patches", _patches(drawn)),
            ("sheet", f"{target.width_mm:.0f} x {target.height_mm:.0f} mm at {target.ppi:g}"
             " pixels to the inch"),
            ("film", _film(drawn))]


def strip_time_fact(process: Process) -> Fact | None:
    """How long to print a target on the paper of a strip; None where the strip does not tell."""
    if process.contradicted or process.summary.next_time is not None:
        return None
    return "time", f"{process.base_time.on_timer()}, the base printing time by the paper's strip"


def target_advice(drawn: DrawnTarget) -> Advice:
    """How to print it."""
    target = drawn.target
    return Advice((_CHART if target.is_ink_chart else _TARGET).format(
        picture=drawn.files.picture, lay=_LAY[target.mirrored],
        rule=RULE_WORDS.format(long=RULE) + " " if has_rule(target) else ""), exposes=True)


def _patches(drawn: DrawnTarget) -> str:
    facts = target_json(drawn)
    clear, full = facts["clear_patches"], facts["full_patches"]
    patches = f"{counted(facts['tone_patches'], 'patch')} of {facts['patch_mm']:g} mm"
    if drawn.target.is_ink_chart:
        levels = " and ".join(map(percent, facts["ink_levels"]))
        return (f"{counted(facts['colours'], 'colour')} at {levels} ink, {patches}; {clear} of"
                f" clear film and {full} of black (0,0,0)")
    tones = f"{facts['levels']} ink levels"
    if drawn.target.through is not None:
        tones = f"{facts['levels']} even tones through the curve {drawn.target.through}"
    return f"{tones}, {patches}; {clear} of clear film and {full} of full ink to measure unevenness"


def _film(drawn: DrawnTarget) -> str:
    target = drawn.target
    kind = "16-bit RGB without a profile" if target.in_colour else "16-bit gray"
    ink = f", {target.ink_colour} is full ink" if target.ink_colour is not None else ""
    return f"{kind}; white is clear film{ink}; {'' if target.mirrored else 'not '}mirrored"
