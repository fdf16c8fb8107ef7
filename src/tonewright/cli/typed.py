"""How the way out of an error is typed: the one table from error code to option."""

from __future__ import annotations

from tonewright.errors import TonewrightError

TYPED: dict[str, str] = {
    "output_exists": "--force",
    "picture_size_unknown": "--width 200mm",
    "pixels_not_square": "--ppi 360",
    "impossible_resolution": "--width 200mm, --ppi 360",
    "margin_too_narrow": "--margin {margin}",
    "no_room_for_tone_scale": "--no-tone-scale",
    "not_a_sheet_file": "--save-layout FILE.toml",
    "ink_colour_differs": "tonewright target --ink-colour {colour}",
    "image_pages": "--page 1",
    "image_transparent": "--flatten",
    "image_encoding": "--encoding lightness, srgb, linear or gamma:2.2",
    "scan_lossy": "--allow-jpeg",
}
"""Each may hold the error's values in braces: ``"--ink-colour {colour}"``."""


def message(error: TonewrightError) -> str:
    """An error's sentences, with the options that lead out of it."""
    typed = TYPED.get(error.code or "", "")
    return error.sentences(typed.format(**error.values))
