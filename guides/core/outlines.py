"""Free outlines on a page: the one place that says which points are in one. Plain arithmetic, no database.

An outline is a list of rings, a ring a list of at least three points (x, y) in fractions of the page from top left,
closed by itself. What an odd number of rings surrounds is in it, so a ring within a ring is a hole.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Ring = list[tuple[float, float]]
Outline = list[Ring]
Floats = npt.NDArray[np.float64]

MOST_POINTS = 600
"""Of a whole outline: an area of a page map has fewer, and nobody sets more by hand."""

LEAST_SIZE = 0.0001
"""Of the page: an outline of less has been set by a slip of the hand."""

DIGITS = 5
"""A place is kept to a hundredth of a thousandth of the page: less than a pixel of any scan."""


class NoOutline(ValueError):
    """What was given is no outline; the message says why, for the person who drew it."""


def as_outline(data: Any) -> Outline:
    """An outline from JSON or from a form, rounded.

    Raises:
        NoOutline: it is none, lies off the page, crosses itself or surrounds next to nothing.
    """
    try:
        rings = [[(round(float(x), DIGITS), round(float(y), DIGITS)) for x, y in ring] for ring in data]
    except (TypeError, ValueError) as error:
        raise NoOutline("An outline is made of points on the page.") from error
    if not rings or any(len(ring) < 3 for ring in rings):
        raise NoOutline("An outline has at least three corners.")
    if sum(map(len, rings)) > MOST_POINTS:
        raise NoOutline(f"An outline has at most {MOST_POINTS} corners.")
    if not all(0 <= value <= 1 for ring in rings for point in ring for value in point):
        raise NoOutline("An outline must lie on the page.")
    if any(_crosses_itself(ring) for ring in rings):
        raise NoOutline("The outline crosses itself: set its corners one after another around the area.")
    if size_of(rings) < LEAST_SIZE:
        raise NoOutline("The outline surrounds next to nothing.")
    return rings


def from_text(text: str) -> Outline:
    """An outline written as “12,30 40,30 25,70”: percent from the left and from the top, a space between corners and
    a semicolon between rings.

    Raises:
        NoOutline: as ``as_outline``.
    """
    try:
        rings = [[corner.split(",") for corner in ring.split()] for ring in text.split(";")]
        outline = [[(float(left) / 100, float(top) / 100) for left, top in ring] for ring in rings]
    except ValueError as error:
        raise NoOutline("Corners are written as left,top in percent: 12,30 40,30 25,70.") from error
    return as_outline(outline)


def to_text(outline: Iterable[Iterable[Sequence[float]]]) -> str:
    """The inverse of ``from_text``."""
    return "; ".join(" ".join(f"{x * 100:.2f},{y * 100:.2f}" for x, y in ring) for ring in outline)


def path_of(outline: Iterable[Iterable[Sequence[float]]], width: float, height: float) -> str:
    """An SVG path in a picture of some width and height."""
    rings = (" ".join(f"{x * width:.1f},{y * height:.1f}" for x, y in ring) for ring in outline)
    return "".join(f"M{ring}Z" for ring in rings)


def inside(outline: Sequence[Sequence[Sequence[float]]], x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Which of some points (n,) and (n,) lie in an outline.

    A ray to the right meets the outline an odd number of times (the even-odd rule, as SVG fills by it: W3C, Scalable
    Vector Graphics 1.1, 11.3, “evenodd”). An edge has its upper end and not its lower one, so none is met twice.
    """
    xs, ys = np.atleast_1d(np.asarray(x, np.float64)), np.atleast_1d(np.asarray(y, np.float64))
    met = np.zeros(xs.shape, np.int64)
    for ring in outline:
        start = np.asarray(ring, np.float64)
        end = np.roll(start, -1, axis=0)
        (ax, ay), (bx, by) = start.T[:, :, None], end.T[:, :, None]
        spans = (ay > ys) != (by > ys)
        fall = np.where(by == ay, 1.0, by - ay)  # level edges span nothing
        met += (spans & (xs < ax + (ys - ay) * (bx - ax) / fall)).sum(axis=0)
    return met % 2 == 1


def holds(outline: Sequence[Sequence[Sequence[float]]], x: float, y: float) -> bool:
    """Whether one point lies in an outline."""
    return bool(inside(outline, x, y)[0])


def size_of(outline: Sequence[Sequence[Sequence[float]]]) -> float:
    """What an outline surrounds, as a fraction of the page: its largest ring less the others, which are its holes."""
    sizes = sorted((abs(_shoelace(np.asarray(ring, np.float64))) for ring in outline), reverse=True)
    return float(sizes[0] - sum(sizes[1:]))


def box_of(outline: Sequence[Sequence[Sequence[float]]]) -> tuple[float, float, float, float]:
    """(left, top, right, bottom) of an outline."""
    points = np.concatenate([np.asarray(ring, np.float64) for ring in outline])
    (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, top, right, bottom


def _shoelace(ring: Floats) -> float:
    x, y = ring.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _crosses_itself(ring: Sequence[tuple[float, float]]) -> bool:
    """Whether two edges that are no neighbours cross. Every pair at once: a few hundred edges at most."""
    start = np.asarray(ring, np.float64)
    end = np.roll(start, -1, axis=0)
    n = len(start)
    edge, other = np.triu_indices(n, 2)
    apart = ~((edge == 0) & (other == n - 1))
    a, b, c, d = start[edge[apart]], end[edge[apart]], start[other[apart]], end[other[apart]]
    return bool(
        ((_side(a, b, c) * _side(a, b, d) < 0) & (_side(c, d, a) * _side(c, d, b) < 0)).any()
    )  # fmt: skip


def _side(a: Floats, b: Floats, point: Floats) -> Floats:
    """On which side of the line from a to b some points lie."""
    along, off = b - a, point - a
    side: Floats = np.sign(along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0])
    return side
