"""What cannot be told from a picture, in words: blank, grey and black pages, prints, paintings, small pictures."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from guides.imaging.page.page_map import PageArea
from guides.imaging.page.scaling import BoolArray, EvenPage, Float32Array, Image

BLANK = "the page looks blank: there is no paint to read"
BLACK = "the page is black all over: there is no paint to read"
GREY = "the page is grey: it says nothing about colour"
ONLY_LINES = "nothing on this page is painted: all its areas are bare paper"
NO_LINES = "no line art was found: areas are told apart by their paint alone"
NO_PAPER = "hardly any bare paper shows: how bright the paints are can only be guessed"
HALFTONE = "this looks like a printed page: its dots are halftone, no hand's paint"
SMALL = "a small picture: parts narrower than about {width:.0f} pixels can't be told from their neighbours"

GREY_CHROMA = 4.0
"""A page is grey when 99.8 % of it is within this chroma of its commonest tone: bare paper may be yellow."""

BLANK_SPREAD = 3.0
"""Spread of L* below which a grey page has no drawing on it either."""

DARK = 25.0
"""L* below which a blank page is black."""

FEW_LINES = 0.004
"""Share of line art below which a page is a painting: a comic page has 3 to 15 %."""

LITTLE_PAPER = 0.02
"""Share of bare paper below which its light is a guess."""

PAINTED = 0.004
"""Share of painted areas below which nothing is painted: specks and stains come to less."""

ENLARGED = 1.35
"""From how much enlarged a picture counts as small."""

TILE, TILES = 128, 5
"""Side in pixels of the squares that are searched for dots, and how many of them each way."""

LOWEST, HIGHEST = 0.06, 0.47
"""Cycles a pixel between which a screen's frequency lies: 65 lines an inch at 1,000 dpi, 133 at 300."""

OFF_AXIS = 0.035
"""Frequencies along rows and columns are those of JPEG's blocks and of scanners."""

SHARP = 8.0
"""How much stronger than its surroundings a screen's frequency is; hatching and brushes smear along a line."""

SAME_FREQUENCY = 2
"""Steps of frequency within which two squares have the same screen."""

MANY_TILES = 0.13
"""Share of the squares and channels with a tone in which the same dots must be found."""


def colourless(lab: Float32Array) -> tuple[bool, bool]:
    """Whether a page is grey, and whether it is blank."""
    few = lab[::7, ::7].reshape(-1, 3)
    chroma = np.hypot(*(few[:, 1:] - np.median(few[:, 1:], axis=0)).T)
    grey = bool(np.percentile(chroma, 99.8) < GREY_CHROMA)
    return grey, grey and bool(few[:, 0].std() < BLANK_SPREAD)


def remarks_on(
    picture: Image, page: EvenPage, line: BoolArray, areas: Sequence[PageArea], colour: tuple[bool, bool]
) -> tuple[str, ...]:
    """Sentences about a page, the weightiest first.

    Args:
        picture: the scan as it came; page: the same at working size.
        line: its line art; areas: what was found.
        colour: what ``colourless`` says.
    """
    grey, blank = colour
    if blank:
        return (BLACK if np.median(page.rgb) < 2.55 * DARK else BLANK,)
    painted = sum(area.pixels for area in areas if not area.is_paper)
    remarks = [GREY] if grey else []
    if painted < PAINTED * picture.shape[0] * picture.shape[1]:
        remarks = [ONLY_LINES]
    if halftone(picture):
        remarks.append(HALFTONE)
    if line.mean() < FEW_LINES:
        remarks.append(NO_LINES)
    if page.paper.share < LITTLE_PAPER:
        remarks.append(NO_PAPER)
    if page.scale > ENLARGED:
        remarks.append(SMALL.format(width=3.0 * page.pen / page.scale))
    return tuple(remarks)


def halftone(picture: Image) -> bool:
    """Whether the tones of a picture are dots of a screen: one sharp frequency, off the axes, in many squares."""
    height, width = picture.shape[:2]
    if min(height, width) < 2 * TILE:
        return False
    window = np.outer(np.hanning(TILE), np.hanning(TILE)).astype(np.float32)
    along = np.abs(np.fft.fftfreq(TILE))
    down, across = along[:, None], along[None, :]
    distance = np.hypot(down, across)
    searched = (distance > LOWEST) & (distance < HIGHEST) & (down > OFF_AXIS) & (across > OFF_AXIS)
    peaks = []
    for top in np.linspace(0, height - TILE, TILES + 2)[1:-1].astype(int):
        for left in np.linspace(0, width - TILE, TILES + 2)[1:-1].astype(int):
            tile = picture[top : top + TILE, left : left + TILE].astype(np.float32)
            peaks += [peak for channel in range(3) if (peak := _sharpest(tile[..., channel], window, searched))]
    if not peaks:
        return False
    places = np.array([place for place, _ in peaks])
    sharp = np.array([strength for _, strength in peaks]) > SHARP
    same = (np.abs(places[:, None] - places[None]) <= SAME_FREQUENCY).all(axis=2) & sharp
    return bool(len(peaks) >= TILES and same.sum(axis=1).max() > MANY_TILES * len(peaks))


def _sharpest(plane: Float32Array, window: Float32Array, searched: BoolArray) -> tuple[tuple[int, int], float] | None:
    """The frequency that stands out most, in steps, and how far above its surroundings; None without a tone."""
    if plane.std() < 4.0:
        return None
    power = np.abs(np.fft.fft2((plane - cv2.GaussianBlur(plane, (0, 0), 6)) * window)).astype(np.float32)
    around = cv2.GaussianBlur(power, (0, 0), 4, borderType=cv2.BORDER_REFLECT)
    strength = np.where(searched, power / (around + 1e-6), 0.0)
    at = int(strength.argmax())
    row, column = divmod(at, TILE)
    # A real picture has every frequency twice, mirrored at the middle.
    if row > TILE // 2:
        row, column = TILE - row, (TILE - column) % TILE
    return (row, column), float(strength.flat[at])
