"""Colour difference: CIEDE2000, the words for it, and the nearest tint."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def delta_e_2000(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> FloatArray:
    """CIEDE2000 colour difference (ISO/CIE 11664-6) with kL = kC = kH = 1.

    Args:
        lab1, lab2: CIELAB, shapes (..., 3) that broadcast.

    Returns:
        Differences, the broadcast shape without the last axis.
    """
    parts = difference_parts(lab1, lab2)
    lightness, chroma, hue, rotation = parts
    return np.sqrt(np.maximum(lightness**2 + chroma**2 + hue**2 + rotation * chroma * hue, 0.0))


def difference_parts(
    lab1: npt.ArrayLike, lab2: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The terms of CIEDE2000: signed lightness, chroma and hue parts, each weighted, and the rotation factor.

    Positive means that ``lab2`` is lighter, more chromatic, or at the larger hue angle.
    """
    first, second = np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64)
    l1, a1, b1 = first[..., 0], first[..., 1], first[..., 2]
    l2, a2, b2 = second[..., 0], second[..., 1], second[..., 2]
    c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(c7 / (c7 + 25.0**7))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    product = c1 * c2
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(product == 0, 0.0, turn)
    delta_l, delta_c = l2 - l1, c2 - c1
    delta_h = 2 * np.sqrt(product) * np.sin(np.radians(turn / 2))
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    total = h1 + h2
    apart = np.abs(h1 - h2) > 180
    mean_h = np.where(apart, np.where(total < 360, total + 360, total - 360), total) / 2
    mean_h = np.where(product == 0, total, mean_h)
    radians = np.radians(mean_h)
    t = (
        1
        - 0.17 * np.cos(radians - np.radians(30))
        + 0.24 * np.cos(2 * radians)
        + 0.32 * np.cos(3 * radians + np.radians(6))
        - 0.20 * np.cos(4 * radians - np.radians(63))
    )
    lightness_offset = (mean_l - 50) ** 2
    s_l = 1 + 0.015 * lightness_offset / np.sqrt(20 + lightness_offset)
    s_c = 1 + 0.045 * mean_c
    s_h = 1 + 0.015 * mean_c * t
    mean_c7 = mean_c**7
    theta = 30 * np.exp(-(((mean_h - 275) / 25) ** 2))
    rotation = -2 * np.sqrt(mean_c7 / (mean_c7 + 25.0**7)) * np.sin(np.radians(2 * theta))
    return delta_l / s_l, delta_c / s_c, delta_h / s_h, rotation
