"""How the way out of an error is typed: the one table from error code to option."""

from __future__ import annotations

from tonewright.errors import TonewrightError

TYPED: dict[str, str] = {
    "chart_colours": "--chart-colour or --chart-file",
    "chart_list_unordered": "tonewright read {file} --target {target}.target.json -o READINGS.csv",
    "chart_unknown": "--target CHART.target.json",
    "density_below_white": "--relative-to-paper --paper-density DENSITY",
    "eye_strip_incomplete": "--time 10min --merged 2",
    "film_impossible": "--tablet TABLET",
    "halves_exchanged": "for a scan --halves film/bare or --halves bare/film",
    "ink_chart": "tonewright inks READINGS --process PROCESS",
    "ink_levels": "--ink-levels 1,0.5",
    "ink_range": "--range DENSITY",
    "level_column": "--level-field NAME, for example --level-field CMYK_K",
    "levels_disagree": "--level-field level or --level-field ink_percent",
    "no_chart_process": "--process NAME.process.json, from tonewright strip",
    "no_chart_readings": "tonewright target --ink-colours -o inks.tif, then tonewright"
                         " inks READINGS.csv --process NAME.process.json",
    "no_step_column": "tonewright fit",
    "other_chart": "--target CHART.target.json",
    "other_tablet": "--tablet TABLET",
    "paper_density": "--paper-density DENSITY",
    "patch_size": "--patch-mm 8",
    "relative_to_paper": "--relative-to-paper",
    "scan_flipped": "leave out --flip",
    "scan_relative": "leave out --relative-to-paper",
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
    "target_too_large": "--patch-mm, --repeat, --levels, --paper-size",
    "tones_no_chart": "tonewright fit READINGS -o NAME.curve.json",
    "two_scales": "--scale SCALE",
    "weighting_missing": "leave out --scale",
}
"""Each may hold the error's values in braces: ``"--ink-colour {colour}"``."""


def message(error: TonewrightError) -> str:
    """An error's sentences, with the options that lead out of it."""
    typed = TYPED.get(error.code or "", "")
    return error.sentences(typed.format(**error.values))
