"""From image values to the codes of a negative: the numbers, without any file.

===========  ====================================================================
`tones`      what values mean; the code of every value
`colour`     one gray value from red, green and blue, and from transparency
`size`       how large the negative lies on the film, and how many pixels that is
`frame`      what stands around the picture: border, marks, tone scale, caption
`ink`        8 bits, and inks that are not black
`honesty`    what the negative cannot hold, said in numbers
===========  ====================================================================
"""

from tonewright.negative.tones import (
    ASSUMED_ENCODING,
    LevelCurve,
    apply_band,
    code_table,
    encoding_lightness,
)

__all__ = ["ASSUMED_ENCODING", "LevelCurve", "apply_band", "code_table", "encoding_lightness"]
