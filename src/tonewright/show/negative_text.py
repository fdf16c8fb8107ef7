"""What the negative command says, in plain words."""

from __future__ import annotations

import textwrap
from typing import Any

from tonewright.files.negative.make import Batch, NegativeReport
from tonewright.show.findings import sentence

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
_MIRRORED = "Lay it with the ink on the coating: the picture is mirrored, so the print reads right."
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
    frame = report.frame
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
        "warnings": _warnings(report),
        "picture_mm": None if report.picture_mm is None else list(report.picture_mm),
        "resampled_from": None if report.resampled_from is None else list(report.resampled_from),
        "depth": report.depth,
        "distinct_levels": report.distinct_levels,
        "ink_colour": report.ink_colour,
        "black_share": report.black_share,
        "white_share": report.white_share,
        "largest_step_lightness": report.largest_step_lightness,
        "coloured_share": report.coloured_share,
        "negative_density_range": report.density_range,
        "margin_mm": frame.margin,
        "border": frame.border if frame.wanted else None,
        "target": None if report.target is None else str(report.target),
    }


def batch_json(batch: Batch) -> dict[str, Any]:
    """Several negatives, and the images that did not become any."""
    return {
        "outputs": [negative_json(report) for report in batch.reports],
        "failures": [
            {"source": str(failure.source), "message": str(failure.error)}
            for failure in batch.failures
        ],
    }


def failures_text(batch: Batch) -> str:
    """Which images did not become negatives, and why."""
    count = len(batch.failures)
    of = count + len(batch.reports)
    return "\n".join(
        [
            f"tonewright negative: {count} of {of} images did not become negatives.",
            *(f"  {failure.source}: {failure.error}" for failure in batch.failures),
        ]
    )


def _warnings(report: NegativeReport) -> list[str]:
    return [*map(sentence, report.findings), *report.warnings]


def negative_text(report: NegativeReport) -> str:
    """One negative: one fact a line."""
    meaning = _MEANINGS.get(report.encoding, report.encoding.replace(":", " "))
    low, high = sorted((report.level_black, report.level_white))
    density = report.density_range
    facts = [
        ("from", str(report.source)),
        ("size", _size(report)),
        ("sheet", _sheet(report)),
        ("values", f"taken as {meaning}"),
        ("curve", f"{report.curve}; uses {low:.1%} to {high:.1%} of the ink"),
        ("range", "" if density is None else f"a printing density of {density:.2f} between black"
         " and white"),
        ("film", _film(report)),
        ("ends", _ends(report)),
        *(("warning", warning) for warning in _warnings(report)),
    ]
    lines = (_line(label, text, "  ") for label, text in facts if text)
    return "\n".join([f"Negative {report.output}", *lines])


def _film(report: NegativeReport) -> str:
    kind = f"{report.depth}-bit gray, white is clear film"
    if report.ink_colour is not None:
        kind = f"{report.depth}-bit RGB, white is clear film, {report.ink_colour} the heaviest ink"
    if report.depth == 8:
        kind += (
            f" (with this curve such an image can reach {report.distinct_levels} of the 256 levels"
            " of ink; those between them are made by spreading)"
        )
    return f"{kind}, {_side(report.mirrored)}"


def _ends(report: NegativeReport) -> str:
    dark, light = report.black_share, report.white_share
    return f"{dark:.1%} of the picture prints as maximum black, {light:.1%} as paper white"


def _sheet(report: NegativeReport) -> str:
    frame = report.frame
    if not frame.wanted:
        return ""
    border = {"clear": "clear film, prints black", "opaque": "opaque ink, stays paper white"}
    parts = [f"{frame.margin:g} mm border of {border[frame.border]}"]
    parts += [
        words
        for has, words in (
            (frame.marks, "marks at corners and middles"),
            (frame.tone_scale, f"tone scale (its places are in {report.target})"),
            (frame.caption, "caption"),
        )
        if has
    ]
    return "; ".join(parts)


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


def _size(report: NegativeReport) -> str:
    pixels = f"{report.width} x {report.height} pixels"
    if report.resampled_from is not None:
        was = " x ".join(str(side) for side in report.resampled_from)
        pixels += f" (resampled in luminance from {was})"
    resolution = report.resolution
    per_inch = resolution.per_inch if resolution else None
    if per_inch is None:
        return f"{pixels}, resolution not known"
    wide, high = 25.4 * report.width / per_inch[0], 25.4 * report.height / per_inch[1]
    on_film = f"{pixels}, {per_inch[0]:.4g} to the inch: {wide:.1f} x {high:.1f} mm on film"
    if report.frame.wanted and report.picture_mm is not None:
        on_film += f", the picture {report.picture_mm[0]:.1f} x {report.picture_mm[1]:.1f} mm"
    return on_film
