"""A new scan of a page that was marked before: where do the marks lie on it, and how sure is that?

The scan is laid over the old one by its line art (``registration``); then the lines around each mark are looked for
at its new place, since a page may have been redrawn in one panel and be the same in all others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from guides.imaging.proof.registration import Registration, line_picture, register

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

LOOK_SIDE = 1200
"""Long side, px, of the pictures in which the surroundings of marks are compared: a pen line is two pixels there."""

AROUND = 34
"""Half side, px at ``LOOK_SIDE``, of the squares compared: 7 mm on a page a foot high, as a small area has."""

SLACK = 5
"""Pixels at ``LOOK_SIDE`` by which the lines may lie elsewhere than the map says."""

EVERY = 16
"""Pixels at ``LOOK_SIDE`` between two places for which the map is worked out."""

LEAST_ALIKE = 0.5
"""Correlation of the lines from which on a place counts as found again: half-way, and not calibrated. The tests hold
only that it tells the same page from one with a redrawn panel (``tests/guides/imaging/proof/test_rescans.py``)."""

FAINT = 4.0
"""Standard deviation of the line picture (0-255) under which a square holds no lines to compare."""


@dataclass(frozen=True, slots=True)
class Laid:
    """Where places of the old scan lie on the new one.

    Attributes:
        points: fractions (n, 2) of the new picture, which may leave it.
        inside: (n,) whether they are on it.
        sure: (n,) whether the lines around them were found again.
        registration: the map, in px of the two pictures.
    """

    points: FloatArray
    inside: npt.NDArray[np.bool_]
    sure: npt.NDArray[np.bool_]
    registration: Registration


def lay(old: Picture, new: Picture, points: npt.ArrayLike) -> Laid:
    """Lay a new scan over the old one of the same page.

    Args:
        old, new: RGB (h, w, 3) uint8; colour is not needed, a turned or cropped scan is no hindrance.
        points: fractions (n, 2) of the old picture from top left.

    Raises:
        guides.imaging.proof.registration.NotRegistered: with the reason in words.
    """
    registration = register(old, new, needs_colour=False)
    at = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    new_size = np.array(new.shape[1::-1], dtype=np.float64)
    moved = (registration.to_proof(_px(at, old)) + 0.5) / new_size
    inside = ((moved >= 0.0) & (moved <= 1.0)).all(axis=1)
    sure = np.logical_and(_found_again(old, new, registration, at), inside)
    return Laid(moved, np.asarray(inside), np.asarray(sure), registration)


def _px(fractions: FloatArray, picture: Picture) -> FloatArray:
    return fractions * np.array(picture.shape[1::-1], dtype=np.float64) - 0.5


def _found_again(old: Picture, new: Picture, registration: Registration, at: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether the lines around each place of the old picture are there on the new one, pulled back into its frame."""
    import cv2

    scale = min(1.0, LOOK_SIDE / max(old.shape[:2]))
    height, width = (max(1, round(side * scale)) for side in old.shape[:2])
    small = np.asarray(cv2.resize(old, (width, height), interpolation=cv2.INTER_AREA))
    # The map is smooth: worked out at every 16th pixel and drawn between.
    across, down = np.arange(0, width + EVERY, EVERY), np.arange(0, height + EVERY, EVERY)
    places = np.stack(np.meshgrid(across, down), -1).reshape(-1, 2)
    coarse = registration.to_proof((places + 0.5) / scale - 0.5).reshape(len(down), len(across), 2)
    columns, rows = np.meshgrid(np.arange(width) / EVERY, np.arange(height) / EVERY)
    grid = cv2.remap(coarse.astype(np.float32), columns.astype(np.float32), rows.astype(np.float32), cv2.INTER_LINEAR)
    # Reduced before it is pulled back: taking every third pixel of a large scan would tear thin lines.
    shrink = min(1.0, 1.0 / max(1e-6, registration.scale / scale))
    less = np.asarray(cv2.resize(new, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA))
    grid = ((grid + 0.5) * shrink - 0.5).astype(np.float32)
    back = cv2.remap(less, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR, borderValue=(255, 255, 255))
    old_lines, new_lines = line_picture(small), line_picture(np.asarray(back))
    return np.array([_alike(old_lines, new_lines, *_px(place[None], small)[0]) for place in at], dtype=bool)


def _alike(old_lines: Picture, new_lines: Picture, x: float, y: float) -> bool:
    import cv2

    height, width = old_lines.shape
    reach = AROUND + SLACK
    left, top = (int(np.clip(round(v), reach, max(reach, side - reach - 1))) for v, side in ((x, width), (y, height)))
    patch = old_lines[top - AROUND : top + AROUND + 1, left - AROUND : left + AROUND + 1]
    field = new_lines[max(0, top - reach) : top + reach + 1, max(0, left - reach) : left + reach + 1]
    if float(patch.std()) < FAINT:
        return float(field.std()) < 3 * FAINT  # nothing to compare, and nothing new was drawn there
    if field.shape[0] < patch.shape[0] or field.shape[1] < patch.shape[1]:
        return False
    return float(cv2.matchTemplate(field, patch, cv2.TM_CCOEFF_NORMED).max()) >= LEAST_ALIKE
