"""A colour target scanned along with the sheet, or by itself: where its patches lie and what they look like.

Its reference names patches by letter and figure, “A1” to “D6” or “A1” to “L22”; which of the two counts rows, and
which way up the target lies, is tried: the reference's own colours decide.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from bible.colour.cgats import ReferencePatches
from bible.colour.colorimetry import encode_srgb, xyz_to_linear_srgb
from guides.imaging.chart.finding import FoundSheet
from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sampling import patch_light

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

NAME = re.compile(r"\s*([A-Za-z])\s*0*([1-9][0-9]?)\s*\Z")
FEWEST = 12
"""Patches of a target below which nothing is learned of a scanner."""

ALIKE = 0.90
"""Least correlation between what is seen and the reference, over all patches and channels. The right one of simulated
targets came to 0.96 and more, a wrong one to 0.7 at most."""

CLIPPED = 0.2
"""Share of a patch's pixels at a channel's end from which it teaches nothing."""

BOARD_PIXELS = 480
"""Long side at which a target's board is looked for and tried."""

BORDERS = np.arange(0.0, 0.121, 0.01)
"""Shares of the board that may be rim rather than patches."""

INNER = 0.5
STANDING_OUT = 26.0
"""Coded values (0-255) by which a board differs from the paper it lies on."""

SMALLEST_BOARD = 0.12
"""Share of the looked-at region that a board must fill."""


@dataclass(frozen=True)
class TargetReading:
    """Linear light (m, 3) and reference XYZ (m, 3) of a target's patches, their quads (m, 4, 2) on its picture, and
    how well both agree (0-1)."""

    rgb: FloatArray
    xyz: FloatArray
    quads: FloatArray
    alike: float


@dataclass(frozen=True)
class _Grid:
    """Reference patches by row and column: indices (rows, columns) into the reference."""

    at: npt.NDArray[np.int64]


def read_target(
    scan: Picture,
    reference: ReferencePatches,
    *,
    corners: Sequence[tuple[float, float]] | None = None,
    region: FloatArray | None = None,
) -> TargetReading:
    """Read a target on a scan (h, w, 3), sRGB.

    Args:
        reference: what its maker says of it.
        corners: of its field of patches, pointed at clockwise from any corner, pixels; None looks for its board.
        region: (4, 2) quadrilateral to look in, pixels; None looks everywhere.

    Raises:
        ChartRefused: there is no target, or it is not that of the reference.
    """
    grid = _grid(reference)
    wanted = encode_srgb(np.clip(xyz_to_linear_srgb(reference.xyz), 0.0, 1.0))
    if corners is not None:
        quad, borders = np.array(corners, dtype=np.float64).reshape(4, 2), np.zeros(1)
    else:
        quad, borders = _board(scan, region), BORDERS
    flat = _flattened(scan, quad)
    best: tuple[float, npt.NDArray[np.int64], float, float] = (-1.0, grid.at, 0.0, 0.0)
    for turned, wide, high in product(_orientations(grid.at), borders, borders):
        agreement = _alike(flat, turned, wanted, float(wide), float(high))
        if agreement > best[0]:
            best = (agreement, turned, float(wide), float(high))
    alike, order, across, down = best
    if alike < ALIKE:
        raise ChartRefused(
            ChartFault.WRONG_REFERENCE,
            f"What the scan shows of the target does not go with the reference file (agreement {max(alike, 0):.2f}, "
            f"at least {ALIKE:.2f} is needed): is it another target’s file, or does the target lie elsewhere?",
        )
    return _lit(scan, reference.xyz[order.ravel()], _cells_on(quad, order.shape, across, down), alike)


def _lit(scan: Picture, xyz: FloatArray, quads: FloatArray, alike: float) -> TargetReading:
    """The light of the patches that lie in these quads (n, 4, 2) and whose reference is ``xyz`` (n, 3)."""
    read = [patch_light(scan, cell, INNER) for cell in quads]
    # The others are brighter or richer than the file holds.
    usable = np.array([light.clipped < CLIPPED for light in read])
    if usable.sum() < FEWEST:
        raise ChartRefused(
            ChartFault.NO_TARGET,
            f"Of the target’s {len(read)} patches only {usable.sum()} are neither too bright nor too dark on this "
            "scan. Scan without automatic contrast.",
        )
    return TargetReading(np.array([light.rgb for light in read])[usable], xyz[usable], quads[usable], alike)


def target_region(placed: FoundSheet, place: tuple[float, float, float, float]) -> FloatArray:
    """The quadrilateral (4, 2) on the scan where a sheet keeps room for a target."""
    x, y, width, height = place
    return placed.to_scan(np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]], float))


def on_sheet(pixels: FloatArray, region: FloatArray, place: tuple[float, float, float, float]) -> FloatArray:
    """Places (n, 2) of the scan, within ``target_region``, in millimetres of the sheet."""
    import cv2

    x, y, width, height = place
    corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(region.astype(np.float32), corners)
    lifted = np.c_[pixels, np.ones(len(pixels))] @ matrix.T
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def _grid(reference: ReferencePatches) -> _Grid:
    places = {}
    for at, name in enumerate(reference.names):
        match = NAME.match(name)
        if match:
            places[(ord(match[1].upper()) - 65, int(match[2]) - 1)] = at
    letters, figures = ({place[axis] for place in places} for axis in (0, 1))
    if len(places) < FEWEST or len(places) < len(letters) * len(figures):
        raise ChartRefused(
            ChartFault.WRONG_REFERENCE,
            "The reference file does not name its patches by row and column, as A1, A2 … D6: it is no file of a "
            "colour target that this program can find on a scan.",
        )
    rows = sorted(letters), sorted(figures)
    return _Grid(np.array([[places[(letter, figure)] for figure in rows[1]] for letter in rows[0]]))


def _orientations(at: npt.NDArray[np.int64]) -> list[npt.NDArray[np.int64]]:
    """The grid in every way in which it may lie; letters may count rows or columns."""
    return [np.rot90(way, turn) for way in (at, at.T) for turn in range(4)]


def _board(scan: Picture, region: FloatArray | None) -> FloatArray:
    """Corners (4, 2) of the target's board: the largest thing that stands out from what it lies on."""
    import cv2

    height, width = scan.shape[:2]
    whole = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=np.float64)
    quad = whole if region is None else region
    flat, back = _warp(scan, quad, 2 * BOARD_PIXELS)
    edge = np.concatenate([flat[4:12].reshape(-1, 3), flat[-12:-4].reshape(-1, 3), flat[:, 4:12].reshape(-1, 3)])
    paper = np.median(edge.astype(np.float64), axis=0)
    apart = np.abs(cv2.GaussianBlur(flat, (0, 0), 2).astype(np.float64) - paper).max(axis=2) > STANDING_OUT
    closed = cv2.morphologyEx(apart.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((25, 25), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed)
    if count < 2 or stats[1:, cv2.CC_STAT_AREA].max() < SMALLEST_BOARD * closed.size:
        raise ChartRefused(
            ChartFault.NO_TARGET,
            "No colour target lies where one is looked for. Lay it into the frame on the sheet, scan it by itself, "
            "or read the sheet without one.",
        )
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    outline = np.argwhere(labels == largest)[:, ::-1].astype(np.float32)
    box = np.asarray(cv2.boxPoints(cv2.minAreaRect(cv2.convexHull(outline))), dtype=np.float64)
    lifted = np.c_[box, np.ones(4)] @ np.linalg.inv(back).T
    return _clockwise(np.asarray(lifted[:, :2] / lifted[:, 2:]))


def _clockwise(quad: FloatArray) -> FloatArray:
    middle = quad - quad.mean(axis=0)
    return quad[np.argsort(np.arctan2(middle[:, 1], middle[:, 0]))]


def _warp(scan: Picture, quad: FloatArray, long_side: int) -> tuple[Picture, FloatArray]:
    """The quadrilateral as an upright picture, and the matrix (3, 3) from scan to it."""
    import cv2

    across = (np.linalg.norm(quad[1] - quad[0]) + np.linalg.norm(quad[2] - quad[3])) / 2
    down = (np.linalg.norm(quad[3] - quad[0]) + np.linalg.norm(quad[2] - quad[1])) / 2
    scale = long_side / max(float(across), float(down), 1.0)
    size = max(16, round(across * scale)), max(16, round(down * scale))
    corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], dtype=np.float32)
    # Shrunk by whole steps first, or pixels would be left out and dots beat with the grid.
    step = max(1, int(1 / scale)) if scale < 1 else 1
    low = np.maximum(np.floor(quad.min(axis=0)).astype(int) - step, 0)
    high = np.ceil(quad.max(axis=0)).astype(int) + step
    piece = scan[low[1] : high[1], low[0] : high[0]]
    small = cv2.resize(piece, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA) if step > 1 else piece
    matrix = np.asarray(cv2.getPerspectiveTransform(((quad - low) / step).astype(np.float32), corners))
    flat = np.asarray(cv2.warpPerspective(small, matrix, size, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8)
    to_piece = np.array([[1 / step, 0, -low[0] / step], [0, 1 / step, -low[1] / step], [0, 0, 1]])
    return flat, matrix @ to_piece


def _flattened(scan: Picture, quad: FloatArray) -> FloatArray:
    """The board (h, w, 3), coded 0-1, blurred so that a look at a cell's middle sees most of it."""
    import cv2

    flat, _ = _warp(scan, quad, BOARD_PIXELS)
    return np.asarray(cv2.blur(flat, (15, 15)), dtype=np.float64) / 255.0


def _alike(flat: FloatArray, order: npt.NDArray[np.int64], wanted: FloatArray, across: float, down: float) -> float:
    """Correlation of what is seen with the reference, the least of the three channels."""
    height, width = flat.shape[:2]
    rows, columns = order.shape
    if (rows > columns) != (height > width) and rows != columns:
        return -1.0
    x = ((across + (1 - 2 * across) * (np.arange(columns) + 0.5) / columns) * width).astype(int)
    y = ((down + (1 - 2 * down) * (np.arange(rows) + 0.5) / rows) * height).astype(int)
    seen = flat[y[:, None], x].reshape(-1, 3)
    expected = wanted[order.ravel()]
    seen, expected = seen - seen.mean(axis=0), expected - expected.mean(axis=0)
    size = np.sqrt((seen**2).sum(axis=0) * (expected**2).sum(axis=0))
    return float(((seen * expected).sum(axis=0) / np.maximum(size, 1e-9)).min())


def _cells_on(quad: FloatArray, shape: tuple[int, ...], across: float, down: float) -> FloatArray:
    """Corners (n, 4, 2) of the cells on the scan, row by row."""
    import cv2

    rows, columns = shape
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(unit, quad.astype(np.float32))
    x = across + (1 - 2 * across) * np.arange(columns + 1) / columns
    y = down + (1 - 2 * down) * np.arange(rows + 1) / rows
    cells = [
        [[x[c], y[r]], [x[c + 1], y[r]], [x[c + 1], y[r + 1]], [x[c], y[r + 1]]]
        for r, c in product(range(rows), range(columns))
    ]
    lifted = np.c_[np.array(cells).reshape(-1, 2), np.ones(rows * columns * 4)] @ matrix.T
    return np.asarray(lifted[:, :2] / lifted[:, 2:]).reshape(-1, 4, 2)
