"""Arms, hands, legs and boots in a body's frame (see ``poses``)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from guides.demo.artist.pens import Frame, Points, Sheet, curve, tube
from guides.demo.artist.poses import Joint

Area = Callable[..., int | None]


def _between(a: Joint, b: Joint, t: float) -> Joint:
    return a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t


def _angle(a: Joint, b: Joint) -> float:
    """Turn of a frame whose downward axis runs from a to b."""
    return float(np.degrees(np.arctan2(-(b[0] - a[0]), b[1] - a[1])))


def limb(body: Frame, joints: list[Joint], widths: list[float], *, round_end: bool = False) -> Points:
    """The outline of a limb, its sides smooth and its ends square or round."""
    left, right = tube(np.array(joints), widths, steps=6)
    if round_end:
        tip = left[0] + (right[0] - left[0]) * 0.5
        back = np.array(joints[0]) - np.array(joints[1])
        back = back / max(float(np.hypot(*back)), 1e-6) * widths[0] * 0.8
        cap = curve([right[0], tip + back, left[0]], steps=5)
        return body(np.vstack([left, right[::-1], cap[1:-1]]))
    return body(np.vstack([left, right[::-1]]))


@dataclass(frozen=True, slots=True)
class Sleeve:
    """What an arm wears: ``cut`` is long, short or the slot of another garment's sleeve (a shirt below a vest)."""

    girth: float
    cut: str
    gloves: bool


def draw_arm(
    sheet: Sheet,
    body: Frame,
    arm: tuple[Joint, Joint, Joint],
    hand: str,
    area: Area,
    pen: float,
    dress: Sleeve,
    *,
    near: bool,
) -> Frame:
    """Draw sleeve and hand; answers the frame of the hand, its origin where things are gripped."""
    shoulder, elbow, wrist = arm
    w, sleeve = 0.5 + 0.5 * dress.girth, dress.cut
    turn = _angle(elbow, wrist)
    x, y = body.at(*wrist)
    grip = Frame(x, y, body.unit, turn=turn, flip=body.flip)
    skin = area("gloves") if dress.gloves else area("skin")
    draw_hand(sheet, grip, hand, skin, pen)
    if sleeve == "short":
        bare = limb(body, [_between(shoulder, elbow, 0.4), elbow, wrist], [0.15 * w, 0.125 * w, 0.085])
        sheet.shape(bare, area("skin"), pen)
        cloth = limb(body, [shoulder, _between(shoulder, elbow, 0.62)], [0.2 * w, 0.2 * w], round_end=True)
    else:
        end = _between(elbow, wrist, 0.98)
        cloth = limb(body, [shoulder, elbow, end], [0.2 * w, 0.165 * w, 0.14 * w], round_end=True)
    slot = sleeve if sleeve not in ("short", "long") else "torso"
    number = area(slot)
    sheet.shape(cloth, number, pen)
    shade = area(slot, "shade")
    if shade is not None and number is not None:
        low = limb(
            body, [(p[0] - 0.09 * w, p[1] + 0.07) for p in (shoulder, elbow, wrist)], [0.1 * w, 0.1 * w, 0.1 * w]
        )
        sheet.tuck(low, shade, inside=[number]) if near else None
    if sleeve != "short" and body.unit > 26:
        _sleeve_lines(sheet, body, shoulder, elbow, wrist, w, pen)
    return grip


def _sleeve_lines(sheet: Sheet, body: Frame, a: Joint, b: Joint, c: Joint, w: float, pen: float) -> None:
    cuff = _between(b, c, 0.84)
    across = np.array([c[1] - b[1], -(c[0] - b[0])])
    across = across / max(float(np.hypot(*across)), 1e-6) * 0.145 * w
    p, q = np.array(cuff) + across, np.array(cuff) - across
    bulge = (np.array(c) - np.array(b)) * 0.06
    sheet.stroke(body(curve(np.array([p, (p + q) / 2 + bulge, q]))), pen * 0.7, taper=(0.8, 0.8))
    inner = 1.0 if (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]) < 0 else -1.0
    for k, size in ((0.86, 0.6), (1.0, 0.9), (0.14, 0.6)):
        start = np.array(_between(a, b, k) if k > 0.5 else _between(b, c, k))
        line = np.array([start + across * inner * 0.95, start + across * inner * (0.95 - size * 0.7) + bulge * 0.6])
        sheet.stroke(body(curve(line)), pen * 0.6, taper=(0.6, 0.05))


HANDS = {
    # palm and fingers along +v from the wrist, thumb towards the facing side
    "rest": ([(-0.075, -0.03), (-0.1, 0.12), (-0.1, 0.28), (-0.06, 0.4), (0.0, 0.42), (0.06, 0.38), (0.095,
        0.24), (0.085, 0.1),
              (0.075, -0.03)],
             [[(-0.04, 0.26), (-0.035, 0.39)], [(0.02, 0.26), (0.025, 0.4)]],
             [(0.06, 0.04), (0.14, 0.1), (0.17, 0.22), (0.13, 0.27), (0.09, 0.2), (0.05, 0.16)]),
    "fist": ([(-0.075, -0.03), (-0.12, 0.08), (-0.14, 0.2), (-0.1, 0.3), (0.02, 0.32), (0.13, 0.27), (0.14,
    0.14), (0.1, 0.05),
              (0.075, -0.03)],
             [[(-0.06, 0.2), (-0.055, 0.3)], [(0.0, 0.21), (0.01, 0.31)], [(0.065, 0.2), (0.075, 0.29)]],
             [(0.1, 0.05), (0.16, 0.11), (0.1, 0.2), (-0.02, 0.2), (-0.03, 0.14), (0.05, 0.11)]),
    "open": ([(-0.075, -0.03), (-0.12, 0.1), (-0.2, 0.22), (-0.26, 0.34), (-0.21, 0.36), (-0.12, 0.25),
    (-0.12, 0.42), (-0.08, 0.46),
              (-0.05, 0.42), (-0.04, 0.27), (0.0, 0.46), (0.05, 0.48), (0.07, 0.43), (0.04, 0.26), (0.12,
              0.38), (0.17, 0.38),
              (0.16, 0.31), (0.1, 0.15), (0.075, -0.03)], [],
             [(0.07, 0.05), (0.17, 0.08), (0.25, 0.16), (0.23, 0.21), (0.15, 0.17), (0.07, 0.17)]),
    "point": ([(-0.075, -0.03), (-0.12, 0.08), (-0.13, 0.2), (-0.08, 0.28), (0.0, 0.27), (0.02, 0.3), (0.03,
    0.5), (0.075, 0.54),
               (0.11, 0.5), (0.115, 0.24), (0.1, 0.08), (0.075, -0.03)],
              [[(-0.07, 0.17), (-0.06, 0.26)], [(-0.01, 0.17), (0.0, 0.26)]],
              [(0.08, 0.05), (0.15, 0.1), (0.12, 0.19), (0.03, 0.18), (0.04, 0.12)]),
    "grip": ([(-0.075, -0.03), (-0.12, 0.07), (-0.15, 0.17), (-0.1, 0.27), (0.02, 0.29), (0.13, 0.24), (0.13,
    0.12), (0.09, 0.04),
              (0.075, -0.03)],
             [[(-0.13, 0.15), (-0.04, 0.17)], [(-0.13, 0.2), (-0.03, 0.22)]],
             [(0.08, 0.03), (0.16, 0.08), (0.13, 0.19), (0.05, 0.19), (0.05, 0.12)]),
}  # fmt: skip


def draw_hand(sheet: Sheet, grip: Frame, hand: str, skin: int | None, pen: float) -> None:
    """A hand hanging along +v of its frame."""
    palm, lines, thumb = HANDS[hand]
    sheet.shape(grip(curve(palm, closed=True, steps=4)), skin, pen * 0.9)
    if grip.unit > 40:
        for line in lines:
            sheet.stroke(grip(curve(line)), pen * 0.65, taper=(0.2, 0.6))
    if grip.unit > 22:
        sheet.shape(grip(curve(thumb, closed=True, steps=4)), skin, pen * 0.75)
        web = curve([(0.02, 0.03), (0.06, 0.06), (0.06, 0.13)], steps=4)
        if grip.unit > 60:
            sheet.stroke(grip(web), pen * 0.4)


def draw_leg(
    sheet: Sheet, body: Frame, leg: tuple[Joint, Joint, Joint], area: Area, pen: float, *, girth: float,
        legs: str,
    feet: str, near: bool,
) -> None:  # fmt: skip
    """Draw a trouser leg and a boot or shoe; a skirted figure shows stockings in the colour of its legs."""
    hip, knee, ankle = leg
    w = 0.55 + 0.45 * girth
    widths = [0.27 * w, 0.2 * w, 0.17 * w] if legs == "trousers" else [0.2 * w, 0.13, 0.09]
    cloth = limb(body, [hip, knee, ankle], widths, round_end=True)
    number = area("legs")
    tall = feet == "boots"
    if not tall:
        _foot(sheet, body, knee, ankle, area, pen, tall=False)
    sheet.shape(cloth, number, pen)
    shade = area("legs", "shade")
    if shade is not None and number is not None:
        dark = limb(body, [(p[0] - 0.13 * w, p[1]) for p in leg], [0.12 * w, 0.1 * w, 0.08 * w])
        if not near:
            dark = limb(body, list(leg), [0.3 * w, 0.25 * w, 0.2 * w])
            dark = limb(body, [(p[0] - 0.02, p[1]) for p in leg], [0.22 * w, 0.2 * w, 0.16 * w])
        sheet.tuck(dark, shade, inside=[number])
    if legs == "trousers" and body.unit > 24:
        for k, (du, size) in enumerate(((0.12, 0.16), (0.15, 0.12))):
            u, v = knee[0] + du * w, knee[1] + (k - 0.5) * 0.18
            sheet.stroke(
                body(curve([(u, v), (u - size * 0.6, v + 0.03), (u - size, v + 0.01)])), pen * 0.6, taper=(0.6, 0.05)
            )
        if not tall:
            u, v = ankle
            sheet.stroke(
                body(curve([(u + 0.15 * w, v - 0.2), (u + 0.02, v - 0.12), (u - 0.05, v - 0.14)])),
                pen * 0.6,
                taper=(0.6, 0.1),
            )
    if tall:
        _foot(sheet, body, knee, ankle, area, pen, tall=True)


def _foot(sheet: Sheet, body: Frame, knee: Joint, ankle: Joint, area: Area, pen: float, *, tall: bool) -> None:
    turn = _angle(knee, ankle)
    lifted = max(0.0, turn - 28.0)  # a trailing foot lifts its heel
    x, y = body.at(*ankle)
    flat = Frame(x, y, body.unit, turn=lifted * 0.9, flip=body.flip)
    shin = Frame(x, y, body.unit, turn=turn, flip=body.flip)
    number = area("feet")
    sole = [(-0.2, 0.2), (-0.2, 0.2), (-0.17, 0.05), (-0.13, -0.08), (0.12, -0.1), (0.2, 0.0), (0.38, 0.05),
        (0.5, 0.11), (0.52, 0.2), (0.52, 0.2)]  # fmt: skip
    foot = flat(curve(sole, closed=True, steps=5))
    if tall:
        sheet.shape(foot, number, pen)
        shaft = [(-0.2, -0.62), (-0.2, -0.62), (-0.17, -0.3), (-0.145, 0.0), (0.0, 0.06), (0.15, -0.02),
            (0.16, -0.3), (0.21, -0.64), (0.21, -0.64), (0.0, -0.6)]  # fmt: skip
        sheet.shape(shin(curve(shaft, closed=True, steps=5)), number, pen)
        seam = flat(
            curve(
                [(-0.15, 0.0), (0.0, 0.07), (0.14, -0.01), (0.22, 0.03), (0.02, 0.13), (-0.15, 0.1)],
                closed=True,
                steps=4,
            )
        )
        sheet.fill(seam, number)
        cuff = shin(curve([(-0.2, -0.5), (0.0, -0.46), (0.2, -0.52)]))
        sheet.stroke(cuff, pen * 0.7, taper=(0.8, 0.8))
    else:
        sheet.shape(foot, number, pen)
    shade = area("feet", "shade")
    if shade is not None and number is not None:
        dark = shin([(-0.24, -0.64), (-0.05, -0.64), (-0.02, -0.2), (-0.04, 0.24), (-0.3, 0.24)])
        sheet.tuck(dark, shade, inside=[number])
    if body.unit > 22:
        sheet.black(
            flat(
                [
                    (-0.21, 0.17),
                    (0.53, 0.17),
                    (0.53, 0.215),
                    (0.1, 0.215),
                    (0.08, 0.2),
                    (-0.02, 0.2),
                    (-0.04, 0.235),
                    (-0.21, 0.235),
                ]
            )
        )
    if body.unit > 34:
        for u in (0.2, 0.26):
            sheet.stroke(flat(curve([(u, 0.0), (u + 0.03, 0.05), (u + 0.01, 0.09)])), pen * 0.6)
