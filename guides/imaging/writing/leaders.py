"""Lines that lead from a written code to what it means: found where they leave its box, followed stroke by stroke.

A leader is thinner than the art, darker or lighter than what it runs over, and bends little. It may cross art, other
writing and gutters: there it goes on as it came.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageMap

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Gray = npt.NDArray[np.float32]

RINGS = (0.08, 0.25, 0.6, 1.0)
"""Heights of a box outside it at which its leaders are looked for: a hand lifts the pen before it draws the line."""

SPACING = 1.5
"""Working pixels between places on the ring."""

AHEAD = 10.0
"""Working pixels over which a stroke is looked at: three times the pen of most pages, so that grain is no stroke."""

ASIDE = (2.6, 4.6)
"""Working pixels to both sides with which it is compared: for pencils, closer than the art is wide; for felts."""

STEP = 3.0
TURNS = np.repeat(np.radians([-16.0, -8.0, -4.0, 0.0, 4.0, 8.0, 16.0]), 3)
SHIFTS = np.tile([-0.9, 0.0, 0.9], 7)
"""Ways on from a place: turns, and shifts to the side in working pixels."""

TURNING, SHIFTING = 0.25, 0.4
"""Grey levels that a degree and a shift cost: a hand draws leaders nearly straight."""

MEMORY = 0.7
"""Share of its direction a stroke keeps from step to step: so it goes on straight where it is hidden."""

SEEN = 5.0
"""Grey levels (0-255) by which a stroke stands out."""

GOES_ON = 3.5
"""The same for one that is being followed."""

LONGEST_GAP = 24.0
"""Working pixels that may be hidden at a stretch."""

CROSSED = 3.0
"""Working pixels of line art under a stroke's end that leave it its end."""

LONGEST = 420.0
SHORTEST = 12.0
STARTS = 16
"""Strokes followed from one box: its own letters and art beside it often look clearer than the line."""

APART = 6.0
"""Working pixels between the starts of two strokes."""

ART_WIDTH = 1.0
"""Pens from which a line is art."""

ALONG_ART = 10.0
"""Working pixels along line art after which a stroke is art: it ended where it met that."""

FORWARD = 6.0
"""Working pixels from a leader's end to what it means: arrows stop short of it."""


@dataclass(frozen=True)
class Leader:
    """A line followed from a code.

    Attributes:
        start, end: in pixels of the picture; ``tip`` where it points, a little beyond its end.
        length: pixels of the picture.
        contrast: grey levels by which it stands out, mean of where it is seen.
        seen: share of its length that is seen; ``on_art`` the share that runs along line art.
        bend: radians between its start and its end; ``straight`` the way between them in shares of its length.
        written: share of it that the map takes for writing.
        like_code: how much darker or lighter it is than its ground, in shares of what the code's own strokes are;
            below 0 where one is darker and the other lighter.
        gap: heights of the box between it and the line.
        leaves: radians between its start and straight away from the box.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    tip: tuple[float, float]
    length: float
    contrast: float
    seen: float
    on_art: float
    bend: float
    leaves: float
    straight: float
    written: float
    like_code: float
    gap: float


def find_leaders(page: PageMap, image: npt.NDArray[np.uint8], boxes: Sequence[FloatArray]) -> list[list[Leader]]:
    """Leaders of each box (4, 2 corners in pixels of the picture), the clearest first."""
    gray = _gray(page, image)
    starts = [_starts(gray, box * page.scale, number) for number, box in enumerate(boxes)]
    filled = [one for one in starts if len(one)]
    found: list[list[Leader]] = [[] for _ in boxes]
    if not filled:
        return found
    tracks = _followed(gray, _art(page), page.writing, np.concatenate(filled))
    inks = np.array([_ink(gray, box * page.scale) for box in boxes])
    for number, leader in _measured(page, tracks, inks):
        found[number].append(leader)
    return [sorted(each, key=lambda leader: -leader.contrast * leader.seen) for each in found]


def _art(page: PageMap) -> BoolArray:
    """Line art as broad as the page's pen: a bold leader is a line of the map as well, but thinner."""
    side = max(3, round(ART_WIDTH * page.pen))
    broad = cv2.morphologyEx(page.line.astype(np.uint8), cv2.MORPH_OPEN, np.ones((side, side), np.uint8))
    return np.asarray(broad, dtype=bool)


def _gray(page: PageMap, image: npt.NDArray[np.uint8]) -> Gray:
    high, wide = page.labels.shape
    gray = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    how = cv2.INTER_AREA if page.scale < 1 else cv2.INTER_LINEAR
    small = cv2.resize(gray, (wide, high), interpolation=how)
    return np.asarray(cv2.GaussianBlur(small.astype(np.float32), (0, 0), 0.7), np.float32)


def _at(gray: Gray, where: FloatArray) -> FloatArray:
    """Grey levels at places (..., 2), between pixels; the edge's beyond it."""
    shape = where.shape[:-1]
    if not where.size:
        return np.zeros(shape)
    flat = where.reshape(-1, 2).astype(np.float32)
    rows = -(-len(flat) // 4096)
    padded = np.zeros((rows * 4096, 2), np.float32)
    padded[: len(flat)] = flat
    read = cv2.remap(
        gray, padded[:, 0].reshape(rows, 4096), padded[:, 1].reshape(rows, 4096), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(read.ravel()[: len(flat)].reshape(shape), np.float64)


def _stands_out(gray: Gray, where: FloatArray, angle: FloatArray) -> FloatArray:
    """(2, ...) grey levels by which a stroke ahead of places (..., 2) is darker, lighter than both its sides."""
    along = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    across = np.stack([-along[..., 1], along[..., 0]], axis=-1)
    t = np.linspace(0.0, AHEAD, 7)[:, None]
    line = where[..., None, :] + along[..., None, :] * t
    middle = _at(gray, line)
    dark, light = (np.full(middle.shape, -np.inf) for _ in range(2))
    for aside in ASIDE:
        left, right = (_at(gray, line + side * aside * across[..., None, :]) for side in (-1, 1))
        dark = np.maximum(dark, np.minimum(left, right) - middle)
        light = np.maximum(light, middle - np.maximum(left, right))
    return np.stack([_steady(dark), _steady(light)])


def _steady(contrast: FloatArray) -> FloatArray:
    """One number for a stretch: its mean, strong pixels counting no more than clear ones, gaps as gaps."""
    return np.asarray(np.clip(contrast, -12.0, 24.0).mean(axis=-1))


def _ring(box: FloatArray, out: float) -> tuple[FloatArray, FloatArray]:
    """Places (n, 2) on a box's outline pushed outwards, and the outward angle (n,) at each."""
    middle = box.mean(axis=0)
    places, angles = [], []
    for a, b in zip(box, np.roll(box, -1, axis=0), strict=True):
        side = b - a
        length = float(np.hypot(*side))
        if length < 1e-6:
            continue
        normal = np.array([side[1], -side[0]]) / length
        if normal @ ((a + b) / 2 - middle) < 0:
            normal = -normal
        t = np.linspace(-out, length + out, max(2, int((length + 2 * out) / SPACING)))[:, None]
        places.append(a + side / length * t + normal * out)
        angles.append(np.full(len(t), np.arctan2(normal[1], normal[0])))
    if not places:
        return np.zeros((0, 2)), np.zeros(0)
    return np.concatenate(places), np.concatenate(angles)


def _starts(gray: Gray, box: FloatArray, number: int) -> FloatArray:
    """Strokes leaving a box: rows of x, y, angle, 1 for light ones, the box's number, angle from straight away,
    heights from the box."""
    fan = np.radians(np.arange(-75, 76, 15))
    rows = []
    high = float(min(np.hypot(*(box[1] - box[0])), np.hypot(*(box[2] - box[1]))))
    for share in RINGS:
        places, outwards = _ring(box, share * high)
        angles = outwards[:, None] + fan
        where = np.repeat(places[:, None], len(fan), axis=1)
        strength = _stands_out(gray, where, angles)
        light, best = strength.max(axis=2).argmax(axis=0), strength.max(axis=0).argmax(axis=1)
        value = strength.max(axis=(0, 2))
        for place in np.flatnonzero(value >= SEEN):
            turn = int(best[place])
            rows.append(
                (*places[place], angles[place, turn], light[place], number, abs(fan[turn]), share, value[place])
            )
    kept: list[tuple[float, ...]] = []
    for row in sorted(rows, key=lambda r: -r[-1]):
        if all(np.hypot(row[0] - k[0], row[1] - k[1]) > APART for k in kept):
            kept.append(row)
        if len(kept) == STARTS:
            break
    return np.array([row[:7] for row in kept]).reshape(-1, 7)


@dataclass
class _Tracks:
    start: FloatArray
    place: FloatArray
    angle: FloatArray
    end: FloatArray
    end_angle: FloatArray
    length: FloatArray
    contrast: FloatArray
    seen: FloatArray
    on_art: FloatArray
    written: FloatArray


def _followed(gray: Gray, art: BoolArray, writing: BoolArray, starts: FloatArray) -> _Tracks:
    """Follow strokes step by step, all at once, until nothing is seen ahead for too long."""
    count = len(starts)
    place, angle, light = starts[:, :2].copy(), starts[:, 2].copy(), starts[:, 3].astype(int)
    end, end_angle, gap = place.copy(), angle.copy(), np.zeros(count)
    length, contrast, seen, on_art, written = (np.zeros(count) for _ in range(5))
    seen_sum, art_now, steps, art_run, written_now = (np.zeros(count) for _ in range(5))
    alive, smooth = np.ones(count, bool), angle.copy()
    for _ in range(int(LONGEST / STEP)):
        on = np.flatnonzero(alive)
        if not len(on):
            break
        angles = angle[on, None] + TURNS
        across = np.stack([-np.sin(angle[on]), np.cos(angle[on])], axis=1)
        places = place[on, None] + across[:, None] * SHIFTS[:, None]
        price = TURNING * np.degrees(np.abs(TURNS)) + SHIFTING * np.abs(SHIFTS)
        mine = _stands_out(gray, places, angles)[light[on], np.arange(len(on))] - price
        row, best = np.arange(len(on)), mine.argmax(axis=1)
        value = mine[row, best]
        good = value >= GOES_ON
        turned = smooth[on] + (1 - MEMORY) * (angles[row, best] - smooth[on])
        smooth[on] = np.where(good, turned, smooth[on])
        angle[on] = np.where(good, angles[row, best], smooth[on])
        place[on] = np.where(good[:, None], places[row, best], place[on])
        place[on] += STEP * np.stack([np.cos(angle[on]), np.sin(angle[on])], axis=1)
        steps[on] += 1
        on_line = _on(art, place[on])
        written_now[on] += _on(writing, place[on])
        art_now[on] += on_line
        art_run[on] = np.where(on_line > 0, art_run[on] + STEP, 0.0)
        gap[on] = np.where(good, 0.0, gap[on] + STEP)
        seen_sum[on] += good
        contrast[on] += np.where(good, value, 0.0)
        hit = on[good & (art_run[on] <= CROSSED)]
        # The stroke is seen as far as AHEAD reaches; its end is where half of that is left.
        end[hit] = place[hit] + (AHEAD / 2 - STEP) * np.stack([np.cos(angle[hit]), np.sin(angle[hit])], axis=1)
        end_angle[hit] = smooth[hit]
        length[hit] = steps[hit] * STEP + AHEAD / 2
        seen[hit] = seen_sum[hit] / steps[hit]
        on_art[hit] = art_now[hit] / steps[hit]
        written[hit] = written_now[hit] / steps[hit]
        high, wide = gray.shape
        inside = (place >= 2).all(axis=1) & (place[:, 0] < wide - 2) & (place[:, 1] < high - 2)
        alive &= (gap <= LONGEST_GAP) & (art_run <= ALONG_ART) & inside
    return _Tracks(
        starts, place, angle, end, end_angle, length, contrast / np.maximum(seen_sum, 1), seen, on_art, written
    )


def _ink(gray: Gray, box: FloatArray) -> float:
    """Grey levels by which a code's strokes are lighter (above 0) or darker than their ground."""
    middle, right, down = box.mean(axis=0), (box[1] - box[0]) / 2, (box[3] - box[0]) / 2
    u, v = np.meshgrid(np.linspace(-1, 1, 48), np.linspace(-1, 1, 20))
    values = _at(gray, middle + u.reshape(-1, 1) * right + v.reshape(-1, 1) * down)
    low, ground, high = np.percentile(values, [6, 50, 94])
    ink = low - ground if ground - low > high - ground else high - ground
    return float(np.sign(ink) or -1.0) * max(abs(float(ink)), SEEN)


def _on(mask: BoolArray, where: FloatArray) -> FloatArray:
    columns = np.clip(where[:, 0].astype(int), 0, mask.shape[1] - 1)
    rows = np.clip(where[:, 1].astype(int), 0, mask.shape[0] - 1)
    return mask[rows, columns].astype(float)


def _measured(page: PageMap, tracks: _Tracks, inks: FloatArray) -> list[tuple[int, Leader]]:
    found = []
    for k in np.flatnonzero(tracks.length >= SHORTEST):
        x, y, angle, light, number, leaves, gap = tracks.start[k]
        end, turned = tracks.end[k], tracks.end_angle[k]
        tip = end + FORWARD * np.array([np.cos(turned), np.sin(turned)])
        bend = abs(float(np.angle(np.exp(1j * (turned - angle)))))
        start, last, beyond = ((float(p[0]) / page.scale, float(p[1]) / page.scale) for p in ((x, y), end, tip))
        length, contrast = float(tracks.length[k]), float(tracks.contrast[k])
        signed = contrast if light else -contrast
        leader = Leader(
            start, last, beyond, length / page.scale, contrast, float(tracks.seen[k]), float(tracks.on_art[k]), bend,
            float(leaves), float(np.hypot(end[0] - x, end[1] - y)) / length, float(tracks.written[k]),
            float(np.clip(signed / inks[int(number)], -1.5, 1.5)), float(gap),
        )  # fmt: skip
        found.append((int(number), leader))
    return found
