"""What the proof command says, in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tonewright.files.negative.batch import Batch
from tonewright.files.proof import ProofReport
from tonewright.negative.proof import Proof, loses_chroma
from tonewright.show.negative_text import Message, encoding_words, failures_json
from tonewright.show.report import doubts, ending, found_json, taken
from tonewright.show.words import Fact, set_facts

_LOOK = ("look at it in a program that uses ICC profiles, on a calibrated screen. Paper white is as"
         " light as it was measured, so view it against white.")


def proof_json(report: ProofReport) -> dict[str, Any]:
    """What was made, under the names the command line promises."""
    return {
        **taken(report, "output", "source", "width", "height", "encoding"),
        "prints": [{
            "curve": p.curve, "black_lightness": round(p.black_lightness, 3),
            "white_lightness": round(p.white_lightness, 3),
            "colour": "measured" if p.tints else "neutral", "colour_readings": p.tints,
            "chroma_lost": round(p.chroma_lost, 2),
            "together_below_image_lightness": p.below_image_lightness,
            "together_above_image_lightness": p.above_image_lightness,
            "relative_to_paper": p.relative_to_paper} for p in report.proofs],
        **found_json((*report.curve_findings, *report.findings)),
    }


def batch_json(batch: Batch[ProofReport], message: Message) -> dict[str, Any]:
    """The same of several pictures, and those that failed."""
    return {"outputs": [*map(proof_json, batch.reports)],
            **failures_json(batch.failures, message)}


def proofs_text(batch: Batch[ProofReport]) -> str:
    """The reports on the pictures, and how to look at them."""
    blocks = ["\n".join([f"Proof of {one.source}: {one.width} x {one.height} pixels, sRGB",
                         *set_facts(_facts(one))]) for one in batch.reports]
    return "\n\n".join([*blocks, ending((one.output for one in batch.reports), _LOOK)])


def _facts(report: ProofReport) -> Iterator[Fact]:
    yield "values", f"taken as {encoding_words(report.encoding)}"
    several = len(report.proofs) > 1
    for number, proof in enumerate(report.proofs, 1):
        place = f"{number} from the left: " if several else ""
        yield "print", (f"{place}{proof.curve}: black L* {proof.black_lightness:.1f}, white L*"
                        f" {proof.white_lightness:.1f}"
                        + (", counted from the bare paper" if proof.relative_to_paper else ""))
        yield "colour", _colour(proof)
        for side, limit, end in (("below", proof.below_image_lightness, "black"),
                                 ("above", proof.above_image_lightness, "white")):
            if limit is not None:
                yield "together", f"picture tones {side} L* {limit:.0f} all print as {end}"
        if proof.below_image_lightness is proof.above_image_lightness is None:
            yield "together", "no tones of a picture print alike at either end"
    yield from doubts((*report.curve_findings, *report.findings))


def _colour(proof: Proof) -> str:
    if not proof.tints:
        return "neutral: the curve's readings hold no colour (Lab or XYZ values)"
    words = f"paper and tones as measured on {proof.tints} patches"
    if loses_chroma(proof):
        words += f"; up to C* {proof.chroma_lost:.0f} more than a screen shows"
    return words
