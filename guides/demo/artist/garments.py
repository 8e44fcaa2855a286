"""Coats, jackets, dresses, aprons, scarves and capes: what covers the body between neck and knee."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guides.demo.artist.pens import Frame, Sheet, curve
from guides.demo.artist.poses import Skeleton
from guides.demo.story.looks import Build, FigureLook

Area = Callable[..., int | None]

HEMS = {"coat": 0.98, "jacket": 0.16, "vest": 0.1, "dress": 2.0, "smock": 0.6, "jersey": 0.12}
"""How far below the pelvis a garment ends, in heads."""


def draw_torso(
    sheet: Sheet, body: Frame, torso: Frame, bones: Skeleton, build: Build, look: FigureLook, area: Area, pen: float
) -> None:
    """Draw the garment of the body. ``torso`` is the leaning frame with its origin at the pelvis."""
    length, w, belly = bones.torso, build.girth, build.belly
    wa = build.waist
    hem = min(HEMS[look.torso], -bones.pelvis[1] - 0.42)
    # the hem hangs over the legs: as wide as they stand at that height
    us = []
    for leg in (bones.far_leg, bones.near_leg):
        vs = np.array([p[1] - bones.pelvis[1] for p in leg])
        us.append(float(np.interp(hem, np.maximum.accumulate(vs), [p[0] for p in leg])))
    flare = {"coat": 0.3, "dress": 0.42, "smock": 0.3}.get(look.torso, 0.24) * (0.6 + 0.4 * w)
    back, front = min(us) - flare, max(us) + flare
    bottom = bones.pelvis[1] + hem
    upper_left = torso([(-0.14, -length - 0.02), (-0.3 * w, -length + 0.06), (-0.5 * w, -length + 0.2),
        (-0.53 * w, -length + 0.45), (-0.47 * w, -0.62 * length), (-0.47 * w * wa, -0.3 * length),
        (-0.5 * w, 0.0)])  # fmt: skip
    upper_right = torso([(0.47 * w + 0.3 * belly, 0.0), (0.45 * w * wa + 0.46 * belly, -0.3 * length),
        (0.46 * w + 0.16 * belly, -0.62 * length), (0.47 * w, -length + 0.42), (0.43 * w, -length + 0.2),
        (0.28 * w, -length + 0.06), (0.17, -length)])  # fmt: skip
    mid = (back + front) / 2
    lower = body([(back, bottom - 0.02), (back, bottom - 0.02), (mid - 0.12, bottom + 0.05),
        (mid + 0.2, bottom + 0.02), (front, bottom - 0.05), (front, bottom - 0.05)])  # fmt: skip
    outline = curve(np.vstack([upper_left, lower, upper_right]), closed=True, steps=6)
    number = area("torso")
    sheet.shape(outline, number, pen)
    shade = area("torso", "shade")
    if shade is not None and number is not None:
        left = np.vstack([torso([(-0.6 * w, -length + 0.5), (-0.24 * w, -length + 0.62),
            (-0.2 * w, -0.4 * length), (-0.26 * w, 0.0)]), body([(mid * 0.5 + back * 0.5 - 0.02, bottom - 0.1),
            (mid * 0.4 + back * 0.6, bottom + 0.2), (back - 0.3, bottom + 0.2)])])  # fmt: skip
        sheet.tuck(curve(left, closed=True), shade, inside=[number])
    _DETAILS[look.torso](sheet, body, torso, length, w, belly, (back, front, bottom), look, area, pen)
    if look.belt:
        _belt(sheet, torso, length, w, wa, belly, area, pen)
    if look.apron:
        _apron(sheet, body, torso, length, w, belly, (back, front, bottom), area, pen)


Hem = tuple[float, float, float]


def _fold(
    sheet: Sheet, frame: Frame, points: list[tuple[float, float]], pen: float, area: Area, slot: str = "torso"
) -> None:
    sheet.crease(frame(curve(points)), pen * 0.65, inside=[area(slot), area(slot, "shade")])


def _collar(sheet: Sheet, torso: Frame, length: float, area: Area, pen: float, depth: float) -> None:
    shirt = area("shirt")
    vee = torso(curve([(-0.1, -length - 0.04), (0.2, -length - 0.02), (0.2, -length - 0.02),
        (0.17, -length + depth), (0.17, -length + depth)], closed=True, steps=4))  # fmt: skip
    sheet.shape(vee, shirt if shirt is not None else area("skin"), pen * 0.8)
    slot = "collar" if area("collar") is not None else "torso"
    near = [(-0.15, -length - 0.06), (-0.15, -length - 0.06), (-0.24, -length + 0.14), (-0.06, -length + 0.34),
        (0.17, -length + depth + 0.04), (0.17, -length + depth + 0.04), (0.02, -length + 0.14)]  # fmt: skip
    far = [(0.19, -length - 0.05), (0.19, -length - 0.05), (0.32, -length + 0.1), (0.29, -length + 0.3),
        (0.17, -length + depth + 0.04), (0.17, -length + depth + 0.04), (0.2, -length + 0.14)]  # fmt: skip
    for flap in (far, near):
        sheet.shape(torso(curve(flap, closed=True, steps=4)), area(slot), pen * 0.85)


def _buttons(sheet: Sheet, torso: Frame, places: list[tuple[float, float]], area: Area, pen: float) -> None:
    if torso.unit < 30:
        return
    t = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    ring = np.column_stack([np.cos(t), np.sin(t)]) * 0.048
    for u, v in places:
        sheet.shape(torso(ring + np.array((u, v))), area("buttons"), pen * 0.6)


def _coat(
    sheet: Sheet,
    body: Frame,
    torso: Frame,
    length: float,
    w: float,
    belly: float,
    hem: Hem,
    look: FigureLook,
    area: Area,
    pen: float,
) -> None:
    back, front, bottom = hem
    depth = 0.58
    u_mid = 0.17 + 0.3 * belly
    centre = np.vstack([torso([(0.17, -length + depth), (0.17 + 0.34 * belly, -0.3 * length), (u_mid, 0.0)]),
        body([(back * 0.36 + front * 0.64, bottom - 0.02)])])  # fmt: skip
    sheet.stroke(curve(centre), pen * 0.85, taper=(0.8, 0.6))
    _collar(sheet, torso, length, area, pen, depth)
    step = (length - depth - 0.1) / 3
    rows = [
        (0.09 + 0.3 * belly * min(k, 2) / 2, -length + depth + 0.16 + k * step)
        for k in range(4 if look.torso == "coat" else 3)
    ]
    if look.pattern == "double":
        rows += [(u + 0.2, v) for u, v in rows]
    _buttons(sheet, torso, rows, area, pen)
    if body.unit > 26:
        p, q = torso.at(-0.38 * w, -0.02), torso.at(-0.1 * w, 0.02)
        if look.torso == "coat":
            flap = np.array([p, q, (q[0], q[1] + 0.12 * body.unit), (p[0], p[1] + 0.12 * body.unit)])
            sheet.contour(curve(flap, closed=True, steps=3), pen * 0.6)
        _fold(
            sheet,
            torso,
            [(-0.45 * w, -0.32 * length), (-0.28 * w, -0.26 * length), (-0.14 * w, -0.27 * length)],
            pen,
            area,
        )
        _fold(
            sheet,
            torso,
            [(0.43 * w + 0.3 * belly, -0.27 * length), (0.32 * w + 0.24 * belly, -0.22 * length)],
            pen,
            area,
        )
    if look.torso == "coat" and body.unit > 44:  # feathering from the dark side
        cloth = [area("torso"), area("torso", "shade")]
        for row in range(6):
            v = -0.5 * length + 0.13 * row
            line = [(-0.52 * w, v), (-0.44 * w, v + 0.03), (-(0.36 - 0.02 * (row % 3)) * w, v + 0.02)]
            sheet.crease(torso(curve(line)), pen * 0.75, inside=cloth, taper=(0.9, 0.02))
    if look.torso == "coat" and body.unit > 26:
        for k, top in ((0.22, 0.5), (0.8, 0.42)):
            u = back + (front - back) * k
            _fold(
                sheet,
                body,
                [(u, bottom - 0.02), (u * 0.85 + 0.02, bottom - 0.24), (u * 0.7 + 0.04, bottom - top)],
                pen,
                area,
            )
    if look.pattern == "patches":
        patch = torso(
            [
                (-0.36 * w, -0.62 * length),
                (-0.12 * w, -0.66 * length),
                (-0.1 * w, -0.5 * length),
                (-0.34 * w, -0.46 * length),
            ]
        )
        sheet.shape(curve(patch, closed=True, steps=2), area("patch"), pen * 0.7)


def _vest(
    sheet: Sheet,
    body: Frame,
    torso: Frame,
    length: float,
    w: float,
    belly: float,
    hem: Hem,
    look: FigureLook,
    area: Area,
    pen: float,
) -> None:
    _coat(sheet, body, torso, length, w, belly, hem, look, area, pen)
    if body.unit > 30:
        chain = [
            (0.1 + 0.3 * belly, -0.36 * length),
            (0.26 + 0.3 * belly, -0.24 * length),
            (0.36 * w + 0.3 * belly, -0.34 * length),
        ]
        sheet.stroke(torso(curve(chain)), pen * 0.7)


def _jersey(
    sheet: Sheet,
    body: Frame,
    torso: Frame,
    length: float,
    w: float,
    belly: float,
    hem: Hem,
    look: FigureLook,
    area: Area,
    pen: float,
) -> None:
    number = area("torso")
    stripe = area("stripe")
    if look.pattern == "stripes" and stripe is not None and number is not None:
        for k in range(5):
            v = -length + 0.36 + k * 0.27 * length / 1.75 * 1.2
            band = curve([(-0.7 * w, v - 0.05), (0.0, v + 0.03), (0.7 * w + belly, v - 0.04),
                (0.7 * w + belly, v + 0.07), (0.0, v + 0.14), (-0.7 * w, v + 0.06)], closed=True)  # fmt: skip
            sheet.tuck(torso(band), stripe, inside=[number, area("torso", "shade") or number])
    neck = torso(curve([(-0.16, -length - 0.06), (0.02, -length + 0.06), (0.2, -length - 0.04),
        (0.22, -length + 0.06), (0.03, -length + 0.17), (-0.19, -length + 0.06)], closed=True))  # fmt: skip
    sheet.shape(neck, number, pen * 0.8)
    if body.unit > 26:
        _fold(
            sheet,
            torso,
            [(-0.45 * w, -0.3 * length), (-0.26 * w, -0.24 * length), (-0.1 * w, -0.26 * length)],
            pen,
            area,
        )
        _fold(sheet, torso, [(-0.6 * w, 0.0), (0.0, 0.05), (0.6 * w + 0.4 * belly, -0.01)], pen, area)


def _dress(
    sheet: Sheet,
    body: Frame,
    torso: Frame,
    length: float,
    w: float,
    belly: float,
    hem: Hem,
    look: FigureLook,
    area: Area,
    pen: float,
) -> None:
    back, front, bottom = hem
    waist = torso(curve([(-0.6 * w, -0.27 * length), (0.0, -0.2 * length), (0.6 * w + 0.5 * belly, -0.27 * length)]))
    sheet.crease(waist, pen * 0.8, inside=[area("torso"), area("torso", "shade")], taper=(0.8, 0.8))
    _collar(sheet, torso, length, area, pen, 0.34)
    _buttons(sheet, torso, [(0.16 + 0.2 * belly * k / 3, -length + 0.5 + 0.24 * k) for k in range(3)], area, pen)
    if body.unit > 22:
        for k, top in ((0.2, 1.2), (0.42, 0.9), (0.66, 1.3), (0.84, 0.8)):
            u = back + (front - back) * k
            _fold(sheet, body, [(u, bottom), (u * 0.7, bottom - top * 0.5), (u * 0.5, bottom - top)], pen, area)
    trim = area("trim")
    number = area("torso")
    if trim is not None and number is not None:
        band = body([(back - 0.3, bottom - 0.26), ((back + front) / 2, bottom - 0.16),
            (front + 0.3, bottom - 0.26), (front + 0.3, bottom + 0.3), (back - 0.3, bottom + 0.3)])  # fmt: skip
        sheet.tuck(band, trim, inside=[number, area("torso", "shade") or number])
        seam = body(
            curve([(back - 0.3, bottom - 0.26), ((back + front) / 2, bottom - 0.15), (front + 0.3, bottom - 0.26)])
        )
        sheet.crease(seam, pen * 0.7, inside=[number, trim, area("torso", "shade")], taper=(0.9, 0.9))


_DETAILS: dict[str, Callable[..., None]] = {
    "coat": _coat, "jacket": _coat, "vest": _vest, "dress": _dress, "smock": _jersey, "jersey": _jersey,
}  # fmt: skip


def _belt(
    sheet: Sheet, torso: Frame, length: float, w: float, wa: float, belly: float, area: Area, pen: float
) -> None:
    v = -0.2 * length
    back, front = -0.48 * w * (0.36 + 0.64 * wa), 0.46 * w * (0.36 + 0.64 * wa) + 0.41 * belly
    band = [(back, v), (0.0, v + 0.06), (front, v - 0.01), (front, v + 0.14), (0.0, v + 0.21), (back, v + 0.15)]
    sheet.shape(torso(curve([band[0], *band, band[-1]], closed=True, steps=5)), area("belt"), pen * 0.85)
    if torso.unit > 30:
        u = 0.17 + 0.34 * belly
        buckle = torso([(u - 0.07, v + 0.02), (u + 0.08, v + 0.02), (u + 0.08, v + 0.2), (u - 0.07, v + 0.2)])
        sheet.shape(curve(buckle, closed=True, steps=2), area("buttons"), pen * 0.7)


def _apron(
    sheet: Sheet, body: Frame, torso: Frame, length: float, w: float, belly: float, hem: Hem, area: Area, pen: float
) -> None:
    back, front, bottom = hem
    low = min(bottom - 0.3, -0.75)
    bib = torso(
        [(-0.1, -0.66 * length), (-0.1, -0.66 * length), (-0.2 * w, -0.24 * length), (-0.34 * w, -0.1 * length)]
    )
    skirt = body([(back * 0.62, low - 0.04), (back * 0.62, low - 0.04), ((back + front) / 2 + 0.05, low + 0.05),
        (front * 0.86, low - 0.06), (front * 0.86, low - 0.06)])  # fmt: skip
    right = torso(
        [
            (0.42 * w + 0.42 * belly, -0.12 * length),
            (0.36 * w + 0.4 * belly, -0.3 * length),
            (0.32, -0.66 * length),
            (0.32, -0.66 * length),
        ]
    )
    outline = curve(np.vstack([bib, skirt, right]), closed=True, steps=5)
    number = area("apron")
    sheet.shape(outline, number, pen * 0.9)
    for strap in (
        [(-0.09, -0.66 * length), (-0.18, -length + 0.06)],
        [(0.31, -0.66 * length), (0.25, -length + 0.05)],
    ):
        sheet.stroke(torso(curve(strap)), pen * 1.3, taper=(0.9, 0.9))
    if body.unit > 26:
        pocket = torso(
            curve(
                [
                    (-0.06, -0.12 * length),
                    (0.3 * w + 0.3 * belly, -0.13 * length),
                    (0.28 * w + 0.3 * belly, 0.14),
                    (-0.04, 0.16),
                ],
                steps=3,
            )
        )
        sheet.stroke(pocket, pen * 0.7, taper=(0.9, 0.9))
        _fold(sheet, body, [(0.0, low), (0.02, low - 0.4)], pen, area, "apron")
    shade = area("apron", "shade")
    if shade is not None and number is not None:
        sheet.tuck(
            body([(back, low + 0.2), (back * 0.3, low + 0.2), (back * 0.28, -2.0), (back, -2.0)]),
            shade,
            inside=[number],
        )


def draw_neck(
    sheet: Sheet, torso: Frame, head: Frame, length: float, look: FigureLook, area: Area, pen: float, *, lean: float
) -> None:
    """The neck itself, before the head."""
    hu, hv = head.at(-0.02, 0.36)
    root = torso([(-0.13, -length + 0.12), (0.17, -length + 0.12)])
    half = 0.15 * head.unit
    column = np.array(
        [
            [hu - half, hv],
            root[0] if not torso.flip else root[1],
            root[1] if not torso.flip else root[0],
            [hu + half, hv],
        ]
    )
    sheet.shape(curve(column, closed=True, steps=2), area("skin"), pen * 0.9)


def draw_neckwear(sheet: Sheet, torso: Frame, length: float, look: FigureLook, area: Area, pen: float) -> None:
    """Scarf or tie, after collar and head."""
    if look.neck == "tie":
        tie = [(0.12, -length + 0.06), (0.21, -length + 0.06), (0.2, -length + 0.16), (0.24, -length + 0.44),
            (0.17, -length + 0.56), (0.11, -length + 0.44), (0.14, -length + 0.16)]  # fmt: skip
        sheet.shape(torso(curve(tie, closed=True, steps=3)), area("neck"), pen * 0.8)
    if look.neck == "scarf":
        tail = [(0.0, -length + 0.16), (0.18, -length + 0.18), (0.24, -length + 0.5), (0.2, -length + 0.92),
            (0.2, -length + 0.92), (0.0, -length + 0.9), (0.0, -length + 0.9), (0.03, -length + 0.5)]  # fmt: skip
        wrap = [(-0.28, -length - 0.06), (-0.06, -length + 0.0), (0.2, -length - 0.02), (0.33, -length - 0.08),
            (0.37, -length + 0.06), (0.26, -length + 0.2), (0.0, -length + 0.26), (-0.26, -length + 0.17),
            (-0.33, -length + 0.04)]  # fmt: skip
        sheet.shape(torso(curve(tail, closed=True, steps=5)), area("neck"), pen)
        sheet.shape(torso(curve(wrap, closed=True, steps=5)), area("neck"), pen)
        for fold in (
            [(-0.24, -length + 0.04), (0.0, -length + 0.1), (0.28, -length + 0.04)],
            [(-0.2, -length + 0.13), (0.0, -length + 0.18), (0.2, -length + 0.14)],
        ):
            sheet.stroke(torso(curve(fold)), pen * 0.6, taper=(0.6, 0.1))
        if torso.unit > 28:
            for k in range(4):
                u = 0.02 + 0.05 * k
                sheet.stroke(torso([(u, -length + 0.9), (u + 0.005, -length + 1.0)]), pen * 0.7)


def draw_cape(
    sheet: Sheet, body: Frame, torso: Frame, length: float, w: float, area: Area, pen: float, *, over: bool
) -> None:
    """A cape: its back behind the body first, its shoulders over it last."""
    number = area("cape")
    if not over:
        cloth = [(-0.3 * w, -length + 0.06), (-0.62 * w, -length + 0.3), (-0.78 * w, -0.4 * length),
            (-0.95 * w, 0.9), (-0.95 * w, 0.9), (-0.2, 1.02), (0.6 * w, 0.9), (0.6 * w, 0.9),
            (0.5 * w, -length + 0.3), (0.25 * w, -length + 0.05)]  # fmt: skip
        sheet.shape(torso(curve(cloth, closed=True)), number, pen)
        shade = area("cape", "shade")
        if shade is not None and number is not None:
            sheet.tuck(
                torso([(0.7 * w, -length), (-0.5 * w, -length), (-0.56 * w, 1.2), (0.8 * w, 1.2)]),
                shade,
                inside=[number],
            )
        for u in (-0.72, -0.55):
            _fold(sheet, torso, [(u * w, 0.9), (u * w * 0.92, 0.1), (u * w * 0.84, -0.5 * length)], pen, area, "cape")
        return
    mantle = [(-0.2, -length - 0.06), (-0.48 * w, -length + 0.1), (-0.68 * w, -length + 0.42),
        (-0.66 * w, -length + 0.62), (-0.3 * w, -length + 0.66), (0.1, -length + 0.36),
        (0.34 * w, -length + 0.58), (0.54 * w, -length + 0.5), (0.54 * w, -length + 0.3),
        (0.36 * w, -length + 0.06), (0.2, -length - 0.04)]  # fmt: skip
    sheet.shape(torso(curve(mantle, closed=True)), number, pen)
    for fold in (
        [(-0.5 * w, -length + 0.6), (-0.4 * w, -length + 0.3)],
        [(0.42 * w, -length + 0.5), (0.34 * w, -length + 0.26)],
    ):
        _fold(sheet, torso, fold, pen, area, "cape")
    _buttons(sheet, torso, [(0.1, -length + 0.2)], area, pen)
