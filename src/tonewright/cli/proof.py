"""``tonewright proof``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli.options import PATH, encoding, flatten, page, result_options, say_batch


@click.command("proof")
@click.argument("images", nargs=-1, required=True, type=PATH, metavar="PICTURE...")
@click.option("--curve", "curves", required=True, multiple=True, type=PATH,
              help="The correction curve; may be given several times: their prints stand side by"
              " side.")
@click.option("-o", "--output", required=True, type=PATH,
              help="The proof, a .png; with several pictures, a folder.")
@click.option("--mark", is_flag=True,
              help="Mark tones that fall together: orange in black, violet in white.")
@encoding(help="What the picture's values mean: lightness, srgb, linear or gamma:2.2. By"
          " default as for a negative.")
@page
@flatten
@click.option("--anyway", is_flag=True,
              help="Make a proof even of an image that is a negative, a target or a proof.")
@result_options
def command(
    images: tuple[Path, ...], curves: tuple[Path, ...], output: Path, as_json: bool, **choices: Any
) -> None:
    """What the print of each PICTURE will look like, before anything is coated.

    The picture goes through the curve into the negative's codes, and each code becomes the tone
    that the print response promises: with the paper's own black and white, and its colour where
    the curve's readings hold Lab values. The proof is a PNG in sRGB, as many pixels as the picture.

    \b
    Examples:
      tonewright proof portrait.tif --curve kallitype.curve.json -o proof.png
      tonewright proof portrait.tif --curve kallitype.curve.json -o proof.png --mark
      tonewright proof portrait.tif --curve cotton.curve.json --curve linen.curve.json -o both.png
    """
    from tonewright.files.proof import ProofSettings, make_proofs
    from tonewright.files.raster.source import OpenOptions
    from tonewright.show.proof_text import batch_json, proofs_text

    batch = make_proofs(images, curves, output, ProofSettings(
        choices["encoding"], choices["mark"], choices["anyway"],
        OpenOptions(choices["page"], choices["flatten"]), choices["force"]))
    say_batch(batch, as_json, len(images) == 1, batch_json, lambda: proofs_text(batch), "proof")
