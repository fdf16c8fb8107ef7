"""From a picture to a proof of its print: the negative's own bands, shown as the print will be."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import field
from pathlib import Path

import numpy as np

from tonewright import __version__
from tonewright.curve.document import Curve
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.documents import Opened, open_curve
from tonewright.files.negative import pipeline
from tonewright.files.negative.again import PROOF_OF, refuse_again
from tonewright.files.negative.batch import Batch, Failure, output_names
from tonewright.files.negative.tones import Tones, image_tones
from tonewright.files.raster.bands import Job, ahead_for
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Band
from tonewright.files.raster.png_writer import PngPicture, write_png
from tonewright.files.raster.source import OpenOptions, SourceImage
from tonewright.files.safe import filled_folder, one_call, refuse_existing, refuse_read, whole_file
from tonewright.frozen import dataclass
from tonewright.negative.proof import Proof, make_proof
from tonewright.negative.size import check_pixels
from tonewright.negative.tones import apply_band
from tonewright.record.findings import Finding

MOST_CURVES = 6
_GAP = 0.02
"""White between proofs side by side, as a share of a picture's width."""
_UNDATED = bytes(12)


@dataclass(frozen=True)
class ProofSettings:
    """What the printer chose for a proof."""

    encoding: str | None = None
    """What the values mean; None: ask the image."""
    mark: bool = False
    """Mark tones that fall together at either end."""
    anyway: bool = False
    """Take an image that is a negative, a target or a proof itself."""
    image: OpenOptions = field(default_factory=OpenOptions)
    force: bool = False


@dataclass(frozen=True)
class ProofReport:
    """What was made."""

    source: Path
    output: Path
    width: int
    height: int
    """Pixels of the file."""
    encoding: str
    """What the values were taken for."""
    proofs: tuple[Proof, ...]
    """One for each curve, from left to right."""
    curve_findings: tuple[Finding, ...]
    """What the curves carry that bears on the print."""
    findings: tuple[Finding, ...]
    """Of the image."""


@one_call()
def make_proofs(
    images: Sequence[Path], curve_files: Sequence[Path], output: Path,
    settings: ProofSettings | None = None,
) -> Batch[ProofReport]:
    """Make proofs of the prints of finished images, a PNG in sRGB for each.

    Of several images, one that cannot be used does not stop the others.  Several ``curve_files``
    (``*.curve.json``) stand side by side in each proof.  ``output`` is the PNG to write, or the
    folder for several, which is made if it is missing.

    Raises `FileError`, `ImageError`, `OptionError`, `DocumentError`: a file cannot be read or
    written, a setting or a curve cannot be used; the only image cannot.
    """
    chosen = settings or ProofSettings()
    if len(curve_files) > MOST_CURVES:
        raise OptionError(f"{len(curve_files)} curves are named",
                          f"up to {MOST_CURVES} stand side by side", "name fewer")
    pairs = output_names(images, output, "proof")
    curves = [open_curve(path) for path in curve_files]
    proofs = [make_proof(curve.document, mark=chosen.mark) for curve in curves]
    if len(pairs) == 1:
        return Batch([_make(*pairs[0], curves, proofs, chosen)])
    for _, made in pairs:
        refuse_read(made)
    batch = Batch[ProofReport]()
    with filled_folder(output):
        for source, made in pairs:
            try:
                batch.reports.append(_make(source, made, curves, proofs, chosen))
            except TonewrightError as error:
                batch.failures.append(Failure(source, error))
    return batch


def _make(
    source: Path, output: Path, curves: Sequence[Opened[Curve]], proofs: Sequence[Proof],
    settings: ProofSettings,
) -> ProofReport:
    pipeline.refuse_same(source, output)
    refuse_existing(output, settings.force)
    with open_image(source, settings.image) as image:
        if not settings.anyway:
            refuse_again(image, "proof")
        tones = image_tones(image, settings.encoding)
        gap = round(_GAP * image.width) if len(curves) > 1 else 0
        width = len(curves) * (image.width + gap) - gap
        check_pixels(width, image.height)
        picture = PngPicture(width, image.height, image.resolution,
                             _description(image, curves, tones), _srgb_profile())
        how = pipeline.WriteSettings(mirror=False, description="", to_luminance=tones.to_luminance)
        works = [(pipeline.Work(image, codes, how), proof) for codes, proof in zip((
            pipeline.codes_for(image, tones.lightness, curve.document) for curve in curves),
            proofs, strict=True)]
        with (
            whole_file(output, force=settings.force) as temp,
            temp.open("r+b", buffering=0) as stream,
            ExitStack() as stack,
        ):
            parts = [_coloured(work.jobs(output.parent, stack), proof) for work, proof in works]
            jobs = parts[0] if len(parts) == 1 else _side_by_side(parts, gap)
            with closing(write_png(stream, picture, jobs, ahead_for(works[0][0].single))) as rows:
                for _ in rows:
                    pass
        return ProofReport(
            image.path, output, width, image.height, tones.encoding, tuple(proofs),
            tuple(dict.fromkeys(f for c in curves for f in c.document.findings
                                if f.bears_on_print)),
            (*image.findings, *tones.findings))


def _coloured(jobs: Iterator[Job], proof: Proof) -> Iterator[Job]:
    """Codes as the colours of their print, shape (rows, width, 3)."""
    table = np.ascontiguousarray(proof.colours).view("V3").reshape(-1)

    def coloured(codes: Band) -> Band:
        made = apply_band(codes, table, mirror=False)
        return made.view(np.uint8).reshape(*codes.shape, 3)

    return (job.then(coloured) for job in jobs)


def _side_by_side(parts: Sequence[Iterator[Job]], gap: int) -> Iterator[Job]:
    """Bands of several pictures of the same rows, with white between them."""
    def joined(jobs: Sequence[Job]) -> Callable[[], Band]:
        def join() -> Band:
            bands: list[Band] = []
            for job in jobs:
                band = job()
                bands += [np.full((len(band), gap, 3), 255, np.uint8), band]
            return np.concatenate(bands[1:], axis=1)
        return join

    for jobs in zip(*parts, strict=True):
        yield Job(jobs[0].rows, joined(jobs))


def _description(image: SourceImage, curves: Sequence[Opened[Curve]], tones: Tones) -> str:
    """Where a proof comes from: the same input, the same words."""
    through = ", ".join(f"{c.document.name} (sha256 {c.sha256})" for c in curves)
    return (f"{PROOF_OF} {image.path.name} by tonewright {__version__}; curve {through}; values"
            f" taken as {tones.encoding}")


def _srgb_profile() -> bytes:
    """The profile of IEC 61966-2-1 as littleCMS makes it, without the time of its making."""
    import imagecodecs

    made = bytes(imagecodecs.cms_profile("srgb"))
    return made[:24] + _UNDATED + made[36:]  # ICC.1, 7.2.11
