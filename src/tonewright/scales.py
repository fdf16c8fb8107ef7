"""The only home of unit changes.

Conventions, used everywhere:

==============  ====================================================================
ink level       0 to 1: 0 is clear film (prints black), 1 the heaviest ink
code            16-bit value in a negative: 65535 is clear film, 0 is level 1
exposure        log10 units; 0 is what reaches the coating through clear film at the
                base printing time
density         absolute visual reflection density, ``D = -log10 R``
luminance       0 to 100, the perfect white diffuser is 100
lightness       CIE L*, 0 to 100
==============  ====================================================================

All functions take a number or an array of any shape and give the same shape back as float64
(codes: uint16).  NaN stays NaN; nothing is clipped unless the docstring says so.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import ReadingsError

Array = NDArray[np.float64]

FULL_CODE = 65535
MM_PER_INCH = 25.4
STOP = float(np.log10(2.0))
"""One stop, in log10 exposure units."""

# CIE 15:2018 (ISO/CIE 11664-4), eq. 8.6: the linear part below (6/29)^3 and its slope.
_EPSILON = (6.0 / 29.0) ** 3
_KAPPA = (29.0 / 3.0) ** 3


def _floats(value: ArrayLike) -> Array:
    return np.asarray(value, dtype=np.float64)


def density_to_luminance(density: ArrayLike) -> Array:
    """Luminance (0 to 100) of a density: ``100 * 10**-D`` (ISO 5-4)."""
    return np.asarray(100.0 * np.power(10.0, -_floats(density)))


def luminance_to_density(luminance: ArrayLike) -> Array:
    """Density of a luminance (0 to 100, must be above 0): ``-log10(Y / 100)`` (ISO 5-4)."""
    return np.asarray(-np.log10(_floats(luminance) / 100.0))


def luminance_to_lightness(luminance: ArrayLike) -> Array:
    """CIE L* (0 to 100) of a luminance (0 to 100, white 100); CIE 15, ISO/CIE 11664-4."""
    ratio = _floats(luminance) / 100.0
    cube_root = np.cbrt(np.maximum(ratio, _EPSILON))
    return np.asarray(np.where(ratio > _EPSILON, 116.0 * cube_root - 16.0, _KAPPA * ratio))


def lightness_to_luminance(lightness: ArrayLike) -> Array:
    """Luminance (0 to 100) of a CIE L* (0 to 100); the inverse of `luminance_to_lightness`."""
    light = _floats(lightness)
    return np.asarray(100.0 * np.where(light > 8.0, ((light + 16.0) / 116.0) ** 3, light / _KAPPA))


def density_to_lightness(density: ArrayLike) -> Array:
    """CIE L* (0 to 100) of a density."""
    return luminance_to_lightness(density_to_luminance(density))


def lightness_to_density(lightness: ArrayLike) -> Array:
    """Density of a CIE L* (0 to 100, must be above 0)."""
    return luminance_to_density(lightness_to_luminance(lightness))


_D50 = np.array([96.42, 100.0, 82.49])
"""ICC.1:2022, 7.2.16: the white of profiles and, to its four digits, of ISO 13655."""


def xyz_to_lab(xyz: ArrayLike) -> Array:
    """CIE L*, a*, b* of X, Y, Z (0 to 100, D50), shape (..., 3); CIE 15, ISO/CIE 11664-4."""
    # f(t) of the standard is what L* is made of: 116 f(Y) - 16
    x, y, z = np.moveaxis(luminance_to_lightness(100.0 * _floats(xyz) / _D50), -1, 0)
    return np.stack([y, 500.0 / 116.0 * (x - y), 200.0 / 116.0 * (y - z)], axis=-1)


def lab_to_xyz(lab: ArrayLike) -> Array:
    """X, Y, Z (0 to 100, D50) of CIE L*, a*, b*, shape (..., 3); the inverse of `xyz_to_lab`."""
    y, a, b = np.moveaxis(_floats(lab), -1, 0)
    parts = np.stack([y + 116.0 / 500.0 * a, y, y - 116.0 / 200.0 * b], axis=-1)
    return np.asarray(lightness_to_luminance(parts) * _D50 / 100.0)


@cache
def _xyz_to_srgb() -> Array:
    """X, Y, Z under D50 to linear red, green, blue of IEC 61966-2-1, shape (3, 3).

    Its primaries and white are chromaticities of ITU-R BT.709; from D50 to that white by the linear
    Bradford transform (ICC.1:2022, annex E).
    """
    x, y = np.array([[0.64, 0.30, 0.15, 0.3127], [0.33, 0.60, 0.06, 0.3290]])
    *primaries, white = np.stack([x / y, np.ones(4), (1.0 - x - y) / y], axis=1)
    to_xyz = np.array(primaries).T
    to_xyz = to_xyz * np.linalg.solve(to_xyz, white)
    cone = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367],
                     [0.0389, -0.0685, 1.0296]])
    gain = (cone @ white) / (cone @ (_D50 / 100.0))
    adapt = np.linalg.solve(cone, gain[:, None] * cone)
    return np.asarray(np.linalg.solve(to_xyz, adapt))


def lab_to_linear_srgb(lab: ArrayLike) -> Array:
    """Linear red, green, blue (IEC 61966-2-1; 0 to 1 within sRGB) of CIE L*, a*, b* under D50,
    shape (..., 3); gray stays gray, and L* 100 is white."""
    return np.asarray(lab_to_xyz(lab) / 100.0 @ _xyz_to_srgb().T)


def encode_srgb(linear: ArrayLike) -> NDArray[np.uint8]:
    """8-bit values of linear ones (clipped to 0 to 1), any shape; IEC 61966-2-1, 5.2."""
    part = np.clip(_floats(linear), 0.0, 1.0)
    curved = np.where(part <= 0.0031308, 12.92 * part, 1.055 * part ** (1.0 / 2.4) - 0.055)
    return np.asarray(np.floor(255.0 * curved + 0.5).astype(np.uint8))


def lightness_per_density(lightness: ArrayLike) -> Array:
    """How many L* one unit of density makes at this L*, always positive: ``|dL*/dD|``.

    The derivative of the formulas above; 0.02 in density is 0.6 L* in a black and 1.6 in a
    light grey.
    """
    light = _floats(lightness)
    cubic = (light + 16.0) / 3.0
    return np.asarray(np.log(10.0) * np.where(light > 8.0, cubic, light))


def level_to_code(level: ArrayLike) -> NDArray[np.uint16]:
    """16-bit code of an ink level (0 to 1): ``round(65535 * (1 - u))``, clear film 65535."""
    scaled = FULL_CODE * (1.0 - np.clip(_floats(level), 0.0, 1.0))
    return np.asarray(np.floor(scaled + 0.5).astype(np.uint16))


def code_to_level(code: ArrayLike) -> Array:
    """Ink level (0 to 1) of a 16-bit code (0 to 65535)."""
    return np.asarray(1.0 - _floats(code) / FULL_CODE)


def channel_value(level: ArrayLike, heaviest: int) -> NDArray[np.uint16]:
    """16-bit value of one channel of a coloured negative at an ink level (0 to 1).

    Clear film is white, 65535; level 1 has the channel's value ``heaviest`` (0 to 255) of the
    ink's colour; levels lie on the straight line between.
    """
    span = FULL_CODE - 257 * heaviest
    return np.asarray(np.floor(FULL_CODE - _floats(level) * span + 0.5).astype(np.uint16))


def luminance_of_spectrum(wavelengths: ArrayLike, reflectance: ArrayLike) -> Array:
    """Luminance (0 to 100) under D50 for the CIE 1931 2-degree observer (ISO 13655).

    Summed by colour-science after ASTM E308; a spectrum not at whole steps of 1, 5, 10
    or 20 nm is interpolated to 1 nm by the same library first.

    Parameters
    ----------
    wavelengths:
        nm, increasing, from 400 or less to 700 or more, shape (m,).
    reflectance:
        0 to 1, shape (..., m); NaN is not allowed.

    Returns
    -------
    Shape (...).

    Raises
    ------
    ReadingsError
        Wavelengths that are not increasing, leave out part of 400 to 700 nm or lie more than
        20 nm apart.
    """
    return np.asarray(xyz_of_spectrum(wavelengths, reflectance)[..., 1])


def xyz_of_spectrum(wavelengths: ArrayLike, reflectance: ArrayLike) -> Array:
    """X, Y, Z (0 to 100), shape (..., 3); all else as `luminance_of_spectrum`."""
    return 100.0 * _weighted_reflectance(wavelengths, reflectance, "D50")


def visual_density_of_spectrum(wavelengths: ArrayLike, reflectance: ArrayLike) -> Array:
    """ISO 5-3 visual density: illuminant A times V(lambda), ``-log10`` of the weighted mean.

    Shapes, units, method and errors as in `luminance_of_spectrum`; the mean must be above 0.
    """
    return np.asarray(-np.log10(_weighted_reflectance(wavelengths, reflectance, "A")[..., 1]))


def _weighted_reflectance(
    wavelengths: ArrayLike, reflectance: ArrayLike, illuminant: str
) -> Array:
    """Reflectance weighted by illuminant times xbar, ybar and zbar, shape (..., 3): ybar gives a
    mean, 0 to 1."""
    waves, values = _floats(wavelengths), _floats(reflectance)
    _check_wavelengths(waves)
    import colour  # a second of import, needed for spectra alone

    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS[illuminant]
    visible = (waves >= 360.0) & (waves <= 780.0)  # the range of ASTM E308
    waves, values = waves[visible], values[..., visible]
    step = round(float(waves[1] - waves[0]), 6)
    even = step in (1.0, 5.0, 10.0, 20.0) and np.allclose(
        waves, step * np.round(waves[0] / step) + step * np.arange(waves.size), rtol=0, atol=1e-6
    )
    if even:  # to the last bit: the library takes steps that are nearly whole for uneven ones
        waves = step * np.round(waves / step)
    fine = colour.SpectralShape(np.ceil(waves[0]), np.floor(waves[-1]), 1)
    rows = values.reshape(-1, waves.size)
    # a weighted sum: of many spectra the weights are found once, a wavelength at a time
    weigh = len(rows) > waves.size
    found = []
    with warnings.catch_warnings():
        # It says that it aligns the illuminant to the observer: what E308 asks for.
        warnings.simplefilter("ignore", colour.utilities.ColourRuntimeWarning)
        for row in np.eye(waves.size) if weigh else rows:
            spectrum = colour.SpectralDistribution(row, waves)
            if not even:
                spectrum = spectrum.interpolate(fine)
            found.append(colour.sd_to_XYZ(spectrum, observer, light, method="ASTM E308"))
    mean = _floats(found) / 100.0
    return np.reshape(rows @ mean if weigh else mean, (*values.shape[:-1], 3))


def _check_wavelengths(waves: Array) -> None:
    """ISO 13655 asks for 400 to 700 nm at least; wider steps than 20 nm have no E308 weights."""
    if waves.ndim != 1 or waves.size < 2 or not np.all(np.diff(waves) > 0):
        raise ReadingsError(
            "the wavelengths of the spectrum are not in rising order",
            "each wavelength stands once, from short to long",
            "put the spectral columns in order and remove repeated ones",
        )
    if waves[0] > 400.0 or waves[-1] < 700.0 or np.max(np.diff(waves)) > 20.0 + 1e-6:
        raise ReadingsError(
            f"the spectrum has {waves.size} wavelengths from {waves[0]:g} to {waves[-1]:g} nm, "
            f"up to {np.max(np.diff(waves)):g} nm apart",
            "density needs at least 400 to 700 nm in steps of 20 nm or less",
            "export the full spectrum, or export density or lightness instead",
        )
