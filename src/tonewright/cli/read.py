"""`tonewright read`: densities of a printed target from a scan or an instrument's file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.options import PATH, as_json, check_outputs, print_json, zero_options
from tonewright.errors import OptionError

if TYPE_CHECKING:
    from tonewright.target.document import Target

_SCAN_ONLY = {"scanner_file": "--scanner", "known": "--known", "corners": "--corners",
              "overlay_file": "--overlay", "channel": "--channel", "allow_jpeg": "--allow-jpeg"}
_LIST_ONLY = {"order": "--order", "snake": "--snake", "reverse": "--reverse", "scale": "--scale",
              "relative_to_paper": "--relative-to-paper", "paper_density": "--paper-density"}


@click.command("read")
@click.argument("source", type=PATH, metavar="SCAN")
@click.option("--target", "target_file", required=True, type=PATH,
              help="The target's layout, T.target.json.")
@click.option("-o", "--output", required=True, type=PATH, help="The readings to write, a CSV.")
@click.option("--scanner", "scanner_file", type=PATH,
              help="The scanner's response, S.scanner.json, from `tonewright scanner`.")
@click.option("--known", multiple=True, metavar="PATCH=DENSITY",
              help="Density of a patch, or of white or black, where you know it; may be given"
              " several times.")
@click.option("--corners", metavar="X0,Y0,...",
              help="Centres of the marks with 1, 2, 3 and 4 spots by hand: eight pixel numbers.")
@click.option("--overlay", "overlay_file", type=PATH, metavar="PNG",
              help="Also draw what was read where.")
@click.option("--channel", type=click.Choice(["red", "green", "blue", "luminance"]),
              help="Which channel of an RGB scan to read; without it the luminance.")
@click.option("--allow-jpeg", is_flag=True,
              help="Read a JPEG all the same; its blacks are not to be trusted.")
@click.option("--order", type=click.Choice(["name", "rows", "columns"]),
              help="Instrument's file: patches by name, or in reading order.")
@click.option("--snake", is_flag=True,
              help="Instrument's file: every second row (or column) was read backwards.")
@click.option("--reverse", is_flag=True, help="Instrument's file: it begins at the last patch.")
@click.option("--scale", type=click.Choice(["luminance", "visual-density"]),
              help="Instrument's file: which scale to use where it holds both.")
@zero_options
@click.option("--print", "print_name", metavar="NAME",
              help="Which sheet this is, to tell several prints of one target apart.")
@click.option("--force", is_flag=True,
              help="Replace existing output files, and read a JPEG all the same.")
@as_json
def command(
    source: Path, target_file: Path, output: Path, force: bool, as_json: bool, **how: Any,
) -> None:
    """Densities of a printed target from its SCAN, or from an instrument's file.

    The scan is a TIFF or PNG from a flatbed, best 16-bit gray at 300 pixels to the inch, with
    every automatic correction switched off; it may lie turned or mirrored. An instrument's file
    is CSV or CGATS text, with the patches by name or in reading order. The readings are written
    as a CSV with patch, level, density and density_sd, which `tonewright fit` takes as it is.

    \b
    Examples:
      tonewright read scan.tif --target T.target.json --scanner S.scanner.json -o T.csv
      tonewright read scan.tif --target T.target.json --known white=0.07 --known black=1.62 \\
          -o T.csv --overlay T.png
      tonewright read instrument.txt --target T.target.json --order rows --snake -o T.csv
    """
    from tonewright.files.raster.open import is_picture
    from tonewright.files.targets import read_target

    overlay, scanner = how["overlay_file"], how["scanner_file"]
    if overlay is not None and overlay.suffix.lower() != ".png":
        raise OptionError(f"the overlay is {overlay}", "an overlay is a PNG picture",
                          f"call it {overlay.with_suffix('.png')}")
    check_outputs(output, overlay, [source, target_file, *([scanner] if scanner else [])], force)
    target = read_target(target_file)
    if is_picture(source):
        _refuse(how, _LIST_ONLY, f"{source} is a scan", "an instrument's file")
        _read_scan(source, target, output, how, (force, as_json))
    else:
        _refuse(how, _SCAN_ONLY, f"{source} is no picture", "a scan")
        _read_list(source, target, output, how, (force, as_json))


def _refuse(how: dict[str, Any], names: dict[str, str], given: str, belongs: str) -> None:
    """Options of the other kind of source, which would be passed over silently."""
    asked = [option for name, option in names.items() if how[name] not in (None, False, ())]
    if asked:
        raise OptionError(f"{given}, and {', '.join(asked)} is given",
                          f"{asked[0]} is for {belongs}", "leave it out, or name the other file")


def _read_scan(
    source: Path, target: Target, output: Path, how: dict[str, Any], flags: tuple[bool, bool]
) -> None:
    """A scan: read, write the readings and the overlay, and say what was found."""
    from tonewright.files.raster.scans import read_scan
    from tonewright.files.scan.readings import write_readings
    from tonewright.files.scanners import read_scanner
    from tonewright.scan.read import ReadSettings, read_target_scan
    from tonewright.show.scan_text import next_step, scan_json, scan_text

    force, as_json = flags
    overlay_file: Path | None = how["overlay_file"]
    scanner = None if how["scanner_file"] is None else read_scanner(how["scanner_file"])
    settings = ReadSettings(scanner, _known(how["known"]), _corners(how["corners"]))
    scan = read_scan(source, allow_jpeg=how["allow_jpeg"] or force, channel=how["channel"])
    reading = read_target_scan(scan, target, settings)
    write_readings(output, reading, (f"scan {source.name}",), force=force,
                   overlay=None if overlay_file is None else (overlay_file, scan.pixels),
                   print_name=how["print_name"])
    if as_json:
        print_json({**scan_json(reading), "output": str(output),
                    "overlay": None if overlay_file is None else str(overlay_file)})
        return
    click.echo(scan_text(reading))
    click.echo(f"\nWritten: {output}" + ("" if overlay_file is None else f" and {overlay_file}"))
    click.echo(next_step(output, target))


def _read_list(
    source: Path, target: Target, output: Path, how: dict[str, Any], flags: tuple[bool, bool]
) -> None:
    """An instrument's file: map it onto the target, write the readings, and say so."""
    from tonewright.files.scan.readings import write_list_reading
    from tonewright.files.tables import read_table
    from tonewright.measured.readings import ReadingOptions
    from tonewright.scan.instrument import ListOrder, map_list
    from tonewright.show.scan_text import list_json, list_text, next_step

    force, as_json = flags
    order = ListOrder(how["order"], how["snake"], how["reverse"])
    options = ReadingOptions(None, how["scale"], how["relative_to_paper"], how["paper_density"])
    readings = map_list(read_table(source), target, order, options)
    write_list_reading(output, readings, target, force=force, print_name=how["print_name"])
    if as_json:
        print_json({**list_json(readings, target), "output": str(output), "overlay": None})
        return
    click.echo(list_text(readings, target))
    click.echo(f"\nWritten: {output}")
    click.echo(next_step(output, target, relative=readings.relative_to_paper))


def _known(entries: tuple[str, ...]) -> dict[str, float]:
    """``PATCH=DENSITY`` entries as numbers by name."""
    known: dict[str, float] = {}
    for entry in entries:
        name, sign, number = entry.partition("=")
        name = name.strip()
        try:
            density = float(number)
        except ValueError:
            density = float("nan")
        if not sign or not name or not -0.05 <= density <= 6.0:
            raise OptionError(f"--known is {entry!r}",
                              "it is PATCH=DENSITY with a density from 0 to 6",
                              "write it as --known white=0.07 or --known B3=1.62")
        if name.lower() in map(str.lower, known):
            raise OptionError(f"--known names {name} twice", "a patch has one density",
                              "leave one out")
        known[name] = density
    return known


def _corners(text: str | None) -> tuple[float, ...] | None:
    """Numbers as they are typed; how many and where is checked against the scan."""
    if text is None:
        return None
    try:
        return tuple(float(part) for part in text.replace(";", ",").split(","))
    except ValueError:
        raise OptionError(f"--corners is {text!r}", "it is eight numbers with commas between",
                          "write it as --corners 210,190,2300,200,2290,3100,205,3090") from None
