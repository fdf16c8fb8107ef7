"""What the scanner command says, in plain words."""

from __future__ import annotations

from typing import Any

from tonewright.scan.scanner import ScannerResponse
from tonewright.scan.steps import StepRow
from tonewright.show.words import labelled


def scanner_json(response: ScannerResponse, row: StepRow) -> dict[str, Any]:
    """The response and where the scale was found."""
    return {
        "name": response.name,
        "steps": len(response.steps),
        "steps_used": sum(s.used for s in response.steps),
        "rms_density": response.rms_density,
        "lightest_density": response.lightest_density,
        "darkest_density": response.darkest_density,
        "flare": response.flare,
        "gamma": response.gamma,
        "corners": [round(float(v), 1) for v in row.corners.ravel()],
        "corners_found": row.automatic,
        "warnings": list(response.notes),
    }


def scanner_text(response: ScannerResponse, row: StepRow) -> str:
    """One fact a line, then the warnings."""
    known = [s.density for s in response.steps]
    corners = ",".join(f"{v:.0f}" for v in row.corners.ravel())
    how = "found at" if row.automatic else "given at"
    lines = [
        f"Scanner {response.name}",
        labelled("scale", f"{len(known)} steps, density {known[0]:.2f} to {known[-1]:.2f}"),
        labelled("place", f"{how} --corners {corners}"),
    ]
    if response.rms_density is not None:
        lines.append(labelled("fit", f"the known steps lie {response.rms_density:.3f} in density"
                              " from the response"))
    lines += [
        labelled("range", f"good for densities from {max(response.lightest_density, 0.0):.2f} to"
                 f" {response.darkest_density:.2f}"),
        labelled("tones", f"about gamma {response.gamma:.1f}"
                 + (f", with {response.flare:.1%} of white as stray light"
                    if response.flare >= 0.0005 else "")),
    ]
    lines += [labelled("warning", text) for text in response.notes]
    return "\n".join(lines)
