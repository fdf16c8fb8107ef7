"""From image values to the codes of a negative: the numbers, without any file.

===========  ====================================================================
`tones`      what values mean; the code of every value
`colour`     one gray value from red, green and blue, and from transparency
`size`       how large the negative lies on the film, and how many pixels that is
`sheet`      what the printer wants around the picture
`draw`       border, marks, tone scale and caption
`ink`        8 bits, and inks that are not black
`honesty`    what the negative cannot hold
`findings`   all that is found on the way
===========  ====================================================================
"""
