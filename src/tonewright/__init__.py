"""Calibration for hand-coated contact printing: from measured densities to a printable negative.

The package itself imports nothing, so that the command line starts at once.  The parts are
modules named after what they do: ``tonewright.measured.readings``, ``tonewright.curve.fit``,
``tonewright.curve.document``, ``tonewright.negative`` and so on; files are read and written by
``tonewright.files``.
"""

__version__ = "0.2.0"
