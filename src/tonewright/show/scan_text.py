"""The report on a print that was read, from its scan or an instrument's list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from tonewright.files.scan.read import ReadResult
from tonewright.measured.readings import Readings
from tonewright.record.codec import encode
from tonewright.scales import density_to_lightness
from tonewright.scan.read import ScanReading
from tonewright.show.advice import Advice
from tonewright.show.findings import sentence
from tonewright.show.report import doubts, report, taken
from tonewright.show.words import Fact, typed

_WAYS = {
    "scanner": "by the scanner response {name}",
    "gray_scale_beside": "by the gray scale of {steps} steps beside the print",
    "known_patches": "by the known patches",
    "profile": "by the embedded profile alone",
}
_LAMPS = {
    "plain_sheet": "; lamp evened out by the plain sheet",
    "plain_sheet_for_print": "; lamp evened out for the print, but not for the gray scale",
    "known_patches": "; lamp set right by the known patches",
    "not_evened": "; lamp not evened out",
}
_MOST_DOUBTFUL = 12


def reading_json(result: ReadResult) -> dict[str, Any]:
    """What was read, under the names the command line promises; what only a scan has is null for
    an instrument's list."""
    reading = result.reading
    facts = _scan_json(reading) if isinstance(reading, ScanReading) else _list_json(reading)
    return {
        **facts, "aim_rms_lightness": _aim_rms(result),
        "warnings": [sentence(f) for f in reading.findings],
        **taken(result, "output", "overlay"),
    }


def _scan_json(reading: ScanReading) -> dict[str, Any]:
    located = reading.located
    return {
        "patches": sum(p.density is not None for p in reading.patches),
        "doubtful": [
            {"patch": p.patch.name, "level": p.patch.level, "density": p.density,
             "why": [sentence(d) for d in p.doubts]} for p in reading.doubtful],
        "rotation_degrees": round(located.rotation_degrees, 3),
        "mirrored": located.mirrored,
        "mark_error_px": located.mark_error_px and round(located.mark_error_px, 3),
        "unevenness_density": round(reading.unevenness.span, 4),
        "density_sd_median": round(reading.density_sd_median, 5),
        "inverted": not located.light,
        "marks": located.marks_found,
        "dots": located.dots_found,
        "basis": reading.response.basis,
        "densities_by": encode(reading.basis),
        "gray_scale_corners": None if reading.gray_scale is None else
        [round(float(v), 1) for v in reading.gray_scale.corners.ravel()],
        "findings": [encode(f) for f in (*reading.findings,
                                         *(d for p in reading.patches for d in p.doubts))],
    }


def _list_json(readings: Readings) -> dict[str, Any]:
    sds = [r.density_sd for r in readings.patches if r.density_sd is not None]
    return {
        "patches": len(readings.patches), "doubtful": [], "rotation_degrees": None,
        "mirrored": None, "mark_error_px": None, "unevenness_density": None,
        "density_sd_median": round(float(np.median(sds)), 5) if sds else None,
        "basis": "instrument", "findings": encode(readings.findings),
    }


def reading_text(result: ReadResult) -> str:
    """The report: read, found, doubtful, written, next."""
    reading = result.reading
    written = " and ".join(str(p) for p in (result.output, result.overlay) if p is not None)
    return report(f"Print of the target {result.target.name}", [
        *reading_facts(result),
        *(_doubtful(reading) if isinstance(reading, ScanReading) else ()),
        *doubts(reading.findings)], written or "nothing", str(reading_advice(result).command))


def reading_facts(result: ReadResult) -> list[Fact]:
    """What was read, and how far it may be off."""
    reading, target = result.reading, result.target
    patches = [p.density for p in reading.patches if p.density is not None]
    facts = [("read", f"{len(patches)} of {len(target.patches)} patches from"
              f" {result.source.name}, density {min(patches):.2f} to {max(patches):.2f}"
              + (" above the bare paper" if _relative(result) else "")),
             *(_scan_facts(reading) if isinstance(reading, ScanReading) else ())]
    if not isinstance(reading, ScanReading) and not target.is_ink_chart:  # nothing tells its order
        facts.append(("order", "the densities follow the ink"))
    rms = _aim_rms(result)
    if rms is not None:
        facts.append(("aims", f"on average the print lies {rms:.1f} L* from what the curve"
                      f" {target.through} aims at"))
    return facts


def _scan_facts(reading: ScanReading) -> Sequence[Fact]:
    located, uneven = reading.located, reading.unevenness
    error = "" if located.mark_error_px is None else \
        f"; marks and dots lie within {located.mark_error_px:.2f} pixels of their places"
    marks = "given by hand" if located.by_hand else ", ".join(located.marks_found) + " found"
    evened = (f"up to {uneven.span:.2f} in density across the sheet, corrected" if uneven.known
              else "repeated patches show none")
    return (
        ("place", f"turned by {located.rotation_degrees:.1f} degrees"
                 f"{', mirrored' if located.mirrored else ''}; marks {marks}{error}"),
        ("densities", density_basis_text(reading)),
        ("uneven", evened),
        ("error", f"±{reading.density_sd_median:.3f} in density for a typical patch"),
    )


def density_basis_text(reading: ScanReading) -> str:
    """Which way the densities were found, and how far all of them may be off together."""
    basis, response = reading.basis, reading.response
    way = _WAYS[basis.way].format(name=response.name or "given", steps=len(response.known))
    lamp = _LAMPS[basis.lamp] if (basis.way, basis.lamp) != ("known_patches",) * 2 else ""
    better = " A scan of a plain white sheet (--flat) makes them surer." \
        if basis.lamp == "not_evened" else ""
    return f"{way}{lamp}. All of them may be off together, by about {basis.sd_density:.3f}.{better}"


def _doubtful(reading: ScanReading) -> Sequence[Fact]:
    patches: dict[str, list[str]] = {}
    for p in reading.doubtful:
        patches.setdefault("; ".join(map(sentence, p.doubts)), []).append(p.patch.name)
    facts = [("doubtful", f"{', '.join(named)}: {why}") for why, named in patches.items()]
    more = sum(map(len, [*patches.values()][_MOST_DOUBTFUL:]))
    if more:
        facts[_MOST_DOUBTFUL:] = [
            ("", f"and {more} more; the column doubt of the readings names them all")]
    return facts or [("doubtful", "none")]


def _aim_rms(result: ReadResult) -> float | None:
    """Root mean square distance in L* from what the curve aims at, over the patches whose density
    is known beyond doubt; None without aims, or if densities count from the bare paper."""
    reading = result.reading
    if isinstance(reading, ScanReading):
        known = {p.patch.name: p.density for p in reading.patches if not p.doubts}
    else:
        known = {} if reading.relative_to_paper else {r.patch: r.density for r in reading.patches}
    off = [float(density_to_lightness(density)) - p.aim_lightness for p in result.target.patches
           if p.aim_lightness is not None and (density := known.get(p.name)) is not None]
    return round(float(np.sqrt(np.mean(np.square(off)))), 3) if off else None


def reading_advice(result: ReadResult) -> Advice:
    """What to do with the readings now."""
    target, file = result.target, typed(result.output or "READINGS.csv")
    zero = " --relative-to-paper" if _relative(result) else ""
    if target.is_ink_chart:
        paper = f"{zero} --paper-density D" if zero else ""
        return Advice("see which colour of ink holds paper white",
                      f"tonewright inks {file} --process NAME.process.json --time TIME{paper}")
    if target.through is not None:
        return Advice(f"check the print against the curve {target.through}",
                      f"tonewright check CURVE {file}{zero}  (CURVE is the file of the curve"
                      f" {target.through})")
    return Advice("make the curve from these readings",
                  f"tonewright fit {file} -o NAME.curve.json{zero}")


def _relative(result: ReadResult) -> bool:
    """Whether densities count from the bare paper."""
    return isinstance(result.reading, Readings) and result.reading.relative_to_paper
