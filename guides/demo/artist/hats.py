"""Hats, in the frame of a head (see ``heads``)."""

from __future__ import annotations

from collections.abc import Callable

from guides.demo.artist.pens import Frame, Sheet, curve

Area = Callable[..., int | None]

CLOSED_HATS = frozenset({"cap", "tophat", "helmet", "peaked", "souwester", "kerchief", "straw", "bobble"})


def hides_top(hat: str) -> bool:
    """Whether the hat covers the top of the head."""
    return hat in CLOSED_HATS


def draw_hat(sheet: Sheet, frame: Frame, hat: str, area: Area, pen: float) -> None:
    """Put a hat on a head that is already drawn."""
    HATS[hat](sheet, frame, area, pen)


def _piece(sheet: Sheet, frame: Frame, points: list[tuple[float, float]], number: int | None, pen: float) -> None:
    sheet.shape(frame(curve(points, closed=True, steps=6)), number, pen)


def _shade(sheet: Sheet, frame: Frame, points: list[tuple[float, float]], area: Area) -> None:
    base, shade = area("hat"), area("hat", "shade")
    if base is not None and shade is not None and frame.unit > 40:
        sheet.tuck(frame(curve(points, closed=True)), shade, inside=[base])


def _cap(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    visor = [(0.2, -0.3), (0.38, -0.3), (0.56, -0.2), (0.58, -0.15), (0.4, -0.18), (0.2, -0.2), (0.1, -0.24)]
    crown = [(-0.4, -0.16), (-0.5, -0.3), (-0.46, -0.52), (-0.22, -0.68), (0.1, -0.67), (0.38, -0.5),
        (0.46, -0.34), (0.36, -0.25), (0.1, -0.25), (-0.2, -0.2)]  # fmt: skip
    _piece(sheet, frame, visor, area("hat"), pen)
    _piece(sheet, frame, crown, area("hat"), pen)
    _shade(
        sheet,
        frame,
        [(-0.46, -0.2), (-0.44, -0.36), (-0.2, -0.32), (0.2, -0.34), (0.44, -0.36), (0.36, -0.22), (-0.2, -0.14)],
        area,
    )
    for seam in ([(-0.04, -0.67), (-0.12, -0.5), (-0.16, -0.24)], [(-0.02, -0.67), (0.14, -0.52), (0.22, -0.27)]):
        sheet.stroke(frame(curve(seam)), pen * 0.6)
    _piece(sheet, frame, [(-0.07, -0.67), (-0.02, -0.71), (0.03, -0.67), (-0.02, -0.65)], area("hat"), pen * 0.7)


def _tophat(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    crown = [(-0.34, -0.3), (-0.34, -0.3), (-0.37, -0.7), (-0.42, -1.08), (-0.42, -1.08), (-0.2, -1.14),
        (0.12, -1.16), (0.36, -1.1), (0.36, -1.1), (0.32, -0.7), (0.33, -0.34), (0.33, -0.34)]  # fmt: skip
    band = [(-0.35, -0.5), (-0.35, -0.5), (0.0, -0.44), (0.325, -0.52), (0.325, -0.52), (0.33, -0.36),
        (0.33, -0.36), (0.0, -0.28), (-0.34, -0.32), (-0.34, -0.32)]  # fmt: skip
    brim = [(-0.62, -0.3), (-0.4, -0.34), (-0.34, -0.33), (0.0, -0.27), (0.33, -0.35), (0.4, -0.37),
        (0.62, -0.36), (0.5, -0.24), (0.2, -0.17), (-0.2, -0.16), (-0.5, -0.2)]  # fmt: skip
    _piece(sheet, frame, crown, area("hat"), pen)
    _shade(sheet, frame, [(-0.34, -0.3), (-0.42, -1.1), (-0.22, -1.12), (-0.2, -0.7), (-0.16, -0.28)], area)
    _piece(sheet, frame, band, area("hatband"), pen * 0.8)
    _piece(sheet, frame, brim, area("hat"), pen)
    sheet.stroke(frame(curve([(0.2, -1.05), (0.18, -0.8), (0.19, -0.6)])), pen * 0.7)


def _helmet(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    dome = [(-0.42, -0.18), (-0.44, -0.5), (-0.32, -0.78), (-0.06, -0.92), (0.2, -0.84), (0.36, -0.58),
        (0.4, -0.26), (0.1, -0.18), (-0.2, -0.14)]  # fmt: skip
    brim = [
        (-0.56, -0.1),
        (-0.42, -0.2),
        (0.0, -0.16),
        (0.38, -0.28),
        (0.56, -0.2),
        (0.48, -0.12),
        (0.1, -0.06),
        (-0.3, -0.02),
    ]
    _piece(sheet, frame, dome, area("hat"), pen)
    _shade(sheet, frame, [(-0.44, -0.16), (-0.46, -0.5), (-0.3, -0.8), (-0.28, -0.5), (-0.22, -0.14)], area)
    _piece(sheet, frame, [(-0.1, -0.92), (-0.08, -1.02), (0.02, -1.02), (0.03, -0.91)], area("badge"), pen * 0.8)
    _piece(sheet, frame, brim, area("hat"), pen)
    _piece(
        sheet,
        frame,
        [(0.12, -0.6), (0.2, -0.66), (0.27, -0.58), (0.26, -0.42), (0.19, -0.37), (0.12, -0.44)],
        area("badge"),
        pen * 0.8,
    )


def _peaked(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    visor = [(0.08, -0.24), (0.36, -0.3), (0.56, -0.14), (0.54, -0.1), (0.3, -0.16), (0.06, -0.17)]
    band = [(-0.42, -0.16), (-0.42, -0.16), (-0.42, -0.36), (-0.42, -0.36), (0.0, -0.4), (0.37, -0.44),
        (0.37, -0.44), (0.37, -0.27), (0.37, -0.27), (0.1, -0.22), (-0.2, -0.16)]  # fmt: skip
    crown = [(-0.43, -0.36), (-0.56, -0.5), (-0.5, -0.66), (-0.2, -0.72), (0.16, -0.82), (0.42, -0.8),
        (0.5, -0.62), (0.38, -0.44), (0.0, -0.38)]  # fmt: skip
    _piece(sheet, frame, crown, area("hat"), pen)
    _shade(
        sheet,
        frame,
        [(-0.43, -0.34), (-0.58, -0.5), (-0.48, -0.6), (-0.2, -0.5), (0.1, -0.46), (0.3, -0.44), (0.0, -0.36)],
        area,
    )
    _piece(sheet, frame, band, area("hatband"), pen * 0.8)
    sheet.shape(frame(curve(visor, closed=True, steps=6)), None, pen)
    sheet.black(frame(curve(visor, closed=True, steps=6)))
    _piece(
        sheet,
        frame,
        [(0.16, -0.56), (0.23, -0.62), (0.3, -0.56), (0.27, -0.46), (0.19, -0.45)],
        area("badge"),
        pen * 0.8,
    )


def _souwester(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    brim = [(0.3, -0.3), (0.5, -0.22), (0.54, -0.12), (0.3, -0.16), (0.0, -0.1), (-0.24, 0.06), (-0.5, 0.32),
        (-0.72, 0.44), (-0.7, 0.26), (-0.52, 0.0), (-0.42, -0.24)]  # fmt: skip
    dome = [(-0.46, -0.1), (-0.46, -0.4), (-0.3, -0.62), (0.0, -0.68), (0.26, -0.56), (0.36, -0.34),
        (0.3, -0.24), (0.0, -0.18), (-0.26, -0.06)]  # fmt: skip
    _piece(sheet, frame, brim, area("hat"), pen)
    _piece(sheet, frame, dome, area("hat"), pen)
    _shade(sheet, frame, [(-0.7, 0.42), (-0.54, 0.06), (-0.44, -0.3), (-0.3, -0.3), (-0.3, 0.0), (-0.5, 0.3)], area)
    sheet.stroke(frame(curve([(-0.04, -0.68), (-0.1, -0.46), (-0.1, -0.14)])), pen * 0.6)


def _kerchief(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    knot = [(-0.4, 0.02), (-0.54, 0.12), (-0.62, 0.34), (-0.48, 0.28), (-0.36, 0.12)]
    cloth = [(-0.26, 0.16), (-0.16, -0.06), (0.0, -0.24), (0.18, -0.34), (0.33, -0.3), (0.36, -0.42),
        (0.2, -0.56), (-0.06, -0.62), (-0.32, -0.5), (-0.48, -0.24), (-0.46, 0.04), (-0.36, 0.18)]  # fmt: skip
    _piece(sheet, frame, knot, area("hat"), pen)
    _piece(sheet, frame, cloth, area("hat"), pen)
    _shade(sheet, frame, [(-0.26, 0.18), (-0.34, -0.1), (-0.28, -0.4), (-0.5, -0.2), (-0.48, 0.1)], area)
    for fold in ([(-0.36, 0.04), (-0.2, -0.2), (0.0, -0.36)], [(-0.4, -0.04), (-0.28, -0.3), (-0.1, -0.46)]):
        sheet.stroke(frame(curve(fold)), pen * 0.6)


def _straw(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    brim = [
        (-0.78, -0.16),
        (-0.5, -0.3),
        (0.0, -0.34),
        (0.46, -0.4),
        (0.78, -0.34),
        (0.56, -0.2),
        (0.2, -0.14),
        (-0.2, -0.1),
        (-0.54, -0.08),
    ]
    crown = [(-0.4, -0.26), (-0.38, -0.56), (-0.2, -0.68), (0.1, -0.7), (0.3, -0.6), (0.35, -0.34), (0.0, -0.26)]
    band = [
        (-0.4, -0.25),
        (-0.4, -0.38),
        (-0.4, -0.38),
        (0.0, -0.4),
        (0.33, -0.46),
        (0.33, -0.46),
        (0.35, -0.32),
        (0.0, -0.25),
    ]
    _piece(sheet, frame, brim, area("hat"), pen)
    _piece(sheet, frame, crown, area("hat"), pen)
    _piece(sheet, frame, band, area("hatband"), pen * 0.8)
    for seam in ([(-0.6, -0.18), (-0.2, -0.16), (0.3, -0.2)], [(-0.3, -0.58), (0.0, -0.62), (0.24, -0.58)]):
        sheet.stroke(frame(curve(seam)), pen * 0.5)


def _goggles(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    strap = [(-0.44, -0.2), (-0.44, -0.2), (0.0, -0.36), (0.35, -0.36), (0.35, -0.36), (0.34, -0.26),
        (0.34, -0.26), (0.0, -0.26), (-0.42, -0.1), (-0.42, -0.1)]  # fmt: skip
    _piece(sheet, frame, strap, area("hatband"), pen * 0.8)
    for u, r in ((0.08, 0.115), (0.27, 0.1)):
        rim = [(u - r, -0.33), (u, -0.33 - r), (u + r, -0.33), (u, -0.33 + r)]
        _piece(sheet, frame, rim, area("hatband"), pen)
        _piece(sheet, frame, [(x * 0.64 + u * 0.36, y * 0.64 - 0.33 * 0.36) for x, y in rim], area("lens"), pen * 0.7)


def _bobble(sheet: Sheet, frame: Frame, area: Area, pen: float) -> None:
    dome = [(-0.42, -0.2), (-0.42, -0.46), (-0.22, -0.68), (0.02, -0.72), (0.26, -0.6), (0.37, -0.36), (0.0, -0.28)]
    cuff = [(-0.46, -0.1), (-0.46, -0.1), (-0.46, -0.3), (-0.2, -0.36), (0.1, -0.4), (0.38, -0.46),
        (0.38, -0.46), (0.41, -0.28), (0.41, -0.28), (0.1, -0.22), (-0.2, -0.16)]  # fmt: skip
    _piece(
        sheet,
        frame,
        [(-0.1, -0.68), (-0.14, -0.8), (0.0, -0.9), (0.12, -0.8), (0.08, -0.68)],
        area("badge"),
        pen * 0.8,
    )
    _piece(sheet, frame, dome, area("hat"), pen)
    _shade(sheet, frame, [(-0.44, -0.2), (-0.44, -0.5), (-0.24, -0.68), (-0.24, -0.4), (-0.2, -0.24)], area)
    _piece(sheet, frame, cuff, area("badge"), pen * 0.9)


HATS: dict[str, Callable[[Sheet, Frame, Area, float], None]] = {
    "cap": _cap, "tophat": _tophat, "helmet": _helmet, "peaked": _peaked, "souwester": _souwester,
    "kerchief": _kerchief,
    "straw": _straw, "goggles": _goggles, "bobble": _bobble,
}  # fmt: skip
