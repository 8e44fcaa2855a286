"""One panel: scenery, things, people and balloons, drawn back to front on a sheet of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bible.colour.tints import Tint
from guides.demo.artist.figure import draw_figure, line_width
from guides.demo.artist.lettering import text_width, wrap, write
from guides.demo.artist.pens import Frame, Sheet, curve
from guides.demo.artist.poses import POSES, skeleton
from guides.demo.artist.props import draw_chest, draw_dog, draw_ferry, draw_lantern, draw_smoke, draw_van
from guides.demo.artist.rooms import SCENES, rain
from guides.demo.story.hours import BACKDROPS, HOURS, PLACES
from guides.demo.story.story import FigureSpec, PageSpec, PanelSpec, PropSpec, Story
from guides.demo.story.tintbox import CHART, code_of


@dataclass(frozen=True, slots=True)
class AreaKey:
    """Whose area it is: a part in a role, or (subject None) a piece of background by name."""

    subject: str | None
    costume: str | None
    part: str
    role: str | None


@dataclass(frozen=True, slots=True)
class PaintedArea:
    """A numbered area of the page: its key, the tint painted and the code written for it."""

    key: AreaKey | None
    tint: Tint
    written: str


class Ledger:
    """Gives every painted area of a page its number; number 0 is bare paper."""

    def __init__(self, page: PageSpec, story: Story) -> None:
        self.page, self.story = page, story
        self.areas: list[PaintedArea] = [PaintedArea(None, CHART["W"], "")]
        self._numbers: dict[tuple[int, AreaKey], int] = {}
        self.panel = 0
        self.backdrop = "Y2"
        # middle and height of the faces in the panel being drawn, in its pixels
        self.faces: list[tuple[float, float, float]] = []

    def _number(self, key: AreaKey, tint: Tint, written: str) -> int:
        number = self._numbers.get((self.panel, key))
        if number is None:
            number = len(self.areas)
            self.areas.append(PaintedArea(key, tint, written))
            self._numbers[self.panel, key] = number
        return number

    def of(self, subject_slug: str, costume_slug: str) -> Callable[..., int | None]:
        """``area(slot, role)`` for a subject in a costume; what the costume lacks comes from the first costume."""
        subject = self.story.subject_by_slug[subject_slug]
        pieces = {}
        for costume in (subject.costumes[0], subject.costume(costume_slug)):
            pieces.update({part.slot: (costume.slug, part) for part in costume.parts})

        def area(slot: str, role: str = "base") -> int | None:
            if slot not in pieces:
                return None
            costume, part = pieces[slot]
            called = self.story.called(self.page, subject_slug, costume, part, role)
            if called is None:
                return None
            return self._number(AreaKey(subject_slug, costume, part.name, role), *called)

        return area

    def wash(self, scene: str) -> Callable[[str], int]:
        """``wash(name)`` for a scene's background at the page's hour."""
        colours = HOURS[self.page.hour]
        place = PLACES.get((scene, self.page.hour))
        held = self.of(*place) if place else None

        def wash(name: str) -> int:
            number = held(name) if held else None
            if number is not None:
                return number
            code = self.backdrop if name == "backdrop" else colours[name]
            return self.background(name, code)

        return wash

    def dab(self, tint: Tint) -> int:
        """The number of a dab of paint in the margin, which belongs to nothing."""
        self.areas.append(PaintedArea(None, tint, ""))
        return len(self.areas) - 1

    def background(self, name: str, code: str) -> int:
        """The number of a piece of background in a colour of the moment."""
        return self._number(AreaKey(None, None, name, None), CHART[code], self.story.spelt(self.page.colourist, code))


def draw_panel(panel: PanelSpec, width: int, height: int, ledger: Ledger, rng: np.random.Generator) -> Sheet:
    """Draw one panel at a size in pixels; its areas are numbered in the ledger."""
    sheet = Sheet(width, height)
    page = ledger.page
    ledger.backdrop = str(rng.choice(BACKDROPS[page.hour]))
    wash = ledger.wash(panel.scene)
    ground, feet, tall = _camera(panel, width, height)
    SCENES[panel.scene](sheet, wash, rng, ground, hour=page.hour)
    for prop in panel.props:
        if prop.subject in ("patience", "kettle"):
            _thing(sheet, prop, ledger, ground, feet, tall, wash)
    heads: list[tuple[float, float, float]] = []
    for figure in panel.figures:
        heads.append(_person(sheet, figure, ledger, panel.shot, feet, tall))
    for prop in panel.props:
        if prop.subject not in ("patience", "kettle"):
            _thing(sheet, prop, ledger, ground, feet, tall, wash)
    if page.hour == "rain" and panel.scene in ("quay", "river", "market"):
        rain(sheet, rng)
    if panel.speech:
        _speeches(sheet, panel, heads, rng)
    ledger.faces.extend((k_x, k_y, unit) for k_x, k_y, unit in heads)
    return sheet


def _camera(panel: PanelSpec, width: int, height: int) -> tuple[float, float, float]:
    """Where the ground meets the wall, where feet stand, and how tall an average adult is, in pixels."""
    count = max(len(panel.figures), 1)
    if panel.shot == "full":
        share = 0.72 if panel.shot == "full" and not panel.speech else 0.66
        tall = min(share * height, width * (2.1 if count == 1 else 2.8 / count))
        return 0.74 * height, 0.945 * height, tall
    if panel.shot == "far":
        return 0.7 * height, 0.92 * height, 0.4 * height
    if panel.shot == "mid":
        unit = min(0.235 * height, width * (0.4 if count == 1 else 0.66 / count))
        tall = unit * 5.2
        return 0.97 * height, 0.36 * height + tall, tall
    unit = min(0.47 * height, width * 0.56)
    return 1.2 * height, height * 0.36 + unit * 5.2, unit * 5.2


def _person(
    sheet: Sheet, figure: FigureSpec, ledger: Ledger, shot: str, feet: float, tall: float
) -> tuple[float, float, float]:
    subject = ledger.story.subject_by_slug[figure.subject]
    build, look = subject.build, subject.costume(figure.costume).look
    if build is None or look is None:
        raise ValueError(f"{figure.subject} in {figure.costume} is nobody who can be drawn")
    stature = build.stature if shot != "close" else 0.5 + 0.5 * build.stature
    unit = tall * stature / build.heads
    if shot == "close":
        unit = tall / 5.2
    if shot in ("mid", "close"):  # framed by the head, whatever the pose does below
        top = feet - tall + (max(0.0, 1.0 - stature) * tall * 0.55 if shot == "mid" else 0.0)
        feet = top + 0.5 * unit - unit * skeleton(POSES[figure.pose], build).head[1]
    area = ledger.of(figure.subject, figure.costume)
    frames = draw_figure(
        sheet,
        figure.u * sheet.width,
        feet,
        unit,
        build,
        look,
        area,
        pose=figure.pose,
        mood=figure.mood,
        flip=figure.flip,
    )
    if figure.holds == "lantern":
        hand = frames["near"]
        x, y = hand.at(0.0, 0.2)
        lamp = ledger.of("lantern", "lit")
        draw_lantern(sheet, Frame(x, y - unit * 0.1, unit * 0.95), lamp, line_width(unit))
    head = frames["head"]
    return head.x, head.y, head.unit


def _thing(
    sheet: Sheet, prop: PropSpec, ledger: Ledger, ground: float, feet: float, tall: float, wash: Callable[[str], int]
) -> None:
    area = ledger.of(prop.subject, prop.costume)
    x = prop.u * sheet.width
    if prop.subject == "patience":
        unit = min(sheet.width * 0.095, ground * 0.13)
        draw_smoke(sheet, x + unit * 0.8, ground - unit * 3.0, unit * 0.8, wash("smoke"), 1.6)
        draw_ferry(sheet, Frame(x, ground - unit * 0.1, unit), area, line_width(unit) * 0.95)
    elif prop.subject == "kettle":
        unit = min(tall / 2.6, sheet.width * 0.16)
        draw_van(sheet, Frame(x, (ground + feet) / 2, unit, flip=prop.flip), area, line_width(unit * 0.7))
    elif prop.subject == "chest":
        draw_chest(sheet, Frame(x, feet + tall * 0.01, tall * 0.17), area, line_width(tall * 0.15))
    elif prop.subject == "biscuit":
        draw_dog(sheet, Frame(x, feet + tall * 0.015, tall * 0.25, flip=prop.flip), area, line_width(tall * 0.16))
    elif prop.subject == "lantern":
        draw_lantern(sheet, Frame(x, feet - tall * 0.2, tall * 0.19), area, line_width(tall * 0.16))


def _speeches(
    sheet: Sheet, panel: PanelSpec, heads: list[tuple[float, float, float]], rng: np.random.Generator
) -> None:
    size = 15.0
    top = 12.0
    taken = 8.0
    share = sheet.width / len(panel.speech)
    for k, (who, line) in enumerate(panel.speech):
        limit = max(90.0, min(250.0, share * 0.7))
        lines = wrap(line.upper(), size, limit)
        wide = max(text_width(text, size) for text in lines)
        w, h = wide / 2 + 20, len(lines) * size * 1.45 / 2 + 14
        hx, hy = heads[who][0], heads[who][1] - heads[who][2] * 0.55
        cx = (
            float(np.clip(hx, max(w + 8, taken + w), sheet.width - w - 8))
            if len(panel.speech) > 1
            else float(np.clip(hx + rng.uniform(-30, 30), w + 8, sheet.width - w - 8))
        )
        cy = top + h + (6 if k % 2 else 0)
        taken = cx + w + 4
        tip = (hx + (cx - hx) * 0.15, min(max(hy - 4, cy + h + 12), cy + h + 58))
        _balloon(sheet, cx, cy, w, h, tip)
        for j, text in enumerate(lines):
            write(
                sheet.ink,
                text,
                cx - text_width(text, size) / 2,
                cy - len(lines) * size * 0.725 + j * size * 1.45 + 4,
                size,
                rng,
                width=2,
                wobble=0.02,
            )


def _balloon(sheet: Sheet, cx: float, cy: float, w: float, h: float, tip: tuple[float, float]) -> None:
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False) + np.pi / 2
    power = 0.62
    x = cx + w * np.sign(np.cos(t)) * np.abs(np.cos(t)) ** power
    y = cy + h * np.sign(np.sin(t)) * np.abs(np.sin(t)) ** power
    shell = np.column_stack([x, y])
    root = float(np.clip(tip[0], cx - w * 0.5, cx + w * 0.5))
    tail = curve([(root - 9, cy + h - 3), (root - 3 + (tip[0] - root) * 0.5, cy + h + (tip[1] - cy - h) * 0.5),
        tip, tip, (root + 6 + (tip[0] - root) * 0.4, cy + h + (tip[1] - cy - h) * 0.4),
        (root + 9, cy + h - 3)], closed=True, steps=4)  # fmt: skip
    sheet.shape(tail, None, 2.2)
    sheet.shape(shell, None, 2.2)
    sheet.fill(
        np.array([(root - 7, cy + h - 8), (root + 7, cy + h - 8), (root + 5, cy + h + 3), (root - 5, cy + h + 3)]),
        None,
    )


__all__ = ["AreaKey", "Ledger", "PaintedArea", "code_of", "draw_panel"]
