"""Reads the painted colour at marks of a scanned guide, whatever is drawn or scribbled over it.

The page is brought to a working size at which a pen stroke is a few pixels wide; the bare paper is found and its
light followed across the page; at each mark the colours of the neighbourhood compete, and the one whose area best
survives an erosion by a pen stroke's width wins: line art, handwriting, white pencil and dust are thin and lose.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.paint_prior import SOFT, density

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
Image = npt.NDArray[np.uint8]

WORKING_PIXELS = 2_200_000
"""Page area to work at: a page as wide as 1240 pixels; a pen stroke is then 2-3 of them wide."""

REACH = 56
"""Half the side of the neighbourhood of a mark in working pixels, about the width of an area."""

NEAR = 18.0
"""Spread in working pixels of the weight of a place by its distance from the mark."""

NEAR_GRADIENT = 5.0
"""The same where the area is a gradient: its colour is only there, at the mark."""

STROKE = 3
"""Width in working pixels that line art and writing seldom exceed and paint always does."""

SAME_PAINT = 11.0
"""Colours within this CIE76 distance of a mode belong to it: brush streaks do, the next area seldom does."""

CELL = 9.0
"""Side in CIELAB of the cells in which colours are counted."""

THIN = 0.12
"""Worth of a place that does not survive the erosion: where pencil is dense no paint does, but it is still most."""

MODES = 5
"""Colours that may compete at a mark."""

KEPT_PIECES = 0.2
"""Writing cuts an area in pieces; those with this share of the best one's weight count."""

WIDE = 34.0
"""Spread in working pixels of the weights once the area is known: more of it evens brush streaks out."""

PATCH = 150.0
"""Working pixels over which a streak hangs together: so many count as one look at the paint."""

GREY_CHROMA = 4.0
"""A page is grey when 99.8 % of it is within this chroma of its commonest tone: bare paper under ink may be yellow."""

BLANK_SPREAD = 3.0
"""Spread of L* below which a grey page has no drawing on it either."""

READING_NOISE = 0.006
"""Error of a good reading in coded sRGB (0-1): what is left of grain and compression after averaging."""


@dataclass(frozen=True, eq=False)
class WorkingPage:
    """The page at working size.

    ``rgb`` uint8 (h, w, 3); ``lab`` the same in CIELAB as OpenCV packs it in uint8; ``scale`` its pixels per pixel of
    the scan; ``paper`` the bare paper's log linear RGB as a quadratic surface (6, 3) and ``paper_share`` how much of
    the page that is; ``grey`` and ``blank`` pages say nothing about colour.
    """

    rgb: Image
    lab: Image
    scale: float
    paper: FloatArray
    paper_share: float
    grey: bool
    blank: bool


@dataclass(frozen=True, eq=False)
class Readings:
    """What the marks show.

    ``density`` (n, 3) relative to the paper's light there; ``cov`` (n, 3, 3) the uncertainty of the reading itself;
    ``inside`` (n,) whether the mark is on the page at all; ``area`` (n,) working pixels each reading rests on.
    """

    density: FloatArray
    cov: FloatArray
    inside: npt.NDArray[np.bool_]
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
    lab = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2Lab), dtype=np.uint8)
    paper, share = _paper(image)
    few = _lab_units(lab[::7, ::7].reshape(-1, 3))
    chroma = np.hypot(*(few[:, 1:] - np.median(few[:, 1:], axis=0)).T)
    grey = bool(np.percentile(chroma, 99.8) < GREY_CHROMA)
    return WorkingPage(image, lab, scale, paper, share, grey, grey and bool(few[:, 0].std() < BLANK_SPREAD))


_LAB_SCALE = np.array([100 / 255, 1, 1], np.float32)
_LAB_SHIFT = np.array([0, 128, 128], np.float32)


def _lab_units(lab: Image) -> Float32Array:
    """CIELAB in its own units from OpenCV's eight-bit form."""
    return np.asarray(lab * _LAB_SCALE - _LAB_SHIFT, dtype=np.float32)


def _paper(image: Image) -> tuple[FloatArray, float]:
    """The bare paper's log linear RGB as a surface (6, 3), and the share of the page that fits it."""
    height, width = image.shape[:2]
    step = max(1, round(min(height, width) / 250))
    small = cv2.resize(image, (max(1, width // step), max(1, height // step)), interpolation=cv2.INTER_AREA)
    light = np.log(_LINEAR[small] + 1e-3)
    rows, columns = small.shape[:2]
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    flat = light.reshape(-1, 3)
    green = flat[:, 1]
    margin = ((np.abs(x) > 0.94) | (np.abs(y) > 0.95)).ravel()
    # Paper is the brightest thing a page has much of; lamp falloff can cost it a third of its light.
    bright = green > np.percentile(green, 99.0) - 0.45
    votes = np.where(margin, 3.0, 1.0) * bright
    spot = np.clip(((flat - flat.max(axis=0)) / -0.05), 0, 39).astype(int)
    tints = np.stack([spot[:, 0] - spot[:, 1], spot[:, 2] - spot[:, 1]], axis=1)
    key = (tints[:, 0] + 40) * 80 + tints[:, 1] + 40
    table = cv2.GaussianBlur(np.bincount(key, votes, minlength=6400).reshape(80, 80), (0, 0), 0.8)
    best = np.unravel_index(int(np.argmax(table)), table.shape)
    hue = np.array(best) - 40
    chosen = bright & (np.abs(tints - hue) <= 1.5).all(axis=1)
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


def _paper_at(page: WorkingPage, places: FloatArray) -> FloatArray:
    """Linear RGB (n, 3) of the paper at working pixels (n, 2); clipped, as a surface runs wild beyond its page."""
    height, width = page.rgb.shape[:2]
    across, down = (2.0 * np.nan_to_num(places) / np.maximum([width - 1, height - 1], 1) - 1.0).T
    return np.exp(_surface(np.clip(across, -1, 1), np.clip(down, -1, 1)) @ page.paper)


def read_marks(page: WorkingPage, points: FloatArray, gradient: npt.NDArray[np.bool_]) -> Readings:
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
    lab = _lab_units(page.lab[here])
    rows, columns = lab.shape[:2]
    spread = NEAR_GRADIENT if gradient else NEAR
    down = np.exp(-((np.arange(rows, dtype=np.float32) + (top - row)) ** 2) / np.float32(2 * spread**2))
    across = np.exp(-((np.arange(columns, dtype=np.float32) + (left - column)) ** 2) / np.float32(2 * spread**2))
    weight = np.asarray(np.outer(down, across), dtype=np.float32)
    mode = _winning_mode(lab[::2, ::2], weight[::2, ::2])
    same = _near(lab, mode).astype(np.uint8)
    core = cv2.erode(same, _DISC)
    core = core if core.any() else same
    count, labels = cv2.connectedComponents(core, connectivity=4)
    pull = np.bincount(labels.ravel(), weight.ravel(), minlength=count)
    pull[0] = 0.0
    kept = (pull > KEPT_PIECES * pull.max())[labels]
    share = weight[kept].astype(np.float64)
    if not gradient:
        share **= (NEAR / WIDE) ** 2
    value = density(_LINEAR[page.rgb[here][kept]] / paper)
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
    return mean, scatter / looks + np.diag((READING_NOISE * coded) ** 2), float(kept.sum())


_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (STROKE, STROKE))
_SQUARE = np.ones((STROKE, STROKE), np.uint8)


def _encode_slope(relative: FloatArray, paper: float) -> FloatArray:
    """Change of density per unit of coded sRGB at a linear colour relative to paper."""
    absolute = np.clip(relative * paper, 1e-3, 1.0)
    coded = 1.055 * absolute ** (1 / 2.4) - 0.055
    slope = 2.4 / 1.055 * ((coded + 0.055) / 1.055) ** 1.4
    return np.asarray(slope / paper / (np.clip(relative, 0, None) + SOFT))


def _near(lab: Float32Array, mode: Float32Array) -> npt.NDArray[np.bool_]:
    """Where (...,) the colours (..., 3) are the paint of a mode."""
    away = lab - mode
    return np.asarray(np.einsum("...i,...i->...", away, away) < SAME_PAINT**2)


def _winning_mode(lab: Float32Array, weight: Float32Array) -> Float32Array:
    """The colour (3,) whose area, eroded by a stroke, carries the most weight.

    Every second pixel is enough here, so three of them are the width of two strokes.
    """
    colours, near = lab.reshape(-1, 3), weight.ravel()
    left = near.copy()
    total = float(near.sum())
    best, best_pull = colours[int(np.argmax(near))], 0.0
    for _ in range(MODES):
        if float(left.sum()) < 0.04 * total:
            break
        mode = _densest(colours, left)
        member = _near(colours, mode)
        for _ in range(2):
            share = near * member
            mode = np.asarray((share @ colours) / share.sum(), dtype=np.float32)
            member = _near(colours, mode)
        left[member] = 0.0
        left[_cell(colours) == _cell(mode[None])] = 0.0
        eroded = cv2.erode(member.reshape(weight.shape).astype(np.uint8), _SQUARE)
        pull = float((weight * eroded).sum()) + THIN * float(near @ member)
        if pull > best_pull:
            best, best_pull = mode, pull
    return best


def _cell(colours: Float32Array) -> npt.NDArray[np.int32]:
    """The cell (n,) of each colour (n, 3) in a coarse grid of CIELAB."""
    cell = ((colours + np.array([0, 128, 128], np.float32)) / np.float32(CELL)).astype(np.int32)
    return np.asarray((cell[:, 0] * 32 + cell[:, 1]) * 32 + cell[:, 2], dtype=np.int32)


def _densest(colours: Float32Array, weight: Float32Array) -> Float32Array:
    """The weighted mean (3,) of the fullest cell of a coarse colour grid."""
    key = _cell(colours)
    chosen = key == int(np.argmax(np.bincount(key, weight)))
    share = weight * chosen
    return np.asarray((share @ colours) / share.sum(), dtype=np.float32)
