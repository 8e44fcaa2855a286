"""Reading a gradient on the proof: does it fade from one tint to the other, or does it jump?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from bible.colour.tints import INK_NAMES, INKS, PAPER, Tint, as_array
from guides.imaging.proof.page_press import PagePress, noise_block
from guides.imaging.proof.pieces import robust_mean
from guides.imaging.proof.reading import Reader, Unreadable
from guides.imaging.proof.verdicts import DECIDED, Decision, Verdict, log_t, step_odds

FloatArray = npt.NDArray[np.float64]
Point = tuple[float, float]

BINS = 32
"""Places along the fade: a step is found to 3 % of its length."""

HALF_WIDTH = 0.16
"""Half width of the strip that is read on either side of the arrow, in page heights."""

BLOCK = 0.003
"""Side of the blocks that are averaged first (page heights): about two halftone cells."""

MIN_BINS = 7
"""Readable places that a fade must have before anything is said about it."""

MIN_BLOCKS = 3.0
"""Blocks that make a place readable."""

BIN_NOISE = 0.02
"""Scatter of one place beyond its own reading (tone units)."""

UNEVEN_SD, UNEVEN_LENGTH = 0.05, 0.25
"""Smooth unevenness along a fade (tone units; share of its length): fades are cut by hand, and between the strengths
of the chart the condition's tone curve is not checked by any flat mark."""

UNEVEN_CHANNELS = np.array([[1.0, 0.5, 0.5], [0.5, 1.0, 0.5], [0.5, 0.5, 1.0]])

MIN_LENGTH = 0.012
"""Shorter arrows (page heights) hold too few halftone dots to show a fade."""

PAINT_STEP = 3.0
"""CIELAB distance from one pixel to the next (guide at 1000 px) up to which paint is still the same fade."""

LINE_WIDE, LINE_DARK = 11, 5.0
"""Strokes up to so many pixels wide (guide at 1000 px) that are this much darker (L*) than both their sides are line
art, and part fades: a dark paint would otherwise run on through its outline a step at a time."""

BEYOND = 0.3
"""How far along the fade (share of it) paint is foretold beyond where it was seen."""

FOREIGN = 30.0
"""Squared Mahalanobis distance (three channels) from everything the fade may print as, from which a place shows
something else: a figure in front, a balloon."""

MIN_FLOOD = 150
"""Pixels (guide at 1000 px) below which a flood only filled the inside of a stroke."""

PAINT_OFF = 14.0
"""Paint this far (CIELAB) from the rest at the same place of the fade belongs to something else."""

STEP_PRIOR, MISSING_PRIOR = 0.10, 0.01
"""Hard steps instead of fades are the commonest fault of fades (common practice, no source)."""

Profile = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


def read_fade(reader: Reader, at: Point, start: Point, end: Point) -> Profile | Unreadable:
    """Places along the fade (n,) 0-1, their tones (n, 3), noises (n, 3) and guide px (n, 2)."""
    way = np.array(end) - np.array(start)
    length = float(np.hypot(*way))
    if length < MIN_LENGTH * reader.height:
        return Unreadable("the gradient's arrow is too short to hold a fade")
    area = _fade_area(reader, at, np.array(start), way)
    if area is None:
        return Unreadable("no fading area is found at the mark on the guide")
    box, mask = area
    linear = reader.sample(box, fine=1)
    if linear is None:
        return Unreadable("the gradient lies outside the scan")
    blocks = _blocks(reader, linear, mask, box, max(2, round(BLOCK * reader.height)))
    place = ((blocks.at - np.array(start)) @ way) / length**2
    number = np.floor(place * BINS).astype(int)
    stretches = []
    for stretch in range(BINS):
        here = number == stretch
        if blocks.share[here].sum() < MIN_BLOCKS or here.sum() < 3:
            continue
        tone, spread = robust_mean(blocks.tones[here], blocks.share[here])
        noise = np.hypot(spread / np.sqrt(blocks.share[here].sum()), 0.006)
        stretches.append(((stretch + 0.5) / BINS, tone, noise, blocks.at[here].mean(axis=0)))
    if len(stretches) < MIN_BINS:
        return Unreadable("too little of the gradient is clear of line art along its arrow")
    places, tones, noises, where = (np.array(column) for column in zip(*stretches, strict=True))
    return places, tones, noises, where


def _fade_area(
    reader: Reader, at: Point, start: FloatArray, way: FloatArray
) -> tuple[tuple[int, int, int, int], npt.NDArray[np.bool_]] | None:
    """Window and mask of the area whose paint changes smoothly from the mark on, beside the arrow."""
    import cv2

    height, width = reader.guide.shape[:2]
    reach = HALF_WIDTH * reader.height
    corners = np.array([start, start + way, at])
    low = np.floor(np.maximum(corners.min(axis=0) - reach, 0)).astype(int)
    high = np.ceil(np.minimum(corners.max(axis=0) + reach + 1, (width, height))).astype(int)
    if (high - low < 8).any():
        return None
    box = (int(low[0]), int(low[1]), int(high[0]), int(high[1]))
    shrink = min(1.0, 1000.0 / reader.height)
    size = (max(8, round((box[2] - box[0]) * shrink)), max(8, round((box[3] - box[1]) * shrink)))
    paint = cv2.resize(reader.lab[box[1] : box[3], box[0] : box[2]], size, interpolation=cv2.INTER_AREA)
    lab = np.asarray(cv2.bilateralFilter(paint, 5, 8.0, 1.5), dtype=np.float32)
    lines = _line_art(lab)
    mask = _flood(lab, lines, (np.array(at) - low) * shrink)
    if mask is None:
        return None
    tried = mask.copy()
    mask = _same_paint(lab, mask, low, start, way, shrink)
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):  # the same fade beyond what stands in front of it
        for side in (-0.6, -0.3, 0.0, 0.3, 0.6):
            aside = side * reach * np.array([-way[1], way[0]]) / np.hypot(*way)
            seed = (start + share * way + aside - low) * shrink
            x, y = np.round(seed).astype(int)
            if 0 <= x < size[0] and 0 <= y < size[1] and not tried[y, x]:
                more = _flood(lab, lines, seed)
                if more is not None:
                    tried |= more
                    if _continues(lab, mask, more, low, start, way, shrink):
                        mask |= more
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    clear = min(0.0024 * reader.height * shrink, 0.6 * float(inside.max()))
    kept = (inside >= max(clear, 1.0)).astype(np.uint8)
    full = cv2.resize(kept, (box[2] - box[0], box[3] - box[1]), interpolation=cv2.INTER_NEAREST)
    return box, full > 0


def _line_art(lab: npt.NDArray[np.float32]) -> npt.NDArray[np.uint8]:
    """Where (h, w) strokes lie that are darker than what is on both their sides: 1, else 0."""
    import cv2

    light = np.ascontiguousarray(lab[..., 0])
    darker = cv2.morphologyEx(light, cv2.MORPH_BLACKHAT, np.ones((LINE_WIDE, LINE_WIDE), np.uint8))
    return (darker > LINE_DARK).astype(np.uint8)


def _flood(
    lab: npt.NDArray[np.float32], lines: npt.NDArray[np.uint8], seed: FloatArray
) -> npt.NDArray[np.uint8] | None:
    """What smoothly changing paint reaches from ``seed``, or from beside it where a stroke lies on it."""
    import cv2

    height, width = lab.shape[:2]
    x, y = np.round(seed).astype(int)
    for dx, dy in ((0, 0), (3, 3), (-3, 3), (3, -3), (-3, -3), (6, 0), (0, 6), (-6, 0), (0, -6)):
        if 0 <= x + dx < width and 0 <= y + dy < height:
            flood: npt.NDArray[np.uint8] = np.pad(lines, 1)
            flags = 4 | cv2.FLOODFILL_MASK_ONLY | (2 << 8)
            step = (PAINT_STEP,) * 3
            cv2.floodFill(lab, flood, (int(x + dx), int(y + dy)), 0, step, step, flags)
            filled = (flood[1:-1, 1:-1] == 2).astype(np.uint8)
            if filled.sum() > MIN_FLOOD:
                return filled
    return None


def _continues(
    lab: npt.NDArray[np.float32], mask: npt.NDArray[np.uint8], more: npt.NDArray[np.uint8],
    low: FloatArray, start: FloatArray, way: FloatArray, shrink: float,
) -> bool:  # fmt: skip
    """Whether the paint of ``more`` follows on that of ``mask``, a quadratic along the fade."""

    def gathered(area: npt.NDArray[np.uint8]) -> tuple[FloatArray, FloatArray]:
        ys, xs = np.nonzero(area)
        every = max(1, len(xs) // 1500)
        xs, ys = xs[::every], ys[::every]
        place = ((np.stack([xs, ys], 1) / shrink + low - start) @ way) / (way @ way)
        return place, lab[ys, xs].astype(np.float64)

    place, paint = gathered(mask)
    low_end, high_end = np.percentile(place, (1, 99))
    if high_end - low_end < 0.15:
        return False
    degree = 2 if high_end - low_end > 0.5 else 1
    fitted = np.polynomial.polynomial.polyfit(place, paint, degree)
    place, paint = gathered(more)
    if place.min() < low_end - BEYOND or place.max() > high_end + BEYOND:
        return False
    off = np.linalg.norm(paint - np.polynomial.polynomial.polyval(place, fitted).T, axis=1)
    return bool(np.median(off) < 0.6 * PAINT_OFF and np.percentile(off, 90) < PAINT_OFF)


def _same_paint(
    lab: npt.NDArray[np.float32],
    mask: npt.NDArray[np.uint8],
    low: FloatArray,
    start: FloatArray,
    way: FloatArray,
    shrink: float,
) -> npt.NDArray[np.uint8]:
    """Without what differs from the rest at the same place of the fade: neighbours reached through a gap."""
    ys, xs = np.nonzero(mask)
    at = np.stack([xs, ys], 1) / shrink + low
    place = np.clip(np.floor(((at - start) @ way) / (way @ way) * BINS), -1, BINS).astype(int) + 1
    paint = lab[ys, xs]
    present, count = np.unique(place, return_counts=True)
    middle = np.stack([np.median(paint[place == n], axis=0) for n in present])
    course = _course(present / BINS, middle, count.astype(np.float64))
    off = np.linalg.norm(paint - course[np.searchsorted(present, place)], axis=1) > PAINT_OFF
    kept = mask.copy()
    kept[ys[off], xs[off]] = 0
    return kept


def _course(place: FloatArray, middle: FloatArray, count: FloatArray) -> FloatArray:
    """The smooth course (cubic, robust) that the paint at ``place`` (n,) with medians ``middle`` (n, 3) takes."""
    degree = min(3, len(place) - 1)
    weight = np.sqrt(count)
    course = middle.astype(np.float64)
    for _ in range(6):
        terms = np.polynomial.polynomial.polyvander(place, degree)
        fitted = np.linalg.lstsq(terms * weight[:, None], middle * weight[:, None], rcond=None)[0]
        course = terms @ fitted
        weight = np.sqrt(count) / (1.0 + (np.linalg.norm(middle - course, axis=1) / (0.5 * PAINT_OFF)) ** 2)
    return np.asarray(course)


@dataclass(frozen=True)
class _Blocks:
    at: FloatArray
    tones: FloatArray
    share: FloatArray


def _blocks(
    reader: Reader,
    linear: npt.NDArray[np.float32],
    mask: npt.NDArray[np.bool_],
    box: tuple[int, int, int, int],
    side: int,
) -> _Blocks:
    """Means in linear light of squares of ``side`` px, with the share of each that belongs to the mask."""
    rows, columns = mask.shape[0] // side, mask.shape[1] // side
    weight = (mask & (linear[..., 0] >= 0))[: rows * side, : columns * side].astype(np.float32)
    values = linear[: rows * side, : columns * side] * weight[..., None]
    total = weight.reshape(rows, side, columns, side).sum(axis=(1, 3))
    mean = values.reshape(rows, side, columns, side, 3).sum(axis=(1, 3))
    ys, xs = np.nonzero(total > 0.4 * side * side)
    count = total[ys, xs].astype(np.float64)
    tones = reader.tones(mean[ys, xs] / count[:, None])
    at = (np.stack([xs, ys], 1) + 0.5) * side - 0.5 + np.array(box[:2])
    return _Blocks(at, tones, count / side**2)


Row = tuple[Verdict, str | None, str, float]


def decide_fade(
    page: PagePress,
    places: FloatArray,
    tones: FloatArray,
    noises: FloatArray,
    at: FloatArray,
    start: Tint,
    end: Tint,
) -> Decision:
    """Fade, step, or something missing, by the likelihood of the whole profile. ``at`` (n, 2) page heights."""
    inks = [ink for ink in "cmy" if getattr(start, ink) or getattr(end, ink)]
    kept = _of_the_fade(page, tones, noises, at, _ways(start, end, inks))
    if kept.sum() < max(MIN_BINS, 0.4 * len(kept)):
        why = "what prints along the arrow is neither of the fade's colours nor bare paper"
        return Decision(Verdict.CANNOT_TELL, None, 1.0, (start, end), why, 0.0)
    places, tones, noises, at = places[kept], tones[kept], noises[kept], at[kept]
    scan = _Scan(page, places, tones, noises, at)
    called = f"the fade from {start} to {end}"
    there, prior = f"{called} is there", (1.0 - STEP_PRIOR - 2.0 * MISSING_PRIOR) / len(SHAPES)
    fades = [scan.of(start, end, shape(places)) + np.log(prior) for shape in SHAPES]
    rows: list[Row] = [(Verdict.AS_CALLED, None, there, fade) for fade in fades]
    edges = np.r_[-0.01, (places[1:] + places[:-1]) / 2, 1.01]
    steps = scan.steps(start, end, places, edges) + np.log(STEP_PRIOR * step_odds(edges))
    for edge, weighed in zip(edges, steps, strict=True):
        words = f"a hard step at {100 * np.clip(edge, 0, 1):.0f} % of the way instead of {called}"
        rows.append((Verdict.GRADIENT_STEP, None, words, float(weighed)))
    if not (start.is_paper or end.is_paper):  # else bare paper is one end of the fade all the way: a step
        nothing = scan.of(PAPER, PAPER, places)
        words = f"bare paper instead of {called}"
        rows.append((Verdict.COLOUR_MISSING, None, words, nothing + np.log(MISSING_PRIOR)))
    for ink in inks if len(inks) > 1 else []:
        first, last = replace(start, **{ink: 0}), replace(end, **{ink: 0})
        if first != last or not (start.is_paper or end.is_paper):
            words = f"{INK_NAMES[ink]} is missing from {called}"
            rows.append(
                (Verdict.INK_MISSING, ink, words, scan.of(first, last, places) + np.log(MISSING_PRIOR / len(inks)))
            )
    return _weighed(rows, start, end)


def _ways(start: Tint, end: Tint, inks: list[str]) -> FloatArray:
    """Everything the fade may print as, (n, 4) percentages: between its tints, without one ink, bare paper."""
    share = np.linspace(0.0, 1.0, 9)[:, None]
    first, last = as_array([start]), as_array([end])
    ways = [first + (last - first) * share, np.zeros((1, 4))]
    for ink in inks:
        without = ways[0].copy()
        without[:, INKS.index(ink)] = 0.0
        ways.append(without)
    return np.concatenate(ways)


def _of_the_fade(
    page: PagePress, tones: FloatArray, noises: FloatArray, at: FloatArray, ways: FloatArray
) -> npt.NDArray[np.bool_]:
    """Which places (n,) may belong to the fade at all."""
    m = len(ways)
    mean, spread, wanted = page.predict(ways, np.repeat(at.mean(axis=0)[None], m, 0))
    blocks = spread.reshape(m, 3, m, 3)[range(m), :, range(m), :] + noise_block(wanted.noise, np.full((1, 3), 0.05))
    miss = tones[:, None] - mean[None]
    squared = np.einsum("nmi,mij,nmj->nm", miss, np.linalg.inv(blocks), miss)
    return np.asarray(squared.min(axis=1) < FOREIGN)


SHAPES: tuple[Callable[[FloatArray], FloatArray], ...] = (
    lambda s: s,
    lambda s: s * s * (3.0 - 2.0 * s),
    lambda s: np.clip((s - 0.12) / 0.76, 0.0, 1.0),
    lambda s: s**1.5,
    lambda s: 1.0 - (1.0 - s) ** 1.5,
)
"""Fades as they are cut: even, eased at the ends, starting late, slow at one end."""


def _weighed(rows: list[Row], start: Tint, end: Tint) -> Decision:
    logs = np.array([row[3] for row in rows])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    grouped: dict[tuple[Verdict, str | None], float] = {}
    for row, weight in zip(rows, weights, strict=True):
        grouped[row[:2]] = grouped.get(row[:2], 0.0) + float(weight)
    (verdict, ink), p = max(grouped.items(), key=lambda item: item[1])
    best = max((row for row in rows if row[:2] == (verdict, ink)), key=lambda row: row[3])
    as_called = grouped[(Verdict.AS_CALLED, None)]
    if p < DECIDED:
        return Decision(
            Verdict.CANNOT_TELL, None, p, (start, end), "fade and fault print too much alike here", as_called
        )
    return Decision(verdict, ink, p, (start, end), best[2], as_called)


class _Scan:
    """Likelihoods of a whole profile: its places share the page's uncertainty, so they are judged jointly."""

    def __init__(
        self, page: PagePress, places: FloatArray, tones: FloatArray, noises: FloatArray, at: FloatArray
    ) -> None:
        self.page, self.tones, self.at = page, tones, at
        along = (places[:, None] - places[None]) / UNEVEN_LENGTH
        self.uneven = UNEVEN_SD**2 * np.exp(-0.5 * along**2)
        self.noises = np.hypot(noises, BIN_NOISE)

    def of(self, start: Tint, end: Tint, share: FloatArray) -> float:
        first, last = np.array(start.percentages, float), np.array(end.percentages, float)
        mean, spread, wanted = self.page.predict(first + (last - first) * share[:, None], self.at)
        return self._log(mean, spread.reshape(len(mean), 3, len(mean), 3), wanted.noise)

    def steps(self, start: Tint, end: Tint, places: FloatArray, edges: FloatArray) -> list[float]:
        """The same for a step at each of ``edges``, from one prediction of both tints at every place."""
        n = len(places)
        ends = np.repeat([start.percentages, end.percentages], n, axis=0).astype(np.float64)
        mean, spread, wanted = self.page.predict(ends, np.tile(self.at, (2, 1)))
        joint = spread.reshape(2 * n, 3, 2 * n, 3)
        likelihoods = []
        for edge in edges:
            rows = np.arange(n) + n * (places > edge)
            likelihoods.append(self._log(mean[rows], joint[rows][:, :, rows], wanted.noise[rows]))
        return likelihoods

    def _log(self, mean: FloatArray, spread: FloatArray, noise: FloatArray) -> float:
        n = len(mean)
        full = spread.copy()
        full[range(n), :, range(n), :] += noise_block(noise, self.noises)
        full += self.uneven[:, None, :, None] * UNEVEN_CHANNELS[None, :, None, :]
        matrix = full.reshape(3 * n, 3 * n)
        miss = (self.tones - mean).ravel()
        squared = float(miss @ np.linalg.solve(matrix, miss))
        return float(log_t(np.array(squared), np.array(np.linalg.slogdet(matrix)[1]), 3 * n))
