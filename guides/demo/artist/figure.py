"""A whole figure: skeleton, clothes and head put together in the order in which they cover each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from guides.demo.artist.garments import draw_cape, draw_neck, draw_neckwear, draw_torso
from guides.demo.artist.heads import Area, draw_head
from guides.demo.artist.limbs import Sleeve, draw_arm, draw_leg
from guides.demo.artist.pens import Frame, Sheet, curve
from guides.demo.artist.poses import POSES, skeleton
from guides.demo.story.looks import Build, FigureLook


def line_width(unit: float) -> float:
    """Brush width in pixels for a figure whose head is ``unit`` pixels high: bigger figures, bolder lines."""
    return 1.15 + 0.017 * unit


def draw_figure(
    sheet: Sheet, x: float, ground: float, unit: float, build: Build, look: FigureLook, area: Area, *, pose: str,
    mood: str = "calm", flip: bool = False,
) -> dict[str, Frame]:  # fmt: skip
    """Draw a figure standing at (x, ground), its head ``unit`` pixels high, facing right unless flipped.

    Answers the frames of its hands (``far``, ``near``) and head, so that it can be given things to hold.
    """
    stance = POSES[pose]
    if look.torso == "dress":  # a long skirt takes small steps
        stance = replace(
            stance,
            far_leg=(stance.far_leg[0] * 0.35, stance.far_leg[1] * 0.35),
            near_leg=(stance.near_leg[0] * 0.35, stance.near_leg[1] * 0.35),
            lean=float(np.clip(stance.lean, -7, 8)),
        )
    bones = skeleton(stance, build)
    pen = line_width(unit)
    body = Frame(x, ground, unit, flip=flip)
    px, py = body.at(*bones.pelvis)
    torso = Frame(px, py, unit, turn=bones.lean, flip=flip)
    hx, hy = body.at(*bones.head)
    head = Frame(hx, hy, unit, turn=bones.nod, flip=flip)
    sleeve = {"vest": "shirt"}.get(look.torso, "long")
    if sleeve == "shirt" and area("shirt") is None:
        sleeve = "short"
    arm = Sleeve(build.girth, sleeve, look.gloves)
    if look.cape:
        draw_cape(sheet, body, torso, bones.torso, build.girth, area, pen, over=False)
    _shadow(sheet, body, bones.far_leg[2], bones.near_leg[2], pen)
    far = draw_arm(sheet, body, bones.far_arm, stance.hands[0], area, pen, arm, near=False)
    for leg, near in ((bones.far_leg, False), (bones.near_leg, True)):
        draw_leg(sheet, body, leg, area, pen, girth=build.girth, legs=look.legs, feet=look.feet, near=near)
    draw_torso(sheet, body, torso, bones, build, look, area, pen)
    draw_neck(sheet, torso, head, bones.torso, look, area, pen, lean=bones.lean)
    if look.bag:
        _strap(sheet, torso, bones.torso, build.girth, area, pen)
    near_hand = draw_arm(sheet, body, bones.near_arm, stance.hands[1], area, pen, arm, near=True)
    if sleeve == "long":  # open the line where the sleeve grows out of the shoulder
        number = area("torso")
        length, w = bones.torso, build.girth
        patch = curve(
            [
                (-0.4 * w, -length + 0.22),
                (-0.26 * w, -length + 0.3),
                (-0.26 * w, -length + 0.5),
                (-0.36 * w, -length + 0.44),
            ],
            closed=True,
        )
        sheet.fill(torso(patch), number)
    if look.cape:
        draw_cape(sheet, body, torso, bones.torso, build.girth, area, pen, over=True)
    draw_neckwear(sheet, torso, bones.torso, look, area, pen)
    draw_head(sheet, head, build.face, area, hat=look.hat, mood=mood, pen=pen)
    return {"far": far, "near": near_hand, "head": head, "body": body}


def _shadow(sheet: Sheet, body: Frame, far: tuple[float, float], near: tuple[float, float], pen: float) -> None:
    """Hatching on the ground behind the feet, so that nobody floats."""
    start, stop = min(far[0], near[0]) - 0.55, max(far[0], near[0]) + 0.2
    for k, v in enumerate((0.02, 0.075)):
        line = curve([(start + 0.16 * k, v), ((start + stop) / 2, v + 0.02), (stop - 0.2 * k, v)])
        sheet.stroke(body(line), pen * 1.1, taper=(0.05, 0.05))


def _strap(sheet: Sheet, torso: Frame, length: float, w: float, area: Area, pen: float) -> None:
    band = [
        (-0.34 * w, -length + 0.1),
        (-0.24 * w, -length + 0.06),
        (0.46 * w, -0.12 * length),
        (0.38 * w, -0.04 * length),
    ]
    sheet.shape(torso(curve(band, closed=True, steps=2)), area("bag"), pen * 0.8)
    pouch = [(0.18 * w, -0.1 * length), (0.18 * w, -0.1 * length), (0.66 * w, -0.16 * length),
        (0.66 * w, -0.16 * length), (0.7 * w, 0.36), (0.62 * w, 0.42), (0.22 * w, 0.44),
        (0.16 * w, 0.36)]  # fmt: skip
    sheet.shape(torso(curve(pouch, closed=True, steps=4)), area("bag"), pen)
    flap = [
        (0.17 * w, -0.1 * length),
        (0.66 * w, -0.16 * length),
        (0.66 * w, 0.08),
        (0.42 * w, 0.2),
        (0.18 * w, 0.12),
    ]
    sheet.stroke(torso(curve(flap, steps=3)), pen * 0.8)
