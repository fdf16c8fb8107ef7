"""How the way out of an error is typed: the one table from error code to option."""

from __future__ import annotations

from tonewright.errors import TonewrightError

TYPED: dict[str, str] = {
    "add_patches": "--readings FEW.csv",
    "curve_without_process": "tonewright fit --process PROCESS, or renew --readings READINGS",
    "ink_chart": "tonewright inks READINGS --process PROCESS",
    "ink_colour_unknown": "--ink-colour {colour}",
    "ink_colours_differ": "--ink-colour R,G,B or --target TARGET",
    "ink_unknown": "READINGS or --ink-from CURVE",
    "leave_out": "--leave-out PATCH",
    "no_readings": "READINGS.csv, or --process PROCESS --ink-from CURVE",
    "nothing_new": "--process PROCESS, --readings READINGS or --printing-time TIME",
    "other_light": "--anyway",
    "process_needed": "--process PROCESS",
    "readings_needed": "--readings READINGS",
    "rows": "--rows 101",
    "target_time_unknown": "--target-time {time}",
    "two_scales": "--scale SCALE",
    "two_zeros": "--relative-to-paper --paper-density DENSITY",
}
"""Each may hold the error's values in braces: ``"--ink-colour {colour}"``."""


def message(error: TonewrightError) -> str:
    """An error's sentences, with the options that lead out of it."""
    typed = TYPED.get(error.code or "", "")
    return error.sentences(typed.format(**error.values))
