"""What the negative command says, in plain words."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from tonewright.errors import TonewrightError
from tonewright.files.negative.batch import Batch, Failure
from tonewright.files.negative.make import NegativeReport
from tonewright.negative.findings import BlackTonesLost, WhiteTonesLost
from tonewright.show.findings import sentence
from tonewright.show.report import doubts, ending, found_json, taken
from tonewright.show.words import RULE_WORDS, Fact, set_facts, typed
from tonewright.strip.findings import TIME_IN_DOUBT

if TYPE_CHECKING:
    from tonewright.files.negative.film import FilmReport

Message = Callable[[TonewrightError], str]
"""An error in words, with how its way out is taken in the front that shows it."""

_MEANINGS = {
    "lightness": "values proportional to lightness (L*)",
    "linear": "values proportional to luminance",
    "srgb": "sRGB tones",
}
_BORDERS = {"clear": "clear film, prints black", "opaque": "opaque ink, stays paper white"}

_PRINT = (
    "print the negative at actual size (no scaling, no fit to page). Switch off all colour"
    " management in the program and in the printer driver. Use the side of the film that takes ink,"
    " and the film, ink and printer settings of the target. Let it dry."
)
_CUT = "Cut the negatives apart along the marks at their corners."
_MIRRORED = (
    "Lay it ink side down on the coating: the picture is mirrored, so that the print reads right."
)
_AS_IS = (
    "The picture is not mirrored: lay the back of the film on the coating. Ink side down, the"
    " print would come out the wrong way round."
)


def negative_json(report: NegativeReport) -> dict[str, Any]:
    """What was made, under the names the command line promises."""
    sheet, findings = report.sheet, (*report.curve_findings, *report.findings)
    return {
        **taken(report, "output", "source", "width", "height"),
        "pixels_per_inch": report.resolution and report.resolution.per_inch,
        **taken(report, "encoding", "curve", "printing_time", "level_black", "level_white",
                "mirrored"),
        **found_json(findings),
        **taken(report, "picture_mm", "resampled_from", "depth", "distinct_levels", "ink_colour",
                "black_share", "white_share", "largest_step_lightness", "coloured_share"),
        "negative_density_range": report.density_range,
        "margin_mm": sheet.margin,
        "border": (sheet.border or "clear") if sheet.margin else None,
        **taken(report, "rule_mm", "target", "table"),
    }


def batch_json(batch: Batch[NegativeReport], message: Message = str) -> dict[str, Any]:
    """Several negatives, and the images that did not become any."""
    return {
        "outputs": [*map(negative_json, batch.reports)],
        **failures_json(batch.failures, message),
        **({"films": [*map(_film_json, batch.films)]} if batch.films else {}),
    }


def failures_json(failures: Sequence[Failure], message: Message) -> dict[str, Any]:
    """Which images did not become negatives (or proofs), and why."""
    return {"failures": [{"source": f.source, "message": message(f.error)} for f in failures]}


def _film_json(film: FilmReport) -> dict[str, Any]:
    width, height = film.size_mm
    return {
        "output": film.output, "film": film.film.name, "width": film.width,
        "height": film.height, "width_mm": round(width, 2), "height_mm": round(height, 2),
        "rule_mm": film.rule_mm, "places": [*map(asdict, film.places)],
    }


def film_facts(film: FilmReport) -> list[Fact]:
    """Its size, and where each negative lies."""
    width, height = film.size_mm
    rule = "" if film.rule_mm is None else f"; a rule of {film.rule_mm:.0f} mm"
    return [("film", f"{film.film.name}: {film.width} x {film.height} pixels, {width:.1f} x"
             f" {height:.1f} mm{rule}"),
            *(("negative", f"{place.title or place.source.name}: {place.width_mm:.1f} x"
               f" {place.height_mm:.1f} mm, {place.x_mm:.1f} mm from the left and"
               f" {place.y_mm:.1f} mm from the top{', turned a quarter' * place.turned}")
              for place in film.places)]


def failures_text(
    failures: Sequence[Failure], done: int, message: Message = str, made: str = "negative"
) -> str:
    """Which images did not become negatives (or proofs), and why; ``done`` of them did."""
    count = len(failures)
    return "\n".join([
        f"tonewright {made}: {count} of {count + done} images did not become {made}s.",
        *(f"  {failure.source}: {message(failure.error)}" for failure in failures)])


def negatives_text(batch: Batch[NegativeReport], curve_file: str | os.PathLike[str]) -> str:
    """The negatives that were made through a curve's file, and what to do with them now."""
    first = batch.reports[0]  # what holds for all negatives of a curve
    written = [film.output for film in batch.films] or [one.output for one in batch.reports]
    tables = [f"{one.table} (to fill in by hand) and {one.target} (a scan is read with it)"
              for one in batch.reports if one.table is not None]
    return "\n\n".join([
        _block(f"Curve {first.curve}",
               [("time", print_words(first)), *doubts(first.curve_findings)]),
        *(_block(f"Image {one.source}", negative_facts(one)) for one in batch.reports),
        *(_block(f"Film {film.output}", film_facts(film)) for film in batch.films),
        ending([*written, *tables], how_to_print(batch), *_then(batch, curve_file),
               exposes=True)])


def _block(head: str, facts: Iterable[Fact]) -> str:
    return "\n".join([head, *set_facts(facts)])


def how_to_print(batch: Batch[NegativeReport]) -> str:
    """How negatives come onto film, and lie on the coating."""
    contact = _MIRRORED if batch.reports[0].mirrored else _AS_IS
    rules = [*(film.rule_mm for film in batch.films), *(one.rule_mm for one in batch.reports)]
    long = next(filter(None, rules), None)
    rule = "" if long is None else RULE_WORDS.format(long=long)
    return " ".join(filter(None, (_PRINT, rule, _CUT if batch.films else "", contact)))


def _then(batch: Batch[NegativeReport], curve_file: str | os.PathLike[str]) -> Iterator[Fact]:
    """How the print of a tone scale is checked, where there is one."""
    tables = [report.table for report in batch.reports if report.table is not None]
    if tables:
        table = typed(tables[0])
        where = f"the table of its negative (of the first: {table})" if tables[1:] else table
        yield ("Then:", "print it, and let the print dry. Measure its tone scale, write the"
               f" densities into {where}, and type  tonewright check {typed(curve_file)} {table}")


def print_words(report: NegativeReport) -> str:
    """How long to print a negative."""
    time = f"print for {report.printing_time}" if report.printing_time else (
        "the curve does not say how long to print: use the time its target was printed for")
    if any(isinstance(found, TIME_IN_DOUBT) for found in report.curve_findings):
        time += "; the curve may be for the wrong time, see below"
    return time


def encoding_words(encoding: str) -> str:
    """What values were taken for."""
    return _MEANINGS.get(encoding, encoding.replace(":", " "))


def negative_facts(report: NegativeReport) -> list[Fact]:
    """What was made of one image."""
    black, white = report.level_black, report.level_white
    density = report.density_range
    facts = [
        ("values", f"taken as {encoding_words(report.encoding)}"),
        ("ink", f"picture black = {_percent(black)} ink, picture white = {_percent(white)} ink"),
        ("range", "" if density is None else f"density range {density:.2f} from black to white, as"
         " the coating sees it"),
        ("ends", _ends(report)),
        ("size", _size(report)),
        ("sheet", _sheet(report)),
        ("film", _film(report)),
        *(("warning", sentence(finding)) for finding in report.findings),
    ]
    return [(label, text) for label, text in facts if text]


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _ends(report: NegativeReport) -> str:
    """What is lost at the ends, where it is too little for a finding."""
    if any(isinstance(found, BlackTonesLost | WhiteTonesLost) for found in report.findings):
        return ""
    return (f"{_percent(report.black_share)} of the picture prints as maximum black,"
            f" {_percent(report.white_share)} as paper white")


def _film(report: NegativeReport) -> str:
    kind = f"{report.depth}-bit gray, white is clear film"
    if report.ink_colour is not None:
        kind = f"{report.depth}-bit RGB, white is clear film, {report.ink_colour} the heaviest ink"
    if report.depth == 8:
        kind += f", dithered (image and curve reach {report.distinct_levels} of the 256 ink levels)"
    side = "mirrored for printing with the ink on the coating" if report.mirrored else \
        "not mirrored"
    return f"{kind}, {side}"


def _sheet(report: NegativeReport) -> str:
    sheet = report.sheet
    if not sheet.margin:
        return ""
    parts = [
        f"{sheet.margin:g} mm border of {_BORDERS[sheet.border or 'clear']}",
        "marks at corners and middles" if sheet.marks else "",
        "" if report.rule_mm is None else f"a rule of {report.rule_mm:.0f} mm",
        "tone scale" if sheet.tone_scale else "",
        "caption" if sheet.caption else "",
    ]
    return "; ".join(part for part in parts if part)


def _size(report: NegativeReport) -> str:
    pixels = f"{report.width} x {report.height} pixels"
    if report.resampled_from is not None:
        was = " x ".join(str(side) for side in report.resampled_from)
        pixels += f" (resampled in luminance from {was})"
    resolution = report.resolution
    if resolution is None or resolution.per_inch is None:
        return f"{pixels}, resolution unknown"
    wide, high = resolution.millimetres(report.width, report.height)
    on_film = (f"{pixels} at {resolution.per_inch[0]:.4g} per inch: {wide:.1f} x {high:.1f} mm on"
               " film")
    if report.sheet.margin and report.picture_mm is not None:
        on_film += f", picture {report.picture_mm[0]:.1f} x {report.picture_mm[1]:.1f} mm"
    return on_film
