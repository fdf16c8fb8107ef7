"""What the commands say, in plain words."""

from __future__ import annotations

import textwrap
from typing import Any

from tonewright.curve import Curve
from tonewright.readings import Readings
from tonewright.renew import Movement

WIDTH = 88
_SCALES = {"luminance": "luminance (true CIE L*)",
           "visual-density": "visual density (lightness is computed from it)"}


def fit_json(curve: Curve) -> dict[str, Any]:
    """The findings of a fit, under the names the command line promises."""
    found = curve.summary
    return {
        "black_lightness": found.black_lightness,
        "white_lightness": found.white_lightness,
        "level_black": found.level_black,
        "level_white": found.level_white,
        "noise_density_sd": found.noise_density_sd,
        "doubtful": list(found.doubtful),
        "band_halfwidth_mean": found.band_halfwidth_mean,
        "band_halfwidth_max": found.band_halfwidth_max,
        "negative_density_range": found.negative_density_range,
        "print_to_print_lightness_sd": found.print_to_print_lightness_sd,
        "least_sure_level": found.least_sure_level,
        "scale": curve.readings.scale,
        "warnings": list(found.warnings) + list(curve.readings.notes),
    }


def fit_text(curve: Curve) -> str:
    """What was read and found: one fact a line, then the warnings."""
    found = curve.summary
    span = found.white_lightness - found.black_lightness
    lines = [
        f"Curve {curve.name}",
        _line("read", read_text(curve.readings)),
        _line("scale", _SCALES[curve.readings.scale]
              + (", counted from the bare paper" if curve.readings.relative_to_paper else "")),
        _line("noise", f"a single reading is good to ±{found.noise_density_sd:.3f} in density"),
        _line("sheets", _sheets_text(curve)),
        _line("black", f"L* {found.black_lightness:.1f}, printed by ink up to"
              f" {found.level_black:.0%}"),
        _line("white", f"L* {found.white_lightness:.1f}, printed by ink from"
              f" {found.level_white:.0%} on"),
        _line("range", f"{span:.0f} L* between black and white; the curve uses"
              f" {found.level_black:.0%} to {found.level_white:.0%} of the ink"),
        _line("how sure", f"the true tone lies within ±{found.band_halfwidth_mean:.1f} L* on the"
              f" average (95 times in 100); least sure, ±{found.band_halfwidth_max:.1f} L*, at"
              f" {found.least_sure_level:.0%} ink"),
        _line("doubtful", _doubtful_text(found.doubtful)),
    ]
    lines += [_line("note", text) for text in curve.readings.notes]
    lines += [_line("warning", text) for text in found.warnings]
    return "\n".join(lines)


def read_text(readings: Readings) -> str:
    """How many patches of how many levels came from which files."""
    levels = len(set(readings.level.tolist()))
    files = ", ".join(s.name for s in readings.sources) or "readings made in the program"
    return f"{len(readings.patches)} patches of {levels} ink levels from {files}"


def movement_text(old_name: str, moved: Movement, changed: tuple[str, ...]) -> str:
    """What moved since the old curve."""
    lines = [f"Renewed from {old_name}"]
    lines += [_line("changed", text) for text in changed] or [
        _line("changed", "nothing in the setup: say what is new with --paper, --coating, …")]
    lines += [
        _line("black", f"L* {moved.old_black_lightness:.1f} → {moved.new_black_lightness:.1f}"),
        _line("white", f"L* {moved.old_white_lightness:.1f} → {moved.new_white_lightness:.1f}"),
        _line("ink", f"{moved.old_levels[0]:.0%} to {moved.old_levels[1]:.0%} →"
              f" {moved.new_levels[0]:.0%} to {moved.new_levels[1]:.0%}"),
        _line("tones", "had the old curve been kept, tones would be off by up to"
              f" {moved.largest_shift_lightness:+.1f} L* (image L*"
              f" {moved.shift_at_image_lightness:.0f}), {moved.rms_shift_lightness:.1f} L* in the"
              " mean"),
    ]
    return "\n".join(lines)


def _sheets_text(curve: Curve) -> str:
    sd = curve.summary.print_to_print_lightness_sd
    sheets = {p.print_name for p in curve.readings.patches}
    if sd is None:
        return "one; how much the next sheet may differ is not known from it"
    return f"{len(sheets)}; they differ by ±{sd:.1f} L* from one to the next"


def _doubtful_text(doubtful: tuple[dict[str, Any], ...]) -> str:
    if not doubtful:
        return "no patch"
    return "; ".join(
        f"{d['patch']} (ink {d['level']:.0%}, {abs(d['off_by_density']):.2f}"
        f" {'darker' if d['off_by_density'] > 0 else 'lighter'} than its neighbours say)"
        for d in doubtful)


def _line(label: str, text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=f"  {label:<10}",
                         subsequent_indent=" " * 12, break_on_hyphens=False,
                         break_long_words=False)
