"""What was found in an image file, as sentences."""

from __future__ import annotations

from tonewright.files.raster import findings
from tonewright.show.sentence import says

says(findings.FewTones,
     "8-bit image, {has}: smooth skies may print in steps; a 16-bit original is better",
     has=lambda f: "256 steps of each colour" if f.colour else "at most 256 tones")
says(findings.LossyImage,
     "JPEG image, 8 bits and lossy: smooth tones may print in steps and blocks; a 16-bit original"
     " is better")
says(findings.TransparencyFlattened, "transparency was laid on white")
says(findings.ExtraChannelIgnored, "an extra channel was left out")
says(findings.OrientationIgnored,
     "the orientation tag is {orientation}, which is not defined; it was ignored")
says(findings.ResolutionUnknown, "{why}: set the print size yourself",
     why=lambda f: "the resolution in the file has no unit" if f.without_unit else
     "no resolution in the file")
says(findings.PixelsNotSquare,
     "the pixels are not square: the resolution differs across and down")
says(findings.PrimariesNotSrgb,
     "the primaries in the file (cHRM) are not those of sRGB, but sRGB was used; save the image"
     " with an ICC profile for exact tones")
