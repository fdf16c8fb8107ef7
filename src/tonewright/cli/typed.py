"""How the way out of an error is typed: the one table from error code to option."""

from __future__ import annotations

from tonewright.errors import TonewrightError

TYPED: dict[str, str] = {
    "add_patches": "--readings FEW.csv",
    "chart_colours": "--chart-colour or --chart-file",
    "chart_list_unordered": "tonewright read {file} --target {target}.target.json -o READINGS.csv",
    "chart_unknown": "--target CHART.target.json",
    "corners": "--corners 210,190,2300,200,2290,3100,205,3090",
    "curve_without_process": "tonewright fit --process PROCESS, or renew --readings READINGS",
    "density_below_white": "--relative-to-paper --paper-density DENSITY",
    "eye_strip_incomplete": "--time 10min --merged 2",
    "film_impossible": "--tablet TABLET",
    "for_lists_alone": "--order, --snake, --reverse, --scale, --relative-to-paper",
    "for_scans_alone": "--scanner, --known, --corners, --channel, --allow-jpeg, --overlay,"
                       " --halves",
    "halves_exchanged": "for a scan --halves film/bare or --halves bare/film",
    "halves_unclear": "--halves film/bare, bare/film, film or bare",
    "image_encoding": "--encoding lightness, srgb, linear or gamma:2.2",
    "image_pages": "--page 1",
    "image_transparent": "--flatten",
    "ink_chart": "tonewright inks READINGS --process PROCESS",
    "ink_colour_unknown": "--ink-colour {colour}",
    "ink_colours_differ": "--ink-colour R,G,B or --target TARGET",
    "ink_levels": "--ink-levels 1,0.5",
    "ink_range": "--range DENSITY",
    "ink_unknown": "READINGS or --ink-from CURVE",
    "known_patches": "--known white=0.07 --known black=1.62",
    "leave_out": "--leave-out PATCH",
    "level_column": "--level-field NAME, for example --level-field CMYK_K",
    "levels_disagree": "--level-field level or --level-field ink_percent",
    "list_by_name": "--order name",
    "list_columns": "--order columns",
    "list_columns_reverse": "--order columns --reverse",
    "list_columns_snake": "--order columns --snake",
    "list_columns_snake_reverse": "--order columns --snake --reverse",
    "list_in_order": "--order rows or --order columns",
    "list_names_and_order": "--order name, or --snake and --reverse",
    "list_rows": "--order rows",
    "list_rows_reverse": "--order rows --reverse",
    "list_rows_snake": "--order rows --snake",
    "list_rows_snake_reverse": "--order rows --snake --reverse",
    "mark_corners": "--corners x1,y1,x2,y2,x3,y3,x4,y4: pixels, the marks with 1, 2, 3 and 4 spots",
    "no_chart_process": "--process NAME.process.json, from tonewright strip",
    "no_chart_readings": "tonewright target --ink-colours -o inks.tif, then tonewright"
                         " inks READINGS.csv --process NAME.process.json",
    "no_readings": "READINGS.csv, or --process PROCESS --ink-from CURVE",
    "no_step_column": "tonewright fit",
    "nothing_new": "--process PROCESS, --readings READINGS or --printing-time TIME",
    "other_chart": "--target CHART.target.json",
    "other_light": "--anyway",
    "other_tablet": "--tablet TABLET",
    "paper_density": "--paper-density DENSITY",
    "patch_size": "--patch-mm 8",
    "process_needed": "--process PROCESS",
    "readings_needed": "--readings READINGS",
    "relative_to_paper": "--relative-to-paper",
    "row_corners": "--corners x0,y0,x1,y1,x2,y2,x3,y3: pixels, clockwise from the top left, step 1"
                   " at the left edge",
    "row_turned": "--corners {corners}",
    "rows": "--rows 101",
    "scan_flipped": "leave out --flip",
    "scan_lossy": "--allow-jpeg",
    "scan_relative": "leave out --relative-to-paper",
    "scanner_unknown": "tonewright scanner, then --scanner NAME.scanner.json; to read a target also"
                       " --known white=0.07 --known black=1.62",
    "sheet_size": "--size 130x180mm or --paper-size 5x7",
    "skip_impossible": "--skip STEP",
    "steps_missing": "--tablet TABLET, --skip STEP",
    "strip_as_target": "tonewright strip {file}",
    "strip_backwards": "--flip",
    "strip_flipped": "leave out --flip",
    "strip_time_unknown": "--time 10min",
    "strip_times_uneven": "--time TIME",
    "tablet_unknown": "--tablet 31",
    "target_levels": "--levels 21",
    "target_levels_twice": "--levels, --levels-file, --levels-for, --through, --ink-colours",
    "target_repeats": "--repeat 2",
    "target_resolution": "--ppi 360",
    "target_time_unknown": "--target-time {time}",
    "target_too_large": "--patch-mm, --repeat, --levels, --paper-size",
    "tones_no_chart": "tonewright fit READINGS -o NAME.curve.json",
    "two_scales": "--scale SCALE",
    "two_zeros": "--relative-to-paper --paper-density DENSITY",
    "weighting_missing": "leave out --scale",
}
"""Each may hold the error's values in braces: ``"--ink-colour {colour}"``."""


def message(error: TonewrightError) -> str:
    """An error's sentences, with the options that lead out of it."""
    typed = TYPED.get(error.code or "", "")
    return error.sentences(typed.format(**error.values))
