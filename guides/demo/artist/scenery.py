"""Backgrounds out of doors: quay, river and market, and what they are built of.

``wash(key)`` answers the number of a background area: sky, water, wall, roof … in the colours of the hour.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guides.demo.artist.pens import Points, Sheet, curve

Wash = Callable[[str], int]
Pairs = list[tuple[float, float]]

THIN = 1.5
"""Background lines are thinner than any figure's, so that people stand in front."""


def straight(points: Pairs, steps: int = 2) -> Points:
    """A polygon with straight sides."""
    return curve([p for p in points for _ in (0, 1)], closed=True, steps=steps)


def box(x0: float, y0: float, x1: float, y1: float) -> Points:
    return straight([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], 4)


def line(sheet: Sheet, points: Pairs, pen: float = THIN, taper: tuple[float, float] = (0.7, 0.4)) -> None:
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
        cx, cy, size = rng.uniform(0.05, 0.95) * w, bottom * rng.uniform(0.2, 0.6), rng.uniform(0.09, 0.17) * w
        _cloud(sheet, wash, rng, cx, cy, size)


def heap(
    sheet: Sheet, lobes: list[tuple[float, float, float]], number: int, pen: float, base: float | None = None
) -> None:
    """Round lobes (x, y, radius) melted into one outline: cloud, bush, smoke. ``base`` cuts it off flat."""
    t = np.linspace(0, 2 * np.pi, 26, endpoint=False)
    ring = np.column_stack([np.cos(t), np.sin(t) * 0.92])
    circles = []
    for x, y, r in lobes:
        circle = ring * r + (x, y)
        if base is not None:
            circle[:, 1] = np.minimum(circle[:, 1], base + 1.5 * np.sin(circle[:, 0] / 23.0))
        circles.append(circle)
    for circle in circles:
        sheet.shape(circle, number, pen)
    for circle, (x, y, r) in zip(circles, lobes, strict=True):
        sheet.fill((circle - (x, y)) * (1 - pen * 0.9 / r) + (x, y - (0.6 if base is not None else 0.0)), number)


def _cloud(sheet: Sheet, wash: Wash, rng: np.random.Generator, cx: float, cy: float, size: float) -> None:
    """A heap of lobes over a soft flat base, with a curl or two inside."""
    lobes = [(cx + size * u, cy - size * (0.1 + 0.1 * np.cos(1.5 * u)),
        size * (0.2 + 0.22 * np.cos(1.45 * u)) * rng.uniform(0.85, 1.15)) for u in (-0.86, -0.48, -0.05, 0.4,
        0.8)]  # fmt: skip
    heap(sheet, lobes, wash("cloud"), THIN, base=cy + size * 0.08)
    for u, v in ((-0.42, -0.06), (0.2, -0.2)):
        x, y, r = cx + size * u, cy + size * v, size * rng.uniform(0.1, 0.2)
        line(
            sheet, [(x - r, y), (x - r * 0.7, y - r * 0.7), (x, y - r), (x + r * 0.5, y - r * 0.8)], 1.2, (0.6, 0.05)
        )


def hills(sheet: Sheet, wash: Wash, rng: np.random.Generator, base: float, tall: float) -> None:
    """The far bank, with trees."""
    w = sheet.width
    xs = np.linspace(-0.1, 1.1, 7) * w
    ys = base - tall * (0.45 + 0.5 * rng.random(7))
    ridge = [
        (-20.0, base + 4),
        (-20.0, base + 4),
        *zip(xs.tolist(), ys.tolist(), strict=True),
        (w + 20.0, base + 4),
        (w + 20.0, base + 4),
    ]
    sheet.shape(curve(ridge, closed=True), wash("hills"), THIN)
    for _ in range(int(w / 70)):
        x, r = rng.uniform(0, w), tall * rng.uniform(0.12, 0.26)
        lobes = [
            (x + r * u, base - r * v, r * q * rng.uniform(0.85, 1.15))
            for u, v, q in ((-0.7, 0.5, 0.6), (0.6, 0.5, 0.65), (-0.1, 1.0, 0.7), (0.1, 0.4, 0.6))
        ]
        heap(sheet, lobes, wash("trees"), THIN * 0.9, base=base + 3)


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
        line(
            sheet,
            [(x, y), (x + run * 0.3, y - bow), (x + run * 0.6, y + bow * 0.4), (x + run, y - bow * 0.5)],
            1.0 + 0.9 * depth,
            (0.1, 0.1),
        )


def house(
    sheet: Sheet,
    wash: Wash,
    rng: np.random.Generator,
    x: float,
    width: float,
    base: float,
    tall: float,
    hour: str,
    k: int,
) -> None:
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
        roof = [
            (x - over, top + 4),
            (x + width * 0.2, top - rise * 0.75),
            (x + width * 0.8, top - rise * 0.75),
            (x + width + over, top + 4),
        ]
    sheet.shape(straight(roof, 4), wash("roof" if k % 2 == 0 else "roof two"), THIN * 1.1)
    for _ in range(4):
        tx, ty = x + width * rng.uniform(0.3, 0.6), top - rise * rng.uniform(0.12, 0.4)
        line(sheet, [(tx, ty), (tx + width * 0.05, ty + 3), (tx + width * 0.1, ty)], 1.0, (0.4, 0.2))
    floors = max(1, round(tall / (width * 0.62)))
    ww = width * 0.2
    for floor in range(floors):
        y = top + tall * (floor + 0.24) / floors
        wh = min(tall / floors * 0.5, ww * 1.5)
        for u in (0.2, 0.62):
            wx = x + width * u
            if floor == floors - 1 and u > 0.5:
                door = [
                    (wx - ww * 0.1, base),
                    (wx - ww * 0.1, base - wh * 1.5),
                    (wx + ww * 1.1, base - wh * 1.5),
                    (wx + ww * 1.1, base),
                ]
                sheet.shape(straight(door), wash("door"), THIN)
                continue
            lit = hour == "night" and rng.random() < 0.55
            sheet.shape(box(wx, y, wx + ww, y + wh), wash("lit window" if lit else "window"), THIN)
            line(sheet, [(wx + ww / 2, y), (wx + ww / 2, y + wh)], 1.0)
            line(sheet, [(wx, y + wh * 0.45), (wx + ww, y + wh * 0.45)], 1.0)
            for sx in (wx - ww * 0.36, wx + ww * 1.04):
                if width > 110:
                    sheet.shape(box(sx, y - 1, sx + ww * 0.32, y + wh + 1), wash("shutter"), 1.1)
    line(sheet, [(x - over * 0.4, top + tall * 0.1), (x + width + over * 0.4, top + tall * 0.1)], 1.2, (1, 1))
    if width > 100 and k % 2 == 0:  # a box of flowers below the first window
        wy = top + tall * 0.24 / floors + min(tall / floors * 0.5, ww * 1.5)
        fx = x + width * 0.2
        sheet.shape(box(fx - 3, wy + 2, fx + ww + 3, wy + 10), wash("door"), 1.2)
        for j in range(5):
            heap(sheet, [(fx + ww * (j + 0.5) / 5, wy, 3.4)], wash("bunting" if j % 2 else "apples"), 1.0)
    if k % 3 == 1:  # a hanging sign
        sx, sy, arm = x + width * 0.04, base - tall * 0.42, width * 0.2
        line(sheet, [(sx, sy), (sx - arm, sy)], 2.2, (1, 1))
        sheet.shape(box(sx - arm * 0.95, sy + 4, sx - arm * 0.15, sy + arm * 0.75), wash("bunting two"), THIN)
        line(sheet, [(sx - arm * 0.8, sy + arm * 0.4), (sx - arm * 0.3, sy + arm * 0.4)], 2.0, (1, 1))
    for _ in range(5):
        bx, by = x + width * rng.uniform(0.05, 0.9), top + tall * rng.uniform(0.1, 0.95)
        line(sheet, [(bx, by), (bx + width * 0.06, by)], 1.0, (0.6, 0.6))


def paving(sheet: Sheet, wash: Wash, rng: np.random.Generator, top: float) -> None:
    """The ground of the quay, with a kerb and a scatter of setts."""
    w, h = sheet.width, sheet.height
    sheet.shape(box(-9, top, w + 9, h + 9), wash("ground"), THIN * 1.2)
    sheet.shape(box(-9, top, w + 9, top + max(7.0, (h - top) * 0.08)), wash("kerb"), THIN)
    for _ in range(int(w * (h - top) / 5200)):
        x, y = rng.uniform(0, w), rng.uniform(top + (h - top) * 0.14, h)
        s = 8 + 22 * (y - top) / max(h - top, 1)
        line(sheet, [(x, y), (x + s * 0.5, y - s * 0.12), (x + s, y)], 1.2, (0.3, 0.1))


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
    sheet.shape(straight([(x - s * 0.7, ground - tall), (x + s * 0.7, ground - tall),
        (x + s * 1.0, ground - tall - s * 1.6), (x - s * 1.0, ground - tall - s * 1.6)]), wash("lit window"),
        THIN)  # fmt: skip
    sheet.shape(
        straight(
            [
                (x - s * 1.2, ground - tall - s * 1.5),
                (x, ground - tall - s * 2.4),
                (x + s * 1.2, ground - tall - s * 1.5),
            ]
        ),
        wash("iron"),
        THIN,
    )
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
        line(sheet, [(-5, y), (w + 5, y)], 1.2, (1, 1))
    for _ in range(9):
        x, y = rng.uniform(0, w), rng.uniform(ground + 4, max(h, ground + 30))
        line(sheet, [(x, y), (x + 14, y + 1), (x + 34, y)], 0.9, (0.3, 0.1))


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
    rigging = curve(rope, steps=10)
    sheet.stroke(rigging, THIN)
    for j in range(1, len(rigging) - 2, 3):
        px, py = rigging[j]
        s = ground * 0.035 + 4
        sheet.shape(
            straight([(px, py), (px + s, py), (px + s / 2, py + s * 1.5)]),
            wash(("bunting", "bunting two")[j % 2]),
            1.1,
        )
    for k, left in enumerate((0.02, 0.66)):
        stall(sheet, wash, rng, w * left, w * 0.32, ground, ground * 0.5, k)


def stall(
    sheet: Sheet, wash: Wash, rng: np.random.Generator, x: float, width: float, ground: float, tall: float, k: int
) -> None:
    """A market stall: counter of crates below a scalloped awning."""
    top = ground - tall
    for px in (x + width * 0.06, x + width * 0.92):
        sheet.shape(box(px, top, px + 6, ground + 6), wash("rail"), THIN)
    stripes = 6
    for j in range(stripes):
        a, b = x + width * j / stripes, x + width * (j + 1) / stripes
        inset = width * 0.06
        ta = x + inset + (width - 2 * inset) * j / stripes
        tb = x + inset + (width - 2 * inset) * (j + 1) / stripes
        drop = top + tall * 0.22
        flap = [(ta, top), (tb, top), (b, drop), (b, drop), ((a + b) / 2, drop + tall * 0.07), (a, drop), (a, drop)]
        number = wash("awning" if k == 0 else "awning two") if j % 2 == 0 else wash("awning white")
        sheet.shape(curve([flap[0], *flap[:2], flap[1], *flap[2:]], closed=True, steps=3), number, THIN)
    counter = ground - tall * 0.34
    sheet.shape(box(x + width * 0.03, counter, x + width * 0.98, ground + 4), wash("crate"), THIN)
    for j in range(1, 4):
        y = counter + (ground - counter) * j / 4
        line(sheet, [(x + width * 0.03, y), (x + width * 0.98, y)], 1.1, (1, 1))
    t = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    r = max(width * 0.036, 5)
    for row in range(2):
        for j in range(9 - row):
            cx = x + width * (0.1 + 0.1 * j + 0.05 * row)
            fruit = np.column_stack([cx + r * np.cos(t), counter - r * 0.7 - row * r * 1.3 + r * np.sin(t)])
            sheet.shape(fruit, wash("apples" if j < 4 else "pears"), 1.1)
