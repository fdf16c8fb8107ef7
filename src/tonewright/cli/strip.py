"""``tonewright strip``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli import options
from tonewright.cli.options import PATH, say
from tonewright.errors import OptionError
from tonewright.files.safe import check_outputs

if TYPE_CHECKING:
    from tonewright.record.times import PrintingTime
    from tonewright.scan.strips import Halves
    from tonewright.strip.process import Process
    from tonewright.strip.tablet import Tablet


@click.command("strip")
@click.argument("readings", nargs=-1, type=PATH)
@click.option("--tablet", "tablet_text", metavar="TABLET",
              help="31, 21, N x D such as 25x0.12, or a CSV of measured step densities.")
@click.option("--time", "times", multiple=True, metavar="TIME",
              help="Printing time: 10min, 90s, 7:30 or 120units. One for each strip.")
@click.option("--merged", multiple=True, type=int, metavar="K",
              help="By eye: steps 1 to K merge. One for each strip; 1 if step 2 stands apart.")
@click.option("-o", "--output", type=PATH, help="The process to write, NAME.process.json.")
@click.option("--blank", type=PATH, metavar="CSV",
              help="Write a table of the tablet's steps to fill in, and nothing else.")
@click.option("--flip", is_flag=True, help="The strip was read from the dense end.")
@click.option("--skip", multiple=True, type=int, metavar="STEP",
              help="A step that was not measured, or to leave out; may be given several times.")
@click.option("--count-all", is_flag=True,
              help="Count the steps that disagree with their neighbours, too.")
@options.scale
@options.zero_options
@click.option("--just-visible", type=float, default=1.0, show_default=True,
              help="L* between maximum black and step 2 at the base printing time.")
@click.option("--scanner", "scanner_file", type=PATH, metavar="SCANNER",
              help="Scan: the scanner's response, NAME.scanner.json, from tonewright scanner.")
@click.option("--corners", metavar="X0,Y0,...",
              help="Scan: corners of the row of steps by hand, eight pixel numbers clockwise from"
              " the top left, step 1 at the left edge.")
@click.option("--halves", default="2", show_default=True,
              type=click.Choice(["2", "film/bare", "bare/film", "1", "film", "bare"]),
              help="Scan: 2 halves along the row, the lighter under the film; film/bare: the upper"
              " one under the film, step 1 at the left; 1: all under the film.")
@options.flat
@options.channel
@options.allow_jpeg
@options.setup_options_but("printing_time")
@options.plot
@options.result_options
def command(
    readings: tuple[Path, ...], tablet_text: str | None, times: tuple[str, ...],
    merged: tuple[int, ...], output: Path | None, plot: Path | None, blank: Path | None,
    force: bool, as_json: bool, **choices: Any,
) -> None:
    """Printing time and process response from a step-tablet strip on coated paper.

    Lay the tablet on the coated paper, half of it over a piece of the clear film that the
    negatives are printed on; expose, develop, dry.

    By eye: count the steps that cannot be told apart from step 1, through the film, and give
    --merged with --time. From measurements: READINGS is a CSV with the columns step and density
    (or lightness, LAB, XYZ, a spectrum), and if necessary through (film or bare), time, print, and
    state (dry or wet).

    From a scan: READINGS is the scan of the strip (TIFF or PNG, 16-bit gray, automatic
    corrections off), and --scanner what its values mean. The row of steps is found at any turn.

    \b
    Examples:
      tonewright strip --tablet 31 --time 10min --merged 1
      tonewright strip --tablet 31 --time 10min --merged 1 --time 15min --merged 2
      tonewright strip --tablet 31 --blank strip.csv
      tonewright strip strip.csv --tablet 31 --time 10min -o kallitype.process.json
      tonewright strip scan.tif --tablet 31 --time 10min --scanner flatbed.scanner.json
    """
    from tonewright.record.times import parse_time

    tablet = _tablet(tablet_text)
    printed = tuple(map(parse_time, times))
    beside = (*readings, *filter(None, (output, plot)))
    if blank is not None:
        _write_blank(blank, tablet, (printed, choices["halves"], merged, beside), force, as_json)
        return
    if not readings or merged:
        _by_eye(tablet, printed, merged, beside, as_json)
        return
    from tonewright.files.strips import StripSettings, read_strip
    from tonewright.record.provenance import document_name
    from tonewright.scan.rectify import parse_corners
    from tonewright.strip.fit import make_process
    from tonewright.strip.process import ProcessSettings

    named = (*readings, Path(tablet_text or ""), *(
        choices[name] for name in ("setup_file", "scanner_file", "flat_file")))
    check_outputs(output, plot, filter(None, named), force, ".process.json")
    made_with = options.setup_files(choices).read()
    strip = read_strip(readings, tablet, StripSettings(
        printed, options.reading_choices(choices), choices["flip"], choices["skip"],
        choices["scanner_file"], choices["halves"], corners=parse_corners(choices["corners"]),
        channel=choices["channel"], allow_jpeg=choices["allow_jpeg"], flat=choices["flat_file"]))
    process = make_process(strip, tablet, made_with, document_name((output or readings[0]).name),
                           ProcessSettings(choices["just_visible"], choices["count_all"]))
    _finish(process, output, plot, force, as_json)


def _tablet(text: str | None) -> Tablet:
    from tonewright.files.documents import read_tablet
    from tonewright.strip.tablet import TABLETS

    if text is None:
        raise OptionError("no tablet is named", TABLETS, "name the one you have",
                          code="tablet_unknown")
    return read_tablet(text)


def _write_blank(
    path: Path, tablet: Tablet,
    typed: tuple[tuple[PrintingTime, ...], Halves, tuple[int, ...], tuple[Path, ...]],
    force: bool, as_json: bool,
) -> None:
    from tonewright.files.strips import write_blank_strip
    from tonewright.show.strip_text import blank_text

    printed, halves, merged, beside = typed
    if merged or beside:
        raise OptionError(f"--blank and {beside[0] if beside else '--merged'} are both given",
                          "an empty table is written before the strip is measured",
                          "leave one of the two out")
    columns = write_blank_strip(path, tablet, printed, halves, force=force)
    say(as_json, lambda: {"blank": path, "steps": len(tablet.densities), "columns": columns},
        lambda: blank_text(path, tablet, columns))


def _by_eye(
    tablet: Tablet, printed: tuple[PrintingTime, ...], merged: tuple[int, ...],
    beside: tuple[Path, ...], as_json: bool,
) -> None:
    from tonewright.show.strip_text import eye_json, eye_text
    from tonewright.strip.exposure import eye_strips, judge_by_eye

    if merged and beside:
        raise OptionError(f"--merged and {beside[0]} are both given",
                          "a strip is judged by eye, which gives a time alone, or measured",
                          "leave one of the two out")
    if not merged:
        raise OptionError("neither readings nor --merged is given",
                          "a strip is measured or judged by eye",
                          "name a CSV file of readings, or count the steps that merge with step 1"
                          " and add --merged")
    strips = eye_strips(printed, merged)
    result = judge_by_eye(tablet, strips)
    say(as_json, lambda: eye_json(result), lambda: eye_text(result, tablet, strips))


def _finish(
    process: Process, output: Path | None, plot: Path | None, force: bool, as_json: bool
) -> None:
    from tonewright.files.documents import write_document
    from tonewright.files.safe import together, write_bytes
    from tonewright.show.strip_text import process_json, process_text

    with together():
        if output is not None:
            write_document(output, process, force=force)
        if plot is not None:
            from tonewright.show.plots import plot_process

            write_bytes(plot, plot_process(process), force=force)
    say(as_json, lambda: {**process_json(process), "output": output},
        lambda: process_text(process, output, plot))
