"""A stand-in for a curve whose codes are the lightness of the image: 65535 is L* 100."""

from __future__ import annotations

import numpy as np

from tonewright.negative.luminance import LuminanceCodes


class Lightness:
    """Asks for ink where the image is dark, as no curve does."""

    name = "lightness"

    def level_at(self, image_lightness):
        return 1.0 - np.asarray(image_lightness) / 100.0


LIGHTNESS = LuminanceCodes(Lightness())
