"""What else is drawn and written on pages: lettering, notes, signatures, crosses, lines; and what scanning does."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.artist.pens import curve
from guides.training import texts
from guides.training.hands import DRAWN, PAD, Cover, WritingHand
from guides.training.media import Medium, Picture, medium, pressed
from guides.training.tiles import OTHER, PageHabit, Tile, lay_near, written

_PRINT = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_TRIPLEX)


def notes(tile: Tile, who: PageHabit, hands: Sequence[WritingHand], count: int) -> None:
    """Lines of one to four words that are no codes, in the colourist's hand or somebody else's."""
    rng = tile.rng
    for _ in range(count):
        hand = who.hand if rng.random() < 0.5 else hands[int(rng.integers(len(hands)))]
        tall = float(np.clip(who.tall * rng.lognormal(0.1, 0.25), 9, 44))
        line = [texts.note(rng) for _ in range(1 if rng.random() < 0.6 else int(rng.integers(2, 5)))]
        turn = who.tilt + float(np.radians(rng.normal(0, 4)))
        dark = tile.picture[::8, ::8].mean() < 80
        _line(tile, hand, line, pressed(medium(rng, dark_ground=dark), who.press), tall, turn)


def _line(tile: Tile, hand: WritingHand, line: list[str], pen: Medium, tall: float, turn: float) -> None:
    rng = tile.rng
    pieces = [written(hand, word, pen, tall, turn, rng) for word in line]
    gap = tall * float(rng.uniform(0.35, 0.7))
    wide = sum(size[0] for _, size in pieces) + gap * (len(pieces) - 1)
    high = max(size[1] for _, size in pieces)
    height, width = tile.picture.shape[:2]
    cos, sin = np.cos(turn), np.sin(turn)
    for _ in range(10):
        x, y = rng.uniform(-20, max(width - wide, 1)), rng.uniform(0, max(height - high, 1))
        low = y + min(0.0, sin * wide)
        if tile.free(x, low - 2, wide * cos, high + abs(sin) * wide + 4):
            break
    else:
        return
    along = 0.0
    for word, (cover, size) in zip(line, pieces, strict=True):
        middle = along + size[0] / 2
        at = (x + cos * middle, y + high / 2 + sin * middle)
        if at[0] - size[0] / 2 < width and -size[1] < at[1] < height + size[1]:
            tile.put(word, OTHER, cover, size, at, turn, pen)
        along += size[0] + gap


def balloon(tile: Tile, hands: Sequence[WritingHand]) -> None:
    """A balloon or a caption with its lettering, laid over what is there."""
    rng = tile.rng
    tall = float(rng.uniform(8, 26))
    ink = Medium("ink", (0.06, 0.06, 0.07), 1.0, 0.0, float(rng.uniform(0.09, 0.18)))
    hand = hands[int(rng.integers(len(hands)))]
    face = int(rng.integers(len(_PRINT))) if rng.random() < 0.45 else None
    rows = []
    for _ in range(int(rng.integers(1, 5))):
        words = texts.talk(rng, int(rng.integers(1, 5)))
        rows.append([_lettered(hand, face, word, ink, tall, rng) for word in words])
    gap, step = tall * 0.55, tall * float(rng.uniform(1.4, 1.7))
    wide = max(sum(c.shape[1] for c, _, _ in row) + gap * (len(row) - 1) for row in rows) + tall * 2.2
    high = step * len(rows) + tall * 1.6
    height, width = tile.picture.shape[:2]
    for _ in range(8):
        x, y = rng.uniform(-wide * 0.3, width - wide * 0.6), rng.uniform(-high * 0.2, height - high * 0.6)
        if tile.free(x, y, wide, high):
            break
    else:
        return
    _shell(tile.picture, (x, y, wide, high), rng)
    tile.take(x, y, x + wide, y + high)
    for place, row in enumerate(rows):
        full = sum(c.shape[1] for c, _, _ in row) + gap * (len(row) - 1)
        left, middle = x + (wide - full) / 2, y + tall * 0.8 + step * (place + 0.5)
        for cover, size, word in row:
            at = (left + cover.shape[1] / 2, middle)
            if -size[0] / 2 < at[0] < width + size[0] / 2 and -tall < at[1] < height + tall:
                tile.put(word, OTHER, cover, size, at, 0.0, ink)
            left += cover.shape[1] + gap


def _lettered(hand: WritingHand, face: int | None, word: str, ink: Medium, tall: float, rng: np.random.Generator
              ) -> tuple[Cover, tuple[float, float], str]:  # fmt: skip
    if face is None:
        cover, size = written(hand, word, ink, tall, 0.0, rng)
        return cover, size, word
    (wide, high), base = cv2.getTextSize(word, _PRINT[face], DRAWN / 22, 3)
    drawn = np.zeros((high + base + 2 * PAD, wide + 2 * PAD), np.uint8)
    cv2.putText(drawn, word, (PAD, PAD + high), _PRINT[face], DRAWN / 22, 255, int(rng.integers(2, 7)), cv2.LINE_AA)
    from guides.training.media import placed

    cover, (_, _, w, h) = placed(drawn, tall, DRAWN, 0.0)
    return cover, (w, h), word


def _shell(picture: Picture, box: tuple[float, float, float, float], rng: np.random.Generator) -> None:
    x, y, wide, high = box
    white = rng.uniform(232, 255) if rng.random() < 0.8 else 0
    colour = [white] * 3 if white else [float(v) for v in rng.uniform(140, 255, 3)]
    pen = int(rng.integers(1, 4))
    middle = (int(x + wide / 2), int(y + high / 2))
    if rng.random() < 0.3:
        corner, end = (int(x), int(y)), (int(x + wide), int(y + high))
        cv2.rectangle(picture, corner, end, colour, -1)
        cv2.rectangle(picture, corner, end, (20, 20, 20), pen, cv2.LINE_AA)
        return
    u = np.linspace(0, 2 * np.pi, 50, endpoint=False)
    power = float(rng.uniform(0.5, 1.0))
    ring = np.column_stack([np.sign(np.cos(u)) * np.abs(np.cos(u)) ** power * wide * 0.56,
                            np.sign(np.sin(u)) * np.abs(np.sin(u)) ** power * high * 0.6])  # fmt: skip
    tip = np.array([rng.uniform(-0.4, 0.4) * wide, high * rng.uniform(0.7, 1.2)])
    for outline in (np.array([[-8, high * 0.4], tip, [12, high * 0.4]]), ring):
        fixed = np.round((outline + middle) * 16).astype(np.int32)
        cv2.fillPoly(picture, [fixed], colour, cv2.LINE_AA, 4)
        cv2.polylines(picture, [fixed], True, (20, 20, 20), pen, cv2.LINE_AA, 4)


def strokes(tile: Tile, count: int) -> None:
    """Crosses, ticks, arrows, flourishes, underlines, rings: pen marks that are no writing."""
    rng = tile.rng
    height, width = tile.picture.shape[:2]
    for _ in range(count):
        size = float(rng.uniform(6, 40))
        at = rng.uniform(0, 1, 2) * (width, height)
        if not tile.free(at[0] - size, at[1] - size, 2 * size, 2 * size):
            continue
        pen = medium(rng, dark_ground=bool(rng.random() < 0.2))
        cover = np.zeros((height, width), np.uint8)
        if rng.random() < 0.2:
            dots = rng.normal(0, size * 0.7, (int(rng.integers(5, 40)), 2)) + at
            for x, y in np.clip(dots, 0, (width - 1, height - 1)):
                cv2.circle(cover, (int(x), int(y)), int(rng.integers(1, 4)), 255, -1, cv2.LINE_AA)
            lay_near(tile, cover, np.clip(dots, 0, (width - 1, height - 1)), pen, 8)
            continue
        paths = [line * size + at for line in _marks(rng)]
        for path in paths:
            fixed = np.round(path * 16).astype(np.int32)
            thick = max(1, round(pen.width * float(rng.uniform(8, 26))))
            cv2.polylines(cover, [fixed], False, 255, thick, cv2.LINE_AA, 4)
        lay_near(tile, cover, np.vstack(paths), pen, 8)


def _marks(rng: np.random.Generator) -> list[npt.NDArray[np.float64]]:
    """The lines of one pen mark, in a box from -1 to 1."""
    way = int(rng.choice(7, p=[0.25, 0.1, 0.15, 0.15, 0.1, 0.1, 0.15]))
    if way == 0:
        return [
            np.array([[-0.6, -0.6], [0.6, 0.6]]) + rng.normal(0, 0.1, (2, 2)),
            np.array([[0.6, -0.6], [-0.6, 0.6]]),
        ]
    if way == 1:
        return [np.array([[-0.6, 0.0], [-0.2, 0.5], [0.8, -0.8]])]
    if way == 2:
        return [np.array([[-1, 0], [1, 0.1]]), np.array([[0.6, -0.3], [1, 0.1], [0.6, 0.4]])]
    if way == 3:
        knots = np.column_stack([np.linspace(-1.6, 1.6, 14), rng.uniform(-0.5, 0.5, 14)])
        return [curve(knots)]
    if way == 4:
        return [np.array([[-1.5, 0], [1.5, rng.normal(0, 0.1)]])]
    if way == 5:
        u = np.linspace(0, 2 * np.pi * rng.uniform(0.9, 1.2), 24)
        return [np.column_stack([np.cos(u), np.sin(u) * rng.uniform(0.5, 1)])]
    return [curve(rng.uniform(-1, 1, (int(rng.integers(3, 7)), 2)))]


def scanned(picture: Picture, rng: np.random.Generator) -> Picture:
    """What copying and scanning does: softness, contrast, noise, sharpening, JPEG."""
    page = picture
    if rng.random() < 0.35:
        factor = float(rng.uniform(0.5, 0.95))
        small = cv2.resize(page, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        page = np.asarray(cv2.resize(small, picture.shape[1::-1], interpolation=cv2.INTER_LINEAR), np.uint8)
    sigma = float(rng.uniform(0, 1.0 if rng.random() < 0.75 else 1.5))
    if sigma > 0.3:
        page = np.asarray(cv2.GaussianBlur(page, (0, 0), sigma), np.uint8)
    values = page.astype(np.float32)
    if rng.random() < 0.15:
        values += 0.7 * (values - cv2.GaussianBlur(values, (0, 0), 1.5))
    gain, lift = float(rng.uniform(0.8, 1.1)), float(rng.uniform(-12, 25))
    values = values * gain + lift
    noise = float(rng.choice([0.0, rng.uniform(0, 6)]))
    if noise:
        values += rng.standard_normal(values.shape, dtype=np.float32) * noise
    page = np.clip(values, 0, 255).astype(np.uint8)
    if rng.random() < 0.7:
        quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(45, 96))]
        page = np.asarray(cv2.imdecode(cv2.imencode(".jpg", page, quality)[1], cv2.IMREAD_COLOR), np.uint8)
    return page
