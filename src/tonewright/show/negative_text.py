"""What the negative command says, in plain words."""

from __future__ import annotations

import textwrap
from typing import Any

from tonewright.files.negatives import NegativeReport
from tonewright.files.tiff import Resolution

_MEANINGS = {
    "lightness": "values proportional to lightness (L*)",
    "linear": "values proportional to luminance",
    "srgb": "sRGB tones",
}

_PRINT = (
    "print at actual size (no scaling, no fit to page), with every colour management switched off"
    " in the program and in the printer driver, on the side of the film that takes ink, with the"
    " film, ink and printer settings of the target. Let it dry."
)
_MIRRORED = (
    "Lay it with the ink on the coating: the picture is mirrored, so the print reads right."
)
_AS_IS = (
    "The picture is not mirrored: with the ink on the coating the print would come out the wrong"
    " way round."
)
_CARE = (
    "UV lamps and strong sun harm eyes and skin: shield the light and do not look into it. Wear"
    " gloves, air the room, and follow the safety data sheets of your chemicals and your local"
    " rules."
)


def negative_json(report: NegativeReport) -> dict[str, Any]:
    """What was made, under the names the command line promises."""
    per_inch = report.resolution.per_inch if report.resolution else None
    return {
        "output": str(report.output),
        "source": str(report.source),
        "width": report.width,
        "height": report.height,
        "pixels_per_inch": None if per_inch is None else list(per_inch),
        "encoding": report.encoding,
        "curve": report.curve,
        "level_black": report.level_black,
        "level_white": report.level_white,
        "mirrored": report.mirrored,
        "warnings": list(report.warnings),
    }


def negative_text(report: NegativeReport) -> str:
    """One negative: one fact a line."""
    meaning = _MEANINGS.get(report.encoding, report.encoding.replace(":", " "))
    low, high = sorted((report.level_black, report.level_white))
    facts = [
        ("from", str(report.source)),
        ("size", _size(report.width, report.height, report.resolution)),
        ("values", f"taken as {meaning}"),
        ("curve", f"{report.curve}; uses {low:.1%} to {high:.1%} of the ink"),
        ("film", "16-bit gray, white is clear film, " + _side(report.mirrored)),
        *(("warning", warning) for warning in report.warnings),
    ]
    return "\n".join([f"Negative {report.output}", *(_line(*fact, "  ") for fact in facts)])


def next_step(mirrored: bool) -> str:
    """What to do with the negatives now."""
    contact = _MIRRORED if mirrored else _AS_IS
    return f"{_line('Next', f'{_PRINT} {contact}')}\n{_line('Care', _CARE)}"


def _line(label: str, text: str, indent: str = "") -> str:
    return textwrap.fill(
        text,
        88,
        initial_indent=f"{indent + label:<12}",
        subsequent_indent=" " * 12,
        break_on_hyphens=False,
        break_long_words=False,
    )


def _side(mirrored: bool) -> str:
    if mirrored:
        return "mirrored for printing with the ink on the coating"
    return "not mirrored, as --no-mirror asks"


def _size(width: int, height: int, resolution: Resolution | None) -> str:
    pixels = f"{width} x {height} pixels"
    per_inch = resolution.per_inch if resolution else None
    if per_inch is None:
        return f"{pixels}, resolution not known"
    wide, high = 25.4 * width / per_inch[0], 25.4 * height / per_inch[1]
    return f"{pixels}, {per_inch[0]:.4g} to the inch: {wide:.1f} x {high:.1f} mm on film"
