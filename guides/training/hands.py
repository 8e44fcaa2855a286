"""Hands that write: our own from strokes, and those that free fonts hold. Each gives the cover of a written text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from guides.demo.artist.pens import curve
from guides.training.letters import WAYS, Shape, width_of

Cover = npt.NDArray[np.uint8]
"""How much of a pixel ink covers, 0-255."""

DRAWN = 56
"""Letter height in pixels at which texts are drawn before they are brought to their size on the page."""

PAD = 24
"""Pixels of room round a drawn text, for descenders and strokes that run out."""


class WritingHand(Protocol):
    """Somebody's writing."""

    @property
    def name(self) -> str:
        """Says which hand it is."""

    @property
    def small_letters(self) -> float:
        """Chance that a code is written in small letters."""

    def write(self, text: str, pen: float, rng: np.random.Generator) -> Cover:
        """The cover of one line of text, capitals ``DRAWN`` pixels high, lines ``pen`` letter heights wide."""


@dataclass(frozen=True)
class StrokeHand:
    """A hand of our own strokes: which way it draws each sign, how it leans, how steady it is.

    ``slant`` in degrees to the right, ``wide`` times the usual width, ``gap`` between letters and ``jitter`` of
    points in letter heights; ``figures`` the size of figures beside capitals and ``drop`` how far they hang; ``nib``
    how much a stroke's width depends on its direction.
    """

    name: str
    ways: dict[str, tuple[Shape, ...]]
    slant: float
    wide: float
    gap: float
    jitter: float
    figures: float
    drop: float
    small: float
    nib: float
    bounce: float
    small_letters: float

    def write(self, text: str, pen: float, rng: np.random.Generator) -> Cover:
        """As ``WritingHand.write``."""
        x, lean = 0.0, np.tan(np.radians(self.slant))
        lines: list[npt.NDArray[np.float64]] = []
        space = float(rng.uniform(0.2, 0.8))
        for sign in text:
            if sign == " ":
                x += space * float(rng.uniform(0.8, 1.2))
                continue
            ways = self.ways.get(sign) or self.ways.get(sign.upper()) or WAYS["-"]
            shape = ways[0] if len(ways) == 1 or rng.random() < 0.75 else ways[1]
            size, below = self._size(sign)
            wide = self.wide * size * float(rng.normal(1.0, 0.04))
            drift, twist = rng.normal(0, self.bounce, 2), rng.normal(0, self.bounce, 2)
            for stroke in shape:
                points = np.asarray(stroke, np.float64)
                points = points + (points[:, ::-1] - 0.5) * twist
                points = points + rng.normal(0, self.jitter, points.shape)
                points = curve(points, steps=5) if len(points) > 2 else points
                across = x + points[:, 0] * wide + lean * (1 - points[:, 1]) * size + drift[0]
                lines.append(np.column_stack([across, 1 + below + (points[:, 1] - 1) * size + drift[1]]))
            x += width_of(shape) * wide + self.gap * float(rng.normal(1.0, 0.15))
        return self._ink(lines, pen, rng)

    def _size(self, sign: str) -> tuple[float, float]:
        if sign.isdigit():
            return self.figures, self.drop
        return (self.small, 0.0) if sign.islower() and sign not in self.ways else (1.0, 0.0)

    def _ink(self, lines: list[npt.NDArray[np.float64]], pen: float, rng: np.random.Generator) -> Cover:
        if not lines:
            return np.zeros((2 * PAD, 2 * PAD), np.uint8)
        every = np.concatenate(lines)
        low = every.min(axis=0) * DRAWN - PAD
        size = np.ceil(every.max(axis=0) * DRAWN - low).astype(int) + PAD
        cover = np.zeros((int(size[1]), int(size[0])), np.uint8)
        edge = float(rng.uniform(0, np.pi))
        for line in lines:
            fixed = np.round((line * DRAWN - low) * 16).astype(np.int32)
            if self.nib < 0.05:
                cv2.polylines(cover, [fixed], False, 255, max(1, round(pen * DRAWN)), cv2.LINE_AA, 4)
                continue
            run = np.diff(line, axis=0)
            turn = np.abs(np.sin(np.arctan2(run[:, 1], run[:, 0]) - edge))
            width = np.maximum(1, np.round(pen * DRAWN * (1 - self.nib + 2 * self.nib * turn))).astype(int)
            for start, end, thick in zip(fixed[:-1], fixed[1:], width, strict=True):
                cv2.line(cover, start.tolist(), end.tolist(), 255, int(thick), cv2.LINE_AA, 4)
        return cover


def stroke_hand(seed: int) -> StrokeHand:
    """The hand of this number, always the same."""
    rng = np.random.default_rng(90_000 + seed)
    shake = float(rng.uniform(0.01, 0.06))

    def own(shape: Shape) -> Shape:
        bend = np.eye(2) + rng.normal(0, 0.09, (2, 2))
        made = []
        for stroke in shape:
            points = (np.asarray(stroke) - 0.5) @ bend + 0.5 + rng.normal(0, shake, (len(stroke), 2))
            made.append(tuple((float(x), float(y)) for x, y in points))
        return tuple(made)

    ways = {sign: tuple(own(shapes[i]) for i in rng.permutation(len(shapes))[:2]) for sign, shapes in WAYS.items()}
    return StrokeHand(
        name=f"strokes-{seed}",
        ways=ways,
        slant=float(rng.normal(6, 10)),
        wide=float(rng.uniform(0.75, 1.4)),
        gap=float(rng.uniform(0.0, 0.3)),
        jitter=float(rng.uniform(0.006, 0.035)),
        figures=float(rng.choice([1.0, rng.uniform(0.7, 1.05)])),
        drop=float(rng.choice([0.0, 0.0, rng.uniform(0.0, 0.3)])),
        small=float(rng.uniform(0.65, 0.85)),
        nib=float(rng.choice([0.0, 0.0, rng.uniform(0.1, 0.45)])),
        bounce=float(rng.uniform(0.0, 0.05)),
        small_letters=float(rng.choice([0.0, 0.0, 0.05, 0.6])),
    )


@lru_cache(maxsize=4096)
def _glyph(path: str, size: int, sign: str) -> tuple[Cover, float, int]:
    """A glyph's cover, its advance and where its left edge lies, in pixels."""
    font = ImageFont.truetype(path, size)
    wide = int(font.getlength(sign) + 2 * PAD)
    picture = Image.new("L", (max(wide, 4), size * 2 + 2 * PAD), 0)
    ImageDraw.Draw(picture).text((PAD, PAD), sign, font=font, fill=255)
    return np.asarray(picture), float(font.getlength(sign)), PAD


@lru_cache(maxsize=256)
def _em(path: str) -> tuple[int, float]:
    """The size in which capitals stand ``DRAWN`` high, and how wide their strokes are in letter heights."""
    font = ImageFont.truetype(path, 200)
    box = font.getmask("H").getbbox()
    tall = box[3] - box[1] if box else 140
    size = max(8, round(200 * DRAWN / max(tall, 1)))
    cover, _, _ = _glyph(path, size, "H")
    inside = cv2.distanceTransform((cover > 127).astype(np.uint8), cv2.DIST_L2, 3)
    return size, 2 * float(np.percentile(inside[inside > 0.5], 90)) / DRAWN if inside.max() > 0 else 0.1


@dataclass(frozen=True)
class FontHand:
    """A hand that a font file holds, loosened: letters lean, bounce and swell a little differently each time."""

    name: str
    path: str
    small_letters: float = 0.03
    slashed: float = 0.0

    def write(self, text: str, pen: float, rng: np.random.Generator) -> Cover:
        """As ``WritingHand.write``; strokes are thickened or thinned towards ``pen``."""
        size, own = _em(self.path)
        tight = float(rng.uniform(0.92, 1.12))
        wide = sum(_glyph(self.path, size, sign)[1] * (2.2 if sign == " " else 1) for sign in text) * tight
        cover = np.zeros((size * 2 + 2 * PAD, int(wide) + 3 * PAD + size), np.uint8)
        x, stretch = float(PAD), float(rng.normal(1.0, 0.05))
        lean, shake = float(rng.normal(0, 0.08)), float(rng.uniform(0.0, 0.05))
        space = float(rng.uniform(0.8, 2.2))
        slashed = self.slashed > 0 and rng.random() < self.slashed
        for sign in text:
            glyph, advance, left = _glyph(self.path, size, sign)
            glyph = _slashed(glyph, own) if slashed and sign == "0" else glyph
            a, b = rng.normal(0, shake, 2)
            turn = np.array([[stretch * (1 + a), -lean + b * 0.5], [b * 0.5, 1 + a]])
            middle = np.array([glyph.shape[1] / 2, PAD + size * 0.7])
            move = middle - turn @ middle + (x - left, rng.normal(0, shake * DRAWN * 0.6))
            moved = np.column_stack([turn, move])
            place = cv2.warpAffine(glyph, moved, (cover.shape[1], cover.shape[0]), flags=cv2.INTER_LINEAR)
            np.maximum(cover, place, out=cover)
            x += advance * tight * stretch * (space if sign == " " else 1.0)
        return _towards(cover, own, pen)


def _slashed(glyph: Cover, own: float) -> Cover:
    """A nought struck through from its right top to its left foot, as some write it."""
    out = glyph.copy()
    rows, columns = np.flatnonzero(out.max(axis=1) > 127), np.flatnonzero(out.max(axis=0) > 127)
    if len(rows) and len(columns):
        ends = (int(columns[-1]), int(rows[0])), (int(columns[0]), int(rows[-1]))
        cv2.line(out, *ends, 255, max(2, round(own * DRAWN)), cv2.LINE_AA)
    return out


def _towards(cover: Cover, own: float, pen: float) -> Cover:
    """Strokes ``own`` wide made up to a third wider or narrower, on their way to ``pen``."""
    change = round(np.clip((pen - own) * DRAWN, -own * DRAWN * 0.35, DRAWN * 0.07))
    if not change:
        return cover
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (abs(change) + 1, abs(change) + 1))
    return np.asarray(cv2.dilate(cover, kernel) if change > 0 else cv2.erode(cover, kernel), np.uint8)


def font_hands(paths: Iterable[Path], slashed: float = 0.0) -> list[FontHand]:
    """One hand a font file; ``slashed`` is the chance that noughts are struck through."""
    return [FontHand(path.stem, str(path), slashed=slashed) for path in sorted(paths)]
