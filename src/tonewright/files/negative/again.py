"""Images that are a negative, a target or a proof themselves, by what their files say."""

from __future__ import annotations

import re
from pathlib import Path

from tonewright.errors import OptionError, TonewrightError
from tonewright.files.raster.source import SourceImage
from tonewright.frozen import dataclass
from tonewright.scales import MM_PER_INCH

NEGATIVE_OF, TARGET, PROOF_OF = "Negative of", "Target", "Proof of"
OVERLAY_OF, PLOT = "Overlay of", "Plot"
"""How the descriptions of our own files start."""
_MADE = {NEGATIVE_OF: "already a negative", TARGET: "already a target", PROOF_OF: "already a proof",
         OVERLAY_OF: "the overlay of a scan", PLOT: "a plot"}
PRINTING_TIME = "printing time "
_MADE_HERE = " by tonewright "
_ORIGIN = re.compile(rf"{NEGATIVE_OF} .*{_MADE_HERE}\S+; curve (?P<curve>.*?)"
                     rf"(?: \(sha256 (?P<sha256>[0-9a-f]{{64}})\))?;"
                     rf"(?: {PRINTING_TIME}(?P<time>[^;]*);)?")
ON_FILM = " mm of a film"
_LAID = re.compile(rf"; {NEGATIVE_OF} (?P<name>.*?){_MADE_HERE}\S+; curve .*?"
                   rf"; (?P<width>[\d.]+) x (?P<height>[\d.]+){ON_FILM}(?!\w)")


@dataclass(frozen=True)
class Origin:
    """What a negative says of itself; None where it does not."""

    curve: str
    """Name of the curve it was made through."""
    sha256: str | None
    """Of that curve's file, in hex."""
    time: str | None
    """What it is to be printed for."""

    def is_through(self, sha256: str, name: str) -> bool:
        """Whether it was made through the curve of this name, whose file has this hash."""
        return self.sha256 == sha256 or (self.sha256 is None and self.curve == name)


def origin_of(image: SourceImage) -> Origin | None:
    """What a negative says of itself; None for an image that is no negative of ours."""
    found = _ORIGIN.match(image.description)
    return None if found is None else Origin(found["curve"], found["sha256"], found["time"])


def laid_on_film(image: SourceImage) -> list[tuple[str, tuple[float, float]]]:
    """The pictures of the negatives on a film, with each negative's width and height in mm; empty
    for an image that is one negative, or none."""
    return [(found["name"], (float(found["width"]), float(found["height"])))
            for found in _LAID.finditer(image.description)]


def scale_document(picture: Path) -> Path:
    """The document by which a target, or the tone scale of a negative, is read."""
    return picture.with_name(f"{picture.stem}.target.json")


def scale_table(picture: Path) -> Path:
    """The table of its patches to fill in by hand."""
    return picture.with_suffix(".csv")


def refuse_again(image: SourceImage, made: str = "negative") -> None:
    """Raise `OptionError` for an image that was `made_here`; ``made`` is what is to be made of
    it."""
    what = made_here(image)
    if what is not None:
        raise OptionError(
            f"the image {image.path} is {what}",
            "a target is printed as it is, without a curve" if what == _MADE[TARGET] else
            f"a {made} is made from the picture itself",
            f"name the picture, or make a {made} of it anyway", code="negative_again")


def made_here(image: SourceImage) -> str | None:
    """What an image is that was made here: its own description says so, or the document beside it
    is for an image of this size; None for a picture or a scan."""
    for start, what in _MADE.items():
        if image.description.startswith(f"{start} ") and _MADE_HERE in image.description:
            return what
    if _is_of(scale_document(image.path), image):
        return f"already a target or a negative: {scale_document(image.path).name} is its layout"
    return None


def _is_of(document: Path, image: SourceImage) -> bool:
    """Whether there is such a document, and its sheet has as many pixels as the image."""
    if not document.is_file():
        return False
    from tonewright.files.documents import open_document
    from tonewright.target.document import Target

    try:
        target = open_document(document, Target).document
    except TonewrightError:  # whatever it is, it says nothing of the image
        return False
    sheet = sorted(round(mm * target.ppi / MM_PER_INCH)
                   for mm in (target.width_mm, target.height_mm))
    sides = sorted((image.width, image.height))
    return all(abs(ours - side) <= 1 for ours, side in zip(sheet, sides, strict=True))
