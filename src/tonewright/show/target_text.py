"""What the target command says, in plain words."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

from tonewright.errors import counted
from tonewright.show.cautions import cautions_text
from tonewright.show.words import WIDTH
from tonewright.target.document import Target

_PRINT = (
    "print {picture} on film at actual size (no scaling, no fit to page), with every colour"
    " management switched off in the program and in the printer driver, on the side that takes"
    " ink. Let it dry. Lay it with the ink on the coating and print it as you print your pictures;"
    " {side}. Write paper and chemistry into the white boxes, and let the print dry fully."
)
_MIRRORED = "the print reads right"
_AS_IS = "as --no-mirror asks, the print reads right if the film lies with its back on the coating"


def target_json(target: Target, picture: Path, document: Path) -> dict[str, Any]:
    """What was drawn."""
    first = target.patches[0]
    tones = [p for p in target.patches if p.kind == "tone"]
    return {
        "output": str(picture), "target": str(document), "name": target.name,
        "seed": target.seed, "patches": len(target.patches), "tone_patches": len(tones),
        "levels": len({p.level for p in tones}),
        "clear_patches": len(target.of_kind("clear")),
        "full_patches": len(target.of_kind("full")), "patch_mm": first.width_mm,
        "width_mm": target.width_mm, "height_mm": target.height_mm, "ppi": target.ppi,
        "mirrored": target.mirrored, "through": target.through,
        "ink_colour": target.ink_colour, "ink_chart": target.is_ink_chart,
        **({} if not target.is_ink_chart else {
            "colours": len({p.ink_colour for p in tones}),
            "ink_levels": sorted({p.level for p in tones}, reverse=True)}),
    }


_CHART = (
    "print {picture} with the very settings of printer and driver that your negatives will have,"
    " at actual size, every colour management switched off, on the side of the film that takes"
    " ink. Let it dry. Lay it with the ink on the coating, on a paper whose strip you have"
    " evaluated, and print it for the base printing time, or better two stops longer (four times"
    " as long): heavy colours show more of themselves then. Note the time; {side}. Let the print"
    " dry fully."
)


def _chart_text(target: Target, picture: Path, document: Path) -> str:
    """What a chart of inks holds, and how to print, read and rank it."""
    facts = target_json(target, picture, document)
    levels = " and ".join(f"{u:.0%}" for u in facts["ink_levels"])
    lines = [
        f"Chart of inks {target.name}",
        _line("patches", f"{counted(facts['colours'], 'colour')} of ink at {levels} of the ink,"
              f" {counted(facts['tone_patches'], 'patch')} of {facts['patch_mm']:g} mm;"
              f" {facts['clear_patches']} of clear film and {facts['full_patches']} of black"
              " (0,0,0)", "  "),
        _sheet(target),
        _line("film", "16-bit RGB without a profile, white is clear film, "
              + ("mirrored" if target.mirrored else "not mirrored"), "  "),
        "",
        f"Written: {picture} (to print) and {document} (to read the print with; keep it)",
        _line("Next", _CHART.format(picture=picture,
                                    side=_MIRRORED if target.mirrored else _AS_IS)),
        _line("Then", f"scan the print, or measure it, and type  tonewright read SCAN.tif --target"
              f" {document} -o READINGS.csv  and  tonewright inks READINGS.csv --process"
              " NAME.process.json --time TIME"),
        "", cautions_text(),
    ]
    return "\n".join(lines)


def _sheet(target: Target) -> str:
    return _line("sheet", f"{target.width_mm:.0f} x {target.height_mm:.0f} mm at"
                 f" {target.ppi:g} pixels to the inch", "  ")


def _film(target: Target) -> str:
    kind = "16-bit gray, white is clear film, "
    if target.ink_colour is not None:
        kind = (f"16-bit RGB without a profile, white is clear film, {target.ink_colour} the"
                " heaviest ink, ")
    return _line("film", kind + ("mirrored" if target.mirrored else "not mirrored"), "  ")


def target_text(target: Target, picture: Path, document: Path) -> str:
    """What was drawn, and how to print and read it."""
    if target.is_ink_chart:
        return _chart_text(target, picture, document)
    facts = target_json(target, picture, document)
    side = facts["patch_mm"]
    levels = f"{facts['levels']} ink levels, {facts['tone_patches']} patches of {side:g} mm"
    if target.through is not None:
        levels = f"{facts['levels']} even tones through the curve {target.through}," \
                 f" {facts['tone_patches']} patches of {side:g} mm"
    lines = [
        f"Target {target.name}",
        _line("patches", levels + f"; {facts['clear_patches']} of clear film and"
              f" {facts['full_patches']} of full ink to measure unevenness", "  "),
        _sheet(target),
        _film(target),
        "",
        f"Written: {picture} (to print) and {document} (to read the print with; keep it)",
        _line("Next", _PRINT.format(picture=picture,
                                    side=_MIRRORED if target.mirrored else _AS_IS)),
        _line("Then", f"scan the print, or measure it, and type  tonewright read SCAN.tif --target"
              f" {document} -o READINGS.csv"),
        "", cautions_text(),
    ]
    return "\n".join(lines)


def _line(label: str, text: str, indent: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=f"{indent + label:<12}",
                         subsequent_indent=" " * 12, break_on_hyphens=False,
                         break_long_words=False)
