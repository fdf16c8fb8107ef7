"""What the export command says: where the file is, what another reader found in it, and how it is
used."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tonewright.curve.export import rounded
from tonewright.files.export.make import FORMS, Export
from tonewright.files.export.proof import Proof
from tonewright.show.report import doubts, ending, report
from tonewright.show.words import typed

_WHAT = {
    "table": "a table of the negative's values, {rows} rows",
    "points": "{rows} points for a curve dialogue, 0 to 255 each",
    "lut": "a 1D look-up table in the Common LUT Format (S-2014-006), 65536 values",
    "icc-output": "an ICC gray output profile (ICC.1, version 2.4)",
    "icc-link": "an ICC device link (ICC.1, version 4.3), gray to gray",
    "readings": "its readings as CGATS.17 / ISO 28178 text",
    "aim": "its aim as CGATS.17 / ISO 28178 text",
}
_DONE = (" The result is the negative: do not invert it. Mirror it (swap left and right) unless"
         " you print through the film's back, and print it without colour management.")
_NEXT = {
    "curve-csv": "open it in a spreadsheet: a row for each tone of the picture.",
    "response-csv": "open it in a spreadsheet: a row for each ink level.",
    "table": "put each value of the picture through the table." + _DONE,
    "points": "type the points into the curve dialogue, picture as input and negative as output."
              + _DONE,
    "lut": "apply the table to the gray picture." + _DONE,
    "icc-link": "apply the link to the gray picture; assign no other profile afterwards." + _DONE,
    "icc-output": "convert the picture to the profile, intent perceptual, without black point"
                  " compensation. The values are then ink, and 0 is clear film: invert the picture"
                  " and you have the negative. Mirror it, and print it without colour management."
                  " For a soft proof take it as the printer's profile, shown relative colorimetric"
                  " or, with the paper's white, absolute.",
    "readings": "any program that reads CGATS.17 / ISO 28178 text opens it.",
    "aim": "any program that reads CGATS.17 / ISO 28178 text opens it; a curve for another paper"
           " takes it with  tonewright fit READINGS.csv --aim points:{output}",
}


def export_json(made: Export) -> dict[str, Any]:
    """What was handed over, under the names the command line promises."""
    request, columns = made.request, made.columns
    rows = {} if not columns else {"rows": len(next(iter(columns.values()))),
                                   "columns": list(columns)}
    data = {"curve": made.curve.name, "as": request.form, **rows,
            "output": made.output}
    if request.form in _WHAT:
        proof = made.proof and {**asdict(made.proof), "joined_off": dict(made.proof.joined_off)}
        data |= {"encoding": made.encoding, "proof": proof,
                 "findings": [{"code": f.code, **asdict(f)} for f in _findings(made)]}
    if made.output is None:
        data |= {"table": rounded(columns)} if columns else {"text": made.text}
    return data


def _findings(made: Export) -> list[Any]:
    """Doubts of the curve that bear on the print, where it makes negatives."""
    of_codes = FORMS[made.request.form].of_codes
    return [f for f in made.curve.findings if of_codes and f.bears_on_print]


def export_text(made: Export) -> str:
    """What was written, what was found in it, and what comes next."""
    form, columns = made.request.form, made.columns
    rows = len(next(iter(columns.values()))) if columns else 0
    if form not in _WHAT:
        return ending([f"{made.output} ({rows} rows: {', '.join(columns)})"], _NEXT[form])
    time = made.curve.setup.printing_time if FORMS[form].of_codes else None
    facts = [
        ("holds", _WHAT[form].format(rows=rows)),
        ("pictures", "" if made.encoding is None else _pictures(made)),
        ("time", f"the curve is for a printing time of {time}" if time else ""),
        *doubts(_findings(made)),
        ("read back", "" if made.proof is None else _proof(made.proof)),
    ]
    return report(f"Curve {made.curve.name}", [fact for fact in facts if fact[1]],
                  made.output, _NEXT[form].replace("{output}", typed(made.output)))


def _pictures(made: Export) -> str:
    if made.request.form == "icc-output":
        return "in any encoding that their own profile names"
    bits = {"table": made.request.depth or 16, "points": 8}.get(made.request.form, 16)
    return f"gray, {bits}-bit, in {str(made.encoding).replace(':', ' ')}, and no others"


def _proof(proof: Proof) -> str:
    """What the other reader found."""
    codes, light = proof.codes_off, proof.lightness_off or 0.0
    if codes is None:
        found = f"all {proof.values} values are as measured"
    elif proof.joined_off:
        joined = " and ".join(f"{off:.1f} L* off where {how} join{'s' * (how[-1] != 's')} them"
                              for how, off in proof.joined_off)
        found = f"the points are the curve's, rounded; the print is up to {joined}"
    elif codes == 0.0:
        found = f"all {proof.values} are the negative's codes exactly"
    else:
        found = (f"all {proof.values} are within {codes:.0f} of 65535 of the negative's codes, and"
                 f" within {max(light, 0.001):.3f} L* of its print")
    if proof.table_off is not None:
        found += (f". Programs that read no floats take its table: within"
                  f" {max(proof.table_off, 0.001):.3f} L*")
    if proof.shortcut_off is not None and proof.shortcut_off > 10.0 * max(light, 0.001):
        found += (f". A program that lets that library take its short cuts is up to"
                  f" {proof.shortcut_off:.1f} L* off")
    return f"by {proof.reader}: {found}"
