"""What the negative command says, in plain words."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from tonewright.errors import TonewrightError
from tonewright.files.negative.batch import Batch, Failure
from tonewright.files.negative.make import NegativeReport
from tonewright.negative.findings import BlackTonesLost, WhiteTonesLost
from tonewright.record.codec import encode
from tonewright.show import curve_findings as curve_findings
from tonewright.show import negative_findings as negative_findings
from tonewright.show import raster_findings as raster_findings
from tonewright.show import strip_findings as strip_findings
from tonewright.show.cautions import with_cautions
from tonewright.show.sentence import sentence
from tonewright.show.words import RULE_WORDS, Fact, headed, labelled, set_facts, typed
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
    "Print the negative at actual size (no scaling, no fit to page). Switch off all colour"
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
    per_inch = report.resolution.per_inch if report.resolution else None
    sheet, findings = report.sheet, (*report.curve_findings, *report.findings)
    return {
        "output": str(report.output),
        "source": str(report.source),
        "width": report.width,
        "height": report.height,
        "pixels_per_inch": None if per_inch is None else list(per_inch),
        "encoding": report.encoding,
        "curve": report.curve,
        "printing_time": report.printing_time,
        "level_black": report.level_black,
        "level_white": report.level_white,
        "mirrored": report.mirrored,
        "warnings": [sentence(finding) for finding in findings],
        "findings": [encode(finding) for finding in findings],
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
        "margin_mm": sheet.margin,
        "border": (sheet.border or "clear") if sheet.margin else None,
        "rule_mm": report.rule_mm,
        "target": None if report.target is None else str(report.target),
        "table": None if report.table is None else str(report.table),
    }


def batch_json(batch: Batch[NegativeReport], message: Message = str) -> dict[str, Any]:
    """Several negatives, and the images that did not become any."""
    return {
        "outputs": [negative_json(report) for report in batch.reports],
        "failures": [
            {"source": str(failure.source), "message": message(failure.error)}
            for failure in batch.failures
        ],
        **({"films": [_film_json(film) for film in batch.films]} if batch.films else {}),
    }


def _film_json(film: FilmReport) -> dict[str, Any]:
    width, height = film.size_mm
    return {
        "output": str(film.output), "film": film.film.name, "width": film.width,
        "height": film.height, "width_mm": round(width, 2), "height_mm": round(height, 2),
        "rule_mm": film.rule_mm,
        "places": [{**asdict(place), "source": str(place.source)} for place in film.places],
    }


def _film_text(film: FilmReport) -> str:
    """A sheet of film."""
    return "\n".join([f"Film {film.output}",
                      *(labelled(label, text) for label, text in film_facts(film))])


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
    return "\n".join(
        [
            f"tonewright {made}: {count} of {count + done} images did not become {made}s.",
            *(f"  {failure.source}: {message(failure.error)}" for failure in failures),
        ]
    )


def negatives_text(batch: Batch[NegativeReport], curve_file: str | os.PathLike[str]) -> str:
    """The negatives that were made through a curve's file, and what to do with them now."""
    return with_cautions(["\n\n".join(
        [
            _curve_text(batch.reports[0]),
            *map(negative_text, batch.reports),
            *map(_film_text, batch.films),
            headed("Next", how_to_print(batch)),
            *_then(batch, curve_file),
        ]
    )])


def how_to_print(batch: Batch[NegativeReport]) -> str:
    """How negatives come onto film, and lie on the coating."""
    contact = _MIRRORED if batch.reports[0].mirrored else _AS_IS
    return " ".join(filter(None, (_PRINT, _rule(batch), _CUT if batch.films else "", contact)))


def _then(batch: Batch[NegativeReport], curve_file: str | os.PathLike[str]) -> Iterator[str]:
    """How the print of a tone scale is checked, where there is one."""
    tables = [report.table for report in batch.reports if report.table is not None]
    if tables:
        table = typed(tables[0])
        where = f"the table of its negative (of the first: {table})" if tables[1:] else table
        yield headed("Then", "Print it, and let the print dry. Measure its tone scale, write the"
                     f" densities into {where}, and type  tonewright check {typed(curve_file)}"
                     f" {table}")


def _rule(batch: Batch[NegativeReport]) -> str:
    rules = [*(film.rule_mm for film in batch.films), *(one.rule_mm for one in batch.reports)]
    long = next((rule for rule in rules if rule), None)
    return "" if long is None else RULE_WORDS.format(long=long)


def _curve_text(report: NegativeReport) -> str:
    """What holds for all negatives of a curve: how long to print them, and its doubts."""
    doubts = ((found.kind, sentence(found)) for found in report.curve_findings)
    return "\n".join([f"Curve {report.curve}",
                      *set_facts((("time", print_words(report)), *doubts))])


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


def negative_text(report: NegativeReport) -> str:
    """One negative: one fact a line."""
    return "\n".join([f"Image {report.source}", *set_facts(negative_facts(report))])


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
        *(("warning", sentence(finding)) for finding in report.findings),
        ("written", f"{report.output}, {_size(report)}"),
        ("", "" if report.table is None else f"{report.table} (to fill in by hand) and"
         f" {report.target} (a scan is read with it)"),
        ("sheet", _sheet(report)),
        ("film", _film(report)),
    ]
    return [(label, text) for label, text in facts if text]


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _ends(report: NegativeReport) -> str:
    """What is lost at the ends, where it is too little for a finding."""
    if any(isinstance(found, BlackTonesLost | WhiteTonesLost) for found in report.findings):
        return ""
    return (
        f"{_percent(report.black_share)} of the picture prints as maximum black,"
        f" {_percent(report.white_share)} as paper white"
    )


def _film(report: NegativeReport) -> str:
    kind = f"{report.depth}-bit gray, white is clear film"
    if report.ink_colour is not None:
        kind = f"{report.depth}-bit RGB, white is clear film, {report.ink_colour} the heaviest ink"
    if report.depth == 8:
        kind += (
            f", dithered (image and curve reach {report.distinct_levels} of the 256 ink levels)"
        )
    side = "mirrored for printing with the ink on the coating" if report.mirrored else (
        "not mirrored")  # fmt: skip
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
