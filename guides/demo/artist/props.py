"""The things that come back: the chain ferry, the repair van, the signal lantern, the tool chest, the dog.

``area(slot, role)`` answers the number of a painted area, as in ``heads``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guides.demo.artist.pens import Frame, Points, Sheet, curve
from guides.demo.artist.scenery import heap

Area = Callable[..., int | None]
Pairs = list[tuple[float, float]]


def _poly(points: Pairs, steps: int = 4) -> Points:
    """A polygon of straight sides: every corner doubled."""
    return curve([p for p in points for _ in (0, 1)], closed=True, steps=steps)


def _ring(u: float, v: float, ru: float, rv: float) -> Points:
    t = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    return np.column_stack([u + ru * np.cos(t), v + rv * np.sin(t)])


def _tuck(sheet: Sheet, frame: Frame, points: Pairs, slot: str, area: Area) -> None:
    base, shade = area(slot), area(slot, "shade")
    if base is not None and shade is not None:
        sheet.tuck(frame(np.array(points)), shade, inside=[base])


def draw_ferry(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    """A broad chain ferry, six units long and three high, its waterline at v = 0."""
    funnel = _poly([(0.55, -1.5), (0.62, -2.75), (1.1, -2.75), (1.12, -1.5)])
    sheet.shape(frame(funnel), area("funnel"), pen)
    _tuck(sheet, frame, [(0.5, -1.4), (0.58, -2.8), (0.76, -2.8), (0.74, -1.4)], "funnel", area)
    sheet.shape(frame(_poly([(0.6, -2.46), (0.61, -2.2), (1.105, -2.2), (1.1, -2.46)])), area("band"), pen * 0.8)
    sheet.shape(frame(_poly([(0.54, -2.74), (0.52, -2.86), (1.18, -2.86), (1.16, -2.74)])), area("band"), pen * 0.8)
    cabin = _poly([(-1.5, -0.72), (-1.5, -1.62), (1.55, -1.62), (1.55, -0.72)])
    sheet.shape(frame(cabin), area("cabin"), pen)
    _tuck(sheet, frame, [(-1.6, -1.42), (-1.6, -1.7), (1.6, -1.7), (1.6, -1.42)], "cabin", area)
    roof = _poly([(-1.72, -1.58), (-1.62, -1.78), (1.66, -1.78), (1.76, -1.58)])
    sheet.shape(frame(roof), area("roof"), pen)
    for u in (-1.22, -0.5, 0.92):
        sheet.shape(
            frame(_poly([(u, -1.4), (u + 0.46, -1.4), (u + 0.46, -1.02), (u, -1.02)])), area("window"), pen * 0.8
        )
        sheet.stroke(frame(np.array([(u + 0.23, -1.4), (u + 0.23, -1.02)])), pen * 0.6)
    sheet.shape(frame(_poly([(0.2, -1.44), (0.66, -1.44), (0.66, -0.72), (0.2, -0.72)])), area("roof"), pen * 0.8)
    rail_v = -1.12
    for u in np.linspace(-2.9, 2.9, 13):
        if not -1.55 < u < 1.6:
            sheet.stroke(frame(np.array([(u, -0.6), (u, rail_v)])), pen * 0.7, taper=(0.9, 0.9))
    for a, b in ((-3.0, -1.5), (1.55, 3.0)):
        sheet.stroke(frame(np.array([(a, rail_v - 0.02), (b, rail_v)])), pen, taper=(0.9, 0.9))
        sheet.stroke(frame(np.array([(a, -0.88), (b, -0.88)])), pen * 0.6, taper=(0.9, 0.9))
    hull = curve([(-3.3, -0.78), (-3.3, -0.78), (-1.5, -0.66), (1.5, -0.66), (3.3, -0.8),
        (3.3, -0.8), (3.02, -0.2), (2.8, 0.06), (2.8, 0.06), (-2.8, 0.06), (-2.8, 0.06),
        (-3.05, -0.25)], closed=True)  # fmt: skip
    sheet.shape(frame(hull), area("hull"), pen * 1.15)
    _tuck(sheet, frame, [(-3.4, -0.24), (0.0, -0.14), (3.4, -0.26), (3.4, 0.3), (-3.4, 0.3)], "hull", area)
    trim = curve([(-3.28, -0.76), (-3.28, -0.76), (-1.5, -0.64), (1.5, -0.64), (3.28, -0.78),
        (3.28, -0.78), (3.22, -0.6), (3.22, -0.6), (1.5, -0.48), (-1.5, -0.48), (-3.22, -0.58),
        (-3.22, -0.58)], closed=True)  # fmt: skip
    sheet.shape(frame(trim), area("trim"), pen * 0.8)
    for u in (-2.2, -1.0, 0.2, 1.4, 2.3):
        sheet.shape(frame(_ring(u, -0.26, 0.12, 0.12)), None, pen * 0.8)
        sheet.black(frame(_ring(u, -0.26, 0.06, 0.06)))


def draw_smoke(sheet: Sheet, x: float, y: float, unit: float, number: int | None, pen: float) -> None:
    """Puffs from a funnel, drifting to the left."""
    lobes = [
        (-2.5, -1.75, 0.5),
        (-1.9, -1.6, 0.66),
        (-1.2, -1.2, 0.5),
        (-0.75, -0.85, 0.36),
        (-0.38, -0.5, 0.26),
        (-0.1, -0.2, 0.18),
    ]
    heap(sheet, [(x + unit * u, y + unit * v, unit * r) for u, v, r in lobes], number or 0, pen)


def draw_van(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    """A tall round-nosed repair van, about four units long and two and a half high, wheels on v = 0."""
    body = curve([(-1.9, -0.35), (-1.9, -0.35), (-1.95, -1.5), (-1.8, -2.1), (-1.5, -2.2),
        (0.5, -2.2), (0.75, -2.1), (0.75, -2.1), (0.95, -1.45), (1.1, -1.3), (1.75, -1.12),
        (1.98, -0.85), (2.0, -0.35), (2.0, -0.35)], closed=True)  # fmt: skip
    sheet.shape(frame(body), area("body"), pen * 1.1)
    _tuck(sheet, frame, [(-2.1, -0.72), (0.0, -0.66), (2.2, -0.7), (2.2, -0.2), (-2.1, -0.2)], "body", area)
    roof = curve(
        [
            (-1.93, -1.8),
            (-1.93, -1.8),
            (-1.8, -2.14),
            (-1.5, -2.26),
            (0.5, -2.26),
            (0.8, -2.08),
            (0.86, -1.8),
            (0.86, -1.8),
        ],
        closed=True,
    )
    sheet.shape(frame(roof), area("roof"), pen)
    glass = _poly([(0.2, -1.74), (0.74, -1.74), (0.9, -1.34), (0.2, -1.34)])
    sheet.shape(frame(glass), area("window"), pen * 0.8)
    sheet.stroke(frame(np.array([(0.34, -1.4), (0.6, -1.7)])), pen * 0.5)
    board = curve(
        [
            (-1.66, -1.62),
            (-1.66, -1.62),
            (-0.1, -1.62),
            (-0.1, -1.62),
            (-0.1, -1.0),
            (-0.1, -1.0),
            (-1.66, -1.0),
            (-1.66, -1.0),
        ],
        closed=True,
        steps=3,
    )
    sheet.shape(frame(board), area("board"), pen * 0.8)
    kettle = curve(
        [
            (-1.2, -1.14),
            (-1.28, -1.3),
            (-1.14, -1.46),
            (-0.92, -1.46),
            (-0.8, -1.3),
            (-0.62, -1.46),
            (-0.7, -1.24),
            (-0.84, -1.12),
        ],
        closed=True,
    )
    sheet.black(frame(kettle))
    sheet.stroke(frame(curve([(-1.2, -1.44), (-1.1, -1.58), (-0.94, -1.58), (-0.86, -1.44)])), pen)
    sheet.stroke(frame(np.array([(0.12, -1.76), (0.12, -0.42)])), pen * 0.7)
    sheet.stroke(frame(np.array([(0.26, -1.12), (0.42, -1.12)])), pen * 1.2)
    sheet.shape(frame(_ring(1.8, -0.86, 0.13, 0.17)), area("lamp"), pen * 0.8)
    bumper = _poly([(1.7, -0.42), (2.14, -0.42), (2.14, -0.28), (1.7, -0.28)])
    sheet.shape(frame(bumper), area("lamp"), pen * 0.8)
    for u in (-1.15, 1.18):
        arch = [(u - 0.52, -0.33), (u - 0.42, -0.72), (u, -0.88), (u + 0.42, -0.72), (u + 0.52, -0.33)]
        sheet.shape(frame(curve(arch, closed=True)), area("body", "shade") or area("body"), pen)
        sheet.black(frame(_ring(u, -0.34, 0.4, 0.4)))
        sheet.fill(frame(_ring(u, -0.34, 0.2, 0.2)), area("lamp"))
        sheet.black(frame(_ring(u, -0.34, 0.07, 0.07)))
    rack = [(-1.5, -2.26), (-1.5, -2.46), (0.3, -2.46), (0.3, -2.26)]
    sheet.stroke(frame(np.array(rack)), pen * 0.8, taper=(0.9, 0.9))
    ladder = _poly([(-1.7, -2.46), (0.5, -2.46), (0.5, -2.56), (-1.7, -2.56)])
    sheet.shape(frame(ladder), area("ladder"), pen * 0.7)


def draw_lantern(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    """A signal lantern hanging from its ring at (0, 0), one unit high."""
    sheet.contour(frame(_ring(0, 0.1, 0.11, 0.11)), pen * 0.9)
    glass = curve([(-0.2, 0.42), (-0.24, 0.62), (-0.2, 0.82), (0.2, 0.82), (0.24, 0.62), (0.2, 0.42)], closed=True)
    sheet.shape(frame(glass), area("glass"), pen * 0.9)
    _tuck(sheet, frame, [(-0.3, 0.4), (-0.1, 0.4), (-0.12, 0.85), (-0.3, 0.85)], "glass", area)
    for points in (
        [(-0.26, 0.42), (-0.12, 0.22), (0.12, 0.22), (0.26, 0.42)],
        [(-0.26, 0.8), (0.26, 0.8), (0.3, 1.0), (-0.3, 1.0)],
    ):
        sheet.shape(frame(_poly(points)), area("frame"), pen)
    sheet.stroke(frame(np.array([(0.0, 0.42), (0.0, 0.8)])), pen * 0.7)


def draw_chest(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    """A tool chest, one and a half units wide, standing on v = 0."""
    for k, u in enumerate((-0.5, -0.1, 0.28)):
        sheet.shape(
            frame(_poly([(u, -0.6), (u + 0.06, -0.6), (u + 0.06, -1.0 - 0.1 * k), (u, -1.0 - 0.1 * k)])),
            area("tools"),
            pen * 0.7,
        )
    sheet.shape(frame(_poly([(0.2, -1.18), (0.44, -1.26), (0.47, -1.14), (0.22, -1.08)])), area("tools"), pen * 0.7)
    sheet.shape(frame(_poly([(-0.78, 0.0), (-0.78, -0.68), (0.7, -0.68), (0.7, 0.0)])), area("box"), pen)
    _tuck(sheet, frame, [(-0.9, 0.1), (-0.9, -0.8), (-0.52, -0.8), (-0.52, 0.1)], "box", area)
    sheet.shape(frame(_poly([(-0.82, -0.58), (-0.82, -0.74), (0.74, -0.74), (0.74, -0.58)])), area("trim"), pen * 0.8)
    for u in (-0.62, 0.5):
        sheet.shape(frame(_poly([(u, 0.0), (u, -0.16), (u + 0.14, -0.16), (u + 0.14, 0.0)])), area("trim"), pen * 0.6)
    sheet.shape(frame(_ring(-0.04, -0.42, 0.09, 0.1)), area("trim"), pen * 0.7)


def draw_dog(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    """A wiry ferry dog standing on v = 0, one and a half units long, looking to positive u."""
    for u, far in ((-0.52, True), (0.4, True), (-0.66, False), (0.26, False)):
        leg = curve([(u, -0.5), (u - 0.04, -0.28), (u - 0.03, -0.06), (u + 0.14, -0.05),
            (u + 0.15, 0.0), (u - 0.1, 0.0), (u - 0.14, -0.24), (u - 0.16, -0.5)], closed=True)  # fmt: skip
        coat = area("fur", "shade") if far and area("fur", "shade") is not None else area("fur")
        sheet.shape(frame(leg), coat, pen * 0.9)
    tail = curve(
        [(-0.74, -0.72), (-0.92, -0.9), (-0.98, -1.16), (-0.86, -1.2), (-0.8, -0.98), (-0.66, -0.82)], closed=True
    )
    sheet.shape(frame(tail), area("fur"), pen * 0.9)
    trunk = curve([(-0.78, -0.62), (-0.7, -0.8), (-0.3, -0.84), (0.1, -0.82), (0.34, -0.92),
        (0.5, -0.7), (0.46, -0.5), (0.3, -0.36), (0.0, -0.34), (-0.3, -0.42), (-0.6, -0.36),
        (-0.78, -0.44)], closed=True)  # fmt: skip
    sheet.shape(frame(trunk), area("jacket") or area("fur"), pen)
    _tuck(sheet, frame, [(-0.9, -0.5), (-0.3, -0.52), (0.4, -0.46), (0.5, -0.2), (-0.9, -0.2)], "fur", area)
    head = curve([(0.3, -1.02), (0.34, -1.22), (0.52, -1.3), (0.68, -1.24), (0.76, -1.12),
        (0.98, -1.06), (1.0, -0.94), (0.84, -0.86), (0.64, -0.8), (0.42, -0.8)], closed=True)  # fmt: skip
    sheet.shape(
        frame(curve([(0.26, -0.9), (0.46, -1.0), (0.62, -0.84), (0.56, -0.64), (0.34, -0.6)], closed=True)),
        area("collar"),
        pen * 0.9,
    )
    sheet.shape(frame(head), area("fur"), pen)
    muzzle = curve([(0.72, -1.08), (0.98, -1.06), (1.0, -0.94), (0.84, -0.86), (0.7, -0.86)], closed=True)
    sheet.tuck(frame(muzzle), area("muzzle") or 0, inside=[area("fur") or 0])
    ear = curve([(0.36, -1.24), (0.5, -1.2), (0.48, -1.0), (0.36, -0.86), (0.26, -0.96), (0.28, -1.14)], closed=True)
    sheet.shape(frame(ear), area("ear"), pen * 0.9)
    sheet.black(frame(_ring(0.65, -1.1, 0.028, 0.042)))
    sheet.black(frame(_ring(0.99, -1.03, 0.06, 0.05)))
    sheet.stroke(frame(curve([(0.94, -0.95), (0.84, -0.92), (0.76, -0.94)])), pen * 0.7)
    for u, v in ((-0.5, -0.64), (-0.1, -0.66), (0.3, -0.7)):
        sheet.stroke(frame(curve([(u, v), (u + 0.05, v + 0.05), (u + 0.12, v + 0.02)])), pen * 0.6, taper=(0.3, 0.1))
