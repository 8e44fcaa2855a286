"""Reading marks on a registered proof: the mean printed colour of the area a mark stands for.

The area is that of the guide's page map or, where the map has none of the mark's paint, grown on the guide, where
colours are flat; it is carried to the proof. Means are taken in linear light,
as the eye and any densitometer average halftone dots, over samples smoothed to about one halftone cell, and
robustly, so that a speck of dirt or a hatching line does not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import decode_srgb
from guides.imaging.page.page_map import PageMap
from guides.imaging.proof.line_field import brightest_channel
from guides.imaging.proof.mapped import area_at, area_in
from guides.imaging.proof.pieces import nearer, nearest_pieces, other_paint, own_piece, robust_mean, split
from guides.imaging.proof.registration import IN_PLACE, Picture, Registration

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Area = tuple[tuple[int, int, int, int], Mask, FloatArray]

REACH = 0.034
"""Half side of the window around a mark in page heights: about 9 mm, some 45 halftone cells across."""

SEED = 0.005
"""Half side of the spot (page heights) whose paint says what the mark's area looks like on the guide."""

PAINT_TOLERANCE = 15.0
"""CIELAB distance on the guide within which paint belongs to the mark's area: streaks of a dye stay below."""

ONE_PAINT = 8.0
"""CIELAB distance of places of the spot that count as the same paint."""

CLEAR = 0.0024
"""Distance to keep from the edge of the area (page heights): 0.6 mm, twice the usual misregistration of inks."""

CELL = 0.0015
"""About one halftone cell in page heights: 65 lines an inch on a page 10 inches high."""

FINEST_BLUR = 2.0
"""Spread in px that a blur needs: means over a cell are taken on a picture reduced by area as far as that."""

ENOUGH_CELLS = 3.0
"""Fewer halftone cells than this say nothing about a tint."""

SOME_CELLS = 10.0
"""Cells that are enough to leave out what hangs together with the mark's own piece of an area by a neck only."""

FEW_CELLS = 25.0
"""With fewer than this, the area is tried again across the strokes of written codes."""

KEY_LIGHT = 0.1
"""Linear value of the brightest channel below which a stroke is line art whatever surrounds it."""

NEAR = 0.015
"""Spread in page heights of how much a place counts for its mark where an area prints in two colours."""

FLARE = 0.02
"""Added to linear values relative to white before the logarithm, so that noise near black does not run away."""

WHITE_SIDE, WHITE_SHARE, WHITE_FLOOR = 300, 97.0, 0.05
"""Long side the page is reduced to for its white, and the percentile of each channel that is called white: some paper
or light ink shows on every page, and it only scales FLARE."""

_LINEAR = decode_srgb(np.arange(256) / 255.0).astype(np.float32)


@dataclass(frozen=True)
class Reading:
    """What one area prints like.

    Attributes:
        tone: log(linear RGB relative to the page's white + FLARE), (3,).
        noise: standard error of ``tone``, (3,).
        cells: halftone cells that were averaged.
        parts: (tone (3,), share) of the two most different parts of the area when it is not of one colour.
    """

    tone: FloatArray
    noise: FloatArray
    cells: float
    parts: tuple[tuple[FloatArray, float], ...] = ()


@dataclass(frozen=True)
class Unreadable:
    """Why an area cannot be read."""

    why: str


class Reader:
    """Reads areas of one proof. ``guide`` and ``proof`` are RGB uint8; ``page`` is the guide's map."""

    def __init__(
        self, guide: Picture, proof: Picture, registration: Registration, page: PageMap | None = None
    ) -> None:
        import cv2

        self.guide, self.proof, self.registration, self.page = guide, proof, registration, page
        self.height = float(max(guide.shape[:2]))
        self.cell = (CELL * self.height) ** 2
        self.fine = int(np.clip(round(registration.scale), 1, 4))
        self.white = self._white()
        soft = cv2.GaussianBlur(guide, (0, 0), max(0.5, 0.0005 * self.height))
        self.lab = np.asarray(
            cv2.cvtColor(soft.astype(np.float32) * np.float32(1 / 255), cv2.COLOR_RGB2LAB), dtype=np.float32
        )

    def of_guide(self) -> Reader:
        """A reader of the same areas on the guide itself."""
        own = copy(self)
        own.proof, own.registration, own.fine = self.guide, IN_PLACE, 1
        own.white = own._white()
        return own

    def _white(self) -> FloatArray:
        """Linear RGB (3,) of about the page's paper on the scan, whatever lies around the page there."""
        import cv2

        height, width = self.proof.shape[:2]
        factor = min(1.0, WHITE_SIDE / max(height, width))
        size = (max(1, round(width * factor)), max(1, round(height * factor)))
        rows, columns = self.guide.shape[:2]
        corners = self.registration.to_proof([(0, 0), (columns - 1, 0), (columns - 1, rows - 1), (0, rows - 1)])
        page = np.zeros(size[::-1], np.uint8)
        cv2.fillConvexPoly(page, np.rint(corners * factor).astype(np.int32), 1)
        light = _LINEAR[cv2.resize(self.proof, size, interpolation=cv2.INTER_AREA)][page > 0]
        if not len(light):
            return np.ones(3)
        return np.maximum(np.percentile(light, WHITE_SHARE, axis=0).astype(np.float64), WHITE_FLOOR)

    def tones(self, linear: FloatArray) -> FloatArray:
        """log of linear RGB (n, 3) relative to the page's white."""
        return np.asarray(np.log(np.maximum(linear, 0.0) / self.white + FLARE))

    def window(self, x: float, y: float, reach: float = REACH) -> tuple[int, int, int, int]:
        """Left, top, right, bottom of the window around a place, clipped to the guide."""
        half = round(reach * self.height)
        left, top = max(0, round(x) - half), max(0, round(y) - half)
        return left, top, min(self.guide.shape[1], round(x) + half + 1), min(self.guide.shape[0], round(y) + half + 1)

    def area(self, x: float, y: float, over_codes: bool = False) -> Area | None:
        """The mark's area: window, mask in it, and distance (px) of every pixel of the mask to its edge.

        ``over_codes`` lets it go on across strokes of the guide that did not print: codes written on the area.
        """
        import cv2

        left, top, right, bottom = box = self.window(x, y)
        if right - left < 3 or bottom - top < 3:
            return None
        lab = self.lab[top:bottom, left:right]
        px, py = self._within(box, x, y)
        paint = self._seed(lab, px, py)
        off = lab - paint
        alike = (np.einsum("ijc,ijc->ij", off, off) < PAINT_TOLERANCE**2).astype(np.uint8)
        if over_codes:
            alike |= self._written(box, alike)
        own = self._around(alike, px, py)
        if own is None:
            return None
        size = max(3, round(0.003 * self.height) | 1)
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        filled = np.asarray(cv2.morphologyEx(own, cv2.MORPH_CLOSE, kernel), dtype=np.uint8)
        kept = cv2.erode(own, np.ones((3, 3), np.uint8)) if own.sum() > 60 else own
        return box, kept > 0, self._edges(box, filled)

    def mapped(self, x: float, y: float) -> Area | None:
        """The same from the page's map; None where that has no area of the paint around the mark, or
        only one beside it."""
        left, top, right, bottom = box = self.window(x, y)
        if self.page is None or right - left < 3 or bottom - top < 3:
            return None
        lab = self.lab[top:bottom, left:right]
        paint = self._seed(lab, *self._within(box, x, y))
        close = max(3, round(0.003 * self.height) | 1)
        pieces = area_in(self.page, lab, box, (x, y), (self.guide.shape[1], self.guide.shape[0]), paint, close)
        if pieces is None:
            return None
        like, filled, ink = pieces
        column, row = self._within(box, x, y)
        near = max(2, round(SEED * self.height))
        if not like[max(0, row - near) : row + near + 1, max(0, column - near) : column + near + 1].any():
            return None
        own = own_piece(like, filled, ink, (column, row), SOME_CELLS * self.cell)
        return box, own, self._edges(box, filled)

    def area_id(self, x: float, y: float) -> int:
        """The mark's area on the guide's map; 0 where there is none, or no map."""
        area = None if self.page is None else area_at(self.page, (x, y), (self.guide.shape[1], self.guide.shape[0]))
        return area.id if area else 0

    @staticmethod
    def _within(box: tuple[int, int, int, int], x: float, y: float) -> tuple[int, int]:
        """The pixel of a window at a place of the guide."""
        left, top, right, bottom = box
        return int(np.clip(round(x) - left, 0, right - left - 1)), int(np.clip(round(y) - top, 0, bottom - top - 1))

    def _edges(self, box: tuple[int, int, int, int], filled: npt.NDArray[np.uint8]) -> FloatArray:
        """Distance (px) of every pixel of a window's mask to where the mask ends."""
        import cv2

        left, top, right, bottom = box
        edge = np.asarray(cv2.distanceTransform(np.pad(filled, 1), cv2.DIST_L2, 3)[1:-1, 1:-1], dtype=np.float32)
        for side, at_border in enumerate(
            (top == 0, bottom == self.guide.shape[0], left == 0, right == self.guide.shape[1])
        ):
            if not at_border:  # the window's own border is no edge of the area
                edge = _open_side(edge, filled, side)
        return np.asarray(edge, dtype=np.float64)

    def _written(self, box: tuple[int, int, int, int], alike: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
        """Thin strokes between paint alike on the guide where the proof is not as dark as its line art."""
        import cv2

        linear = self.sample(box, fine=1)
        if linear is None:
            return np.zeros_like(alike)
        light = cv2.GaussianBlur(brightest_channel(linear), (0, 0), 0.5 * CELL * self.height)
        size = max(5, round(0.004 * self.height) | 1)
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        closed = cv2.morphologyEx(alike, cv2.MORPH_CLOSE, kernel)
        ground = float(np.median(light[alike > 0])) if alike.any() else 0.0
        return np.asarray((closed > 0) & (light > max(0.72 * ground, KEY_LIGHT)), dtype=np.uint8)

    def _seed(self, lab: npt.NDArray[np.float32], px: int, py: int) -> npt.NDArray[np.float32]:
        """The paint at the mark: the commonest colour around it, which no stroke of a written code is."""
        half = max(2, round(SEED * self.height))
        spot = lab[max(0, py - half) : py + half + 1, max(0, px - half) : px + half + 1].reshape(-1, 3)
        if len(spot) > 150:
            spot = spot[:: len(spot) // 150 + 1]
        length = np.einsum("ic,ic->i", spot, spot)
        near = length[:, None] + length - 2.0 * spot @ spot.T < ONE_PAINT**2
        away = np.linalg.norm(np.indices((2 * half + 1, 2 * half + 1)).reshape(2, -1).T - half, axis=1)
        votes = near.sum(axis=1).astype(np.float64)
        if len(away) == len(spot):
            votes *= 1.0 / (1.0 + away / half)
        return np.asarray(np.median(spot[near[int(votes.argmax())]], axis=0), dtype=np.float32)

    def _around(self, mask: npt.NDArray[np.uint8], px: int, py: int) -> npt.NDArray[np.uint8] | None:
        """The connected part of ``mask`` at the mark or, failing that, the nearest within the spot."""
        import cv2

        count, labels = cv2.connectedComponents(mask, connectivity=4)
        if count < 2:
            return None
        if not labels[py, px]:
            half = max(2, round(2 * SEED * self.height))
            y0, x0 = max(0, py - half), max(0, px - half)
            near = labels[y0 : py + half + 1, x0 : px + half + 1]
            ys, xs = np.nonzero(near)
            if not len(ys):
                return None
            nearest = int(((ys + y0 - py) ** 2 + (xs + x0 - px) ** 2).argmin())
            return np.asarray(labels == near[ys[nearest], xs[nearest]], dtype=np.uint8)
        return np.asarray(labels == labels[py, px], dtype=np.uint8)

    def read(self, x: float, y: float, others: Sequence[tuple[float, float]] = ()) -> Reading | Unreadable:
        """The printed colour of the area of a mark at guide px (x, y). ``others``: marks that the map puts into the
        same area; what is nearer to them is theirs."""
        if not (0 <= x < self.guide.shape[1] and 0 <= y < self.guide.shape[0]):
            return Unreadable("the mark lies outside the guide")
        own = self.mapped(x, y)
        if own is not None and isinstance(read := self._read_area(own, x, y, others), Reading):
            return read
        first = self._read_area(self.area(x, y), x, y)
        if isinstance(first, Reading) and first.cells >= FEW_CELLS:
            return first
        wider = self._read_area(self.area(x, y, over_codes=True), x, y)
        return wider if isinstance(wider, Reading) else first

    def _read_area(
        self, area: Area | None, x: float, y: float, others: Sequence[tuple[float, float]] = ()
    ) -> Reading | Unreadable:
        if area is None:
            return Unreadable("no area of one colour is found at the mark on the guide")
        box, mask, edge = area
        inside = edge[mask]
        if not inside.size:
            return Unreadable("no area of one colour is found at the mark on the guide")
        clear = min(CLEAR * self.height, 0.6 * float(inside.max()))
        at = self._within(box, x, y)
        rest = [(round(ox) - box[0], round(oy) - box[1]) for ox, oy in others]
        mask = nearer(mask & (edge >= clear), at, rest, SOME_CELLS * self.cell)
        mask = nearest_pieces(mask, at, SOME_CELLS * self.cell)
        linear = self.sample(box)
        if linear is None:
            return Unreadable("the mark lies outside the scan")
        return self.average(linear, mask, self.lab[box[1] : box[3], box[0] : box[2]], at)

    def sample(self, box: tuple[int, int, int, int], fine: int | None = None) -> npt.NDArray[np.float32] | None:
        """Linear RGB of the proof over a window of the guide, ``fine`` samples a guide px; None when off the scan."""
        import cv2

        left, top, right, bottom = box
        nodes = 4 + int(max(right - left, bottom - top) / (0.06 * self.height))
        across, down = np.meshgrid(np.linspace(left, right, nodes) - 0.5, np.linspace(top, bottom, nodes) - 0.5)
        at = self.registration.to_proof(np.stack([across.ravel(), down.ravel()], 1))
        height, width = self.proof.shape[:2]
        x0, y0 = np.floor(at.min(axis=0)).astype(int) - 2
        x1, y1 = np.ceil(at.max(axis=0)).astype(int) + 3
        x0, y0, x1, y1 = max(0, x0), max(0, y0), min(width, x1), min(height, y1)
        if x1 - x0 < 4 or y1 - y0 < 4:
            return None
        linear = cv2.LUT(self.proof[y0:y1, x0:x1], _LINEAR)
        fine = fine or self.fine
        size = ((right - left) * fine, (bottom - top) * fine)
        coarse = (at - np.array([x0, y0])).reshape(nodes, nodes, 2)
        rows, columns = _between(nodes, size[1]), _between(nodes, size[0])
        where = np.stack([rows @ coarse[..., axis] @ columns.T for axis in (0, 1)]).astype(np.float32)
        return np.asarray(
            cv2.remap(
                linear,
                where[0],
                where[1],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=(-1, -1, -1),
            )
        )

    def average(
        self, linear: npt.NDArray[np.float32], mask: Mask, lab: npt.NDArray[np.float32], at: tuple[int, int]
    ) -> Reading | Unreadable:
        """Robust mean of a sampled window over a mask of it (guide px), whose paint is ``lab``; of two paints, which
        the map took for one area, that at ``at`` alone is read."""
        import cv2

        weight = np.repeat(np.repeat(mask, self.fine, 0), self.fine, 1).astype(np.float32)
        weight *= linear[..., 0] >= 0
        sigma = CELL * self.height * self.fine
        shrink = max(1, int(sigma / FINEST_BLUR))
        size = (max(1, linear.shape[1] // shrink), max(1, linear.shape[0] // shrink))
        dense, light = (
            cv2.GaussianBlur(cv2.resize(image, size, interpolation=cv2.INTER_AREA), (0, 0), sigma / shrink)
            for image in (weight, linear * weight[..., None])
        )
        step = max(1, int(sigma / shrink))
        inside = cv2.resize(weight, size, interpolation=cv2.INTER_NEAREST)[::step, ::step] > 0
        share = dense[::step, ::step][inside].astype(np.float64)
        samples = light[::step, ::step][inside] / share[:, None]
        cells = float(weight.sum() / (CELL * self.height * self.fine) ** 2)
        if cells < ENOUGH_CELLS or len(samples) < 3:
            return Unreadable("too little of the area is clear of line art to average its halftone dots")
        tones = self.tones(samples)
        high = split(tones, share)
        place = (np.argwhere(inside)[:, ::-1] * step + 0.5) * (mask.shape[1] / size[0])
        away = np.hypot(*(place - at).T)
        if high is not None:
            paint = cv2.resize(lab, size, interpolation=cv2.INTER_AREA)[::step, ::step][inside]
            own = other_paint(paint, high, away)
            if own is not None:
                cells *= float(share[own].sum() / share.sum())
                tones, share, high = tones[own], share[own], None
                if cells < ENOUGH_CELLS or len(tones) < 3:
                    return Unreadable("too little of the area is clear of another paint to average its halftone dots")
        tone, spread = robust_mean(tones, share)
        noise = np.hypot(spread / np.sqrt(max(1.0, min(cells / 4.0, len(tones)))), 0.004)
        near = share * np.exp(-0.5 * (away / (NEAR * self.height)) ** 2) if high is not None else share
        return Reading(tone, noise, cells, () if high is None else _parts(tones, near, high))


def _parts(
    tones: FloatArray, share: FloatArray, high: npt.NDArray[np.bool_]
) -> tuple[tuple[FloatArray, float], tuple[FloatArray, float]]:
    """Tone and share of the two colours of an area."""
    part = float(share[high].sum() / max(share.sum(), 1e-12))
    return (np.median(tones[high], axis=0), part), (np.median(tones[~high], axis=0), 1.0 - part)


def _between(nodes: int, count: int) -> FloatArray:
    """Weights (count, nodes) for the middles of ``count`` samples between evenly spread nodes at the ends."""
    place = (np.arange(count) + 0.5) * ((nodes - 1.0) / count)
    return np.clip(1.0 - np.abs(place[:, None] - np.arange(nodes)), 0.0, 1.0)


def _open_side(edge: npt.NDArray[np.float32], filled: npt.NDArray[np.uint8], side: int) -> npt.NDArray[np.float32]:
    """Distances as if the area went on beyond one border of the window: replicate the last row outwards."""
    import cv2

    pad = 24
    widths = [
        (pad, 0) if side == 0 else (0, pad) if side == 1 else (0, 0),
        (pad, 0) if side == 2 else (0, pad) if side == 3 else (0, 0),
    ]
    outside = np.pad(np.pad(filled, widths, mode="edge"), 1)
    wide = cv2.distanceTransform(outside, cv2.DIST_L2, 3)[1:-1, 1:-1]
    rows = slice(widths[0][0], wide.shape[0] - widths[0][1])
    columns = slice(widths[1][0], wide.shape[1] - widths[1][1])
    return np.maximum(edge, wide[rows, columns])
