"""A whole page guide: panels, paint, line art, the colourist's writing; and the marks that writing stands for."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image

from bible.colour.notation import LETTERS_64, NotationError
from guides.demo.artist.annotate import PENCILS, WHITE_PENCIL, Annotator, Spot, find_spots, pencil_borders
from guides.demo.artist.dyes import overlay, paint
from guides.demo.artist.lettering import write
from guides.demo.artist.panels import Ledger, PaintedArea, draw_panel
from guides.demo.artist.pens import Sheet, curve
from guides.demo.artist.presswork import Plates
from guides.demo.story.staging import LAYOUTS
from guides.demo.story.story import PageSpec, Story, WrittenMark

PAGE = (1200, 1800)
"""Width and height of a page in pixels: about 115 dots an inch of a reduced copy (common practice, no source)."""
MARGINS = (58, 74, 58, 70)
GUTTER = 16
FEWEST_MARKS, MOST_MARKS = 8, 36


@dataclass(frozen=True, slots=True)
class PencilledMark:
    """A code on the page: x and y in shares of width and height, what is written, whose part (None: background)."""

    x: float
    y: float
    written: str
    subject: str | None
    costume: str | None
    part: str | None
    role: str | None
    label: str = ""

    @property
    def for_continuity(self) -> WrittenMark:
        return WrittenMark(self.written, self.subject, self.costume, self.part, self.role)


@dataclass(frozen=True)
class DrawnPage:
    """The picture of a page guide (RGB), its marks, and what a separator would cut from it."""

    image: Image.Image
    marks: tuple[PencilledMark, ...]
    plates: Plates

    def jpeg(self, quality: int = 88) -> bytes:
        """The picture as JPEG bytes, full chroma (the dyes' edges are what a guide is about)."""
        buffer = io.BytesIO()
        self.image.save(buffer, "JPEG", quality=quality, subsampling=0)
        return buffer.getvalue()


def draw_page(page: PageSpec, story: Story) -> DrawnPage:
    """Draw a page guide, the same for the same page and story, byte for byte.

    Every mark's point lies in clear paint of its own area, at least ``annotate.CLEAR_PART`` pixels from any line.
    """
    rng = np.random.default_rng(page.seed * 101 + page.revision)
    width, height = PAGE
    person = story.person_by_username[page.colourist]
    ledger = Ledger(page, story)
    whole = Sheet(width, height)
    boxes = _boxes(page.layout)
    faces: list[tuple[float, float, float]] = []
    for k, (panel, (x, y, w, h)) in enumerate(zip(page.panels, boxes, strict=True)):
        ledger.panel = k
        drawn = draw_panel(panel, w, h, ledger, rng)
        whole.ink[y : y + h, x : x + w] = drawn.ink
        whole.areas[y : y + h, x : x + w] = drawn.areas
        _frame(whole, x, y, w, h)
        faces += [(x + u, y + v, unit) for u, v, unit in ledger.faces]
        ledger.faces.clear()
    if page.label == "cover":
        _masthead(whole, ledger, rng)
    _dabs(whole, ledger, rng)
    painted = paint(whole.areas, [area.tint for area in ledger.areas], person.hand, rng)
    annotator = Annotator(whole.ink, painted, person.hand, rng)
    if page.label == "cover":
        annotator.reserve(MARGINS[0], MARGINS[1], PAGE[0] - MARGINS[0] - MARGINS[2], 130)
    _margin_notes(annotator, story, page)
    for u, v, unit in faces:
        annotator.reserve(u - unit * 0.3, v - unit * 0.25, unit * 0.6, unit * 0.7)
    spots = _chosen(find_spots(whole.areas, whole.ink, ledger.areas), ledger.areas, page, story, rng)
    for spot in spots:
        annotator.reserve(spot.x - 8, spot.y - 8, 16, 16)
    for spot in sorted(spots, key=lambda s: s.clear):
        annotator.place(spot, ledger.areas[spot.number].written)
    borders = pencil_borders(boxes, (height, width), rng)
    image = overlay(
        painted, whole.ink,
        [(borders, (0.35, 0.37, 0.42)), (annotator.dark, PENCILS[person.hand.pencil]), (annotator.white,
        WHITE_PENCIL)], rng,
    )  # fmt: skip
    marks = tuple(
        _mark(spot, ledger.areas[spot.number], width, height)
        for spot in sorted(spots, key=lambda s: (s.y // 120, s.x))
    )
    return DrawnPage(Image.fromarray(image, "RGB"), marks, _plates(whole, ledger.areas, spots))


def _plates(whole: Sheet, painted: list[PaintedArea], spots: list[Spot]) -> Plates:
    """Plates are built from the codes; where none can be read, from the paint."""
    tints = []
    for area in painted:
        try:
            tints.append(LETTERS_64.read(area.written))
        except NotationError:
            tints.append(area.tint)
    keys = {spot.number: painted[spot.number].key for spot in spots}
    parts = {number: key.part if key and key.subject else "" for number, key in keys.items()}
    return Plates(whole.areas, whole.ink, tuple(tints), parts)


def _boxes(layout: str) -> list[tuple[int, int, int, int]]:
    left, top, right, bottom = MARGINS
    width, height = PAGE[0] - left - right, PAGE[1] - top - bottom
    boxes = []
    for x, y, w, h in LAYOUTS[layout]:
        x0 = left + round(x * width) + (GUTTER // 2 if x > 0 else 0)
        y0 = top + round(y * height) + (GUTTER // 2 if y > 0 else 0)
        x1 = left + round((x + w) * width) - (GUTTER // 2 if x + w < 0.999 else 0)
        y1 = top + round((y + h) * height) - (GUTTER // 2 if y + h < 0.999 else 0)
        boxes.append((x0, y0, x1 - x0, y1 - y0))
    return boxes


def _frame(sheet: Sheet, x: int, y: int, w: int, h: int) -> None:
    for a, b in (
        ((x, y), (x + w, y)),
        ((x + w, y), (x + w, y + h)),
        ((x + w, y + h), (x, y + h)),
        ((x, y + h), (x, y)),
    ):
        sheet.stroke(np.array([a, b], dtype=np.float64), 4.2, taper=(1, 1))


def _chosen(
    spots: list[Spot], painted: list[PaintedArea], page: PageSpec, story: Story, rng: np.random.Generator
) -> list[Spot]:
    """Which areas get a code: parts before backgrounds, wrong codes always, on a cover not all ("everyone knows")."""

    def rank(spot: Spot) -> float:
        key = painted[spot.number].key
        if key is None:
            return 9.0
        if key.subject is None:
            return 1.6 - spot.clear / 200 + float(rng.uniform(0, 0.8))
        if key.costume and story.slip_for(page, key.subject, key.costume, key.part, key.role or ""):
            return -1.0
        return (
            {"base": 0.0, "shade": 0.9, "highlight": 1.2}[key.role or "base"]
            + float(rng.uniform(0, 1.0))
            - spot.clear / 60
        )

    ranked = sorted(((rank(spot), spot) for spot in spots), key=lambda pair: pair[0])
    kept = ranked[:MOST_MARKS]
    if page.label == "cover":
        kept = [pair for k, pair in enumerate(kept) if k < FEWEST_MARKS or pair[0] < 0 or rng.random() < 0.72]
    return [spot for _, spot in kept]


def _mark(spot: Spot, area: PaintedArea, width: int, height: int) -> PencilledMark:
    key = area.key
    x, y = (spot.x + 0.5) / width, (spot.y + 0.5) / height
    if key is None or key.subject is None:
        return PencilledMark(x, y, area.written, None, None, None, None, key.part if key else "")
    return PencilledMark(x, y, area.written, key.subject, key.costume, key.part, key.role, key.part)


def _dabs(sheet: Sheet, ledger: Ledger, rng: np.random.Generator) -> None:
    """Where the brush was tried out: dabs of the page's own paints in the bottom margin, without codes."""
    tints = sorted({area.tint for area in ledger.areas if area.tint.total_ink > 50}, key=lambda tint: tint.packed)
    picked = rng.choice(len(tints), size=min(6, len(tints)), replace=False)
    x = PAGE[0] * 0.62
    for index in sorted(int(i) for i in picked):
        long, tall = rng.uniform(26, 46), rng.uniform(6, 9)
        u = np.linspace(0, 2 * np.pi, 9, endpoint=False)
        ragged = 1 + 0.16 * rng.standard_normal((9, 1))
        dab = np.column_stack([x + long * np.cos(u), PAGE[1] - 34 + tall * np.sin(u) + 4 * np.cos(u)])
        middle = dab.mean(axis=0)
        sheet.fill(curve((dab - middle) * ragged + middle, closed=True), ledger.dab(tints[index]))
        x += 2 * long + rng.uniform(2, 14)


MASTHEADS = ("Y", "YR2", "B3", "R3", "Y2B3", "YR", "Y3", "R2B2")


def _masthead(sheet: Sheet, ledger: Ledger, rng: np.random.Generator) -> None:
    """The title across a cover, hand-lettered on a strip in the issue's colour."""
    story, page = ledger.story, ledger.page
    left, top, right, _ = MARGINS
    strip = np.array(
        [
            (left + 2, top + 2),
            (PAGE[0] - right - 2, top + 2),
            (PAGE[0] - right - 2, top + 128),
            (left + 2, top + 128),
        ],
        dtype=np.float64,
    )
    number = ledger.background(
        "masthead", MASTHEADS[story.issues.index(story.issue_by_number[page.issue]) % len(MASTHEADS)]
    )
    sheet.fill(strip, number)
    sheet.stroke(strip[[3, 2]], 3.4, taper=(1, 1))
    write(sheet.ink, story.title.upper(), left + 26, top + 24, 58, rng, width=9, wobble=0.012)
    issue = story.issue_by_number[page.issue]
    label = issue.title if issue.number.startswith("Annual") else f"No. {issue.number}  {issue.title}"
    write(sheet.ink, label.upper(), left + 28, top + 98, 17, rng, width=2, wobble=0.02)


def _margin_notes(annotator: Annotator, story: Story, page: PageSpec) -> None:
    issue = story.issue_by_number[page.issue]
    person = story.person_by_username[page.colourist]
    name = issue.number if issue.number.startswith("Annual") else f"No {issue.number}"
    annotator.note(
        f"Quill Bend  {name}  {'cover' if page.label == 'cover' else 'p ' + page.label}", MARGINS[0] + 6, 30, 21
    )
    annotator.note(f"col. {person.initials}", PAGE[0] - 190, 30, 21)
    if page.night_rule:
        annotator.note("NIGHT: all +1 B, Y down one, whole page", MARGINS[0] + 10, PAGE[1] - 50, 20)
    elif page.note:
        annotator.note(page.note, MARGINS[0] + 10, PAGE[1] - 50, 19)
    else:
        annotator.note("codes hold all page", MARGINS[0] + 10, PAGE[1] - 48, 18)
