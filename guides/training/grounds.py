"""What codes stand on: panels of painted shapes under lines, the demo's artist's pages, real pictures, bare paper."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.artist.pens import curve
from guides.training.media import Picture

Plane = npt.NDArray[np.float32]

SIZE = (1500, 1040)
"""Height and width of a made page in pixels: about 150 dots an inch of a reduced copy."""


def ground(rng: np.random.Generator) -> Picture:
    """A page (h, w, 3) with nothing written on it."""
    kind = rng.random()
    if kind < 0.5:
        page = panels(rng)
    elif kind < 0.8:
        page = drawn(int(rng.integers(1, 10_000)), rng)
    elif kind < 0.92:
        page = picture(rng)
    else:
        page = sheet(rng)
    return worn(page, rng)


def _field(shape: tuple[int, int], across: float, along: float, rng: np.random.Generator) -> Plane:
    """A smooth field of noise about 0 with unit spread."""
    small = rng.standard_normal((int(shape[0] / across) + 3, int(shape[1] / along) + 3)).astype(np.float32)
    big = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(big / (big.std() + 1e-6), np.float32)


def _streaks(shape: tuple[int, int], across: float, along: float, rng: np.random.Generator) -> Plane:
    """Such a field drawn out along the page, across it or aslant, as a brush or a marker leaves it."""
    way = rng.random()
    if way < 0.5:
        return _field(shape, across, along, rng) if way < 0.25 else _field(shape, along, across, rng)
    side = int(np.hypot(*shape)) + 2
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), float(rng.uniform(10, 80) * rng.choice([-1, 1])), 1.0)
    turn[:, 2] -= ((side - shape[1]) / 2, (side - shape[0]) / 2)
    return np.asarray(cv2.warpAffine(_field((side, side), across, along, rng), turn, shape[::-1]), np.float32)


def dye(rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """A paint's colour 0-1 as dyes on paper give it: density of three bottles at a strength each."""
    strength = rng.choice([0.0, 0.0, 0.12, 0.3, 0.55, 1.0], 3) * rng.uniform(0.7, 1.3, 3)
    bottles = np.array([[1.3, 0.42, 0.1], [0.12, 1.25, 0.5], [0.02, 0.12, 1.5]])
    density = strength @ bottles + (rng.random() < 0.04) * 0.6
    return np.asarray(np.array([0.97, 0.955, 0.92]) * 10.0 ** -np.minimum(density, 1.2), np.float32)


def sheet(rng: np.random.Generator) -> Picture:
    """Paper: white, yellowed, grey or in one paint, with a tooth."""
    base = dye(rng) if rng.random() < 0.4 else np.array([0.97, 0.95, 0.9], np.float32) * float(rng.uniform(0.82, 1))
    tone = 1 + 0.015 * _field(SIZE, 60, 60, rng)
    return np.asarray(np.clip(base * tone[..., None] * 255, 0, 255), np.uint8)


def picture(rng: np.random.Generator) -> Picture:
    """A real picture that scikit-image carries, as painted ground: scaled, mirrored, sometimes in few tones."""
    chosen = _pictures()[int(rng.integers(len(_pictures())))]
    scale = max(SIZE[0] / chosen.shape[0], SIZE[1] / chosen.shape[1]) * float(rng.uniform(1, 1.6))
    big = cv2.resize(chosen, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    y, x = int(rng.integers(0, big.shape[0] - SIZE[0] + 1)), int(rng.integers(0, big.shape[1] - SIZE[1] + 1))
    page = big[y : y + SIZE[0], x : x + SIZE[1]]
    page = page[:, ::-1] if rng.random() < 0.5 else page
    page = page[..., rng.permutation(3)].astype(np.float32)
    if rng.random() < 0.4:
        page = np.round(page / 48) * 48 + 20
    lift = float(rng.uniform(0, 0.6))
    return np.asarray(np.clip(page * (1 - lift) + 250 * lift, 0, 255), np.uint8)


@lru_cache(maxsize=1)
def _pictures() -> tuple[Picture, ...]:
    import skimage

    folder = Path(skimage.__file__).parent / "data"
    names = "astronaut brick camera chelsea coffee coins color grass gravel hubble_deep_field ihc moon retina rocket"
    pictures = []
    for name in names.split():
        for file in folder.glob(f"{name}.*"):
            read = cv2.imread(str(file), cv2.IMREAD_COLOR)
            if read is not None:
                pictures.append(np.asarray(read[:, :, ::-1], np.uint8))
    return tuple(pictures)


def drawn(seed: int, rng: np.random.Generator) -> Picture:
    """A page of the demo's artist without a word on it: no balloons, no codes."""
    from guides.demo.artist.dyes import overlay, paint
    from guides.demo.artist.panels import Ledger, draw_panel
    from guides.demo.artist.pens import Sheet
    from guides.demo.story.plot import demo_story
    from guides.demo.story.staging import LAYOUTS

    story = demo_story()
    spec = story.pages[seed % len(story.pages)]
    ledger, whole = Ledger(spec, story), Sheet(1200, 1800)
    for place, (panel, box) in enumerate(zip(spec.panels, LAYOUTS[spec.layout], strict=True)):
        x, y = round(60 + box[0] * 1080), round(60 + box[1] * 1680)
        w, h = round(box[2] * 1080 - 14), round(box[3] * 1680 - 14)
        ledger.panel = place
        made = draw_panel(replace(panel, speech=()), w, h, ledger, rng)
        whole.ink[y : y + h, x : x + w], whole.areas[y : y + h, x : x + w] = made.ink, made.areas
        cv2.rectangle(whole.ink, (x, y), (x + w, y + h), 255, 4, cv2.LINE_AA)
    hand = story.people[seed % len(story.people)].hand
    painted = paint(whole.areas, [area.tint for area in ledger.areas], hand, rng)
    page = overlay(painted, whole.ink, [], rng)
    return np.asarray(cv2.resize(page, (1040, 1560), interpolation=cv2.INTER_AREA)[: SIZE[0]], np.uint8)


def panels(rng: np.random.Generator) -> Picture:
    """Our own panels: grounds, figures of blobs and limbs, things, hatching, under lines of many widths."""
    page = sheet(rng).astype(np.float32)
    lines = np.zeros(SIZE, np.uint8)
    for box in boxes(rng):
        _panel(page, lines, box, rng)
    black = np.asarray(rng.uniform(8, 40, 3), np.float32)
    share = lines[..., None].astype(np.float32) / 255
    return np.asarray(np.clip(page * (1 - share) + black * share, 0, 255), np.uint8)


def boxes(rng: np.random.Generator) -> list[tuple[int, int, int, int]]:
    """Left, top, right, bottom of the panels of a page."""
    height, width = SIZE
    edge, gutter = int(rng.integers(10, 80)), int(rng.integers(4, 24))
    panel_boxes, tops = [], np.linspace(edge, height - edge, int(rng.integers(2, 6)))
    for top, bottom in pairwise(tops):
        cuts = np.sort(np.concatenate([[edge, width - edge], rng.uniform(0.25, 0.75, rng.integers(0, 3)) * width]))
        for left, right in pairwise(cuts):
            if right - left > 120:
                panel_boxes.append((int(left), int(top), int(right - gutter), int(bottom - gutter)))
    return panel_boxes


def _panel(page: Plane, lines: Picture, box: tuple[int, int, int, int], rng: np.random.Generator) -> None:
    left, top, right, bottom = box
    here, line = page[top:bottom, left:right], lines[top:bottom, left:right]
    high, wide = line.shape
    fill(here, None, rng)
    pen = int(rng.integers(1, 6))
    for _ in range(int(rng.integers(1, 5))):  # hills, walls, floors
        y = np.sort(rng.uniform(0.2, 1.0, 5))[rng.permutation(5)] * high
        edge = curve(np.column_stack([np.linspace(-20, wide + 20, 5), y]))
        shape(here, line, np.vstack([edge, [[wide + 20, high + 20], [-20, high + 20]]]), pen, rng)
    for _ in range(int(rng.integers(1, 5))):
        _figure(here, line, pen, rng)
    for _ in range(int(rng.integers(0, 12))):
        middle, reach = rng.uniform(0, 1, 2) * (wide, high), rng.uniform(8, 70)
        turns = np.linspace(0, 2 * np.pi, int(rng.choice([4, 5, 8, 24])), endpoint=False) + rng.uniform(0, 6)
        ring = np.column_stack([np.cos(turns), np.sin(turns)]) * reach * rng.uniform(0.6, 1.2, (len(turns), 1))
        shape(here, line, middle + ring, pen, rng)
    for _ in range(int(rng.integers(0, 6))):
        _hatching(line, rng)
    if rng.random() < 0.9:
        cv2.rectangle(line, (0, 0), (wide - 1, high - 1), 255, int(rng.integers(2, 7)), cv2.LINE_AA)


def _figure(here: Plane, line: Picture, pen: int, rng: np.random.Generator) -> None:
    """Somebody: limbs, coat, belt, head, hair, in their own paints."""
    high, wide = line.shape
    unit = float(rng.uniform(0.08, 0.24)) * high
    x, y = rng.uniform(0.1, 0.9) * wide, rng.uniform(0.25, 0.6) * high
    lean = rng.normal(0, 0.15)

    def blob(dx: float, dy: float, rx: float, ry: float, corners: int = 8) -> None:
        turns = np.linspace(0, 2 * np.pi, corners, endpoint=False)
        ring = np.column_stack([rx * np.cos(turns), ry * np.sin(turns)]) * rng.uniform(0.8, 1.15, (corners, 1))
        outline = curve((ring + np.array([dx - lean * dy, dy])) * unit + np.array([x, y]), closed=True)
        shape(here, line, outline, pen, rng)

    for side in (-1, 1):
        blob(side * 0.35, 2.6, 0.28, 1.1)
        blob(side * 0.4, 3.7, 0.35, 0.25)
        blob(side * float(rng.uniform(0.8, 1.2)), float(rng.uniform(0.6, 1.4)), 0.22, 0.75)
        blob(side * float(rng.uniform(0.9, 1.5)), float(rng.uniform(1.2, 2.0)), 0.2, 0.2)
    blob(0, 1.2, 0.8, 1.0, 10)
    blob(0, 1.6, 0.8, 0.12)
    blob(0, -0.1, 0.45, 0.55, 10)
    blob(0, -0.5, 0.5, float(rng.uniform(0.15, 0.4)))
    for side in (-1, 1):
        eye = (int(x + side * unit * 0.16 + lean * unit * 0.1), int(y - unit * 0.12))
        cv2.circle(line, eye, max(1, int(unit * 0.04)), 255, -1, cv2.LINE_AA)


def shape(here: Plane, line: Picture, outline: npt.NDArray[np.float64], pen: int, rng: np.random.Generator) -> None:
    mask = np.zeros(line.shape, np.uint8)
    fixed = np.round(outline * 16).astype(np.int32)
    cv2.fillPoly(mask, [fixed], 255, cv2.LINE_AA, 4)
    box = cv2.boundingRect(np.round(outline).astype(np.int32))
    x0, y0 = max(box[0], 0), max(box[1], 0)
    x1, y1 = min(box[0] + box[2], line.shape[1]), min(box[1] + box[3], line.shape[0])
    if x1 - x0 < 3 or y1 - y0 < 3:
        return
    window = np.s_[y0:y1, x0:x1]
    line[window] = np.where(mask[window] > 127, 0, line[window])
    fill(here[window], mask[window], rng)
    if rng.random() < 0.92:
        cv2.polylines(line, [fixed], True, 255, max(1, pen + int(rng.integers(-1, 2))), cv2.LINE_AA, 4)


def fill(here: Plane, mask: Picture | None, rng: np.random.Generator) -> None:
    """Paint: flat, streaked, mottled, fading; within a mask or all over."""
    shape = (here.shape[0], here.shape[1])
    colour = dye(rng) * 255
    strength = np.ones(shape, np.float32)
    if rng.random() < 0.6:
        long = float(rng.uniform(20, 120))
        strength += float(rng.uniform(0.01, 0.13)) * _streaks(shape, float(rng.uniform(1.5, 6)), long, rng)
    if rng.random() < 0.3:
        strength += float(rng.uniform(0.02, 0.12)) * _field(shape, 30, 30, rng)
    paint = colour * strength[..., None]
    if rng.random() < 0.12:
        way = np.linspace(0, 1, shape[0], dtype=np.float32)[:, None, None]
        paint = paint * (1 - way) + dye(rng) * 255 * way
    if mask is None:
        here[:] = paint
        return
    share = mask[..., None].astype(np.float32) / 255
    here[:] = here * (1 - share) + paint * share


def _hatching(line: Picture, rng: np.random.Generator) -> None:
    high, wide = line.shape
    x, y, turn = rng.uniform(0, wide), rng.uniform(0, high), rng.uniform(0, np.pi)
    step, long, pen = rng.uniform(3, 12), rng.uniform(10, 90), int(rng.integers(1, 3))
    run, side = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    for k in range(int(rng.integers(2, 16))):
        start = np.array([x, y]) + side * step * k + rng.normal(0, 1.5, 2)
        end = start + run * long * rng.uniform(0.6, 1.2)
        cv2.line(line, start.astype(int).tolist(), end.astype(int).tolist(), 255, pen, cv2.LINE_AA)


def worn(page: Picture, rng: np.random.Generator) -> Picture:
    """Light that falls off, a cast, a mirror image: what changes a ground but not writing put on it later."""
    page = page[:, ::-1] if rng.random() < 0.5 else page
    cast = rng.uniform(0.9, 1.05, 3).astype(np.float32) * float(rng.uniform(0.8, 1.05))
    fall = 1 + float(rng.uniform(0, 0.12)) * _field((page.shape[0], page.shape[1]), 900, 900, rng)
    return np.asarray(np.clip(page * cast * fall[..., None], 0, 255), np.uint8)
