"""Pages whose codes are told with what each means: on it, beside it with a line, in the margin with an arrow."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.artist.pens import curve
from guides.training import clutter
from guides.training.hands import Cover, WritingHand
from guides.training.media import Medium, Picture, medium
from guides.training.texts import Style
from guides.training.tiles import CODE, PageHabit, Tile, Word, lay_near, written

Spot = tuple[float, float]

WAYS = ("inside", "beside", "margin", "two lines", "close")
SHARES = (0.45, 0.36, 0.12, 0.07, 0.0)
"""How often codes stand on their area, beside it, in the margin, beside two areas, or close to it without a line
(common practice, no source)."""

DARK = 95.0
"""Mean level (0-255) of what lies under a code and its line below which a light pencil is taken."""

LINE_SEEN, MOST = 14, 0.6
"""Levels by which a line must change what it runs over to be seen, and the share of its way on which it must."""

TRIES = 24
"""Places tried for a code before it is left out."""


@dataclass(frozen=True)
class PointedWord:
    """A code with the places it ``means``, pixels of the page; ``way`` as in ``WAYS``; ``paths`` of its lines."""

    word: Word
    means: tuple[Spot, ...]
    way: str
    paths: tuple[npt.NDArray[np.float64], ...] = ()


def pointed_page(
    ground: Picture, hands: Sequence[WritingHand], spots: Sequence[Spot], says: Callable[[int], str], tall: float,
    rng: np.random.Generator, shares: Sequence[float] = SHARES,
) -> tuple[Picture, list[PointedWord]]:  # fmt: skip
    """A ground with a code for each spot, in one hand, with balloons, notes and pen marks, scanned.

    Args:
        spots: places in the areas that codes mean. says: what is written for the spot of a number.
        tall: usual height of letters, pixels. shares: how often each of ``WAYS`` is taken.
    """
    tile = Tile(np.ascontiguousarray(ground), rng)
    way = Style("letters", "BRYK", "W", (2, 1, 0), ("", "3", "2"), 0.0, False, False)
    who = PageHabit(hands[int(rng.integers(len(hands)))], way, tall, float(np.radians(rng.normal(0, 1.5))), 0.0)
    for x, y in spots:
        tile.take(x - tall * 0.3, y - tall * 0.3, x + tall * 0.3, y + tall * 0.3)
    clutter.balloon(tile, hands)
    pen, pointed_words = None, []
    for number in range(len(spots)):
        if pen is None or rng.random() < 0.15:
            pen = medium(rng, dark_ground=False)
        made = _told(tile, who, says(number), [spots[number], *spots[number + 1 : number + 2]], pen, shares)
        pointed_words += [made] if made is not None else []
    clutter.notes(tile, who, hands, int(rng.integers(2, 6)))
    clutter.strokes(tile, int(rng.integers(2, 8)))
    return clutter.scanned(tile.picture, rng), pointed_words


def _told(
    tile: Tile, who: PageHabit, text: str, spots: Sequence[Spot], pen: Medium, shares: Sequence[float]
) -> PointedWord | None:
    """One code written for the first of some spots; None where there is no room."""
    rng = tile.rng
    turn = who.tilt + float(np.radians(rng.normal(0, 4)))
    tall = float(np.clip(who.tall * rng.lognormal(0, 0.12), 7.0, 60))
    way = str(rng.choice(WAYS, p=shares))
    cover, size = written(who.hand, text, pen, tall, turn, rng)
    if way == "two lines" and (len(spots) < 2 or np.hypot(*np.subtract(spots[0], spots[1])) > 14 * tall):
        way = "beside"
    at = _place(tile, spots[0], cover, size, way)
    if at is None:
        return None
    if _tone(tile.picture, at, spots[0]) < DARK:
        pen = medium(rng, dark_ground=True)
        cover, size = written(who.hand, text, pen, tall, turn, rng)
    tile.put(text, CODE, cover, size, at, turn, pen)
    word = tile.words[-1]
    if word.kind != CODE:
        return None
    means = tuple(spots[: 2 if way == "two lines" else 1])
    if way in ("inside", "close"):
        return PointedWord(word, means, way)
    before = tile.picture.copy()
    paths = [_line(tile, at, size, turn, spot, pen) for spot in means]
    seen = all(path is None or _seen(tile.picture, before, path) for path in paths)
    return PointedWord(word, means, way, tuple(path for path in paths if path is not None)) if seen else None


def _tone(picture: Picture, at: Spot, spot: Spot) -> float:
    """Mean level of a page between two places."""
    where = np.linspace(at, spot, 12).astype(int)
    rows, columns = np.clip(where[:, 1], 0, picture.shape[0] - 1), np.clip(where[:, 0], 0, picture.shape[1] - 1)
    return float(picture[rows, columns].mean())


def _seen(picture: Picture, before: Picture, path: npt.NDArray[np.float64]) -> bool:
    """Whether a line shows on most of its way: nobody is asked to follow what cannot be seen."""
    rows = np.clip(np.round(path[:, 1]).astype(int), 0, picture.shape[0] - 1)
    columns = np.clip(np.round(path[:, 0]).astype(int), 0, picture.shape[1] - 1)
    change = np.abs(picture[rows, columns].astype(int) - before[rows, columns]).max(axis=1)
    return bool((change > LINE_SEEN).mean() > MOST)


def _place(tile: Tile, spot: Spot, cover: Cover, size: tuple[float, float], way: str) -> Spot | None:
    """The middle of a free place for a code."""
    rng, (height, width) = tile.rng, tile.picture.shape[:2]
    wide, high = cover.shape[1], cover.shape[0]
    for _ in range(TRIES):
        if way == "inside":
            return spot[0] + rng.normal(0, 0.12) * size[0], spot[1] + rng.normal(0, 0.2) * size[1]
        if way == "close":
            side, gap = int(rng.integers(4)), size[1] * rng.uniform(0.2, 0.7)
            x = spot[0] + (0, 0, 1, -1)[side] * (size[0] / 2 + gap) + rng.normal(0, 0.1) * size[0]
            y = spot[1] + (1, -1, 0, 0)[side] * (size[1] / 2 + gap) + rng.normal(0, 0.1) * size[1]
        elif way == "margin":
            edge = wide * rng.uniform(0.55, 0.8)
            x = edge if spot[0] < width / 2 else width - edge
            y = spot[1] + rng.normal(0, 2.5) * size[1]
            if abs(x - spot[0]) > 18 * size[1]:
                way = "beside"
                continue
        else:
            angle, far = rng.uniform(0, 2 * np.pi), size[1] * rng.uniform(1.2, 6.5)
            x = spot[0] + np.cos(angle) * (far + size[0] / 2)
            y = spot[1] + np.sin(angle) * (far + size[1] / 2)
        inside = wide / 2 < x < width - wide / 2 and high / 2 < y < height - high / 2
        if inside and tile.free(x - wide / 2, y - high / 2, wide, high):
            return float(x), float(y)
    return None


def _line(
    tile: Tile, at: Spot, size: tuple[float, float], turn: float, spot: Spot, pen: Medium
) -> npt.NDArray[np.float64] | None:
    """A line from a code to a spot, bowed a little, with an arrow head, a dot or nothing at its end; its path, None
    where there is no room for one. Hands begin it anywhere along a code: below its last sign, at a corner; drawn
    away from the middle always, lines taught that any other belongs to nobody."""
    rng = tile.rng
    axes, half = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]), np.array(size) / 2
    under = rng.uniform(-1, 1, 2) * half
    run = axes @ np.subtract(spot, at) - under
    long = float(np.hypot(*run))
    run = run / max(long, 1e-6)
    reach = float(np.min((half - under * np.sign(run)) / (np.abs(run) + 1e-3)))
    under, run = under @ axes, run @ axes
    start = np.array(at) + under + run * (reach + size[1] * rng.uniform(0.05, 0.5))
    end = np.array(spot) - run * size[1] * rng.uniform(-0.15, 0.4)
    if float((end - start) @ run) < 0.4 * size[1]:
        return None
    bow = np.array([-run[1], run[0]]) * rng.normal(0, 0.08) * long
    path = curve(np.array([start, (start + end) / 2 + bow, end]))
    thick = max(1, round(pen.width * size[1] * rng.uniform(0.45, 1.0)))
    cover = np.zeros(tile.picture.shape[:2], np.uint8)
    cv2.polylines(cover, [_fixed(path)], False, 255, thick, cv2.LINE_AA, 4)
    head = rng.random()
    if head < 0.55:
        last = path[-1] - path[-3 if len(path) > 3 else 0]
        last = last / max(float(np.hypot(*last)), 1e-6)
        side, back = np.array([-last[1], last[0]]) * size[1] * 0.22, path[-1] - last * size[1] * rng.uniform(0.3, 0.5)
        cv2.polylines(
            cover, [_fixed(np.array([back + side, path[-1], back - side]))], False, 255, thick, cv2.LINE_AA, 4
        )
    elif head < 0.65:
        cv2.circle(
            cover, (round(path[-1][0]), round(path[-1][1])), max(2, round(size[1] * 0.12)), 255, -1, cv2.LINE_AA
        )
    lay_near(tile, cover, np.vstack([path, [end]]), pen, size[1])
    for x, y in path[::3]:
        tile.take(x - 2, y - 2, x + 2, y + 2)
    return np.asarray(path)


def _fixed(path: npt.NDArray[np.float64]) -> npt.NDArray[np.int32]:
    return np.round(path * 16).astype(np.int32)


def quiet_spots(ground: Picture, count: int, rng: np.random.Generator) -> list[Spot]:
    """Places of a page where nothing is drawn within some pixels, as far as a glance tells."""
    gray = cv2.cvtColor(ground, cv2.COLOR_RGB2GRAY).astype(np.float32)
    mean = cv2.blur(gray, (15, 15))
    spread = cv2.blur(gray * gray, (15, 15)) - mean * mean
    rows, columns = np.nonzero(spread[12:-12, 12:-12] < 60.0)
    if not len(rows):
        return []
    chosen: list[Spot] = []
    for pick in rng.integers(len(rows), size=count * 6).tolist():
        spot = (float(columns[pick]) + 12, float(rows[pick]) + 12)
        if all(np.hypot(*np.subtract(spot, other)) > 40 for other in chosen):
            chosen.append(spot)
        if len(chosen) == count:
            break
    return chosen
