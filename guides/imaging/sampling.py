"""Reads the painted colour at marks of a scanned guide, whatever is drawn or scribbled over it.

The page is brought to a working size at which a pen stroke is a few pixels wide; the bare paper is found and its
light followed across the page; at each mark the paint it stands in is found (``areas``) and averaged.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.areas import core_of, winning_mode
from guides.imaging.paint_prior import SOFT, density

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
Image = npt.NDArray[np.uint8]

WORKING_PIXELS = 2_200_000
"""Page area to work at: a page as wide as 1240 pixels; a pen stroke is then 2-3 of them wide."""

REACH, COMPETING = 75, 52
"""Half the side of the neighbourhood of a mark in working pixels, about the width of an area; and of the part of it
in which colours compete: farther away they weigh nothing."""

NEAR = 18.0
"""Spread in working pixels of the weight of a place by its distance from the mark."""

NEAR_GRADIENT = 8.0
"""The same where the area is a gradient: its colour is only there, at the mark."""

PAPER_ERRORS = ((0.08, 0.03), (0.03, 0.06), (0.0, 0.35))
"""From which share of bare paper its light is known how well (density); tried on simulated pages without margins."""

HUE_STEP = 0.06
"""Step of log channel ratios in which papers' hues are told apart."""

KEPT_PIECES = 0.2
"""Writing cuts an area in pieces; those with this share of the best one's weight count."""

WIDE = 60.0
"""Spread in working pixels of the weights once the area is known: more of it evens brush streaks out."""

PATCH = 1500.0
"""Working pixels over which a streak hangs together: so many count as one look at the paint. A brush's streak is a
few pixels wide and a hundred long, a marker's pass twenty by the whole area."""

GREY_CHROMA = 4.0
"""A page is grey when 99.8 % of it is within this chroma of its commonest tone: bare paper may be yellow."""

BLANK_SPREAD = 3.0
"""Spread of L* below which a grey page has no drawing on it either."""

READING_NOISE = 0.006
"""Error of a good reading in coded sRGB (0-1): what is left of grain and compression after averaging."""


@dataclass(frozen=True, eq=False)
class WorkingPage:
    """The page at working size.

    ``rgb`` uint8 (h, w, 3); ``scale`` its pixels per pixel of the scan; ``paper`` the bare paper's log linear RGB as
    a quadratic surface (6, 3) and ``paper_share`` how much of the page that is; ``grey`` and ``blank`` pages say
    nothing about colour.
    """

    rgb: Image
    scale: float
    paper: FloatArray
    paper_share: float
    grey: bool
    blank: bool

    @property
    def paper_error(self) -> float:
        """Likely error of the paper's light (density): with hardly any paper to see it may be paint instead."""
        return next(error for share, error in PAPER_ERRORS if self.paper_share >= share)


@dataclass(frozen=True, eq=False)
class Readings:
    """What the marks show.

    ``density`` (n, 3) relative to the paper's light there; ``cov`` (n, 3, 3) the uncertainty of the reading itself;
    ``inside`` (n,) whether the mark is on the page at all; ``area`` (n,) working pixels each reading rests on.
    """

    density: FloatArray
    cov: FloatArray
    inside: BoolArray
    area: FloatArray


def linear(coded: npt.ArrayLike) -> FloatArray:
    """Linear light 0-1 of coded sRGB 0-1 (IEC 61966-2-1)."""
    value = np.asarray(coded, dtype=np.float64)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


_LINEAR = linear(np.arange(256) / 255.0)


def _surface(x: FloatArray, y: FloatArray) -> FloatArray:
    """Terms (n, 6) of a quadratic surface over the page, both axes -1 to 1."""
    return np.stack([np.ones_like(x), x, y, x * y, x * x, y * y], axis=-1)


def working_page(image: Image) -> WorkingPage:
    """Prepare a scan, uint8 sRGB (h, w, 3).

    Raises:
        ValueError: not such an array.
    """
    if image.ndim != 3 or image.shape[2] != 3 or image.dtype != np.uint8 or not image.size:
        raise ValueError(f"a page is an array (h, w, 3) of uint8, not {image.shape} of {image.dtype}")
    height, width = image.shape[:2]
    scale = min(1.0, (WORKING_PIXELS / (height * width)) ** 0.5)
    if scale < 1.0:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        image = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    image = np.asarray(cv2.medianBlur(image, 3), dtype=np.uint8)
    paper, share = _paper(image)
    few = _perceived(image[::7, ::7].reshape(-1, 3))
    chroma = np.hypot(*(few[:, 1:] - np.median(few[:, 1:], axis=0)).T)
    grey = bool(np.percentile(chroma, 99.8) < GREY_CHROMA)
    return WorkingPage(image, scale, paper, share, grey, grey and bool(few[:, 0].std() < BLANK_SPREAD))


_ROOT = np.cbrt(_LINEAR).astype(np.float32)
_OPPONENT = np.array([[0.2126, 0.7152, 0.0722], [0.4339, 0.3762, 0.1899], [0.0178, 0.1095, 0.8727]])
_OPPONENT = np.stack(
    [100 * _OPPONENT[0], 500 * (_OPPONENT[1] - _OPPONENT[0]), 200 * (_OPPONENT[0] - _OPPONENT[2])], axis=1
).astype(np.float32)


def _perceived(rgb: Image) -> Float32Array:
    """Lightness and two opponent axes (..., 3) of sRGB pixels, in about the units of CIELAB.

    The cube root is taken before the channels are mixed (sRGB to white-relative XYZ, IEC 61966-2-1), not after: a
    table does it, and to tell areas apart it is as good.
    """
    return np.asarray(_ROOT[rgb] @ _OPPONENT, dtype=np.float32)


def _paper(image: Image) -> tuple[FloatArray, float]:
    """The bare paper's log linear RGB as a surface (6, 3), and the share of the page that fits it."""
    height, width = image.shape[:2]
    step = max(1, round(min(height, width) / 250))
    small = cv2.resize(image, (max(1, width // step), max(1, height // step)), interpolation=cv2.INTER_AREA)
    light = np.log(_LINEAR[small] + 1e-3)
    rows, columns = small.shape[:2]
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    flat = light.reshape(-1, 3)
    margin = ((np.abs(x) > 0.94) | (np.abs(y) > 0.95)).ravel()
    # Paper is among the brightest things of a page; lamp falloff can cost it a third of its light.
    bright = flat[:, 1] > np.percentile(flat[:, 1], 99.5) - 0.5
    chosen = bright & _paper_like(flat, bright, margin)
    terms = _surface(x.ravel(), y.ravel())
    paper = np.zeros((6, 3))
    if chosen.sum() < 30:
        paper[0] = np.percentile(flat, 99.0, axis=0)
        return paper, 0.0
    paper[0] = np.percentile(flat[chosen], 75, axis=0)
    # Little bare paper may show: slopes and bends need evidence in proportion to the page.
    ridge = np.diag([0.0, 1.0, 1.0, 4.0, 4.0, 4.0]) * 1e-3 * len(flat)
    for tolerance in (0.35, 0.15, 0.08, 0.05):
        fits = (np.abs(flat - terms @ paper) < tolerance).all(axis=1) & bright
        if fits.sum() < 30:
            break
        here, weight = terms[fits], np.where(margin[fits], 2.0, 1.0)[:, None]
        paper = np.linalg.solve(here.T @ (here * weight) + ridge, (here * weight).T @ flat[fits])
    return paper, float(fits.mean())


def _paper_like(flat: FloatArray, bright: BoolArray, margin: BoolArray) -> BoolArray:
    """Which pixels (n,) have the hue of the paper, from log linear RGB (n, 3).

    Hues compete by their share of the bright pixels, those of the margin counting more. Whatever leaves much of the
    page brighter than itself in some channel is paint, for paint only takes light away; and paper is nearly white.
    """
    hue = np.round((flat[:, [0, 2]] - flat[:, 1:2]) / HUE_STEP).astype(int).clip(-20, 20)
    key = (hue[:, 0] + 20) * 41 + hue[:, 1] + 20
    counts = np.bincount(key, np.where(margin, 3.0, 1.0) * bright, minlength=41 * 41)
    votes = np.asarray(cv2.GaussianBlur(counts.reshape(41, 41), (0, 0), 0.7)).ravel()
    best, best_score = np.zeros(len(flat), dtype=bool), -np.inf
    for cell in np.argsort(-votes)[:10]:
        around = (np.abs(hue - np.array([cell // 41 - 20, cell % 41 - 20])) <= 1).all(axis=1)
        members = flat[around & bright]
        if len(members) < 30:
            continue
        brighter = float((flat > np.percentile(members, 75, axis=0) + 0.22).any(axis=1).mean())
        tone = np.median(members, axis=0)
        colourful = abs(tone[0] - tone[1] - 0.04) / 0.2 + abs(tone[2] - tone[1] + 0.12) / 0.3
        score = np.log(votes[cell]) - 150.0 * max(0.0, brighter - 0.004) - colourful
        if score > best_score:
            best, best_score = around, score
    return best


def _paper_at(page: WorkingPage, places: FloatArray) -> FloatArray:
    """Linear RGB (n, 3) of the paper at working pixels (n, 2); clipped, as a surface runs wild beyond its page."""
    height, width = page.rgb.shape[:2]
    across, down = (2.0 * np.nan_to_num(places) / np.maximum([width - 1, height - 1], 1) - 1.0).T
    return np.exp(_surface(np.clip(across, -1, 1), np.clip(down, -1, 1)) @ page.paper)


def read_marks(page: WorkingPage, points: FloatArray, gradient: BoolArray) -> Readings:
    """Read the paint at ``points`` (n, 2), x and y in pixels of the scan; ``gradient`` (n,) reads locally."""
    height, width = page.rgb.shape[:2]
    count = len(points)
    scaled = points * page.scale
    with np.errstate(invalid="ignore"):
        inside = (scaled >= 0).all(axis=1) & (scaled[:, 0] <= width) & (scaled[:, 1] <= height)
    values, cov, area = np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)), np.zeros(count)
    paper = _paper_at(page, scaled)
    for mark in np.flatnonzero(inside):
        x, y = (int(value) for value in scaled[mark])
        place = (min(x, width - 1), min(y, height - 1))
        values[mark], cov[mark], area[mark] = _read(page, place, paper[mark], bool(gradient[mark]))
    return Readings(values, cov, inside, area)


def _read(
    page: WorkingPage, place: tuple[int, int], paper: FloatArray, gradient: bool
) -> tuple[FloatArray, FloatArray, float]:
    """Density (3,), its covariance (3, 3) and the pixels it rests on, at a working pixel."""
    column, row = place
    top, left = max(row - REACH, 0), max(column - REACH, 0)
    here = np.s_[top : row + REACH + 1, left : column + REACH + 1]
    pixels = page.rgb[here]
    lab = _perceived(pixels)
    around = np.s_[
        REACH + top - row : REACH + top - row + lab.shape[0],
        REACH + left - column : REACH + left - column + lab.shape[1],
    ]
    weight = _falloff(NEAR_GRADIENT if gradient else NEAR)[around]
    inner = np.s_[
        max(0, row - top - COMPETING) : row - top + COMPETING + 1 : 2,
        max(0, column - left - COMPETING) : column - left + COMPETING + 1 : 2,
    ]
    depth = density(_LINEAR / paper[:, None])[np.arange(3), pixels.reshape(-1, 3)]
    core = core_of(winning_mode(lab[inner], weight[inner]), lab, None if gradient else depth, weight)
    count, labels = cv2.connectedComponents(core, connectivity=4)
    pull = np.bincount(labels.ravel(), weight.ravel(), minlength=count)
    pull[0] = 0.0
    kept = np.flatnonzero((pull > KEPT_PIECES * pull.max())[labels].ravel())
    share = (weight if gradient else _falloff(WIDE)[around]).ravel()[kept].astype(np.float64)
    value = depth[kept]
    share /= share.sum()
    mean = share @ value
    away = np.abs(value - mean)  # one pass of trimming: what is left of edges and specks lies far out
    share *= (away < 2.5 * np.sqrt(share @ away**2) + 1e-3).all(axis=1)
    share /= share.sum()
    mean = share @ value
    away = value - mean
    scatter = (away * share[:, None]).T @ away
    looks = max(1.0, 1.0 / float(share @ share) / PATCH)
    coded = _encode_slope(np.exp(-mean) * (1 + SOFT) - SOFT, float(paper.mean()))
    return mean, scatter / looks + np.diag((READING_NOISE * coded) ** 2), float(len(kept))


@lru_cache(maxsize=4)
def _falloff(spread: float) -> Float32Array:
    """Weights (2 REACH + 1,) squared of the places around a mark in the middle."""
    line = np.exp(-(np.arange(-REACH, REACH + 1) ** 2) / (2 * spread**2))
    return np.asarray(np.outer(line, line), dtype=np.float32)


def _encode_slope(relative: FloatArray, paper: float) -> FloatArray:
    """Change of density per unit of coded sRGB at a linear colour relative to paper."""
    absolute = np.clip(relative * paper, 1e-3, 1.0)
    coded = 1.055 * absolute ** (1 / 2.4) - 0.055
    slope = 2.4 / 1.055 * ((coded + 0.055) / 1.055) ** 1.4
    return np.asarray(slope / paper / (np.clip(relative, 0, None) + SOFT))
