"""Which of the colours around a mark is the paint it stands in, and how far that paint reaches.

The colours of the neighbourhood compete, and the one whose area best survives an erosion by a pen stroke's width
wins: line art, handwriting, white pencil and dust are thin and lose. Ink that crosses a paint does not part it.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
Image = npt.NDArray[np.uint8]

STROKE = 3
"""Width in working pixels that line art and writing seldom exceed and paint always does."""

HATCHING, STANDS_OUT = 5, 8.0
"""Width, in pixels of the competition, of lines that may cross a paint without parting it, and how much darker (L*)
than what they cross: hatching cuts a small area in strips that no erosion would leave anything of."""

INKED, NEUTRAL = 60.0, 24.0
"""L* and chroma below which such a line is ink. A thin line over a light paint is blurred to a middling grey; what
shows of a dark paint between letters of white pencil is thin and dark as well, but it has a hue more often."""

SAME_PAINT = 11.0
"""Colours within this CIE76 distance of a mode belong to it: light streaks do, the next area seldom does."""

AMOUNT, ACROSS = 0.35, 0.1
"""A streak is more or less of the same paint: how far the amount may go (log), and how far (density) the colour may
be from what that amount makes. Without the strongest streaks the rest would be a lopsided sample of the area."""

WORTH_STREAKS = 0.3
"""Density from which streaks can be told from other paints: of a paler paint every amount is nearly paper."""

GATHERED = 2
"""Times the streaks are gathered: the middle moves once they are there."""

CELL = 9.0
"""Side of the cells in which colours are counted, in units of CIELAB."""

THIN = 0.12
"""Worth of a place that does not survive the erosion: where pencil is dense no paint does, but it is still most."""

MODES = 5
"""Colours that may compete at a mark."""

_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (STROKE, STROKE))
_SQUARE = np.ones((STROKE, STROKE), np.uint8)
_HATCHED = np.ones((HATCHING, HATCHING), np.uint8)


class _Colours:
    """Colours (n, 3) to be compared with one mode after another."""

    def __init__(self, lab: Float32Array) -> None:
        self.lab = lab
        self._length = np.einsum("ni,ni->n", lab, lab)

    def near(self, mode: Float32Array) -> BoolArray:
        """Which (n,) are the paint of the mode (3,)."""
        return np.asarray(self._length - self.lab @ (2 * mode) < SAME_PAINT**2 - mode @ mode)


def winning_mode(lab: Float32Array, weight: Float32Array) -> Float32Array:
    """The colour (3,) whose area, eroded by a stroke, carries the most of the weight (h, w).

    Every second pixel is enough for ``lab`` (h, w, 3), so three of them are the width of two strokes.
    """
    colours, near = _Colours(np.ascontiguousarray(lab).reshape(-1, 3)), np.ascontiguousarray(weight).ravel()
    cells = _cell(colours.lab)
    ink = _crossing_ink(lab)
    left = near.copy()
    total = float(near.sum())
    best, best_pull = colours.lab[int(np.argmax(near))], 0.0
    for _ in range(MODES):
        if float(left.sum()) < 0.04 * total:
            break
        fullest = cells == int(np.argmax(np.bincount(cells, left)))
        share = left * fullest
        mode = np.asarray((share @ colours.lab) / share.sum(), dtype=np.float32)
        member = colours.near(mode)
        for _ in range(2):
            share = near * member
            mode = np.asarray((share @ colours.lab) / share.sum(), dtype=np.float32)
            member = colours.near(mode)
        left[member | fullest] = 0.0
        whole = member.reshape(weight.shape).astype(np.uint8)
        whole |= cv2.morphologyEx(whole, cv2.MORPH_CLOSE, _HATCHED) & ink
        eroded = cv2.erode(whole, _SQUARE)
        pull = float((weight * eroded).sum()) + THIN * float(near @ member)
        if pull > best_pull:
            best, best_pull = mode, pull
    return best


def _crossing_ink(lab: Float32Array) -> Image:
    """Where (h, w) a thin line of ink, with the blur beside it, is darker than what it crosses: 1 there, else 0."""
    lightness = np.ascontiguousarray(lab[..., 0])
    stands_out = cv2.morphologyEx(lightness, cv2.MORPH_BLACKHAT, _HATCHED) > STANDS_OUT
    ink = (lightness < INKED) & (np.hypot(lab[..., 1], lab[..., 2]) < NEUTRAL)
    return np.asarray(cv2.dilate(ink.astype(np.uint8), _SQUARE) & stands_out, dtype=np.uint8)


def _cell(colours: Float32Array) -> npt.NDArray[np.int32]:
    """The cell (n,) of each colour (n, 3) in a coarse grid of lightness and opponent axes."""
    cell = ((colours + np.array([0, 144, 144], np.float32)) / np.float32(CELL)).astype(np.int32)
    return np.asarray((cell[:, 0] * 32 + cell[:, 1]) * 32 + cell[:, 2], dtype=np.int32)


def core_of(mode: Float32Array, lab: Float32Array, depth: FloatArray | None, weight: Float32Array) -> Image:
    """Where (h, w) the paint of the mode is, well inside its edges: 1 there, else 0; all of it where nothing is.

    ``depth`` (h w, 3) are the densities of the same pixels, by which streaks are told; None where the paint is a
    gradient, in which every amount is a colour of its own.
    """
    same = _Colours(lab.reshape(-1, 3)).near(mode)
    if depth is not None:
        for _ in range(GATHERED):
            same = same | _streaks(depth, weight.ravel() * same)
    whole = same.reshape(weight.shape).astype(np.uint8)
    core = np.asarray(cv2.erode(whole, _DISC), dtype=np.uint8)
    return core if core.any() else whole


def _streaks(depth: FloatArray, weight: Float32Array) -> BoolArray:
    """Which densities (n, 3) are more or less of the paint that the weights (n,) mark.

    In density an amount of paint is a factor, so streaks lie on a line through bare paper.
    """
    middle = weight @ depth / max(float(weight.sum()), 1e-9)
    if middle.max() < WORTH_STREAKS:
        return np.zeros(len(depth), dtype=bool)
    amount = depth @ middle / (middle @ middle)
    across = depth - amount[:, None] * middle
    on_the_line = np.einsum("ni,ni->n", across, across) < ACROSS**2
    return np.asarray(on_the_line & (np.abs(np.log(np.maximum(amount, 1e-3))) < AMOUNT))
