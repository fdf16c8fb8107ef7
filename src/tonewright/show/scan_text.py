"""What the read command says, in plain words."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from tonewright.measured.readings import Readings
from tonewright.scales import density_to_lightness
from tonewright.scan.read import ScanReading
from tonewright.show.findings import sentence
from tonewright.show.words import WIDTH
from tonewright.target.document import Target

_BASIS = {
    "scale": "by the scanner response {name}, from a scale of known densities",
    "anchors": "by the known patches and the usual tone curve of scanners",
    "profile": "by the embedded profile alone",
}


def scan_json(reading: ScanReading) -> dict[str, Any]:
    """What was read, under the names the command line promises."""
    located = reading.located
    return {
        "patches": sum(p.density is not None for p in reading.patches),
        "doubtful": [
            {"patch": p.patch.name, "level": p.patch.level, "density": p.density,
             "why": list(p.doubts)} for p in reading.doubtful],
        "rotation_degrees": round(located.rotation_degrees, 3),
        "mirrored": located.mirrored,
        "mark_error_px": None if located.mark_error_px is None
        else round(located.mark_error_px, 3),
        "unevenness_density": round(reading.unevenness.span, 4),
        "density_sd_median": round(reading.density_sd_median, 5),
        "inverted": not located.light,
        "marks": list(located.marks_found),
        "dots": located.dots_found,
        "basis": reading.response.basis,
        "aim_rms_lightness": _aim_rms(_scan_pairs(reading), reading.target),
        "warnings": list(reading.warnings),
    }


def list_json(readings: Readings, target: Target) -> dict[str, Any]:
    """An instrument's readings under the same names; what only a scan has is null."""
    sds = [r.density_sd for r in readings.patches if r.density_sd is not None]
    return {
        "patches": len(readings.patches), "doubtful": [], "rotation_degrees": None,
        "mirrored": None, "mark_error_px": None, "unevenness_density": None,
        "density_sd_median": round(float(np.median(sds)), 5) if sds else None,
        "basis": "instrument", "aim_rms_lightness": _aim_rms(_list_pairs(readings), target),
        "warnings": [*map(sentence, readings.findings)],
    }


def scan_text(reading: ScanReading) -> str:
    """One fact a line, then what is doubtful, then the warnings."""
    located, uneven = reading.located, reading.unevenness
    read = [p for p in reading.patches if p.density is not None]
    densities = [p.density for p in read if p.density is not None]
    error = "" if located.mark_error_px is None else \
        f"; marks and dots lie within {located.mark_error_px:.2f} pixels of their places"
    marks = "given by hand" if located.by_hand else ", ".join(located.marks_found) + " found"
    evened = "none that repeats and reference patches could show"
    if uneven.known:
        evened = f"up to {uneven.span:.2f} in density across the sheet, taken out"
    lines = [
        f"Read target {reading.target.name}",
        _line("patches", f"{len(read)} of {len(reading.patches)}, density {min(densities):.2f} to"
              f" {max(densities):.2f}"),
        _line("place", f"turned by {located.rotation_degrees:.1f} degrees"
              f"{', mirrored' if located.mirrored else ''}; marks {marks}{error}"),
        _line("densities",
              _BASIS[reading.response.basis].format(name=reading.response.name or "given")),
        _line("uneven", evened),
        _line("how sure", f"±{reading.density_sd_median:.3f} in density for the usual patch"),
        *_aims(_scan_pairs(reading), reading.target),
    ]
    if not reading.doubtful:
        lines.append(_line("doubtful", "none"))
    lines += [_line("doubtful", f"{p.patch.name}: {'; '.join(p.doubts)}")
              for p in reading.doubtful[:12]]
    if len(reading.doubtful) > 12:
        lines.append(_line("", f"and {len(reading.doubtful) - 12} more, see the readings"))
    lines += [_line("warning", text) for text in reading.warnings]
    return "\n".join(lines)


def list_text(readings: Readings, target: Target) -> str:
    """An instrument's readings, one fact a line."""
    density = readings.density
    counted = ", counted from the bare paper" if readings.relative_to_paper else ""
    return "\n".join([
        f"Read target {target.name}",
        _line("patches", f"{len(readings.patches)} of {len(target.patches)}, density"
              f" {density.min():.2f} to {density.max():.2f}{counted}"),
        _line("from", ", ".join(s.name for s in readings.sources) + (
            ", a chart of inks" if target.is_ink_chart else
            ", in an order in which the densities follow the ink")),
        *_aims(_list_pairs(readings), target),
        *(_line(f.kind, sentence(f)) for f in readings.findings),
    ])


def _scan_pairs(reading: ScanReading) -> list[tuple[str, float]]:
    """Name and density of each patch whose density is known beyond doubt."""
    return [(p.patch.name, p.density) for p in reading.patches
            if p.density is not None and not p.doubts]


def _list_pairs(readings: Readings) -> list[tuple[str, float]]:
    """The same of an instrument's; none if they count from the bare paper."""
    if readings.relative_to_paper:
        return []
    return [(r.patch, r.density) for r in readings.patches]


def _aim_rms(pairs: list[tuple[str, float]], target: Target) -> float | None:
    """Root mean square distance in L* of patches from what the curve aims at; None without aims."""
    aims = {p.name: p.aim_lightness for p in target.patches if p.aim_lightness is not None}
    off = [float(density_to_lightness(density)) - aims[name] for name, density in pairs
           if name in aims]
    return round(float(np.sqrt(np.mean(np.square(off)))), 3) if off else None


def _aims(pairs: list[tuple[str, float]], target: Target) -> list[str]:
    """A line that says how far the print lies from its aims, if it has any."""
    rms = _aim_rms(pairs, target)
    if rms is None:
        return []
    return [_line("aims", f"the print lies {rms:.1f} L* on the average from what the curve"
                  f" {target.through} aims at")]


def next_step(output: Path, target: Target, *, relative: bool = False) -> str:
    """What to do with the readings now."""
    if target.is_ink_chart:
        return (f"Next:    tonewright inks {output} --process NAME.process.json --time TIME"
                + (" --relative-to-paper --paper-density D" if relative else ""))
    if target.through is not None:
        return ("Next:    compare what the print has with its aim, patch by patch: the columns"
                f" density and aim_lightness in {output}")
    return (f"Next:    tonewright fit {output} -o NAME.curve.json"
            + (" --relative-to-paper" if relative else ""))


def _line(label: str, text: str, indent: str = "  ") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=f"{indent + label:<12}",
                         subsequent_indent=" " * 12, break_on_hyphens=False,
                         break_long_words=False)
