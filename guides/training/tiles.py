"""Pieces of pages with writing on them, and what is true of each word."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.artist.pens import curve
from guides.imaging.writing.crops import Place
from guides.imaging.writing.finder import shared
from guides.training import texts
from guides.training.hands import DRAWN, Cover, WritingHand
from guides.training.media import Medium, Picture, lay, medium, placed, pressed

CODE, OTHER, CROSSED, UNREADABLE, IGNORED = 1, 2, 3, 4, 255
"""What a written word is; the last one is not asked about (too faint, or cut by the edge)."""

FAINT, SEEN, LEGIBLE = 11, 0.45, 0.75
"""Strokes that change the ground by more than so much of 255 are seen; nobody is asked to find a word of which a
smaller share is, nor to read one that is not so far legible."""

HIDDEN, BLURRED = 0.6, 0.27
"""Shares of a word's box from which one laid over it hides it, or makes it illegible."""

ACROSS = 0.3
"""Chance, of a careless hand, that a code runs over other writing."""

IN_A_ROW, CROWDED_ROWS = 0.15, 0.4
"""Chance that codes stand in a row or stacked; of a careless hand, which leaves no more than a narrow gap."""


@dataclass(frozen=True)
class Word:
    """A word on a tile."""

    text: str
    kind: int
    place: Place
    legible: bool = True


@dataclass
class Tile:
    """A picture (h, w, 3) that is being written on, the words on it, and where there is room left."""

    picture: Picture
    rng: np.random.Generator
    words: list[Word] = field(default_factory=list)
    taken: npt.NDArray[np.uint8] = field(init=False)

    def __post_init__(self) -> None:
        self.taken = np.zeros((self.picture.shape[0] // 4, self.picture.shape[1] // 4), np.uint8)

    def free(self, x: float, y: float, wide: float, high: float) -> bool:
        """Whether a level box with its left top at (x, y) is clear of words; it may run over the edge by a bit."""
        x0, y0 = max(int(x // 4), 0), max(int(y // 4), 0)
        window = self.taken[y0 : int((y + high) // 4) + 1, x0 : int((x + wide) // 4) + 1]
        return window.size > 0 and not window.any()

    def put(self, text: str, kind: int, cover: Cover, size: tuple[float, float], at: tuple[float, float],
            turn: float, pen: Medium) -> None:  # fmt: skip
        """Write: the cover's middle comes to ``at``; size is the word's box along its own axes."""
        x, y = round(at[0] - cover.shape[1] / 2), round(at[1] - cover.shape[0] / 2)
        window = np.s_[max(y, 0) : max(y + cover.shape[0], 0), max(x, 0) : max(x + cover.shape[1], 0)]
        before = self.picture[window].astype(np.int16)
        lay(self.picture, cover, x, y, pen, self.rng)
        place = Place(x + cover.shape[1] / 2, y + cover.shape[0] / 2, size[0], size[1], turn)
        change = np.abs(self.picture[window] - before).max(axis=2) if before.size else np.zeros((0, 0))
        drawn = cover[max(-y, 0) :, max(-x, 0) :][: change.shape[0], : change.shape[1]]
        strokes = drawn > max(48, 0.5 * int(cover.max()))
        seen = float((change[strokes] > FAINT).mean()) if strokes.any() else 0.0
        kind = IGNORED if seen < SEEN else kind
        left, top, right, bottom = place.bounds()
        height, width = self.picture.shape[:2]
        inside = (min(right, width) - max(left, 0)) * (min(bottom, height) - max(top, 0))
        if inside < 0.93 * (right - left) * (bottom - top):
            kind = IGNORED
        self._cover(place)
        self.words.append(Word(text, kind, place, seen >= LEGIBLE))
        self.take(left - 2, top - 2, right + 2, bottom + 2)

    def _cover(self, place: Place) -> None:
        """What a word laid at ``place`` does to those beneath it."""
        for number, word in enumerate(self.words):
            part = shared(place, word.place)
            if part > BLURRED:
                kind = IGNORED if part > HIDDEN else word.kind
                self.words[number] = replace(word, kind=kind, legible=False)

    def take(self, left: float, top: float, right: float, bottom: float) -> None:
        """Keep a level box free of other words."""
        self.taken[max(int(top // 4), 0) : int(bottom // 4) + 1, max(int(left // 4), 0) : int(right // 4) + 1] = 1


@dataclass(frozen=True)
class PageHabit:
    """How one colourist writes on one page: hand, way, usual letter height in pixels, tilt of the page.

    ``careless`` is the chance that a code stands right on its area whatever lies there: lines, dark paint beside it,
    other codes, lettering. ``press`` is how strong the writing is, 1 as usual.
    """

    hand: WritingHand
    way: texts.Style
    tall: float
    tilt: float
    leaders: float
    says: Callable[[texts.Style, np.random.Generator], str] = texts.code
    careless: float = 0.0
    press: float = 1.0


def habit(hands: Sequence[WritingHand], rng: np.random.Generator) -> PageHabit:
    """A colourist on a page."""
    tall = float(np.exp(rng.uniform(np.log(6.5), np.log(32))))
    tilt = float(np.radians(rng.normal(0, 1.5)))
    careless, press = float(rng.choice([0.0, 0.5, 0.9, 0.9])), float(rng.choice([1.0, *rng.uniform(0.3, 1.0, 2)]))
    leaders = float(rng.choice([0.0, 0.3, 0.7]))
    hand = hands[int(rng.integers(len(hands)))]
    return PageHabit(hand, texts.style(rng), tall, tilt, leaders, careless=careless, press=press)


def written(hand: WritingHand, text: str, pen: Medium, tall: float, turn: float, rng: np.random.Generator
            ) -> tuple[Cover, tuple[float, float]]:  # fmt: skip
    """A text's cover on the page and the size of its box."""
    drawn = hand.write(text, pen.width, rng)
    if rng.random() < 0.6:
        drawn = warped(drawn, rng)
    cover, (_, _, wide, high) = placed(drawn, tall, DRAWN, turn)
    return cover, (wide, high)


def warped(cover: Cover, rng: np.random.Generator) -> Cover:
    """A text pulled about smoothly: no letter twice the same."""
    height, width = cover.shape
    reach = float(rng.uniform(0.5, 5.0))
    shape = (3, max(3, width // 40))
    pull = [cv2.resize(rng.normal(0, reach, shape).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
            for _ in range(2)]  # fmt: skip
    grid_x, grid_y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    return np.asarray(cv2.remap(cover, grid_x + pull[0], grid_y + pull[1], cv2.INTER_LINEAR), np.uint8)


def codes(tile: Tile, who: PageHabit, count: int) -> None:
    """Codes of one colourist, alone, in rows or stacked, some with a line to their area, some struck out."""
    rng = tile.rng
    for _ in range(count):
        turn = who.tilt + float(np.radians(rng.normal(0, 3) if rng.random() < 0.7 else rng.uniform(-20, 20)))
        tall = float(np.clip(who.tall * rng.lognormal(0, 0.18), 6.0, 44))
        text = _cased(who.says(who.way, rng), who.hand, rng)
        guess = (tall * 0.75 * len(text), tall * 1.2)
        careless = who.careless > 0 and rng.random() < who.careless
        across = careless and rng.random() < ACROSS
        spot = _spot(tile, *guess, careless=careless, across=across)
        if spot is None:
            continue
        pen = pressed(medium(rng, dark_ground=_dark(tile, spot, guess)), who.press)
        middle, before = np.array(spot), (0.0, 0.0)
        rows = int(rng.integers(2, 4)) if rng.random() < (CROWDED_ROWS if careless else IN_A_ROW) else 1
        for row in range(rows):
            cover, size = written(who.hand, text, pen, tall, turn, rng)
            middle = middle if not row else _next_to(middle, before, size, turn, tall, rng, careless)
            corner = middle - np.array([cover.shape[1], cover.shape[0]]) / 2
            close = across or (careless and row > 0)
            if not close and not tile.free(corner[0], corner[1], cover.shape[1], cover.shape[0]):
                break
            _one(tile, who, text, cover, size, (float(middle[0]), float(middle[1])), turn, pen)
            before = size
            turn += float(rng.normal(0, 0.05)) if careless else 0.0
            text = _cased(who.says(who.way, rng), who.hand, rng)


def _next_to(
    middle: npt.NDArray[np.float64], before: tuple[float, float], size: tuple[float, float], turn: float, tall: float,
    rng: np.random.Generator, careless: bool,
) -> npt.NDArray[np.float64]:  # fmt: skip
    """The middle of a code of ``size`` below or to the right of one ``before``; the careless keep no line and hardly
    a gap."""
    run, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    if rng.random() < (0.35 if careless else 0.7):
        aside = rng.normal(0, 1.0) * tall if careless else 0.0
        return np.asarray(middle + down * tall * rng.uniform(1.1 if careless else 1.35, 1.9) + run * aside)
    gap, drop = (rng.uniform(0.1, 1.4), rng.normal(0, 0.3)) if careless else (rng.uniform(0.9, 1.6), 0.0)
    return np.asarray(middle + run * ((before[0] + size[0]) / 2 + gap * tall) + down * drop * tall)


def _one(tile: Tile, who: PageHabit, text: str, cover: Cover, size: tuple[float, float], at: tuple[float, float],
         turn: float, pen: Medium) -> None:  # fmt: skip
    """One code, maybe struck out or made unreadable."""
    rng, fate = tile.rng, tile.rng.random()
    kind = CROSSED if fate < 0.06 else UNREADABLE if fate < 0.1 else CODE
    if kind == CROSSED:
        cover = _struck(cover, size, turn, pen.width * size[1], rng)
    elif kind == UNREADABLE:
        cover = _spoilt(cover, size, turn, rng)
    tile.put(text, kind, cover, size, at, turn, pen)
    if rng.random() < who.leaders:
        leader(tile, at, size, pen)


def leader(tile: Tile, at: tuple[float, float], size: tuple[float, float], pen: Medium) -> None:
    """A line or an arrow from a code to somewhere."""
    rng = tile.rng
    way, long = rng.uniform(0, 2 * np.pi), size[1] * rng.uniform(0.8, 7)
    run = np.array([np.cos(way), np.sin(way)])
    reach = min(size[0] / 2 / (abs(run[0]) + 1e-3), size[1] / 2 / (abs(run[1]) + 1e-3)) + size[1] * rng.uniform(
        0.1, 0.4
    )
    start, end = np.array(at) + run * reach, np.array(at) + run * (reach + long)
    bow = np.array([-run[1], run[0]]) * rng.normal(0, 0.1) * long
    path = curve(np.array([start, (start + end) / 2 + bow, end]))
    thick = max(1, round(pen.width * size[1] * 0.8))
    cover = np.zeros(tile.picture.shape[:2], np.uint8)
    cv2.polylines(cover, [np.round(path * 16).astype(np.int32)], False, 255, thick, cv2.LINE_AA, 4)
    if rng.random() < 0.6:
        side = np.array([-run[1], run[0]]) * size[1] * 0.25
        back = end - run * size[1] * 0.4
        barb = np.round(np.array([back + side, end, back - side]) * 16).astype(np.int32)
        cv2.polylines(cover, [barb], False, 255, thick, cv2.LINE_AA, 4)
    lay_near(tile, cover, np.vstack([path, [end]]), pen, size[1])


def lay_near(tile: Tile, cover: Cover, path: npt.NDArray[np.float64], pen: Medium, room: float) -> None:
    """Lay only the part of a page-sized cover around a path."""
    height, width = cover.shape
    x0, y0 = (int(max(v, 0)) for v in path.min(axis=0) - room)
    x1, y1 = (int(v) + 1 for v in path.max(axis=0) + room)
    part = cover[y0 : min(y1, height), x0 : min(x1, width)]
    if part.size:
        lay(tile.picture, part, x0, y0, pen, tile.rng)


def _cased(text: str, hand: WritingHand, rng: np.random.Generator) -> str:
    return text.lower() if rng.random() < hand.small_letters else text


def _dark(tile: Tile, spot: tuple[float, float], size: tuple[float, float]) -> bool:
    x, y = int(spot[0] - size[0] / 2), int(spot[1] - size[1] / 2)
    window = tile.picture[max(y, 0) : int(y + size[1]) + 1, max(x, 0) : int(x + size[0]) + 1]
    return bool(window.size and window.mean() < 95)


def _spot(tile: Tile, wide: float, high: float, *, careless: bool = False, across: bool = False
          ) -> tuple[float, float] | None:  # fmt: skip
    """The middle of a free place for a box: of a few, mostly the one with the quietest ground, as people choose; from
    the careless any or the one with the most lines, ``across`` one that need not be free."""
    height, width = tile.picture.shape[:2]
    candidates: list[tuple[float, float, float]] = []
    wanted = (1 if tile.rng.random() < 0.5 else 3) if careless else 1 if tile.rng.random() < 0.2 else 4
    for _ in range(16):
        x, y = tile.rng.uniform(0, max(width - wide, 1)), tile.rng.uniform(0, max(height - high, 1))
        if across or tile.free(x - 3, y - 3, wide + 6, high + 6):
            window = tile.picture[int(y) : int(y + high) + 1 : 2, int(x) : int(x + wide) + 1 : 2]
            candidates.append((float(window.std()), float(x + wide / 2), float(y + high / 2)))
            if len(candidates) == wanted:
                break
    best = max if careless else min
    return best(candidates)[1:] if candidates else None


def _struck(cover: Cover, size: tuple[float, float], turn: float, thick: float, rng: np.random.Generator) -> Cover:
    """Strokes through a word: one line, two, a cross, a zigzag."""
    out = cover.copy()
    middle = np.array([cover.shape[1], cover.shape[0]]) / 2
    run, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])

    def at(u: float, v: float) -> npt.NDArray[np.float64]:
        return np.asarray(middle + run * u * size[0] / 2 + down * v * size[1] / 2)

    way = int(rng.integers(4))
    a, b = rng.uniform(-0.4, 0.4, 2)
    if way == 0:
        lines = [[at(-1.05, a), at(1.05, b)]]
    elif way == 1:
        lines = [[at(-1.05, a - 0.2), at(1.05, b - 0.2)], [at(1.0, a + 0.25), at(-1.05, b + 0.25)]]
    elif way == 2:
        lines = [[at(-1, -0.9), at(1, 0.9)], [at(1, -0.9), at(-1, 0.9)]]
    else:
        turns = int(rng.integers(4, 10))
        lines = [[at(-1 + 2 * k / turns, (-1) ** k * rng.uniform(0.4, 0.9)) for k in range(turns + 1)]]
    for line in lines:
        fixed = np.round((np.array(line) + rng.normal(0, 0.6, (len(line), 2))) * 16).astype(np.int32)
        cv2.polylines(out, [fixed], False, 255, max(1, round(thick * rng.uniform(0.7, 1.4))), cv2.LINE_AA, 4)
    return out


def _spoilt(cover: Cover, size: tuple[float, float], turn: float, rng: np.random.Generator) -> Cover:
    """A word nobody can read: smeared, rubbed out, or scribbled over."""
    way = int(rng.integers(3))
    if way == 0:
        reach = max(3, int(size[1] * rng.uniform(0.35, 0.6)) | 1)
        smeared = cv2.blur(cover, (reach, max(3, reach // 2)))
        return np.asarray(np.clip(smeared.astype(np.int16) * 3 // 2, 0, 255), np.uint8)
    if way == 1:
        rubbed = cv2.resize(rng.random((3, 4), dtype=np.float32), (cover.shape[1], cover.shape[0]))
        return np.asarray(cover * np.clip((rubbed - 0.45) * 5, 0, 1), np.uint8)
    out = cover.copy()
    knots = int(10 + size[0] / size[1] * 9)
    u = np.linspace(-1, 1, knots) + rng.normal(0, 0.08, knots)
    points = np.column_stack([u * size[0] / 2, rng.uniform(-0.5, 0.5, knots) * size[1]])
    cos, sin = np.cos(turn), np.sin(turn)
    moved = points @ np.array([[cos, sin], [-sin, cos]]) + np.array([cover.shape[1], cover.shape[0]]) / 2
    line = np.round(curve(moved) * 16).astype(np.int32)
    cv2.polylines(out, [line], False, 255, max(1, round(size[1] * 0.09)), cv2.LINE_AA, 4)
    return out
