"""Backgrounds: quay, river, market, workshop, parlour, and the bare wash behind a close-up.

``wash(key)`` answers the number of a background area: sky, water, wall, roof … in the colours of the hour.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guides.demo.pens import Points, Sheet, curve

Wash = Callable[[str], int]
Pairs = list[tuple[float, float]]

THIN = 1.5
"""Background lines are thinner than any figure's, so that people stand in front."""


def straight(points: Pairs, steps: int = 2) -> Points:
    """A polygon with straight sides."""
    return curve([p for p in points for _ in (0, 1)], closed=True, steps=steps)


def box(x0: float, y0: float, x1: float, y1: float) -> Points:
    return straight([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], 4)


def _line(sheet: Sheet, points: Pairs, pen: float = THIN, taper: tuple[float, float] = (0.7, 0.4)) -> None:
    sheet.stroke(curve(points) if len(points) > 2 else np.array(points, dtype=np.float64), pen, taper=taper)


def sky(sheet: Sheet, wash: Wash, rng: np.random.Generator, bottom: float, *, hour: str) -> None:
    """Sky with clouds or, at night, moon and stars."""
    w = sheet.width
    sheet.fill(box(-5, -5, w + 5, bottom + 4), wash("sky"))
    if hour == "night":
        x, y, r = w * rng.uniform(0.62, 0.88), bottom * rng.uniform(0.2, 0.4), min(w, bottom) * 0.1 + 8
        t = np.linspace(0, 2 * np.pi, 30, endpoint=False)
        sheet.shape(np.column_stack([x + r * np.cos(t), y + r * np.sin(t)]), wash("moon"), THIN)
        for _ in range(int(w / 60)):
            sx, sy = rng.uniform(0, w), rng.uniform(0, bottom * 0.8)
            if np.hypot(sx - x, sy - y) > r * 1.5:
                sheet.fill(np.array([(sx, sy - 4), (sx + 1.4, sy), (sx, sy + 4), (sx - 1.4, sy)]), None)
        return
    for _ in range(int(rng.integers(1, 3)) + (2 if hour == "rain" else 0)):
        cx, cy, size = rng.uniform(0.05, 0.95) * w, bottom * rng.uniform(0.15, 0.6), rng.uniform(0.1, 0.2) * w
        base: list[tuple[float, float]] = [(cx - size, cy), (cx - size, cy)]
        for k in range(5):
            u = -0.85 + 0.42 * k
            base.append((cx + u * size, cy - size * (0.26 + 0.26 * np.cos(u * 1.6) + 0.08 * (-1) ** k)))
        base += [(cx + size, cy), (cx + size, cy)]
        sheet.shape(curve(base, closed=True, steps=6), wash("cloud"), THIN)


def hills(sheet: Sheet, wash: Wash, rng: np.random.Generator, base: float, tall: float) -> None:
    """The far bank, with trees."""
    w = sheet.width
    xs = np.linspace(-0.1, 1.1, 7) * w
    ys = base - tall * (0.45 + 0.5 * rng.random(7))
    ridge = [(-20.0, base + 4), (-20.0, base + 4), *zip(xs.tolist(), ys.tolist(), strict=True), (w + 20.0, base + 4), (w + 20.0, base + 4)]
    sheet.shape(curve(ridge, closed=True), wash("hills"), THIN)
    for _ in range(int(w / 70)):
        x, r = rng.uniform(0, w), tall * rng.uniform(0.12, 0.26)
        t = np.linspace(0, 2 * np.pi, 8, endpoint=False)
        rr = r * (1 + 0.18 * rng.standard_normal(8))
        sheet.shape(curve(np.column_stack([x + rr * np.cos(t), base - r * 0.7 + rr * 0.9 * np.sin(t)]), closed=True, steps=5), wash("trees"), THIN * 0.9)


def water(sheet: Sheet, wash: Wash, rng: np.random.Generator, top: float, bottom: float) -> None:
    """The river: a band with broken ripple lines and a few lighter glints."""
    w = sheet.width
    sheet.shape(box(-9, top, w + 9, bottom + 9), wash("water"), THIN)
    for k in range(max(6, int(w * (bottom - top) / 9000))):
        depth = (k + rng.random()) / max(6, int(w * (bottom - top) / 9000))
        y = top + 6 + (bottom - top - 8) * depth
        x, run = rng.uniform(0, w), (18 + 60 * depth) * rng.uniform(0.6, 1.4)
        bow = 2 + 3 * depth
        if rng.random() < 0.3:
            glint = curve([(x, y), (x + run * 0.3, y - bow), (x + run, y), (x + run * 0.4, y + bow)], closed=True)
            sheet.tuck(glint, wash("glint"), inside=[wash("water")])
        _line(sheet, [(x, y), (x + run * 0.3, y - bow), (x + run * 0.6, y + bow * 0.4), (x + run, y - bow * 0.5)], 1.0 + 0.9 * depth, (0.1, 0.1))


def house(sheet: Sheet, wash: Wash, rng: np.random.Generator, x: float, width: float, base: float, tall: float, hour: str, k: int) -> None:
    """One narrow river house: gable or hip, shutters, a chimney."""
    top = base - tall
    rise = width * rng.uniform(0.45, 0.7)
    chimney = x + width * rng.uniform(0.55, 0.75)
    sheet.shape(box(chimney, top - rise * 0.9, chimney + width * 0.13, top - rise * 0.1), wash("brick"), THIN)
    sheet.shape(box(x, top, x + width, base), wash(("wall", "wall two", "wall three")[k % 3]), THIN)
    over = width * 0.07
    if rng.random() < 0.5:
        roof: Pairs = [(x - over, top + 4), (x + width / 2, top - rise), (x + width + over, top + 4)]
    else:
        roof = [(x - over, top + 4), (x + width * 0.2, top - rise * 0.75), (x + width * 0.8, top - rise * 0.75), (x + width + over, top + 4)]
    sheet.shape(straight(roof, 4), wash("roof" if k % 2 == 0 else "roof two"), THIN * 1.1)
    for _ in range(4):
        tx, ty = x + width * rng.uniform(0.3, 0.6), top - rise * rng.uniform(0.12, 0.4)
        _line(sheet, [(tx, ty), (tx + width * 0.05, ty + 3), (tx + width * 0.1, ty)], 1.0, (0.4, 0.2))
    floors = max(1, round(tall / (width * 0.62)))
    ww = width * 0.2
    for floor in range(floors):
        y = top + tall * (floor + 0.24) / floors
        wh = min(tall / floors * 0.5, ww * 1.5)
        for u in (0.2, 0.62):
            wx = x + width * u
            if floor == floors - 1 and u > 0.5:
                door = [(wx - ww * 0.1, base), (wx - ww * 0.1, base - wh * 1.5), (wx + ww * 1.1, base - wh * 1.5), (wx + ww * 1.1, base)]
                sheet.shape(straight(door), wash("door"), THIN)
                continue
            lit = hour == "night" and rng.random() < 0.55
            sheet.shape(box(wx, y, wx + ww, y + wh), wash("lit window" if lit else "window"), THIN)
            _line(sheet, [(wx + ww / 2, y), (wx + ww / 2, y + wh)], 1.0)
            _line(sheet, [(wx, y + wh * 0.45), (wx + ww, y + wh * 0.45)], 1.0)
            for sx in (wx - ww * 0.36, wx + ww * 1.04):
                if width > 110:
                    sheet.shape(box(sx, y - 1, sx + ww * 0.32, y + wh + 1), wash("shutter"), 1.1)
    for _ in range(5):
        bx, by = x + width * rng.uniform(0.05, 0.9), top + tall * rng.uniform(0.1, 0.95)
        _line(sheet, [(bx, by), (bx + width * 0.06, by)], 1.0, (0.6, 0.6))


def paving(sheet: Sheet, wash: Wash, rng: np.random.Generator, top: float) -> None:
    """The ground of the quay, with a kerb and a scatter of setts."""
    w, h = sheet.width, sheet.height
    sheet.shape(box(-9, top, w + 9, h + 9), wash("ground"), THIN * 1.2)
    sheet.shape(box(-9, top, w + 9, top + max(7.0, (h - top) * 0.08)), wash("kerb"), THIN)
    for _ in range(int(w * (h - top) / 5200)):
        x, y = rng.uniform(0, w), rng.uniform(top + (h - top) * 0.14, h)
        s = 8 + 22 * (y - top) / max(h - top, 1)
        _line(sheet, [(x, y), (x + s * 0.5, y - s * 0.12), (x + s, y)], 1.2, (0.3, 0.1))


def quay(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """Houses of the town behind the quay, the river on one side."""
    w = sheet.width
    horizon = ground * rng.uniform(0.72, 0.82)
    sky(sheet, wash, rng, horizon, hour=hour)
    hills(sheet, wash, rng, horizon + 2, ground * 0.2)
    water(sheet, wash, rng, horizon, ground)
    left = rng.random() < 0.5
    x = -20.0 if left else w * rng.uniform(0.42, 0.55)
    stop = w * rng.uniform(0.45, 0.62) if left else w + 20.0
    k = int(rng.integers(0, 3))
    while x < stop:
        width = np.clip(w * rng.uniform(0.16, 0.26), 70, 190)
        house(sheet, wash, rng, x, float(width), ground, float(ground * rng.uniform(0.42, 0.6)), hour, k)
        x, k = x + float(width) + 2, k + 1
    paving(sheet, wash, rng, ground)
    bx = w * (0.86 if left else 0.14)
    post(sheet, wash, bx, ground, ground * 0.5)


def post(sheet: Sheet, wash: Wash, x: float, ground: float, tall: float) -> None:
    """A lamp post on the quay."""
    s = tall / 10
    sheet.shape(box(x - s * 0.2, ground - tall, x + s * 0.2, ground + 4), wash("iron"), THIN)
    sheet.shape(straight([(x - s * 0.7, ground - tall), (x + s * 0.7, ground - tall), (x + s * 1.0, ground - tall - s * 1.6), (x - s * 1.0, ground - tall - s * 1.6)]),
                wash("lit window"), THIN)  # fmt: skip
    sheet.shape(straight([(x - s * 1.2, ground - tall - s * 1.5), (x, ground - tall - s * 2.4), (x + s * 1.2, ground - tall - s * 1.5)]), wash("iron"), THIN)
    sheet.shape(box(x - s * 0.5, ground - s * 0.6, x + s * 0.5, ground + 6), wash("iron"), THIN)


def river(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """On the ferry's deck: sky, far bank, river and a rail."""
    w, h = sheet.width, sheet.height
    horizon = ground * rng.uniform(0.42, 0.56)
    sky(sheet, wash, rng, horizon, hour=hour)
    hills(sheet, wash, rng, horizon + 2, ground * 0.2)
    water(sheet, wash, rng, horizon, ground + 4)
    top = ground * 0.76
    for x in np.arange(w * 0.03, w, max(54.0, w * 0.12)):
        sheet.shape(box(x, top, x + 8, ground + 6), wash("rail"), THIN)
    sheet.shape(box(-9, top - 10, w + 9, top + 3), wash("rail"), THIN)
    sheet.shape(box(-9, (top + ground) / 2 - 3, w + 9, (top + ground) / 2 + 4), wash("rail"), THIN)
    sheet.shape(box(-9, ground, w + 9, h + 9), wash("deck"), THIN * 1.2)
    for k in range(1, 5):
        y = ground + (h - ground) * (k / 5) ** 1.3
        _line(sheet, [(-5, y), (w + 5, y)], 1.2, (1, 1))
    for _ in range(9):
        x, y = rng.uniform(0, w), rng.uniform(ground + 4, h)
        _line(sheet, [(x, y), (x + 14, y + 1), (x + 34, y)], 0.9, (0.3, 0.1))


def market(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """Stalls with striped awnings, crates of fruit, bunting over the lot."""
    w = sheet.width
    sky(sheet, wash, rng, ground * 0.6, hour=hour)
    x, k = -30.0, int(rng.integers(0, 3))
    while x < w:
        width = float(np.clip(w * rng.uniform(0.2, 0.3), 80, 220))
        house(sheet, wash, rng, x, width, ground, float(ground * rng.uniform(0.55, 0.72)), hour, k)
        x, k = x + width + 1, k + 1
    paving(sheet, wash, rng, ground)
    rope = [(-10.0, ground * 0.16), (w * 0.3, ground * 0.26), (w * 0.62, ground * 0.17), (w + 10.0, ground * 0.27)]
    line = curve(rope, steps=10)
    sheet.stroke(line, THIN)
    for j in range(1, len(line) - 2, 3):
        px, py = line[j]
        s = ground * 0.035 + 4
        sheet.shape(straight([(px, py), (px + s, py), (px + s / 2, py + s * 1.5)]), wash(("bunting", "bunting two")[j % 2]), 1.1)
    for k, left in enumerate((0.02, 0.66)):
        stall(sheet, wash, rng, w * left, w * 0.32, ground, ground * 0.5, k)


def stall(sheet: Sheet, wash: Wash, rng: np.random.Generator, x: float, width: float, ground: float, tall: float, k: int) -> None:
    """A market stall: counter of crates below a scalloped awning."""
    top = ground - tall
    for px in (x + width * 0.06, x + width * 0.92):
        sheet.shape(box(px, top, px + 6, ground + 6), wash("rail"), THIN)
    stripes = 6
    for j in range(stripes):
        a, b = x + width * j / stripes, x + width * (j + 1) / stripes
        inset = width * 0.06
        ta, tb = x + inset + (width - 2 * inset) * j / stripes, x + inset + (width - 2 * inset) * (j + 1) / stripes
        drop = top + tall * 0.22
        flap = [(ta, top), (tb, top), (b, drop), (b, drop), ((a + b) / 2, drop + tall * 0.07), (a, drop), (a, drop)]
        number = wash("awning" if k == 0 else "awning two") if j % 2 == 0 else wash("awning white")
        sheet.shape(curve([flap[0], *flap[:2], flap[1], *flap[2:]], closed=True, steps=3), number, THIN)
    counter = ground - tall * 0.34
    sheet.shape(box(x + width * 0.03, counter, x + width * 0.98, ground + 4), wash("crate"), THIN)
    for j in range(1, 4):
        y = counter + (ground - counter) * j / 4
        _line(sheet, [(x + width * 0.03, y), (x + width * 0.98, y)], 1.1, (1, 1))
    t = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    r = max(width * 0.036, 5)
    for row in range(2):
        for j in range(9 - row):
            cx = x + width * (0.1 + 0.1 * j + 0.05 * row)
            fruit = np.column_stack([cx + r * np.cos(t), counter - r * 0.7 - row * r * 1.3 + r * np.sin(t)])
            sheet.shape(fruit, wash("apples" if j < 4 else "pears"), 1.1)


def interior(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float) -> tuple[float, float]:
    """Wall and floor of a room; answers where the window stands (x, width)."""
    w, h = sheet.width, sheet.height
    sheet.fill(box(-9, -9, w + 9, ground + 3), wash("room wall"))
    sheet.shape(box(-9, ground, w + 9, h + 9), wash("floor"), THIN * 1.2)
    sheet.shape(box(-9, ground - max(8, ground * 0.04), w + 9, ground), wash("skirting"), THIN)
    for k in range(-6, 18):
        x = w * 0.5 + (k - 6) * w * 0.14
        _line(sheet, [(x, ground), (x + (x - w * 0.5) * 0.7, h + 6)], 1.1, (0.6, 1))
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
            _line(sheet, [(x, 0), (x + rng.uniform(-2, 2), ground - ground * 0.05)], 1.0, (0.6, 0.6))
    shelf_x = wx + ww + 26 if wx + ww < w * 0.6 else 14.0
    shelf_w = min(w * 0.32, (w - shelf_x - 12) if wx + ww < w * 0.6 else wx - 40)
    if shelf_w > 60:
        for y in (ground * 0.3, ground * 0.5):
            sheet.shape(box(shelf_x, y, shelf_x + shelf_w, y + 9), wash("woodwork"), THIN)
            x = shelf_x + 6
            while x < shelf_x + shelf_w - 26:
                jw, jh = rng.uniform(16, 28), rng.uniform(22, 44)
                number = wash(("jar", "jar two", "tin")[int(rng.integers(0, 3))])
                sheet.shape(curve([(x, y), (x, y), (x, y - jh * 0.8), (x + jw * 0.2, y - jh), (x + jw * 0.8, y - jh), (x + jw, y - jh * 0.8), (x + jw, y), (x + jw, y)],
                                  closed=True, steps=3), number, THIN)  # fmt: skip
                _line(sheet, [(x + jw * 0.15, y - jh * 0.86), (x + jw * 0.85, y - jh * 0.86)], 1.0)
                x += jw + rng.uniform(2, 12)
    bench = ground * 0.74
    bx0 = w * 0.5 if rng.random() < 0.5 else -20.0
    bx1 = bx0 + w * 0.56
    for x in (bx0 + w * 0.05, bx1 - w * 0.08):
        sheet.shape(box(x, bench, x + w * 0.035, ground + 8), wash("bench"), THIN)
    sheet.shape(box(bx0, bench - 12, bx1, bench + 8), wash("bench"), THIN * 1.1)
    vx = (bx0 + bx1) / 2 + w * 0.1
    sheet.shape(straight([(vx, bench - 12), (vx + 4, bench - 44), (vx + 34, bench - 44), (vx + 38, bench - 12)]), wash("iron"), THIN)
    sheet.shape(box(vx + 30, bench - 40, vx + 56, bench - 30), wash("iron"), THIN)
    lamp_x = w * 0.5
    _line(sheet, [(lamp_x, -4), (lamp_x, ground * 0.1)], 1.6, (1, 1))
    sheet.shape(straight([(lamp_x - 12, ground * 0.1), (lamp_x + 12, ground * 0.1), (lamp_x + 46, ground * 0.1 + 30), (lamp_x - 46, ground * 0.1 + 30)]), wash("lampshade"), THIN)


def parlour(sheet: Sheet, wash: Wash, rng: np.random.Generator, ground: float, *, hour: str) -> None:
    """A room with striped paper, a picture, a stove."""
    w = sheet.width
    wx, ww = interior(sheet, wash, rng, ground)
    dado = ground * 0.66
    for x in np.arange(12.0, w, 46.0):
        if not wx - 16 < x < wx + ww + 16:
            _line(sheet, [(x, 0), (x, dado)], 0.9, (0.7, 0.7))
    sheet.shape(box(-9, dado, w + 9, ground - max(8, ground * 0.04)), wash("dado"), THIN)
    sheet.shape(box(-9, dado - 8, w + 9, dado + 3), wash("woodwork"), THIN)
    px = w * 0.78 if wx + ww < w * 0.6 else w * 0.08
    sheet.shape(box(px, ground * 0.24, px + w * 0.14, ground * 0.44), wash("woodwork"), THIN)
    sheet.shape(box(px + 7, ground * 0.24 + 7, px + w * 0.14 - 7, ground * 0.44 - 7), wash("picture"), THIN)
    sx = w * 0.02 if px > w * 0.5 else w * 0.82
    sheet.shape(box(sx + w * 0.05, -6, sx + w * 0.085, ground * 0.62), wash("iron"), THIN)
    stove = [(sx, ground + 4), (sx, ground + 4), (sx - 4, ground * 0.66), (sx + w * 0.03, ground * 0.6), (sx + w * 0.11, ground * 0.6), (sx + w * 0.145, ground * 0.66),
             (sx + w * 0.14, ground + 4), (sx + w * 0.14, ground + 4)]  # fmt: skip
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
            _line(sheet, [(cx + r1 * np.cos(angle), cy + r1 * np.sin(angle)), (cx + r0 * np.cos(angle), cy + r0 * np.sin(angle))], 2.6, (1, 0.05))
    else:
        for k in range(16):
            x = w * 0.02 + k * 9
            _line(sheet, [(x, h * 0.04), (x + 4, h * (0.34 - 0.016 * k))], 2.2, (0.9, 0.05))


def rain(sheet: Sheet, rng: np.random.Generator) -> None:
    """Slanting rain over everything, drawn last."""
    for _ in range(int(sheet.width * sheet.height / 5200)):
        x, y, run = rng.uniform(0, sheet.width), rng.uniform(-20, sheet.height), rng.uniform(16, 46)
        _line(sheet, [(x, y), (x - run * 0.3, y + run)], 1.3, (0.2, 0.2))


SCENES: dict[str, Callable[..., None]] = {
    "quay": quay, "river": river, "market": market, "workshop": workshop, "parlour": parlour, "plain": plain,
}  # fmt: skip
