"""The place and area each written code means: the one it stands in, the one its line leads to, or the nearest.

A network says for every place around a code how likely it is meant (``aiming``); an area has the chance of all of
its places together. Nothing else is asked here: weights for what stands under a box, how near an area lies or how
large it is were fitted on pages of our own, and brought nothing that the network had not said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageMap
from guides.imaging.writing.aiming import Aimed, aim
from guides.imaging.writing.models import models
from guides.imaging.writing.sights import height_of

FloatArray = npt.NDArray[np.float64]

How = Literal["inside", "line", "nearest"]

SAMPLES = 9
"""Places across a box, each way, at which its area is looked up."""

HELD = 0.3
"""Share of a box in an area from which the code stands in it, wherever in that area the likeliest place is."""

LINE_FROM = 0.8
"""Heights of a box beyond its edges from which only a line leads to a place."""

TOLD, MOST = 0.003, 14
"""Areas less likely than this, and more than so many, are left out. Among small areas the right one has few places
and so little chance of its own, and it is the paint that finds it: with 0.02 and 6 it was often left out before that
(painted scenes 87.0 -> 88.4 % followed rightly, crowds 73.2 -> 75.9; no other pair was tried)."""

ONCE, ROUNDS = 0.7, 5
"""How far a code that means an area keeps others from it, and how often that is gone through: an area is seldom coded
twice, but two codes in a row over one area do stand there (common practice, no source). Chosen on eight painted
scenes of their own: 78.3 -> 80.2 % followed rightly with 0.5 to 0.95; watched: crowds 66.1 -> 66.5, scenes 86.5 ->
87.5."""

SECOND_LINE, APART = 0.3, 2.0
"""Chance from which a second line of a code is believed to lead to a second area, and heights of the box between the
ends of both: two areas side by side are two guesses at one."""


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
        return self.with_chances([choice.p * agreement.get(choice.area, 1.0) for choice in self.choices])

    def with_chances(self, chances: Sequence[float]) -> PointedAt:
        """With other chances of its choices, brought to a sum of 1, the likeliest first."""
        total = sum(chances)
        if total <= 0:
            return self
        choices = [replace(c, p=p / total) for c, p in zip(self.choices, chances, strict=True)]
        return PointedAt(tuple(sorted(choices, key=lambda choice: -choice.p)), self.also)

    def led_to(self, areas: Sequence[tuple[int, float]]) -> PointedAt:
        """With what else is known of some of its areas, the likeliest of them first: they share out what they had
        together."""
        if not areas:
            return self
        share, held = dict(areas), sum(choice.p for choice in self.choices if choice.area in dict(areas))
        choices = [replace(c, p=held * share[c.area]) if c.area in share else c for c in self.choices]
        choices.sort(key=lambda choice: (choice.area != areas[0][0], -choice.p))
        return PointedAt(tuple(choices), tuple(c for c in self.also if c.area != areas[0][0]))


def shared_out(pointed: Sequence[PointedAt]) -> list[PointedAt]:
    """What a page's codes mean once it weighs that an area is seldom meant by two of them."""
    areas = sorted({choice.area for at in pointed for choice in at.choices})
    column = {area: number for number, area in enumerate(areas)}
    given = np.zeros((len(pointed), len(areas)))
    for row, at in enumerate(pointed):
        for choice in at.choices:
            given[row, column[choice.area]] += choice.p
    held = given
    for _ in range(ROUNDS):
        free = np.log1p(-ONCE * np.minimum(held, 1.0))
        free[:, [column[0]] if 0 in column else []] = 0.0
        left = np.exp(free.sum(axis=0) - free)
        held = given * left
        held /= np.maximum(held.sum(axis=1, keepdims=True), 1e-12)
    return [
        at.with_chances([choice.p * float(left[row, column[choice.area]]) for choice in at.choices])
        for row, at in enumerate(pointed)
    ]


def point(page: PageMap, image: npt.NDArray[np.uint8], boxes: Sequence[FloatArray]) -> list[PointedAt]:
    """What each code means, whose turned box has corners (4, 2) in pixels of the picture, uint8 sRGB (h, w, 3).

    Raises:
        WritingModelError: the networks can't be used.
    """
    aimed = aim(models().pointer, page, image, boxes) if boxes else []
    return [_pointed(page, box, target) for box, target in zip(boxes, aimed, strict=True)]


def _pointed(page: PageMap, box: FloatArray, aimed: Aimed) -> PointedAt:
    likely = sorted(aimed.chances.items(), key=lambda item: -item[1])[:MOST]
    kept = [(area, p) for area, p in likely if p >= max(TOLD, likely[0][1] * TOLD)] or likely[:1]
    total = sum(p for _, p in kept)
    if not total:
        middle = box.mean(axis=0)
        return PointedAt((Pointing(float(middle[0]), float(middle[1]), 0, "nearest", 1.0),))
    shares = _areas_under(page, box)
    choices = []
    for area, p in kept:
        place = aimed.places[area]
        how = _how(box, place, shares.get(area, 0.0))
        x, y = _heart(page, box, area, box.mean(axis=0)) if how == "inside" else place
        choices.append(Pointing(x, y, area, how, p / total))
    return PointedAt(tuple(choices), _also(choices, height_of(box)))


def _how(box: FloatArray, place: tuple[float, float], share: float) -> How:
    if share >= HELD or (share and _beyond(box, place) <= 0):
        return "inside"
    return "line" if _beyond(box, place) > LINE_FROM * height_of(box) else "nearest"


def _beyond(box: FloatArray, place: tuple[float, float]) -> float:
    """Pixels from a turned box to a place; 0 or less in it."""
    run, down = (side / max(float(np.hypot(*side)), 1e-6) for side in (box[1] - box[0], box[3] - box[0]))
    off = np.array(place) - box.mean(axis=0)
    half = np.array([np.hypot(*(box[1] - box[0])), np.hypot(*(box[3] - box[0]))]) / 2
    return float((np.abs([off @ run, off @ down]) - half).max())


def _also(choices: Sequence[Pointing], high: float) -> tuple[Pointing, ...]:
    """Further areas of a code with two lines."""
    first = choices[0]
    if first.how != "line":
        return ()
    return tuple(
        c
        for c in choices[1:]
        if c.how == "line" and c.p >= SECOND_LINE and np.hypot(c.x - first.x, c.y - first.y) > APART * high
    )


def _grid(box: FloatArray) -> FloatArray:
    """Places (n, 2) across a turned box."""
    middle, right, down = box.mean(axis=0), (box[1] - box[0]) / 2, (box[3] - box[0]) / 2
    u, v = np.meshgrid(*2 * [np.linspace(-1, 1, SAMPLES)])
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
