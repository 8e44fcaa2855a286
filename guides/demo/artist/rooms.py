"""Backgrounds indoors, the bare wash behind a close-up, and the list of all scenes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guides.demo.artist.pens import Sheet, curve
from guides.demo.artist.scenery import THIN, Wash, box, line, market, quay, river, straight


def interior(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float) -> tuple[float, float]:
    """Wall and floor of a room; answers where the window stands (x, width)."""
    w, h = sheet.width, sheet.height
    sheet.fill(box(-9, -9, w + 9, ground + 3), wash("room wall"))
    sheet.shape(box(-9, ground, w + 9, h + 9), wash("floor"), THIN * 1.2)
    sheet.shape(box(-9, ground - max(8, ground * 0.04), w + 9, ground), wash("skirting"), THIN)
    for k in range(-6, 18):
        x = w * 0.5 + (k - 6) * w * 0.14
        line(sheet, [(x, ground), (x + (x - w * 0.5) * 0.7, h + 6)], 1.1, (0.6, 1))
    ww = float(np.clip(w * 0.24, 90, 210))
    wx = w * rng.uniform(0.1, 0.66)
    y0, y1 = ground * 0.2, ground * 0.2 + ww * 1.1
    sheet.shape(box(wx - 9, y0 - 9, wx + ww + 9, y1 + 9), wash("woodwork"), THIN)
    sheet.shape(box(wx, y0, wx + ww, y1), wash("pane"), THIN)
    for u in (1 / 3, 2 / 3):
        sheet.shape(box(wx + ww * u - 2, y0, wx + ww * u + 3, y1), wash("woodwork"), 1.0)
    sheet.shape(box(wx, (y0 + y1) / 2 - 2, wx + ww, (y0 + y1) / 2 + 3), wash("woodwork"), 1.0)
    return wx, ww


def workshop(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """The repair shop: plank wall, shelves of jars, bench with a vice, tools on nails."""
    w = sheet.width
    wx, ww = interior(sheet, wash, rng, ground)
    for k in range(1, int(w / 60) + 1):
        x = k * 60.0 + rng.uniform(-4, 4)
        if not wx - 14 < x < wx + ww + 14:
            line(sheet, [(x, 0), (x + rng.uniform(-2, 2), ground - ground * 0.05)], 1.0, (0.6, 0.6))
    shelf_x = wx + ww + 26 if wx + ww < w * 0.6 else 14.0
    shelf_w = min(w * 0.32, (w - shelf_x - 12) if wx + ww < w * 0.6 else wx - 40)
    if shelf_w > 60:
        for y in (ground * 0.3, ground * 0.5):
            sheet.shape(box(shelf_x, y, shelf_x + shelf_w, y + 9), wash("woodwork"), THIN)
            x = shelf_x + 6
            while x < shelf_x + shelf_w - 26:
                jw, jh = rng.uniform(16, 28), rng.uniform(22, 44)
                number = wash(("jar", "jar two", "tin")[int(rng.integers(0, 3))])
                sheet.shape(curve([(x, y), (x, y), (x, y - jh * 0.8), (x + jw * 0.2, y - jh),
                    (x + jw * 0.8, y - jh), (x + jw, y - jh * 0.8), (x + jw, y),
                    (x + jw, y)], closed=True, steps=3), number, THIN)  # fmt: skip
                line(sheet, [(x + jw * 0.15, y - jh * 0.86), (x + jw * 0.85, y - jh * 0.86)], 1.0)
                x += jw + rng.uniform(2, 12)
    bench = ground * 0.74
    bx0 = w * 0.5 if rng.random() < 0.5 else -20.0
    bx1 = bx0 + w * 0.56
    for x in (bx0 + w * 0.05, bx1 - w * 0.08):
        sheet.shape(box(x, bench, x + w * 0.035, ground + 8), wash("bench"), THIN)
    sheet.shape(box(bx0, bench - 12, bx1, bench + 8), wash("bench"), THIN * 1.1)
    vx = (bx0 + bx1) / 2 + w * 0.1
    sheet.shape(
        straight([(vx, bench - 12), (vx + 4, bench - 44), (vx + 34, bench - 44), (vx + 38, bench - 12)]),
        wash("iron"),
        THIN,
    )
    sheet.shape(box(vx + 30, bench - 40, vx + 56, bench - 30), wash("iron"), THIN)
    lamp_x = w * 0.5
    line(sheet, [(lamp_x, -4), (lamp_x, ground * 0.1)], 1.6, (1, 1))
    sheet.shape(
        straight(
            [
                (lamp_x - 12, ground * 0.1),
                (lamp_x + 12, ground * 0.1),
                (lamp_x + 46, ground * 0.1 + 30),
                (lamp_x - 46, ground * 0.1 + 30),
            ]
        ),
        wash("lampshade"),
        THIN,
    )


def parlour(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """A room with striped paper, a picture, a stove."""
    w = sheet.width
    wx, ww = interior(sheet, wash, rng, ground)
    dado = ground * 0.66
    for x in np.arange(12.0, w, 46.0):
        if not wx - 16 < x < wx + ww + 16:
            line(sheet, [(x, 0), (x, dado)], 0.9, (0.7, 0.7))
    sheet.shape(box(-9, dado, w + 9, ground - max(8, ground * 0.04)), wash("dado"), THIN)
    sheet.shape(box(-9, dado - 8, w + 9, dado + 3), wash("woodwork"), THIN)
    px = w * 0.78 if wx + ww < w * 0.6 else w * 0.08
    sheet.shape(box(px, ground * 0.24, px + w * 0.14, ground * 0.44), wash("woodwork"), THIN)
    sheet.shape(box(px + 7, ground * 0.24 + 7, px + w * 0.14 - 7, ground * 0.44 - 7), wash("picture"), THIN)
    sx = w * 0.02 if px > w * 0.5 else w * 0.82
    sheet.shape(box(sx + w * 0.05, -6, sx + w * 0.085, ground * 0.62), wash("iron"), THIN)
    stove = [(sx, ground + 4), (sx, ground + 4), (sx - 4, ground * 0.66), (sx + w * 0.03, ground * 0.6),
        (sx + w * 0.11, ground * 0.6), (sx + w * 0.145, ground * 0.66), (sx + w * 0.14, ground + 4),
        (sx + w * 0.14, ground + 4)]  # fmt: skip
    sheet.shape(curve(stove, closed=True), wash("iron"), THIN * 1.1)
    sheet.shape(box(sx + w * 0.03, ground * 0.76, sx + w * 0.11, ground * 0.88), wash("lit window"), THIN)


def plain(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """A bare wash behind a close-up, with a few feathered lines in a corner."""
    w, h = sheet.width, sheet.height
    sheet.fill(box(-9, -9, w + 9, h + 9), wash("backdrop"))
    if rng.random() < 0.5:
        cx, cy = w * rng.uniform(0.3, 0.7), h * 0.5
        for angle in np.linspace(0, 2 * np.pi, 46, endpoint=False) + rng.normal(0, 0.04, 46):
            r0, r1 = max(w, h) * rng.uniform(0.42, 0.56), max(w, h) * 0.9
            line(
                sheet,
                [
                    (cx + r1 * np.cos(angle), cy + r1 * np.sin(angle)),
                    (cx + r0 * np.cos(angle), cy + r0 * np.sin(angle)),
                ],
                2.6,
                (1, 0.05),
            )
    else:
        for k in range(16):
            x = w * 0.02 + k * 9
            line(sheet, [(x, h * 0.04), (x + 4, h * (0.34 - 0.016 * k))], 2.2, (0.9, 0.05))


def rain(sheet: Sheet, rng: np.random.Generator) -> None:
    """Slanting rain over everything, drawn last."""
    for _ in range(int(sheet.width * sheet.height / 5200)):
        x, y, run = rng.uniform(0, sheet.width), rng.uniform(-20, sheet.height), rng.uniform(16, 46)
        line(sheet, [(x, y), (x - run * 0.3, y + run)], 1.3, (0.2, 0.2))


SCENES: dict[str, Callable[..., None]] = {
    "quay": quay, "river": river, "market": market, "workshop": workshop, "parlour": parlour, "plain": plain,
}  # fmt: skip
