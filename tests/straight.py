"""Stand-ins for a curve."""

from __future__ import annotations

import numpy as np

from tonewright.negative.luminance import LuminanceCodes
from tonewright.record.setup import Setup


class Straight:
    """Ink level in proportion to image lightness, between two ends."""

    name = "straight"

    def __init__(self, black=0.0, white=1.0, **setup):
        self.black, self.white, self.setup = black, white, Setup(**setup)

    def level_at(self, image_lightness):
        return self.black + (self.white - self.black) * np.asarray(image_lightness) / 100.0


class Lightness:
    """Asks for ink where the image is dark, as no curve does: 65535 is L* 100."""

    name = "lightness"

    def level_at(self, image_lightness):
        return 1.0 - np.asarray(image_lightness) / 100.0


LIGHTNESS = LuminanceCodes(Lightness())
