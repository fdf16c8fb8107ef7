"""How the way out of an error is typed: the one table from error code to option."""

from __future__ import annotations

from tonewright.errors import TonewrightError

TYPED: dict[str, str] = {
    "image_pages": "--page 1",
    "image_transparent": "--flatten",
    "image_encoding": "--encoding lightness, srgb, linear or gamma:2.2",
    "scan_lossy": "--allow-jpeg",
    "density_below_white": "--relative-to-paper --paper-density DENSITY",
    "eye_strip_incomplete": "--time 10min --merged 2",
    "film_impossible": "--tablet TABLET",
    "halves_exchanged": "for a scan --halves film/bare or --halves bare/film",
    "no_step_column": "tonewright fit",
    "other_tablet": "--tablet TABLET",
    "scales_differ": "--scale luminance or --scale visual-density",
    "scan_flipped": "leave out --flip",
    "scan_relative": "leave out --relative-to-paper",
    "skip_impossible": "--skip STEP",
    "steps_missing": "--tablet TABLET, --skip STEP",
    "strip_backwards": "--flip",
    "strip_flipped": "leave out --flip",
    "strip_time_unknown": "--time 10min",
    "strip_times_uneven": "--time TIME",
    "tablet_unknown": "--tablet 31",
}
"""Each may hold the error's values in braces: ``"--ink-colour {colour}"``."""


def message(error: TonewrightError) -> str:
    """An error's sentences, with the options that lead out of it."""
    typed = TYPED.get(error.code or "", "")
    return error.sentences(typed.format(**error.values))
