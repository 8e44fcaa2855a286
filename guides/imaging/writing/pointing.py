"""The place and area each written code means: the one it stands in, the one its line leads to, or the nearest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageMap
from guides.imaging.writing.leaders import Leader, find_leaders
from guides.imaging.writing.page_panels import surrounds

FloatArray = npt.NDArray[np.float64]

How = Literal["inside", "line", "nearest"]

NEAR = 1.6
"""Heights of a box around it in which other areas are looked at."""

SAMPLES = 9
"""Places across a box, each way, at which its area is looked up."""

CORE = 0.4
"""Share of a box, each way, that is its core: a code larger than its area is written with its middle there."""

WEIGHTS = {
    "inside": 1.79, "filled": -1.49, "core": 3.0, "line": -4.89, "contrast": -0.47, "seen": 1.85, "on_art": 0.99,
    "bend": -1.1, "leaves": -1.1, "length": -0.11, "straight": 7.59, "written": 2.15, "unlike": 0.58,
    "like_code": -0.16, "gap": -1.17, "near": 3.1, "away": -0.74, "margin": -6.0,
}  # fmt: skip
"""Log odds of what speaks for a place, fitted on pages of our own whose writing is known to the pixel. A core counts
only against what the whole box holds: a code all within one area weighs what it did without it."""

SECOND_LINE = 0.25
"""Chance from which a second line of a code is believed to lead to a second area."""

BOTH_CLEAR = 10.0
"""Grey levels by which both lines of a code must stand out for that."""


@dataclass(frozen=True, slots=True)
class Pointing:
    """A place a code may mean.

    Attributes:
        x, y: pixels of the picture; ``area`` the area there, 0 where none is.
        how: "inside" the area it is written in, along a "line", or "nearest".
        p: the chance 0-1 that this is what the code means.
    """

    x: float
    y: float
    area: int
    how: How
    p: float


@dataclass(frozen=True)
class PointedAt:
    """What a code may mean, the likeliest first; ``also`` further places it means as well, by lines of their own."""

    choices: tuple[Pointing, ...]
    also: tuple[Pointing, ...] = ()

    @property
    def best(self) -> Pointing:
        return self.choices[0]

    def reweighed(self, agreement: Mapping[int, float]) -> PointedAt:
        """With what something else (the paint) says of each area: likelihoods up to a common factor."""
        if not agreement:
            return self
        chances = [choice.p * agreement.get(choice.area, 1.0) for choice in self.choices]
        total = sum(chances)
        if total <= 0:
            return self
        choices = [replace(c, p=p / total) for c, p in zip(self.choices, chances, strict=True)]
        return PointedAt(tuple(sorted(choices, key=lambda choice: -choice.p)), self.also)


@dataclass(frozen=True)
class Candidate:
    """A place before it is weighed: what speaks for it, by the names of ``WEIGHTS``."""

    x: float
    y: float
    area: int
    how: How
    facts: dict[str, float]
    leader: Leader | None = None

    @property
    def weight(self) -> float:
        return sum(WEIGHTS[name] * value for name, value in self.facts.items())


def point(page: PageMap, image: npt.NDArray[np.uint8], boxes: Sequence[FloatArray]) -> list[PointedAt]:
    """What each code means, whose turned box has corners (4, 2) in pixels of the picture, uint8 sRGB (h, w, 3)."""
    leaders = find_leaders(page, image, boxes)
    return [_weighed(candidates(page, box, lines)) for box, lines in zip(boxes, leaders, strict=True)]


def candidates(page: PageMap, box: FloatArray, lines: Sequence[Leader]) -> list[Candidate]:
    """All places a code may mean; at least one."""
    middle = box.mean(axis=0)
    shares, cores = _areas_under(page, box), _areas_under(page, middle + (box - middle) * CORE)
    found = [
        Candidate(
            *_heart(page, box, area, middle), area, "inside",
            {"inside": 1.0, "filled": share, "core": cores.get(area, 0.0), "margin": _margin(page, area)},
        )
        for area, share in shares.items()
    ]  # fmt: skip
    for line in lines:
        at = page.area_at(*line.tip) or page.area_at(*line.end)
        if at is None or _stands_in(box, line.tip):
            continue
        facts = {
            "line": 1.0, "contrast": min(line.contrast, 25.0) / 10, "seen": line.seen, "on_art": line.on_art,
            "margin": _margin(page, at.id),
            "bend": line.bend, "leaves": line.leaves, "length": float(np.log(line.length / _height(box))),
            "straight": line.straight, "written": line.written, "unlike": float(line.like_code < 0),
            "like_code": float(np.clip(line.like_code, 0.0, 1.0)), "gap": line.gap,
        }  # fmt: skip
        found.append(Candidate(*line.tip, at.id, "line", facts, line))
    known = {candidate.area for candidate in found}
    for area, place, away in _around(page, box):
        if area not in known:
            facts = {"near": 1.0, "away": away, "margin": _margin(page, area)}
            found.append(Candidate(*place, area, "nearest", facts))
    if not found:
        found.append(Candidate(float(middle[0]), float(middle[1]), 0, "nearest", {"near": 1.0, "away": 0.0}))
    return found


def _margin(page: PageMap, area: int) -> float:
    """1 for the page's own paper around its panels, which no code means."""
    one = page.areas[area - 1]
    return float(one.is_paper and surrounds(page, one))


def _weighed(found: Sequence[Candidate]) -> PointedAt:
    weights = np.array([candidate.weight for candidate in found])
    chances = np.exp(weights - weights.max())
    chances /= chances.sum()
    best: dict[int, Pointing] = {}
    for place in np.argsort(-chances, kind="stable").tolist():
        one, p = found[place], float(chances[place])
        if one.area in best:
            first = best[one.area]
            best[one.area] = Pointing(first.x, first.y, first.area, first.how, first.p + p)
        else:
            best[one.area] = Pointing(one.x, one.y, one.area, one.how, p)
    choices = tuple(sorted(best.values(), key=lambda choice: -choice.p))
    return PointedAt(choices, _also(choices, found))


def _also(choices: Sequence[Pointing], found: Sequence[Candidate]) -> tuple[Pointing, ...]:
    """Further areas of a code with two lines: both clear, each an area of its own."""
    clear = {one.area for one in found if one.leader is not None and one.leader.contrast >= BOTH_CLEAR}
    first = choices[0]
    if first.how != "line" or first.area not in clear:
        return ()
    return tuple(c for c in choices[1:] if c.how == "line" and c.area in clear and c.p >= SECOND_LINE)


def _height(box: FloatArray) -> float:
    return max(1.0, float(min(np.hypot(*(box[1] - box[0])), np.hypot(*(box[2] - box[1])))))


def _grid(box: FloatArray, out: float = 0.0) -> FloatArray:
    """Places (n, 2) across a turned box, pushed ``out`` heights beyond its edges."""
    middle, right, down = box.mean(axis=0), (box[1] - box[0]) / 2, (box[3] - box[0]) / 2
    more = out * _height(box)
    right = right * (1 + more / max(np.hypot(*right), 1e-6))
    down = down * (1 + more / max(np.hypot(*down), 1e-6))
    t = np.linspace(-1, 1, SAMPLES if not out else 2 * SAMPLES + 1)
    u, v = np.meshgrid(t, t)
    return np.asarray(middle + u.reshape(-1, 1) * right + v.reshape(-1, 1) * down)


def _labels_at(page: PageMap, where: FloatArray) -> npt.NDArray[np.int32]:
    """Areas (n,) at places (n, 2); 0 where none is, and off the page."""
    high, wide = page.labels.shape
    columns, rows = (where * page.scale).astype(int).T
    inside = (columns >= 0) & (rows >= 0) & (columns < wide) & (rows < high)
    labels = page.labels[np.clip(rows, 0, high - 1), np.clip(columns, 0, wide - 1)]
    return np.where(inside, labels, 0).astype(np.int32)


def _areas_under(page: PageMap, box: FloatArray) -> dict[int, float]:
    """Areas under a box with the share of it each holds."""
    labels = _labels_at(page, _grid(box))
    ids, counts = np.unique(labels[labels > 0], return_counts=True)
    return {int(i): float(c) / len(labels) for i, c in zip(ids, counts, strict=True)}


def _heart(page: PageMap, box: FloatArray, area: int, middle: FloatArray) -> tuple[float, float]:
    """The place under a box that lies in an area and nearest to the box's middle."""
    grid = _grid(box)
    own = grid[_labels_at(page, grid) == area]
    if not len(own):
        return float(middle[0]), float(middle[1])
    x, y = own[np.hypot(*(own - middle).T).argmin()]
    return float(x), float(y)


def _stands_in(box: FloatArray, place: tuple[float, float]) -> bool:
    """Whether a place lies in a turned box."""
    sides = np.roll(box, -1, axis=0) - box
    to = np.array(place) - box
    cross = sides[:, 0] * to[:, 1] - sides[:, 1] * to[:, 0]
    return bool((cross >= 0).all() or (cross <= 0).all())


def _around(page: PageMap, box: FloatArray) -> list[tuple[int, tuple[float, float], float]]:
    """Areas near a box: id, their nearest place, how far from the box's middle in heights of the box."""
    grid = _grid(box, NEAR)
    labels = _labels_at(page, grid)
    away = np.hypot(*(grid - box.mean(axis=0)).T) / _height(box)
    found = []
    for area in np.unique(labels[labels > 0]).tolist():
        own = np.flatnonzero(labels == area)
        near = own[away[own].argmin()]
        found.append((area, (float(grid[near, 0]), float(grid[near, 1])), float(away[near])))
    return found
