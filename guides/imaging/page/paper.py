"""The bare paper of a page, and how its light changes over the page."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
Image = npt.NDArray[np.uint8]

PAPER_ERRORS = ((0.08, 0.03), (0.03, 0.06), (0.0, 0.35))
"""From which share of bare paper its light is known how well (density); tried on simulated pages without margins."""

HUE_STEP = 0.06
"""Step of log channel ratios in which papers' hues are told apart."""


def linear(coded: npt.ArrayLike) -> FloatArray:
    """Linear light 0-1 of coded sRGB 0-1 (IEC 61966-2-1)."""
    value = np.asarray(coded, dtype=np.float64)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


_LINEAR = linear(np.arange(256) / 255.0)


def surface(x: FloatArray, y: FloatArray) -> FloatArray:
    """Terms (n, 6) of a quadratic surface over the page, both axes -1 to 1."""
    return np.stack([np.ones_like(x), x, y, x * y, x * x, y * y], axis=-1)


@dataclass(frozen=True, eq=False)
class Paper:
    """``terms`` (6, 3): log linear RGB of the bare paper as a quadratic surface; ``share`` how much of the page
    fits it, 0-1."""

    terms: FloatArray
    share: float

    @property
    def error(self) -> float:
        """Likely error of the paper's light (density): with hardly any paper to see it may be paint instead."""
        return next(error for share, error in PAPER_ERRORS if self.share >= share)

    def light(self, shape: tuple[int, int]) -> Float32Array:
        """Linear RGB (h, w, 3) of the paper over a grid laid on the page."""
        y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
        return np.exp(surface(x, y) @ self.terms).astype(np.float32)

    def at(self, fractions: FloatArray) -> FloatArray:
        """Linear RGB (n, 3) at places (n, 2), fractions of the page; clipped, as a surface runs wild beyond it."""
        across, down = (2.0 * np.clip(np.nan_to_num(fractions), 0, 1) - 1.0).T
        return np.exp(surface(across, down) @ self.terms)


def find_paper(image: Image) -> Paper:
    """The bare paper of a page, uint8 sRGB (h, w, 3)."""
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
    terms = surface(x.ravel(), y.ravel())
    paper = np.zeros((6, 3))
    if chosen.sum() < 30:
        paper[0] = np.percentile(flat, 99.0, axis=0)
        return Paper(paper, 0.0)
    paper[0] = np.percentile(flat[chosen], 75, axis=0)
    # Little bare paper may show: slopes and bends need evidence in proportion to the page.
    ridge = np.diag([0.0, 1.0, 1.0, 4.0, 4.0, 4.0]) * 1e-3 * len(flat)
    for tolerance in (0.35, 0.15, 0.08, 0.05):
        fits = (np.abs(flat - terms @ paper) < tolerance).all(axis=1) & bright
        if fits.sum() < 30:
            break
        here, weight = terms[fits], np.where(margin[fits], 2.0, 1.0)[:, None]
        paper = np.linalg.solve(here.T @ (here * weight) + ridge, (here * weight).T @ flat[fits])
    return Paper(paper, float(fits.mean()))


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
