"""Heads: skull, hair, hats and the few strokes of a face, in three-quarter view.

A head's frame has its origin at the middle of the head, the unit is the distance from crown to chin and
the face looks to positive u.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guides.demo.artist.hats import draw_hat, hides_top
from guides.demo.artist.pens import Frame, Points, Sheet, curve
from guides.demo.story.looks import Face

Area = Callable[..., int | None]
"""``area(slot, role)``: the number of the painted area of that piece, None when it isn't painted."""

SKULLS = {
    "oval": [(0.31, -0.2), (0.315, -0.07), (0.29, 0.02), (0.325, 0.13), (0.29, 0.28), (0.2, 0.45), (0.08,
        0.5),
             (-0.06, 0.42), (-0.19, 0.26)],
    "round": [(0.33, -0.2), (0.335, -0.07), (0.31, 0.02), (0.37, 0.15), (0.34, 0.31), (0.22, 0.45), (0.06,
    0.48),
              (-0.1, 0.42), (-0.22, 0.27)],
    "square": [(0.31, -0.22), (0.325, -0.08), (0.295, 0.02), (0.33, 0.14), (0.32, 0.32), (0.28, 0.49), (0.1,
    0.54),
               (-0.1, 0.46), (-0.22, 0.28)],
    "pointed": [(0.29, -0.22), (0.305, -0.08), (0.27, 0.02), (0.295, 0.12), (0.25, 0.28), (0.2, 0.52), (0.12,
    0.57),
                (-0.02, 0.44), (-0.17, 0.26)],
}  # fmt: skip
CRANIUM = [(-0.27, 0.08), (-0.37, -0.12), (-0.33, -0.34), (-0.15, -0.48), (0.06, -0.5), (0.23, -0.4)]

HAIR_TOPS = {
    # hairline from the ear forward, then the outer contour back to the nape
    "short": [(-0.1, 0.04), (-0.06, -0.14), (0.02, -0.22), (0.12, -0.2), (0.2, -0.26), (0.27, -0.2), (0.33,
        -0.26),
              (0.36, -0.4), (0.26, -0.5), (0.2, -0.6), (0.06, -0.56), (-0.06, -0.63), (-0.18, -0.54), (-0.34,
              -0.48),
              (-0.4, -0.3), (-0.46, -0.12), (-0.38, 0.06), (-0.36, 0.2), (-0.25, 0.22), (-0.2, 0.1)],
    "swept": [(-0.1, 0.06), (-0.08, -0.12), (0.0, -0.2), (0.14, -0.25), (0.24, -0.26), (0.31, -0.22), (0.37,
    -0.34),
              (0.34, -0.5), (0.18, -0.6), (-0.06, -0.6), (-0.28, -0.5), (-0.42, -0.26), (-0.42, 0.0), (-0.34,
              0.18),
              (-0.24, 0.2), (-0.2, 0.1)],
    "ponytail": [(-0.1, 0.06), (-0.06, -0.12), (0.06, -0.26), (0.2, -0.32), (0.3, -0.24), (0.33, -0.34),
    (0.26, -0.48),
                 (0.08, -0.57), (-0.14, -0.56), (-0.34, -0.42), (-0.42, -0.18), (-0.38, 0.06), (-0.28, 0.16),
                 (-0.19, 0.1)],
    "bun": [(-0.1, 0.05), (-0.06, -0.12), (0.03, -0.24), (0.16, -0.31), (0.26, -0.28), (0.32, -0.2), (0.35,
    -0.34),
            (0.25, -0.5), (0.06, -0.58), (-0.16, -0.56), (-0.34, -0.44), (-0.43, -0.2), (-0.4, 0.04), (-0.31,
            0.17),
            (-0.19, 0.1)],
    "bob": [(-0.02, 0.3), (-0.04, 0.1), (-0.02, -0.1), (0.08, -0.15), (0.2, -0.15), (0.3, -0.14), (0.34,
    -0.14),
            (0.37, -0.34), (0.26, -0.52), (0.06, -0.6), (-0.18, -0.58), (-0.38, -0.44), (-0.48, -0.16),
            (-0.49, 0.12),
            (-0.46, 0.36), (-0.24, 0.4), (-0.04, 0.37)],
    "round": [(-0.1, 0.08), (-0.09, -0.1), (0.0, -0.22), (0.12, -0.27), (0.24, -0.26), (0.33, -0.2), (0.46,
    -0.3),
              (0.44, -0.52), (0.3, -0.7), (0.08, -0.77), (-0.18, -0.75), (-0.42, -0.64), (-0.58, -0.4),
              (-0.6, -0.12),
              (-0.52, 0.12), (-0.38, 0.24), (-0.24, 0.22), (-0.18, 0.12)],
    "curls": [(-0.08, 0.14), (-0.09, -0.04), (-0.02, -0.18), (0.1, -0.22), (0.2, -0.28), (0.32, -0.2), (0.41,
    -0.3),
              (0.36, -0.46), (0.28, -0.5), (0.2, -0.62), (0.06, -0.58), (-0.06, -0.66), (-0.2, -0.58),
              (-0.34, -0.56),
              (-0.4, -0.42), (-0.52, -0.34), (-0.48, -0.18), (-0.56, -0.06), (-0.47, 0.08), (-0.5, 0.22),
              (-0.38, 0.3),
              (-0.22, 0.3), (-0.16, 0.2)],
    "bald": [(-0.1, 0.05), (-0.09, -0.08), (-0.13, -0.2), (-0.25, -0.22), (-0.36, -0.2), (-0.45, -0.1),
    (-0.43, 0.1),
             (-0.34, 0.22), (-0.23, 0.2), (-0.18, 0.1)],
}  # fmt: skip

NOSES = {
    "button": [(0.225, 0.0), (0.27, 0.06), (0.315, 0.095), (0.3, 0.14), (0.245, 0.135)],
    "long": [(0.22, -0.05), (0.27, 0.05), (0.36, 0.15), (0.335, 0.19), (0.25, 0.165)],
    "bulb": [(0.22, -0.01), (0.27, 0.03), (0.36, 0.06), (0.385, 0.12), (0.335, 0.17), (0.25, 0.15)],
    "hook": [(0.21, -0.06), (0.3, 0.0), (0.365, 0.09), (0.36, 0.18), (0.31, 0.155), (0.25, 0.15)],
}


def draw_head(sheet: Sheet, frame: Frame, face: Face, area: Area, *, hat: str, mood: str, pen: float) -> None:
    """Draw a head. ``mood`` is calm, smile, shout, worry or stern; ``pen`` the line width in pixels."""
    px = frame.unit
    hair = area("hair")
    if hair is not None:
        _behind(sheet, frame, face, hair, pen, hat)
    skull = frame(curve(SKULLS[face.jaw] + CRANIUM, closed=True, steps=6))
    skin = area("skin")
    sheet.shape(skull, skin, pen)
    shade = area("skin", "shade")
    if shade is not None and skin is not None and px > 60:
        cheek = [
            (-0.26, 0.0),
            (-0.12, 0.12),
            (-0.02, 0.3),
            (0.1, 0.4),
            (0.24, 0.4),
            (0.15, 0.56),
            (-0.1, 0.52),
            (-0.4, 0.3),
        ]
        sheet.tuck(frame(curve(cheek, closed=True)), shade, inside=[skin])
    _features(sheet, frame, face, area, mood, pen)
    ear = curve(
        [(-0.1, -0.03), (-0.17, -0.07), (-0.23, 0.0), (-0.2, 0.1), (-0.14, 0.15), (-0.1, 0.1)], closed=True, steps=5
    )
    if hair is not None and not (hides_top(hat) and face.hair == "bald"):
        top = frame(curve(HAIR_TOPS[face.hair], closed=True, steps=5))
        sheet.shape(top, hair, pen)
        _strands(sheet, frame, face, area, hair, pen)
    if face.hair != "bob":
        sheet.shape(frame(ear), skin, pen * 0.8)
        if px > 45:
            sheet.stroke(frame(curve([(-0.13, 0.0), (-0.18, 0.0), (-0.17, 0.08)])), pen * 0.6)
    if hat:
        draw_hat(sheet, frame, hat, area, pen)


def _behind(sheet: Sheet, frame: Frame, face: Face, hair: int, pen: float, hat: str) -> None:
    if face.hair == "ponytail":
        tail = [(-0.34, -0.2), (-0.5, -0.28), (-0.66, -0.14), (-0.66, 0.14), (-0.74, 0.4), (-0.56, 0.34),
            (-0.46, 0.12), (-0.42, -0.02)]  # fmt: skip
        sheet.shape(frame(curve(tail, closed=True)), hair, pen)
        sheet.stroke(frame(curve([(-0.5, -0.18), (-0.58, 0.02), (-0.62, 0.26)])), pen * 0.6)
    elif face.hair == "bun" and not hides_top(hat):
        bun = [(-0.26, -0.44), (-0.24, -0.66), (-0.42, -0.76), (-0.58, -0.64), (-0.57, -0.46), (-0.42, -0.38)]
        sheet.shape(frame(curve(bun, closed=True)), hair, pen)
        sheet.stroke(frame(curve([(-0.33, -0.5), (-0.42, -0.62), (-0.5, -0.52)])), pen * 0.6)


STRANDS = {
    "short": [[(0.1, -0.26), (0.12, -0.42), (0.06, -0.52)], [(-0.08, -0.26), (-0.12, -0.42)], [(-0.24, -0.1),
        (-0.32, -0.3)]],
    "swept": [[(0.26, -0.32), (0.1, -0.42), (-0.16, -0.42)], [(0.1, -0.32), (-0.08, -0.34), (-0.26, -0.2)],
              [(-0.2, 0.0), (-0.28, -0.12)]],
    "ponytail": [[(0.16, -0.36), (-0.06, -0.4), (-0.3, -0.26)], [(0.0, -0.26), (-0.16, -0.24), (-0.32,
    -0.14)]],
    "bun": [[(0.18, -0.36), (0.0, -0.44), (-0.22, -0.46)], [(0.02, -0.28), (-0.14, -0.34), (-0.3, -0.36)],
            [(-0.18, 0.02), (-0.28, -0.16)]],
    "bob": [[(0.2, -0.2), (0.2, -0.36), (0.1, -0.48)], [(-0.1, 0.3), (-0.12, 0.0), (-0.06, -0.3)],
            [(-0.28, 0.3), (-0.3, 0.0), (-0.2, -0.34)]],
    "round": [[(-0.3, -0.4), (-0.24, -0.48), (-0.16, -0.44)], [(0.1, -0.52), (0.17, -0.58), (0.24, -0.52)],
              [(-0.44, -0.12), (-0.4, -0.2), (-0.32, -0.16)], [(-0.08, -0.6), (-0.02, -0.66), (0.04, -0.6)]],
    "curls": [[(-0.3, 0.1), (-0.4, 0.02), (-0.34, -0.08), (-0.27, -0.02)], [(-0.2, -0.3), (-0.3, -0.36),
    (-0.24, -0.46), (-0.15, -0.4)],
              [(0.08, -0.36), (0.02, -0.44), (0.1, -0.52), (0.18, -0.44)]],
    "bald": [[(-0.16, 0.02), (-0.26, -0.08), (-0.36, -0.06)]],
}  # fmt: skip


def _strands(sheet: Sheet, frame: Frame, face: Face, area: Area, hair: int, pen: float) -> None:
    shine = area("hair", "highlight")
    if shine is not None and frame.unit > 55:
        band = curve(
            [(0.0, -0.5), (-0.16, -0.48), (-0.3, -0.36), (-0.37, -0.2), (-0.28, -0.26), (-0.14, -0.38)], closed=True
        )
        sheet.tuck(frame(band), shine, inside=[hair])
    if frame.unit > 34:
        for strand in STRANDS[face.hair]:
            sheet.stroke(frame(curve(strand, steps=6)), pen * 0.65, taper=(0.5, 0.05))


def _features(sheet: Sheet, frame: Frame, face: Face, area: Area, mood: str, pen: float) -> None:
    near, far, eye_v = 0.085, 0.245, -0.02
    big = frame.unit > 74
    for u, squash in ((near, 1.0), (far, 0.8)):
        if big:
            _eye(sheet, frame, face, u, eye_v, squash, mood, pen)
        else:
            sheet.black(_oval(frame, u + 0.01, eye_v, 0.026 * squash + 0.006, 0.045))
        lift = {"worry": -0.05, "shout": -0.06, "stern": 0.035}.get(mood, 0.0)
        inner = u + (0.07 if u == near else -0.055)
        outer = u - (0.08 if u == near else -0.05)
        inner_v = -0.12 + (lift if mood == "worry" else lift * 1.1)
        outer_v = -0.11 + (0.03 if mood == "worry" else (lift * 0.8 if mood == "shout" else -0.01))
        weight = pen * (2.1 if face.brows == "thick" else 1.15)
        brow = curve([(outer, outer_v), ((inner + outer) / 2, min(inner_v, outer_v) - 0.025), (inner, inner_v)])
        sheet.stroke(frame(brow), weight, taper=(0.3, 0.5))
    nose = frame(curve(NOSES[face.nose], steps=6))
    skin = area("skin")
    if face.nose in ("long", "hook", "bulb"):
        sheet.fill(nose, skin)  # a nose that leaves the face's contour is flesh beyond it
    sheet.stroke(nose, pen * 0.95, taper=(0.15, 0.5))
    if big:
        sheet.stroke(frame(curve([(0.235, 0.12), (0.22, 0.14), (0.24, 0.155)])), pen * 0.7)
    if face.beard:
        _beard(sheet, frame, face, area, pen)
    _mouth(sheet, frame, face, area, mood, pen)
    if face.lines:
        sheet.stroke(frame(curve([(0.2, 0.17), (0.14, 0.24), (0.13, 0.3)])), pen * 0.6)
        sheet.stroke(frame(curve([(0.0, -0.01), (-0.04, 0.0)])), pen * 0.6)
        if big:
            sheet.stroke(frame(curve([(0.05, 0.05), (0.1, 0.065), (0.14, 0.05)])), pen * 0.5)
            sheet.stroke(frame(curve([(0.08, -0.24), (0.16, -0.25), (0.25, -0.23)])), pen * 0.5)
    if face.freckles and big:
        for u, v in ((0.05, 0.12), (0.1, 0.15), (0.14, 0.11), (0.29, 0.17), (0.08, 0.18)):
            sheet.black(_oval(frame, u, v, 0.009, 0.009))
    if face.glasses:
        for u, r in ((near, 0.105), (far + 0.01, 0.088)):
            sheet.contour(_oval(frame, u + 0.01, eye_v + 0.01, r, 0.105), pen * 0.85)
        sheet.stroke(frame([(near - 0.09, eye_v), (-0.12, -0.03)]), pen * 0.8)


def _eye(sheet: Sheet, frame: Frame, face: Face, u: float, v: float, squash: float, mood: str, pen: float) -> None:
    wide, tall = 0.068 * squash, {"shout": 0.062, "worry": 0.056, "stern": 0.034}.get(mood, 0.048)
    sheet.fill(_oval(frame, u, v, wide, tall), None)
    sheet.black(_oval(frame, u + 0.02 * squash, v, 0.03 * squash + 0.006, min(tall, 0.044)))
    if frame.unit > 130:
        sheet.fill(_oval(frame, u + 0.03 * squash, v - 0.016, 0.009, 0.011), None)
    lid = curve(
        [(u - wide * 1.15, v + 0.01), (u - wide * 0.4, v - tall), (u + wide * 0.5, v - tall), (u + wide * 1.1, v)]
    )
    sheet.stroke(frame(lid), pen * (1.5 if face.lashes else 1.0), taper=(0.5, 0.5))
    if face.lashes:
        sheet.stroke(frame([(u - wide * 1.05, v), (u - wide * 1.6, v - 0.03)]), pen)
    sheet.stroke(
        frame(curve([(u - wide * 0.6, v + tall), (u, v + tall * 1.15), (u + wide * 0.7, v + tall)])), pen * 0.5
    )


def _mouth(sheet: Sheet, frame: Frame, face: Face, area: Area, mood: str, pen: float) -> None:
    if face.beard == "full" and mood not in ("shout",):
        sheet.stroke(frame(curve([(0.13, 0.275), (0.2, 0.285), (0.26, 0.265)])), pen)
        return
    if mood == "shout":
        hole = frame(
            curve([(0.1, 0.26), (0.18, 0.22), (0.27, 0.25), (0.26, 0.36), (0.18, 0.41), (0.11, 0.36)], closed=True)
        )
        sheet.black(hole)
        if frame.unit > 60:
            tongue = frame(curve([(0.125, 0.355), (0.18, 0.31), (0.245, 0.345), (0.19, 0.395)], closed=True))
            sheet.fill(tongue, area("tongue"))
        if frame.unit > 90:
            sheet.fill(frame([(0.13, 0.255), (0.25, 0.25), (0.245, 0.275), (0.135, 0.28)]), None)
        return
    shapes = {
        "smile": [(0.06, 0.255), (0.11, 0.3), (0.19, 0.315), (0.265, 0.26)],
        "worry": [(0.1, 0.31), (0.17, 0.275), (0.25, 0.3)],
        "stern": [(0.09, 0.295), (0.17, 0.28), (0.26, 0.285)],
        "calm": [(0.1, 0.28), (0.17, 0.295), (0.25, 0.275)],
    }
    sheet.stroke(frame(curve(shapes[mood])), pen, taper=(0.4, 0.4))
    if frame.unit > 90:
        sheet.stroke(frame(curve([(0.15, 0.355), (0.19, 0.365), (0.23, 0.35)])), pen * 0.6)


def _beard(sheet: Sheet, frame: Frame, face: Face, area: Area, pen: float) -> None:
    beard = area("beard")
    if beard is None:
        beard = area("hair")
    if face.beard == "full":
        edge = [(-0.16, 0.08), (-0.06, 0.14), (0.04, 0.2), (0.14, 0.19), (0.22, 0.175), (0.3, 0.2),
            (0.36, 0.24), (0.37, 0.42), (0.3, 0.62), (0.2, 0.7), (0.14, 0.76), (0.02, 0.68), (-0.1, 0.6),
            (-0.2, 0.42), (-0.24, 0.2)]  # fmt: skip
        sheet.shape(frame(curve(edge, closed=True, steps=6)), beard, pen)
        for strand in ([(0.0, 0.3), (0.02, 0.44), (0.08, 0.58)], [(0.3, 0.34), (0.29, 0.46), (0.24, 0.58)],
                       [(-0.1, 0.24), (-0.1, 0.38), (-0.04, 0.5)], [(0.15, 0.42), (0.17, 0.52), (0.16,
                       0.62)]):  # fmt: skip
            sheet.stroke(frame(curve(strand)), pen * 0.65, taper=(0.2, 0.05))
    if face.beard in ("moustache", "full"):
        edge = [(0.21, 0.175), (0.1, 0.2), (0.02, 0.29), (-0.06, 0.28), (0.02, 0.34), (0.14, 0.3), (0.22, 0.25),
            (0.3, 0.3), (0.38, 0.32), (0.36, 0.24), (0.3, 0.19)]  # fmt: skip
        sheet.shape(frame(curve(edge, closed=True, steps=5)), beard, pen * 0.9)
    if face.beard == "goatee":
        edge = [(0.1, 0.36), (0.18, 0.345), (0.24, 0.37), (0.25, 0.5), (0.22, 0.72), (0.14, 0.6)]
        sheet.shape(frame(curve(edge, closed=True, steps=5)), beard, pen * 0.9)
        thin = [
            (0.21, 0.19),
            (0.1, 0.22),
            (-0.02, 0.2),
            (0.1, 0.25),
            (0.21, 0.225),
            (0.3, 0.24),
            (0.4, 0.19),
            (0.3, 0.205),
        ]
        sheet.shape(frame(curve(thin, closed=True, steps=5)), beard, pen * 0.7)


def _oval(frame: Frame, u: float, v: float, ru: float, rv: float) -> Points:
    t = np.linspace(0, 2 * np.pi, 18, endpoint=False)
    return frame(np.column_stack([u + ru * np.cos(t), v + rv * np.sin(t)]))
