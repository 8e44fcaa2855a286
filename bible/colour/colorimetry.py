"""Colorimetric conversions between the press's colour (D50, 2°) and the screen's (sRGB, D65).

The few matrices a chart page needs, written out so that a page does not pay for importing a colour library.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

D50_XYZ: FloatArray = np.array([96.422, 100.0, 82.521])
"""White point of graphic arts measurements, Y = 100 (ISO 13655 / CIE 15, 2° observer)."""

D65_XYZ: FloatArray = np.array([95.047, 100.0, 108.883])
"""White point of sRGB, Y = 100 (IEC 61966-2-1, CIE 15)."""

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""Cone-like responses of the Bradford adaptation (ICC.1 annex E)."""

_RGB_TO_XYZ_D65 = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
"""Linear sRGB to XYZ, from the primaries and white of IEC 61966-2-1 at full precision."""

_EPSILON = 216 / 24389
_KAPPA = 24389 / 27
"""Exact constants of CIE 15's L* (the rounded 0.008856 and 903.3 leave a step between the two branches)."""

GAMUT_TOLERANCE = 0.5 / 255
"""A linear component this far outside 0-1 still counts as in gamut: half a step of 8 bits, unseen."""


def bradford(source: FloatArray, target: FloatArray) -> FloatArray:
    """Matrix (3, 3) that adapts XYZ from the white ``source`` to the white ``target`` (column vectors)."""
    gains = (_BRADFORD @ target) / (_BRADFORD @ source)
    return np.asarray(np.linalg.solve(_BRADFORD, gains[:, None] * _BRADFORD))


D50_TO_D65: FloatArray = bradford(D50_XYZ, D65_XYZ)
_XYZ_D50_TO_RGB = (np.linalg.inv(_RGB_TO_XYZ_D65) @ D50_TO_D65).T / 100.0
_RGB_TO_XYZ_D50 = np.linalg.inv(_XYZ_D50_TO_RGB)


def xyz_to_lab(xyz: FloatArray, white: FloatArray = D50_XYZ) -> FloatArray:
    """CIELAB of XYZ, shape (..., 3), Y = 100 scale (CIE 15)."""
    ratio = xyz / white
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16.0) / 116.0)
    lab = np.empty_like(f)
    lab[..., 0] = 116.0 * f[..., 1] - 16.0
    lab[..., 1] = 500.0 * (f[..., 0] - f[..., 1])
    lab[..., 2] = 200.0 * (f[..., 1] - f[..., 2])
    return lab


def lab_to_xyz(lab: FloatArray, white: FloatArray = D50_XYZ) -> FloatArray:
    """The inverse of ``xyz_to_lab``."""
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    ratio = np.where(f**3 > _EPSILON, f**3, (116.0 * f - 16.0) / _KAPPA)
    return np.asarray(ratio * white)


def encode_srgb(linear: FloatArray) -> FloatArray:
    """The transfer function of IEC 61966-2-1 on linear values 0-1; values outside are not clipped here."""
    positive = np.maximum(linear, 0.0031308)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * positive ** (1 / 2.4) - 0.055)


def decode_srgb(encoded: FloatArray) -> FloatArray:
    """The inverse of ``encode_srgb``."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((np.maximum(encoded, 0.0) + 0.055) / 1.055) ** 2.4)


def xyz_to_linear_srgb(xyz: FloatArray) -> FloatArray:
    """Linear sRGB (unclipped, 0-1 inside the gamut) of D50 XYZ with Y = 100, adapted by Bradford."""
    return np.asarray(xyz @ _XYZ_D50_TO_RGB)


def linear_srgb_to_xyz(linear: FloatArray) -> FloatArray:
    """The inverse of ``xyz_to_linear_srgb``."""
    return np.asarray(linear @ _RGB_TO_XYZ_D50)


def xyz_to_srgb(xyz: FloatArray) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.bool_]]:
    """8-bit sRGB (n, 3) of D50 XYZ, and (n,) True where the screen cannot show the colour (clipped)."""
    linear = xyz_to_linear_srgb(xyz)
    outside = np.any((linear < -GAMUT_TOLERANCE) | (linear > 1.0 + GAMUT_TOLERANCE), axis=-1)
    encoded = encode_srgb(np.clip(linear, 0.0, 1.0))
    return np.rint(encoded * 255.0).astype(np.uint8), np.asarray(outside)


def srgb_to_xyz(rgb: npt.NDArray[np.uint8]) -> FloatArray:
    """D50 XYZ (Y = 100) of 8-bit sRGB, shape (..., 3), adapted by Bradford."""
    return linear_srgb_to_xyz(decode_srgb(np.asarray(rgb, dtype=np.float64) / 255.0))


def srgb_to_lab(rgb: npt.NDArray[np.uint8]) -> FloatArray:
    """D50 CIELAB of 8-bit sRGB, shape (..., 3)."""
    return xyz_to_lab(srgb_to_xyz(rgb))
