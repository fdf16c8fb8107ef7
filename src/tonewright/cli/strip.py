"""``tonewright strip``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from tonewright.cli.options import (
    PATH,
    as_json,
    check_outputs,
    force,
    plot,
    print_json,
    scale,
    setup_options_but,
    zero_options,
)
from tonewright.errors import OptionError


@click.command("strip")
@click.argument("readings", nargs=-1, type=PATH)
@click.option("--tablet", "tablet_text", metavar="TABLET",
              help="31, 21, N x D such as 25x0.12, or a CSV of measured step densities.")
@click.option("--time", "times", multiple=True, metavar="TIME",
              help="Printing time: 10min, 90s, 7:30 or 120units. One for each strip.")
@click.option("--merged", multiple=True, type=int, metavar="K",
              help="By eye: steps 1 to K cannot be told apart. One for each strip; 1 if all can.")
@click.option("-o", "--output", type=PATH, help="The process to write, NAME.process.json.")
@click.option("--flip", is_flag=True, help="The strip was read from the dense end.")
@click.option("--skip", multiple=True, type=int, metavar="STEP",
              help="A step that was not measured or shall not count; may be given several times.")
@click.option("--count-all", is_flag=True,
              help="Count steps that do not fit their neighbours, too.")
@scale
@zero_options
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
@click.option("--channel", type=click.Choice(["red", "green", "blue", "luminance"]),
              help="RGB scan: which channel to read; without it the luminance.")
@click.option("--allow-jpeg", is_flag=True,
              help="Scan: read a JPEG all the same; its blacks are not to be trusted.")
@setup_options_but("printing_time")
@plot
@force
@as_json
def command(
    readings: tuple[Path, ...], tablet_text: str | None, times: tuple[str, ...],
    merged: tuple[int, ...], output: Path | None, flip: bool, skip: tuple[int, ...],
    scale: str | None, just_visible: float, setup_file: Path | None, force: bool, as_json: bool,
    scanner_file: Path | None, corners: str | None, halves: str, channel: str | None,
    allow_jpeg: bool, plot: Path | None, count_all: bool, relative_to_paper: bool,
    paper_density: float | None, **setup: str | None,
) -> None:
    """Printing time and process response from a step-tablet strip on coated paper.

    Lay the tablet on the coated paper, half of it over a piece of the clear film that the
    negatives are printed on; expose, develop, dry.

    By eye: count the steps that cannot be told apart from step 1, through the film, and give
    --merged with --time. From measurements: READINGS is a CSV with the columns step and density
    (or lightness, LAB, XYZ, a spectrum), and if need be through (film or bare), time, print, and
    state (dry or wet).

    From a scan: READINGS is the scan of the strip (TIFF or PNG, 16-bit gray, automatic
    corrections off), and --scanner what its values mean. The row of steps is found at any turn.

    \b
    Examples:
      tonewright strip --tablet 31 --time 10min --merged 1
      tonewright strip --tablet 31 --time 10min --merged 1 --time 15min --merged 2
      tonewright strip strip.csv --tablet 31 --time 10min -o kallitype.process.json
      tonewright strip scan.tif --tablet 31 --time 10min --scanner flatbed.scanner.json
    """
    from tonewright.files.documents import read_tablet
    from tonewright.record.times import parse_time
    from tonewright.strip.process import ProcessSettings

    if tablet_text is None:
        raise OptionError("no tablet was named", "what a step holds back must be known",
                          "add --tablet 31 (31 steps of 0.10), --tablet 21 (21 of 0.15), another"
                          " as 25x0.12, or a CSV of its measured densities")
    tablet = read_tablet(tablet_text)
    printed = [parse_time(t) for t in times]
    if merged and readings:
        raise OptionError("--merged and readings are both given",
                          "a strip is judged by eye or measured", "leave one of the two out")
    if not readings:
        _by_eye(tablet, printed, merged, output or plot, as_json)
        return
    inputs = [*readings, Path(tablet_text), *([setup_file] if setup_file else [])]
    check_outputs(output, plot, inputs, force)
    scans = _Scans(scanner_file, corners, halves, channel, allow_jpeg)
    scans.check(readings, flip, relative_to_paper)
    how = _How(scale, flip, skip, _paper(relative_to_paper, paper_density))
    strip = _read(readings, tablet, printed, how, scans)
    process = _evaluate(strip, tablet, (output or readings[0]).name,
                        ProcessSettings(just_visible, count_all), (setup_file, setup))
    _finish(process, (output, plot), force, as_json)


@dataclass(frozen=True)
class _How:
    """How the readings of all files are understood."""

    scale: Any
    flip: bool
    skip: tuple[int, ...]
    paper_density: float | None


def _paper(relative: bool, paper_density: float | None) -> float | None:
    """What is added to readings that count from the bare paper."""
    from tonewright.measured.readings import ReadingOptions, refuse_relative

    ReadingOptions(relative_to_paper=relative, paper_density=paper_density)
    if relative and paper_density is None:
        refuse_relative()
    return paper_density


@dataclass(frozen=True)
class _Scans:
    """The options that hold for scans alone."""

    scanner: Path | None
    corners: str | None
    halves: str
    channel: str | None
    allow_jpeg: bool

    def check(self, readings: tuple[Path, ...], flip: bool, relative: bool) -> None:
        """Refuse what would silently not count."""
        from tonewright.files.raster.open import is_picture

        scans = [path for path in readings if is_picture(path)]
        given = [name for name, value in (
            ("--scanner", self.scanner), ("--corners", self.corners), ("--channel", self.channel),
            ("--allow-jpeg", self.allow_jpeg), ("--halves", self.halves != "2")) if value]
        if given and not scans:
            raise OptionError(f"{given[0]} is given, but {readings[0]} is no scan",
                              "it says how a scan (TIFF or PNG) is read",
                              f"leave {given[0]} out, or name the scan")
        if self.corners and len(scans) > 1:
            raise OptionError(f"--corners is given for {len(scans)} scans",
                              "each scan has corners of its own", "read one scan at a time")
        if scans and relative:
            raise OptionError(f"--relative-to-paper is given, but {scans[0]} is a scan",
                              "a scanner's densities count from no paper",
                              "leave it out; evaluate scans and an instrument's readings that"
                              " count from the paper one by one")
        if scans and flip:
            raise OptionError(f"--flip is given, but {scans[0]} is a scan",
                              "in a scan the dark end is step 1, whichever way it lies",
                              "leave --flip out")

    def table(self, path: Path, steps: int) -> Any:
        """A scanned strip as a table of readings."""
        from tonewright.files.raster.scans import read_scan
        from tonewright.files.scanners import read_scanner
        from tonewright.scan.steps import parse_corners
        from tonewright.scan.strips import StripScan, read_strip_scan

        response = read_scanner(self.scanner) if self.scanner else None
        corners = parse_corners(self.corners) if self.corners else None
        scan = read_scan(path, allow_jpeg=self.allow_jpeg, fingerprint=True,
                         channel=self.channel)  # type: ignore[arg-type]
        how = StripScan(response, corners, self.halves)  # type: ignore[arg-type]
        return read_strip_scan(scan, steps, scan.sha256 or "", how).table


def _by_eye(
    tablet: Any, printed: list[Any], merged: tuple[int, ...], output: Path | None, as_json: bool
) -> None:
    from tonewright.show.strip_text import eye_json, eye_text
    from tonewright.strip.exposure import EyeStrip, judge_by_eye

    if not merged:
        raise OptionError("neither readings nor --merged are given",
                          "a strip is measured or judged by eye",
                          "name a CSV file of readings, or count the steps that merge with step 1"
                          " and add --merged")
    if len(merged) != len(printed):
        raise OptionError(f"--time is {_given(len(printed))}, --merged"
                          f" {_given(len(merged))}", "every strip has a time and a count",
                          "write --time 10min --merged 2 for each strip")
    if output is not None:
        raise OptionError("-o or --plot with --merged",
                          "the eye alone gives a time, not a process response",
                          "measure the strip, or leave it out")
    strips = [EyeStrip(t, k) for t, k in zip(printed, merged, strict=True)]
    result = judge_by_eye(tablet, strips)
    if as_json:
        print_json(eye_json(result))
    else:
        click.echo(eye_text(result, tablet, strips))


def _given(count: int) -> str:
    return {0: "not given", 1: "given once", 2: "given twice"}.get(count, f"given {count} times")


def _read(
    paths: tuple[Path, ...], tablet: Any, printed: list[Any], how: _How, scans: _Scans,
) -> Any:
    """Strips of one or several files; with as many times as files, each has its own."""
    from tonewright.files.raster.open import is_picture
    from tonewright.files.tables import read_table
    from tonewright.strip.readings import StripOptions, combine_strips, strip_from_table

    if len(printed) not in (0, 1, len(paths)):
        raise OptionError(f"--time is {_given(len(printed))} for {len(paths)}"
                          f" file{'s' if len(paths) > 1 else ''}",
                          "one time holds for all files, or each file has its own",
                          "give --time once, or once for each file in the same order")
    times = printed * len(paths) if len(printed) == 1 else printed or [None] * len(paths)
    count = len(tablet.densities)
    tables = [scans.table(p, count) if is_picture(p) else read_table(p, "step") for p in paths]
    return combine_strips([
        strip_from_table(table, tablet, StripOptions(t, how.scale, how.flip, how.skip,
                                                     how.paper_density))
        for table, t in zip(tables, times, strict=True)])


def _evaluate(
    strip: Any, tablet: Any, name: str, settings: Any,
    said: tuple[Path | None, dict[str, str | None]],
) -> Any:
    from tonewright.files.documents import read_setup
    from tonewright.record.setup import Setup
    from tonewright.strip.fit import make_process

    setup_file, setup = said
    base = read_setup(setup_file) if setup_file else Setup()
    plain = name.removesuffix(".json").removesuffix(".process").removesuffix(".csv")
    plain = plain.removesuffix(".tif").removesuffix(".tiff").removesuffix(".png")
    return make_process(strip, tablet, base.with_changes(setup), plain, settings)


def _finish(
    process: Any, outputs: tuple[Path | None, Path | None], force: bool, as_json: bool
) -> None:
    from tonewright.files.documents import write_process
    from tonewright.show.strip_text import (
        exposing_text,
        next_words,
        process_json,
        process_text,
    )

    output, plot = outputs
    if output is not None:
        write_process(output, process, force=force)
    if plot is not None:
        from tonewright.files.safe import write_bytes
        from tonewright.show.plots import plot_process

        write_bytes(plot, plot_process(process), force=force)
    if as_json:
        print_json({**process_json(process), "output": None if output is None else str(output)})
        return
    click.echo(process_text(process))
    click.echo("\nWritten: " + (str(output) if output else "nothing; add -o NAME.process.json"))
    click.echo(f"Next:    {next_words(process, None if output is None else str(output))}")
    click.echo(exposing_text())
