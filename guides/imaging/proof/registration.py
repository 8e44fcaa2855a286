"""Laying the scan of a proof over its guide: where does a place on the guide lie on the scan?

The line art is the one thing guide and proof share: paint and print differ in every colour. Features of the
line art give a first homography (any rotation and scale), ECC tightens it, and a field of small line patches
takes up what no homography can: paper that stretched, a sheet that did not lie flat.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from guides.imaging.proof.line_field import LineField, brightest_channel, fit_field

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

FEATURE_SIDE = 800
"""Long side in px of the pictures that features are taken from: about 80 dpi, where halftone dots melt away."""

MIN_SIDE = 200
"""A scan shorter than this on its short side has lost its line art; a thumbnail decides nothing."""

MIN_FEATURES = 60
"""A drawn page has several hundred features; a blank sheet with dirt and grain stays below this."""

MIN_MATCHES = 14
"""Matches that must agree on one homography. Unrelated pages reach 4 to 9 by chance."""

MIN_AGREEING = 0.35
"""Share of line patches that must be found again where the map puts them. The right page reaches 0.6 and
more, an unrelated one with the same panel grid stays below 0.2."""

MOST_TILT, MOST_ENLARGED = 1.6, 40.0
"""Nearest to farthest corner, and scan px per guide px, that no scanner and no hand-held camera reaches."""

MIN_COVER = 0.7
"""Share of the guide's line art that must lie on the scan: one panel of a page is not its proof."""

MIN_CHROMA = 2.2
"""Spread of a*, b* (robust, CIELAB units) over the scan that colour needs to be there at all."""

MIN_PIXELS_PER_LINE = 0.28
"""Scan px per guide px at a guide of 1500 px: below it a page is under 45 dpi and areas melt into each other."""


class Refusal(StrEnum):
    """Why a scan could not be laid over the guide."""

    TOO_SMALL = "too_small"
    BLANK = "blank"
    NO_COLOUR = "no_colour"
    OTHER_PAGE = "other_page"
    MIRRORED = "mirrored"
    CROPPED = "cropped"
    TOO_POOR = "too_poor"
    BAD_POINTS = "bad_points"


class NotRegistered(Exception):
    """The scan cannot be laid over the guide; ``reason`` is the kind, the message says it in words."""

    def __init__(self, reason: Refusal, message: str) -> None:
        super().__init__(message)
        self.reason = reason


@dataclass(frozen=True)
class Registration:
    """A map from guide pixels to proof pixels (pixel centres at whole numbers).

    Attributes:
        matrix: homography (3, 3) from guide to proof.
        field: residual of the line patches, in guide px.
        error_px: median distance, in guide px, by which line patches miss the map when each is left out.
        agreeing: share of line patches that were found where the map puts them, 0-1.
        turned: how the scan lay, degrees clockwise from upright, -180 to 180.
        scale: proof px per guide px.
        by_hand: True when four points set by a person were the start.
    """

    matrix: FloatArray
    field: LineField = field(repr=False)
    error_px: float
    agreeing: float
    turned: float
    scale: float
    by_hand: bool = False

    def to_proof(self, points: npt.ArrayLike) -> FloatArray:
        """Proof px (n, 2) of guide px (n, 2)."""
        at = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return project(self.matrix, at + self.field.at(at))


IN_PLACE = Registration(np.eye(3), LineField(np.zeros((0, 2)), np.zeros((0, 2)), 1.0, 1.0), 0.0, 1.0, 0.0, 1.0)
"""A picture laid over itself."""


def project(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Points (n, 2) through a homography (3, 3)."""
    homogeneous = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(homogeneous[:, :2] / homogeneous[:, 2:])


def register(
    guide: Picture,
    proof: Picture,
    hand_points: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    *,
    needs_colour: bool = True,
) -> Registration:
    """Lay ``proof`` over ``guide``.

    Args:
        guide, proof: RGB (h, w, 3) uint8.
        hand_points: four (or more) points on the guide and the same on the proof, px, set by a person.
        needs_colour: refuse scans on which no ink can be told from another; the lines alone need none.

    Raises:
        NotRegistered: with the reason.
    """
    _check_size(proof, "scan")
    _check_size(guide, "guide")
    if needs_colour:
        _check_colour(proof)
    small_guide, guide_scale = _reduced(guide, FEATURE_SIDE)
    small_proof, proof_scale = _reduced(proof, FEATURE_SIDE)
    guide_lines, proof_lines = line_picture(small_guide), line_picture(small_proof)
    if hand_points is not None:
        matrix = _from_points(hand_points, guide.shape, proof.shape)
        start = _scaling(proof_scale) @ matrix @ np.linalg.inv(_scaling(guide_scale))
    else:
        start = _from_features(guide_lines, proof_lines)
    start = _refine(guide_lines, proof_lines, start)
    matrix = np.linalg.inv(_scaling(proof_scale)) @ start @ _scaling(guide_scale)
    matrix /= matrix[2, 2]
    scale = _checked_scale(matrix, guide, proof)
    matrix, local, fit = fit_field(guide, proof, matrix, line_picture)
    _check_found(fit.agreeing, _cover(matrix, guide_lines, guide_scale, proof.shape))
    return Registration(
        matrix, local, fit.error_px, fit.agreeing, _turn(matrix, guide), scale, hand_points is not None
    )


def _check_found(agreeing: float, cover: float) -> None:
    """Refuse a scan on which too few of the guide's lines are found, or too few can be (shares, 0-1)."""
    cropped = cover < MIN_COVER
    # Of a part of the page no more lines can be found than are on it; of another page hardly any are.
    if agreeing < MIN_AGREEING * (cover if cropped else 1.0):
        raise NotRegistered(
            Refusal.OTHER_PAGE,
            "This is another page: only "
            f"{100 * agreeing:.0f} % of the guide's lines are found on the scan where they should be.",
        )
    if cropped:
        raise NotRegistered(
            Refusal.CROPPED, f"The scan shows only part of the page: {100 * cover:.0f} % of its lines are on it."
        )


def line_picture(rgb: Picture) -> Picture:
    """Line art bright on black (h, w) uint8: what is darker in every channel than its surroundings.

    The brightest channel leaves single inks and light overprints out; a black-hat (closing less picture)
    takes thin dark strokes whatever colour they lie on.
    """
    import cv2

    height = rgb.shape[0]
    brightest = brightest_channel(rgb)
    size = max(5, round(0.011 * max(rgb.shape[:2])) | 1)
    hat = cv2.morphologyEx(brightest, cv2.MORPH_BLACKHAT, np.ones((size, size), np.uint8))
    soft = cv2.GaussianBlur(hat, (0, 0), max(0.6, 0.9 * height / 1500))
    return np.asarray(cv2.convertScaleAbs(soft, alpha=255.0 / max(60.0, float(np.percentile(soft, 99.0)))))


def _check_size(picture: Picture, name: str) -> None:
    height, width = picture.shape[:2]
    if min(height, width) < MIN_SIDE:
        raise NotRegistered(
            Refusal.TOO_SMALL,
            f"The {name} is too small: {width} x {height} px; at least {MIN_SIDE} px a side are needed.",
        )


def _check_colour(proof: Picture) -> None:
    """Blank and black-and-white sheets: no spread of lightness, or none of a* and b* beyond what goes with it."""
    import cv2

    small = cv2.resize(
        proof, (160, max(40, round(160 * proof.shape[0] / proof.shape[1]))), interpolation=cv2.INTER_AREA
    )
    lab = cv2.cvtColor((small.astype(np.float32) / 255.0), cv2.COLOR_RGB2LAB).reshape(-1, 3).astype(np.float64)
    if np.percentile(lab[:, 0], 99) - np.percentile(lab[:, 0], 1) < 8 and lab[:, 1:].std(axis=0).max() < MIN_CHROMA:
        raise NotRegistered(Refusal.BLANK, "The scan is blank: nothing is printed on it.")
    curve = np.stack([np.ones(len(lab)), lab[:, 0], lab[:, 0] ** 2], 1)
    rest = lab[:, 1:] - curve @ np.linalg.lstsq(curve, lab[:, 1:], rcond=None)[0]
    spread = float(np.sqrt((rest**2).sum(axis=1).mean()))
    if spread < MIN_CHROMA:
        raise NotRegistered(Refusal.NO_COLOUR, "The scan is black and white: no ink can be told from another.")


def _reduced(rgb: Picture, side: int) -> tuple[Picture, float]:
    import cv2

    scale = side / max(rgb.shape[:2])
    if scale >= 1.0:
        return rgb, 1.0
    size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)), scale


def _scaling(scale: float) -> FloatArray:
    """Between pixel centres of a picture and of its reduction."""
    shift = 0.5 * scale - 0.5
    return np.array([[scale, 0.0, shift], [0.0, scale, shift], [0.0, 0.0, 1.0]])


def _from_features(guide_lines: Picture, proof_lines: Picture) -> FloatArray:
    import cv2

    sift = cv2.SIFT_create(  # type: ignore[attr-defined]
        nfeatures=2000, contrastThreshold=0.03
    )
    guide_at, guide_is = sift.detectAndCompute(guide_lines, None)
    proof_at, proof_is = sift.detectAndCompute(proof_lines, None)
    if len(guide_at) < MIN_FEATURES:
        raise NotRegistered(Refusal.BLANK, "The guide has too little line art to lay a scan over it.")
    if len(proof_at) < MIN_FEATURES:
        raise NotRegistered(Refusal.BLANK, "The scan is blank: it has no line art.")
    source, target = _matches(guide_at, guide_is, proof_at, proof_is)
    matrix, count = None, 0
    if len(source) >= MIN_MATCHES:
        cv2.setRNGSeed(7)
        matrix, inside = cv2.findHomography(source, target, cv2.USAC_MAGSAC, 4.0, maxIters=8000, confidence=0.9999)
        count = 0 if inside is None else int(inside.sum())
    if matrix is None or count < MIN_MATCHES:
        raise NotRegistered(
            Refusal.OTHER_PAGE,
            f"This is another page, or a scan too poor to recognise: {count} of its details fit the guide.",
        )
    return np.asarray(matrix, dtype=np.float64)


def _matches(guide_at: Any, guide_is: Any, proof_at: Any, proof_is: Any) -> tuple[FloatArray, FloatArray]:
    """Pairs that are each other's nearest by ratio test, RootSIFT distances (Arandjelovic and Zisserman 2012)."""
    import cv2

    def rooted(descriptors: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        return np.sqrt(descriptors / (descriptors.sum(axis=1, keepdims=True) + 1e-6))

    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(rooted(guide_is), rooted(proof_is), k=2)
    good = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < 0.85 * pair[1].distance]
    source = np.array([guide_at[match.queryIdx].pt for match in good], dtype=np.float64).reshape(-1, 2)
    target = np.array([proof_at[match.trainIdx].pt for match in good], dtype=np.float64).reshape(-1, 2)
    return source, target


def _from_points(
    pairs: tuple[npt.ArrayLike, npt.ArrayLike], guide_shape: tuple[int, ...], proof_shape: tuple[int, ...]
) -> FloatArray:
    import cv2

    source, target = (np.asarray(side, dtype=np.float64).reshape(-1, 2) for side in pairs)
    if len(source) != len(target) or len(source) < 4:
        raise NotRegistered(Refusal.BAD_POINTS, "Four points on the guide and the same four on the scan are needed.")
    for points, shape, name in ((source, guide_shape, "guide"), (target, proof_shape, "scan")):
        hull = cv2.contourArea(cv2.convexHull(points.astype(np.float32)))
        if not np.isfinite(points).all() or hull < 0.01 * shape[0] * shape[1]:
            raise NotRegistered(
                Refusal.BAD_POINTS, f"The points on the {name} lie too close together or on one line."
            )
    matrix, _ = cv2.findHomography(source, target, 0)
    if matrix is None or np.linalg.det(matrix) <= 0:
        raise NotRegistered(Refusal.BAD_POINTS, "The points cross over: set them in the same order on both.")
    return np.asarray(matrix, dtype=np.float64)


def _refine(guide_lines: Picture, proof_lines: Picture, start: FloatArray) -> FloatArray:
    """ECC (Evangelidis and Psarakis 2008) on blurred line art at half size; the start is kept if it diverges."""
    import cv2

    half = _scaling(0.5)
    guide_half = cv2.GaussianBlur(
        cv2.resize(guide_lines, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), (0, 0), 1.5
    )
    proof_half = cv2.GaussianBlur(
        cv2.resize(proof_lines, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), (0, 0), 1.5
    )
    matrix = half @ start @ np.linalg.inv(half)
    warp = (matrix / matrix[2, 2]).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 12, 1e-4)
    whole = np.full(guide_half.shape[:2], 255, np.uint8)
    try:
        _, warp = cv2.findTransformECC(guide_half, proof_half, warp, cv2.MOTION_HOMOGRAPHY, criteria, whole, 1)
    except cv2.error:
        return start
    refined = np.linalg.inv(half) @ warp.astype(np.float64) @ half
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(guide_lines.shape[::-1])
    moved = np.linalg.norm(project(refined, corners) - project(start, corners), axis=1)
    return refined if np.isfinite(moved).all() and moved.max() < 25.0 else start


def _checked_scale(matrix: FloatArray, guide: Picture, proof: Picture) -> float:
    centre = np.array([guide.shape[1] / 2, guide.shape[0] / 2])
    around = project(matrix, centre + np.array([[-50.0, -50], [50, -50], [50, 50], [-50, 50]]))
    (ax, ay), (bx, by) = around[2] - around[0], around[3] - around[1]
    area = (ax * by - ay * bx) / 2.0
    if area < 0:
        raise NotRegistered(
            Refusal.MIRRORED, "The scan is mirrored: it was scanned from the back or a film lay face down."
        )
    scale = float(np.sqrt(max(area, 1e-9)) / 100.0)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array([guide.shape[1], guide.shape[0]])
    denominator = corners @ matrix[2, :2] + matrix[2, 2]
    if denominator.min() <= 0 or denominator.max() / denominator.min() > MOST_TILT or scale > MOST_ENLARGED:
        raise NotRegistered(
            Refusal.OTHER_PAGE, "This is another page: nothing but an absurd distortion would make it fit."
        )
    if scale * max(guide.shape[:2]) / 1500.0 < MIN_PIXELS_PER_LINE:
        raise NotRegistered(
            Refusal.TOO_SMALL,
            f"The scan is too coarse: the page is only {scale * max(guide.shape[:2]):.0f} px tall on it; "
            "scan at 150 dpi or more.",
        )
    return scale


def _cover(matrix: FloatArray, guide_lines: Picture, guide_scale: float, shape: tuple[int, ...]) -> float:
    """The share of the guide's lines, 0-1, that fall inside the scan's picture."""
    ys, xs = np.nonzero(guide_lines[::4, ::4] > 100)
    if not len(xs):
        return 1.0
    at = np.stack([xs * 4.0, ys * 4.0], 1)
    where = project(matrix @ np.linalg.inv(_scaling(guide_scale)), at)
    inside = (where > -2).all(axis=1) & (where < np.array([shape[1] + 1, shape[0] + 1])).all(axis=1)
    return float(inside.mean())


def _turn(matrix: FloatArray, guide: Picture) -> float:
    centre = np.array([guide.shape[1] / 2, guide.shape[0] / 2])
    a, b = project(matrix, np.stack([centre, centre + np.array([100.0, 0.0])]))
    return float(np.degrees(np.arctan2(b[1] - a[1], b[0] - a[0])))
