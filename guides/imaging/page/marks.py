"""The paint at marks, read through the page's map: each mark's own area, without lines and writing."""

from __future__ import annotations

from dataclasses import dataclass, fields

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.joining import pencilled
from guides.imaging.page.page_map import PageArea, PageMap
from guides.imaging.page.paper import linear
from guides.imaging.page.scaling import Image
from guides.imaging.page.strokes import opponent

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

REACH = 24.0
"""Half the side in pens of the neighbourhood in which a mark's area is read."""

WIDE = 18.0
"""Spread in pens of the weights: more of an area evens brush streaks out, but light and paint change over a page."""

NEAR_GRADIENT = 2.6
"""The same where the paint is a gradient: its colour is only there, at the mark."""

PATCH = 2.2
"""Radius in pens of the patch under the mark that is compared with its area."""

BESIDE = 4
"""Working pixels around an area that are looked at too: where it ends must be seen."""

SEEN = 0.15
"""Share of the patch that must show paint to be asked."""

SOLID, EVEN = 1.3, 3.0
"""Radius in pens of a disc that no stroke fills, and its largest spread (CIELAB) where one paint fills it."""

INSIDE = 0.45
"""Distance in pens from the edge of an area and from its lines from which its paint is unmixed."""

STREAK = 150.0
"""Square pens over which a streak hangs together: so many count as one look at the paint."""

PLENTY = 2500
"""Pixels that are enough to average over."""

SAME_PAINT = 11.0
"""CIE76 distance from the commonest colour within which a pixel is of its paint."""

AMOUNT, ACROSS, WORTH_STREAKS = 0.35, 0.1, 0.3
"""A streak is more or less of the same paint: how far the amount may go (log), how far (density) the colour may be
from what that amount makes, and the density from which that can be told."""

TWO_PAINTS = 15.0
"""CIE76 distance between a patch and its area from which they are two paints."""

NARROW, AROUND = 3.5, 9.0
"""Largest circle in pens in what may be something else than an area, and how far from the mark others are looked
for."""

MOST_AROUND, LEAST_AROUND, MARKED_OVER = 3, 0.08, 0.1
"""How many broader areas may be meant instead, the share of the surroundings they must have, and the share of pencil
from which the mark's area may be writing on them."""

LOOKS_AROUND, AROUND_NOISE = 4.0, 0.03
"""How many looks a whole area's mean is worth, since its paint changes over the page, and its error (density)."""

OTHER_LIGHT, PATCH_NOISE = 0.15, 0.2
"""Distance in linear light from which a patch is of another paint than its area, and the error (density) of what so
few pixels say, blur and letters over them."""

READING_NOISE = 0.006
"""Error of a good reading in coded sRGB (0-1): what is left of grain and compression after averaging."""

SOFT = 0.02


@dataclass(frozen=True, eq=False)
class Readings:
    """What the marks show.

    ``density`` (n, 3) relative to the paper's light there; ``cov`` (n, 3, 3) the uncertainty of the reading itself;
    ``inside`` (n,) whether the mark is on the page at all; ``pixels`` (n,) of the picture each reading rests on;
    ``area`` (n,) id of the mark's area, 0 where there is none; ``two_paints`` (n,) whether what lies under the mark
    is not its area's paint. What is narrow may be writing, hatching or too little of an area, and another be meant:
    ``around`` (n, 3, 3) are the densities of broader areas about such a mark, NaN where there is none, and
    ``around_cov`` (n, 3, 3, 3) their uncertainty; ``perhaps`` (n,) whether the mark's paint may be that of the first
    of them with pencil or ink over it. ``away`` (n,) is how far in pens from the mark its paint was read first.
    """

    density: FloatArray
    cov: FloatArray
    inside: BoolArray
    pixels: FloatArray
    area: IntArray
    two_paints: BoolArray
    perhaps: BoolArray
    around: FloatArray
    around_cov: FloatArray
    away: FloatArray

    @classmethod
    def none(cls, inside: BoolArray) -> Readings:
        """Nothing read yet of marks (n,), which are inside the page or not."""
        count = len(inside)
        return cls(
            np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)), inside, np.zeros(count),
            np.zeros(count, np.int64), np.zeros(count, bool), np.zeros(count, bool),
            np.full((count, MOST_AROUND, 3), np.nan), np.tile(np.eye(3), (count, MOST_AROUND, 1, 1)), np.zeros(count),
        )  # fmt: skip

    def take(self, mark: int, other: Readings, its: int) -> None:
        """Put down for a mark what another one showed."""
        for field in fields(self):
            getattr(self, field.name)[mark] = getattr(other, field.name)[its]


KeptReadings = dict[tuple[float, float, bool], tuple[Readings, int]]
"""What places of one picture showed, gradients and others, so that none is read twice."""


def read_marks(
    page: PageMap, image: Image, points: FloatArray, gradient: BoolArray, kept: KeptReadings | None = None
) -> Readings:
    """Read the paint at ``points`` (n, 2), x and y in pixels of the picture; ``gradient`` (n,) reads locally. What is
    in ``kept`` is taken from there, what is not is added."""
    kept = {} if kept is None else kept
    with np.errstate(invalid="ignore"):
        inside = np.asarray(((points >= 0) & (points <= np.array(page.size))).all(axis=1), dtype=bool)
    read = Readings.none(inside)
    paper = page.paper.at(points / np.array(page.size))
    for mark in np.flatnonzero(inside).tolist():
        place = (float(points[mark, 0]), float(points[mark, 1]))
        key = (*place, bool(gradient[mark]))
        if key in kept:
            read.take(mark, *kept[key])
            continue
        kept[key] = (read, mark)
        given, shown = page.area_at(*place), _under_writing(page, *place)
        area = shown or given
        if area is None:
            read.inside[mark] = False
            continue
        read.area[mark] = area.id
        _read(page, image, place, area.id, paper[mark], bool(gradient[mark]), read, mark)
        if not gradient[mark]:
            _note_others(page, area, given if shown else None, place, read, mark)
            if shown:
                _note_patch(page, image, area, place, paper[mark], read, mark)
    return read


def _note_patch(
    page: PageMap, image: Image, area: PageArea, place: tuple[float, float], paper: FloatArray, read: Readings,
    mark: int,
) -> None:  # fmt: skip
    """Put down what lies under a mark itself where it was taken for writing and is none by its colour: neither the
    paint of the area, nor that with pencil over it. A button lost among letters is such a place."""
    pixels, _, column, row = _window(page, image, *place, area)
    rows, columns = np.ogrid[: pixels.shape[0], : pixels.shape[1]]
    near = (rows - row) ** 2 + (columns - column) ** 2 <= (SOLID * page.pen) ** 2
    patch = np.median(pixels[near], axis=0)
    light = (_LINEAR[np.rint(patch).astype(int)] / paper + SOFT) / (1 + SOFT)
    density = -np.log(light)
    if np.linalg.norm(np.exp(-density) - np.exp(-read.density[mark])) < OTHER_LIGHT:
        return
    if pencilled(density[None], read.density[mark][None], MARKED_OVER)[0]:
        return
    slot = int(np.isfinite(read.around[mark, :, 0]).sum())
    slot = min(slot, MOST_AROUND - 1)
    read.around[mark, slot], read.around_cov[mark, slot] = density, PATCH_NOISE**2 * np.eye(3)
    read.perhaps[mark] = True


def _note_others(
    page: PageMap, area: PageArea, given: PageArea | None, place: tuple[float, float], read: Readings, mark: int
) -> None:
    """Put down which other areas a mark may mean: those about something narrow, and the area ``given`` to the writing
    it stands on where another one shows nearer."""
    others: list[PageArea] = []
    if area.radius * page.scale < NARROW * page.pen:
        others, read.perhaps[mark] = _broader(page, area, *place)
    if given is not None and given is not area:
        others = [given, *(other for other in others if other is not given)][:MOST_AROUND]
        read.perhaps[mark] = True
    for slot, other in enumerate(others):
        read.around[mark, slot] = other.density
        read.around_cov[mark, slot] = np.reshape(other.cov, (3, 3)) / LOOKS_AROUND + AROUND_NOISE**2 * np.eye(3)


def _under_writing(page: PageMap, x: float, y: float) -> PageArea | None:
    """The area that shows nearest to a mark on writing: words run across from one area into another, and the map has
    given each of their strokes to one. None where nothing is written, or none shows near."""
    height, width = page.labels.shape
    column, row = min(int(x * page.scale), width - 1), min(int(y * page.scale), height - 1)
    if not page.writing[row, column]:
        return None
    far = round(AROUND * page.pen)
    top, left = max(row - far, 0), max(column - far, 0)
    here = np.s_[top : row + far + 1, left : column + far + 1]
    open_ = ~page.line[here]
    shown = (page.labels[here] > 0) & ~page.writing[here] & open_
    if open_[row - top, column - left]:  # words run across a line, the paint under them does not
        pieces = cv2.connectedComponents(open_.astype(np.uint8), connectivity=4)[1]
        shown &= pieces == pieces[row - top, column - left]
    rows, columns = np.nonzero(shown)
    if not len(rows):
        return None
    nearest = int(((rows + top - row) ** 2 + (columns + left - column) ** 2).argmin())
    return page.areas[page.labels[here][rows[nearest], columns[nearest]] - 1]


def _broader(page: PageMap, area: PageArea, x: float, y: float) -> tuple[list[PageArea], bool]:
    """The broader areas about a mark, and whether its own may be written on the first of them."""
    height, width = page.labels.shape
    column, row = min(int(x * page.scale), width - 1), min(int(y * page.scale), height - 1)
    far = round(AROUND * page.pen)
    near = page.labels[max(row - far, 0) : row + far + 1, max(column - far, 0) : column + far + 1]
    held = np.bincount(near.ravel(), minlength=area.id + 1)
    held[[0, area.id]] = 0
    most = np.argsort(-held, kind="stable")[:MOST_AROUND]
    ids = [other for other in most.tolist() if held[other] > LEAST_AROUND * near.size]
    others = [page.areas[other - 1] for other in ids if page.areas[other - 1].radius > area.radius]
    over = np.array([area.density])
    beneath = [other for other in others if pencilled(over, np.array([other.density]), MARKED_OVER)[0]]
    return [*beneath, *(other for other in others if other not in beneath)], bool(beneath)


def _around(page: PageMap, area: PageArea, column: int, row: int) -> tuple[int, int, int, int]:
    """Top, bottom, left and right of the neighbourhood of a place in working pixels: as far as its area goes, no
    farther than ``REACH``, and the patch under the mark in any case."""
    height, width = page.labels.shape
    far, least = round(REACH * page.pen), round(PATCH * page.pen) + BESIDE
    (left, top), (right, bottom) = (
        [int(value * page.scale) + away for value in corner]
        for corner, away in ((area.box[:2], -BESIDE), (area.box[2:], BESIDE))
    )
    left, right = min(max(left, column - far), column - least), max(min(right, column + far + 1), column + least)
    top, bottom = min(max(top, row - far), row - least), max(min(bottom, row + far + 1), row + least)
    return max(top, 0), min(bottom, height), max(left, 0), min(right, width)


def _window(
    page: PageMap, image: Image, x: float, y: float, area: PageArea
) -> tuple[Image, tuple[slice, slice], int, int]:
    """The neighbourhood of a place at working scale, where it lies on the map, and the place in it."""
    height, width = page.labels.shape
    column, row = min(int(x * page.scale), width - 1), min(int(y * page.scale), height - 1)
    top, bottom, left, right = _around(page, area, column, row)
    if page.scale == 1.0:
        pixels = image[top:bottom, left:right]
    else:
        # The same sampling as the whole page's: pixel centres, by an affine map of the part that is needed.
        x0, y0 = max(int(left / page.scale) - 3, 0), max(int(top / page.scale) - 3, 0)
        x1, y1 = int(right / page.scale) + 4, int(bottom / page.scale) + 4
        part = image[y0:y1, x0:x1]
        if page.scale < 1.0:
            part = cv2.blur(part, (k := max(1, round(1 / page.scale)), k))
        step = 1.0 / page.scale
        to_part = np.array(
            [
                [step, 0, (left + 0.5) * step - 0.5 - x0],
                [0, step, (top + 0.5) * step - 0.5 - y0],
            ]
        )
        pixels = cv2.warpAffine(
            part,
            to_part,
            (right - left, bottom - top),
            flags=(cv2.INTER_LINEAR if page.scale < 1 else cv2.INTER_CUBIC) | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    smooth = np.asarray(cv2.medianBlur(np.ascontiguousarray(pixels), 3), dtype=np.uint8)
    return smooth, (slice(top, bottom), slice(left, right)), column - left, row - top


def _read(
    page: PageMap, image: Image, place: tuple[float, float], area: int, paper: FloatArray, gradient: bool,
    read: Readings, mark: int,
) -> None:  # fmt: skip
    pixels, here, column, row = _window(page, image, *place, page.areas[area - 1])
    lab = opponent(pixels)
    own = page.labels[here] == area
    clear = own & ~page.line[here] & ~page.writing[here]
    room = cv2.distanceTransform(np.pad(clear.astype(np.uint8), 1, constant_values=0), cv2.DIST_L2, 3)[1:-1, 1:-1]
    border = cv2.distanceTransform((own & ~page.line[here]).astype(np.uint8), cv2.DIST_L2, 3)
    least = INSIDE * page.pen
    core = (border > least) & clear & (room > 0.9)
    if core.sum() < 12:
        core = clear & (border >= 0.6 * border.max())
    for wider in (own & (border > least), own):
        core = core if core.any() else wider
    rows, columns = np.nonzero(core)
    held = len(rows)
    if held > PLENTY:
        rows, columns = rows[:: held // PLENTY], columns[:: held // PLENTY]
    off = (rows - row) ** 2 + (columns - column) ** 2
    spread = (NEAR_GRADIENT if gradient else WIDE) * page.pen
    read.away[mark] = np.sqrt(off.min()) / page.pen
    share = np.exp(-(off - off.min()) / (2 * spread**2))
    table = -np.log((_LINEAR[:, None] / paper + SOFT) / (1 + SOFT))
    chosen = pixels[rows, columns]
    value = np.stack([table[chosen[:, c], c] for c in range(3)], axis=1)
    colours = lab[rows, columns]
    share = share * _one_paint(colours, value, share)
    mean, cov, weight = _averaged(value, share, STREAK * page.pen**2 * len(rows) / held)
    read.density[mark] = mean
    coded = _encode_slope(np.exp(-mean) * (1 + SOFT) - SOFT, float(paper.mean()))
    read.cov[mark] = cov + np.diag((READING_NOISE * coded) ** 2)
    read.pixels[mark] = held / page.scale**2
    whole = weight @ colours / weight.sum()
    if not gradient:
        shown = clear & (room > 1.5)
        read.two_paints[mark] = _another_paint(lab, colours, whole, shown, (row, column), page.pen)


def _one_paint(colours: Float32Array, value: FloatArray, share: FloatArray) -> BoolArray:
    """Which pixels (n,) are the commonest paint of an area, or more or less of it: thin spots and glints are not.

    In density an amount of paint is a factor, so streaks lie on a line through bare paper.
    """
    middle = np.median(colours, axis=0)
    for _ in range(2):
        same = np.linalg.norm(colours - middle, axis=1) < SAME_PAINT
        if not share[same].sum() > 0:
            return np.ones(len(colours), bool)
        middle = (share * same) @ colours / (share * same).sum()
    paint = (share * same) @ value / (share * same).sum()
    if paint.max() < WORTH_STREAKS:
        return np.asarray(same)
    amount = value @ paint / (paint @ paint)
    across = np.linalg.norm(value - amount[:, None] * paint, axis=1)
    return np.asarray(same | ((across < ACROSS) & (np.abs(np.log(np.maximum(amount, 1e-3))) < AMOUNT)))


def _averaged(value: FloatArray, share: FloatArray, streak: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weighted mean (3,) with what lies far out left away, its covariance, and the weights that were left."""
    share = share / share.sum()
    mean = share @ value
    for _ in range(2):
        away = np.abs(value - mean)
        share = share * (away < 2.5 * np.sqrt(share @ away**2) + 1e-3).all(axis=1)
        share /= share.sum()
        mean = share @ value
    away = value - mean
    scatter = (away * share[:, None]).T @ away
    looks = max(1.0, 1.0 / float(share @ share) / streak)
    return mean, scatter / looks, share


def _another_paint(
    lab: Float32Array, colours: Float32Array, whole: FloatArray, clear: BoolArray, at: tuple[int, int], pen: float
) -> bool:
    """Whether the patch under a mark is none of its area's paint: far from its mean, and from nearly all of it.

    Where nothing is written the patch itself is asked; where all of it was taken for writing, only if it is as even
    and as broad as no stroke of a pen is.
    """
    row, column = at
    rows, columns = np.ogrid[: lab.shape[0], : lab.shape[1]]
    off = (rows - row) ** 2 + (columns - column) ** 2
    near = off <= (PATCH * pen) ** 2
    seen = near & clear
    if seen.sum() < SEEN * near.sum():
        seen = off <= (SOLID * pen) ** 2
        if lab[seen].std(axis=0).max() > EVEN or (seen & clear).any():
            return False
    patch = np.median(lab[seen], axis=0)
    if np.linalg.norm(patch - whole) < TWO_PAINTS:
        return False
    return bool((np.linalg.norm(colours - patch, axis=1) < 0.5 * TWO_PAINTS).mean() < 0.1)


def _encode_slope(relative: FloatArray, paper: float) -> FloatArray:
    """Change of density per unit of coded sRGB at a linear colour relative to paper."""
    absolute = np.clip(relative * paper, 1e-3, 1.0)
    coded = 1.055 * absolute ** (1 / 2.4) - 0.055
    slope = 2.4 / 1.055 * ((coded + 0.055) / 1.055) ** 1.4
    return np.asarray(slope / paper / (np.clip(relative, 0, None) + SOFT))


_LINEAR = linear(np.arange(256) / 255.0)
