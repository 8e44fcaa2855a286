"""The last pixel of a registration: small patches of line art found again, and a smooth field through them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

WORK_SIDE = 1600
"""Patches are matched on a guide of at most this long side, px; finer adds time and no precision."""

PATCHES = 320
"""Patches over the page: one every 2 cm or so of lines."""

HALF_PATCH = 15
SEARCH = (11, 9, 4)
"""Search radius in px of the passes: after the homography, after its correction, around the field so far."""

MIN_CORRELATION = 0.55
"""Normalised correlation below which a patch was not found."""

MAX_MISS = 1.6
"""A patch further than this (px) from the smooth field was mistaken for another line."""

LONG, SHORT = 0.45, 0.14
"""Correlation lengths of the field in page heights: paper stretch, and local cockling."""

LONG_SD, SHORT_SD, PATCH_SD = 2.5, 0.5, 0.45
"""Their sizes in px at the working side, and the scatter of one patch."""


@dataclass(frozen=True)
class LineField:
    """A smooth displacement in guide px: a Gaussian process through the patches (centres, weights in working px)."""

    centres: FloatArray
    weights: FloatArray
    scale: float
    height: float

    def at(self, points: FloatArray) -> FloatArray:
        """Displacement (n, 2) in guide px to add at guide px (n, 2) before the homography."""
        if not len(self.centres):
            return np.zeros_like(points)
        return np.asarray(_kernel(points * self.scale, self.centres, self.height) @ self.weights / self.scale)


@dataclass(frozen=True)
class FoundPatches:
    agreeing: float
    error_px: float
    patches: int


def _reduced(guide: Picture) -> tuple[Picture, float]:
    """The guide in the size that patches are looked for in, and by how much it is smaller."""
    import cv2

    scale = min(1.0, WORK_SIDE / max(guide.shape[:2]))
    if scale == 1.0:
        return guide, scale
    size = (round(guide.shape[1] * scale), round(guide.shape[0] * scale))
    return np.asarray(cv2.resize(guide, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def _laid(brightest: Picture, matrix: FloatArray, size: tuple[int, int]) -> Picture:
    """The proof's brightest channel (h, w, 1) laid over the guide by ``matrix``, white where there is none of it."""
    import cv2

    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    flat = cv2.warpPerspective(brightest, matrix, size, flags=flags, borderValue=255)
    return np.asarray(flat, dtype=np.uint8).reshape(*flat.shape[:2], 1)


def fit_field(
    guide: Picture, proof: Picture, matrix: FloatArray, lines: Callable[[Picture], Picture]
) -> tuple[FloatArray, LineField, FoundPatches]:
    """Correct ``matrix`` (guide to proof, px) by line patches, and fit the field that is left.

    ``lines`` makes the line picture of an RGB picture. Returns the corrected matrix, the field and what was found.
    """
    import cv2

    small, scale = _reduced(guide)
    size = small.shape[1], small.shape[0]
    to_work = _centred(scale)
    work = matrix @ np.linalg.inv(to_work)
    shrunk, shrink = _matched(proof, work, size)
    guide_lines = lines(small)
    at = _patch_centres(guide_lines)
    height = float(max(size))
    brightest = brightest_channel(shrunk)[..., None]
    moved, good = np.zeros_like(at), np.zeros(len(at), dtype=bool)
    for turn, search in enumerate(SEARCH):
        if turn < 2:  # the picture is laid anew while the homography still changes
            flat_lines = lines(_laid(brightest, shrink @ work, size))
        around = np.rint(_expected(at, moved, good, height)) if turn == 2 else np.zeros_like(at)
        moved, score = _find(guide_lines, flat_lines, at, around.astype(int), search)
        good = score > MIN_CORRELATION
        if good.sum() < 12:
            break
        if turn == 0:
            better, inside = cv2.findHomography(at[good], (at + moved)[good], cv2.RANSAC, 3.0)
            if better is None or inside.sum() < 10:
                break
            work = work @ better
    weights, residual, used = _smooth(at[good], moved[good], height)
    agreeing = float(used.sum() / max(len(at), 1))
    error = float(np.median(np.linalg.norm(residual[used], axis=1)) / scale) if used.any() else float("inf")
    corrected = work @ to_work
    local = LineField(at[good][used], weights, scale, height)
    return corrected / corrected[2, 2], local, FoundPatches(agreeing, error, int(used.sum()))


def brightest_channel(rgb: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """The largest channel (h, w) of a picture (h, w, 1 or 3)."""
    import cv2

    if rgb.shape[2] == 1:
        return rgb[..., 0]
    red, green, blue = cv2.split(rgb)
    return np.asarray(cv2.max(cv2.max(red, green), blue))


def _expected(at: FloatArray, moved: FloatArray, good: npt.NDArray[np.bool_], height: float) -> FloatArray:
    weights, _, used = _smooth(at[good], moved[good], height)
    if not used.any():
        return np.zeros_like(at)
    return np.asarray(_kernel(at, at[good][used], height) @ weights)


def _centred(scale: float) -> FloatArray:
    return np.array([[scale, 0, 0.5 * scale - 0.5], [0, scale, 0.5 * scale - 0.5], [0, 0, 1.0]])


def _matched(proof: Picture, work: FloatArray, size: tuple[int, int]) -> tuple[Picture, FloatArray]:
    """The proof reduced to about the working resolution by area, so that dots average instead of aliasing."""
    import cv2

    corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], dtype=np.float64)
    mapped = corners @ work[:, :2].T + work[:, 2]
    mapped = mapped[:, :2] / mapped[:, 2:]
    area = cv2.contourArea(mapped.astype(np.float32)) / (size[0] * size[1])
    factor = float(1.0 / np.sqrt(max(area, 1e-6)))
    if factor > 0.85:
        return proof, np.eye(3)
    reduced = cv2.resize(proof, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    fx, fy = reduced.shape[1] / proof.shape[1], reduced.shape[0] / proof.shape[0]
    return np.asarray(reduced), np.array([[fx, 0, 0.5 * fx - 0.5], [0, fy, 0.5 * fy - 0.5], [0, 0, 1.0]])


def _patch_centres(lines: Picture) -> FloatArray:
    """Places where line art runs in two directions (Shi and Tomasi 1994), spread over the page."""
    import cv2

    height, width = lines.shape
    margin = HALF_PATCH + max(SEARCH) + 1
    inside = np.zeros_like(lines)
    inside[margin : height - margin, margin : width - margin] = 255
    corners = cv2.goodFeaturesToTrack(
        lines, PATCHES, 0.02, max(8.0, 0.018 * max(lines.shape)), mask=inside, blockSize=2 * HALF_PATCH // 2 | 1
    )
    return np.zeros((0, 2)) if corners is None else np.asarray(np.rint(corners.reshape(-1, 2)), np.float64)


def _find(
    guide: Picture, flat: Picture, at: FloatArray, around: npt.NDArray[np.int_], search: int
) -> tuple[FloatArray, FloatArray]:
    """Displacement (n, 2) and correlation (n,) of every patch, to a fraction of a pixel by a parabola.

    ``around`` is where to look, (n, 2) whole px from the patch's own place.
    """
    import cv2

    moved, score = np.zeros_like(at), np.zeros(len(at))
    for number, (x, y) in enumerate(at.astype(int)):
        patch = guide[y - HALF_PATCH : y + HALF_PATCH + 1, x - HALF_PATCH : x + HALF_PATCH + 1]
        reach = HALF_PATCH + search
        left, top = x + around[number, 0] - reach, y + around[number, 1] - reach
        window = flat[max(top, 0) : top + 2 * reach + 1, max(left, 0) : left + 2 * reach + 1]
        if window.shape != (2 * reach + 1, 2 * reach + 1) or window.max() < 20:
            continue
        surface = cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED)
        _, best, _, (bx, by) = cv2.minMaxLoc(surface)
        if not (0 < bx < 2 * search and 0 < by < 2 * search):
            continue
        dx = _peak(surface[by, bx - 1], best, surface[by, bx + 1])
        dy = _peak(surface[by - 1, bx], best, surface[by + 1, bx])
        moved[number] = around[number] + (bx - search + dx, by - search + dy)
        score[number] = best
    return moved, score


def _peak(before: float, top: float, after: float) -> float:
    bend = before - 2.0 * top + after
    return float(np.clip(0.5 * (before - after) / bend, -0.6, 0.6)) if bend < -1e-9 else 0.0


def _kernel(a: FloatArray, b: FloatArray, height: float) -> FloatArray:
    squared = ((a[:, None, :] - b[None, :, :]) ** 2).sum(axis=2) / height**2
    return np.asarray(LONG_SD**2 * np.exp(-0.5 * squared / LONG**2) + SHORT_SD**2 * np.exp(-0.5 * squared / SHORT**2))


def _smooth(at: FloatArray, moved: FloatArray, height: float) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Robust regression of the field: patches far from it are dropped one share at a time.

    Returns weights of the used patches, left-out residuals (n, 2) and the mask of used ones.
    """
    used = np.ones(len(at), dtype=bool)
    residual = np.zeros_like(moved)
    weights = np.zeros((0, 2))
    if len(at) < 4:
        return weights, residual, np.zeros(len(at), dtype=bool)
    trust = np.ones(len(at))
    kernel = _kernel(at, at, height)
    for _ in range(5):
        inverse = np.linalg.inv(kernel + np.diag(PATCH_SD**2 / trust))
        residual = (inverse @ moved) / np.diag(inverse)[:, None]
        miss = (residual**2).sum(axis=1) / (2 * PATCH_SD**2)
        trust = np.clip(4.0 / (3.0 + miss), 1e-4, 1.0)
    used = np.linalg.norm(residual, axis=1) < MAX_MISS
    if used.any():
        inverse = np.linalg.inv(kernel[np.ix_(used, used)] + np.diag(PATCH_SD**2 / trust[used]))
        weights = inverse @ moved[used]
    return weights, residual, used
