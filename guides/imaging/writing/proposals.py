"""What a page proposes by itself: every written code with its readings, the area it points at, and whose part it is.

Nothing here is a mark until somebody has said yes.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from bible.colour.notation import LETTERS_64, Notation, NotationError
from bible.colour.tints import Tint
from guides.imaging.page.marks import KeptReadings
from guides.imaging.page.page_map import PageMap
from guides.imaging.paint.reading import PaintMark, read_paint
from guides.imaging.writing.bible_file import EarlierMark, PageBible, PartId
from guides.imaging.writing.clues import SLIP, TINTS, WRONG, Clue, Doubt
from guides.imaging.writing.page_panels import PagePanels, find_panels
from guides.imaging.writing.parts import Belonging, PartChance, find_parts
from guides.imaging.writing.pointing import PointedAt, Pointing, point, shared_out

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.uint8]

TEACHES = ((0.8, 0.7), (0.6, 0.8), (0.6, 0.8), (0.6, 0.8))
"""Chances of its reading and its pointing from which a code teaches how the colourist's paints look: before the paint
was asked, and since, look by look until the same codes teach. After two looks a few codes that point wrong can still
have a whole page's paints wrong: on ten crowded pages of the tuning family the chance of the right paint was 0.70
after two and 0.77 after four, 80 and 85 % of paints were right, and 30 and 34 of 74 wrong codes were told; watched,
0.70 and 0.77, 79 and 85 %, 36 and 38 of 65."""

PAINT_TOLD = 0.9
"""Weight of the paint against anything at all, when it is asked which area or which reading is right."""

DOUBTS, LEAST_DOUBT = 4, 0.01
"""How many further areas are asked whose part a code would be in them, the likeliest before the paint was asked, and
the share of the likeliest one's chance that they have at least (8 and 0.003 were no better)."""

SHORTEST_BORDER = 3.0
"""Pens of common border from which two areas touch."""


class ReadingOf(Protocol):
    """One way to read a code, with its chance."""

    @property
    def code(self) -> str: ...
    @property
    def p(self) -> float: ...


class Outline(Protocol):
    """Where writing stands."""

    def corners(self) -> npt.NDArray[Any]: ...


class CodeFound(Protocol):
    """A written code as the reader gives it (``guides.imaging.writing.page.WrittenCode``)."""

    @property
    def place(self) -> Outline: ...
    @property
    def box(self) -> tuple[float, float, float, float]: ...
    @property
    def angle(self) -> float: ...
    @property
    def text(self) -> str: ...
    @property
    def alternatives(self) -> Sequence[ReadingOf]: ...
    @property
    def unreadable(self) -> bool: ...
    @property
    def crossed_out(self) -> bool: ...


@dataclass(frozen=True)
class CodeReading:
    """A reading with its chance once the paint has been asked."""

    code: str
    p: float


@dataclass(frozen=True)
class PageProposal:
    """A mark that a page proposes.

    Attributes:
        box: left, top, right, bottom of the writing, pixels of the picture; ``angle`` degrees it is turned.
        text: as the signs seem to stand there.
        readings: likeliest first; empty where nothing can be read.
        pointed: what it points at.
        belongs: whose part that is; None without a bible, and for what is crossed out.
        clue: what that was judged by, so that it can be judged again without the picture; None where it was not.
    """

    box: tuple[float, float, float, float]
    angle: float
    text: str
    readings: tuple[CodeReading, ...]
    unreadable: bool
    crossed_out: bool
    pointed: PointedAt
    belongs: Belonging | None = None
    clue: Clue | None = None

    def as_json(self) -> dict[str, Any]:
        """One object of what ``read_page --json`` prints; pixels of the picture as given."""
        first = self.readings[0] if self.readings and not self.unreadable else None
        best = self.pointed.best
        about: dict[str, Any] = {
            "box": [round(edge) for edge in self.box],
            "angle": round(self.angle, 1),
            "text": self.text,
            "code": first.code if first else None,
            "p": round(first.p, 4) if first else 0.0,
            "alternatives": [{"code": r.code, "p": round(r.p, 4)} for r in self.readings],
            "unreadable": self.unreadable,
            "crossed_out": self.crossed_out,
            "point": [round(best.x, 1), round(best.y, 1)],
            "area": best.area or None,
            "how": best.how,
            "p_point": round(best.p, 4),
            "also": [{"point": [round(o.x, 1), round(o.y, 1)], "area": o.area} for o in self.pointed.also],
        }
        return about | _belonging_as_json(self.belongs, about["code"])


def _belonging_as_json(belongs: Belonging | None, code: str | None) -> dict[str, Any]:
    if belongs is None:
        return {"part": None, "role": None, "p_part": 0.0, "part_alternatives": [], "differs": None}
    differs = None
    if belongs.differs:
        also = [_chance_as_json(chance) for chance in belongs.elsewhere]
        differs = {"expected": belongs.expected, "written": code, "elsewhere": also}
    return {
        "part": belongs.part,
        "role": belongs.role,
        "p_part": belongs.p,
        "part_alternatives": [_chance_as_json(chance) for chance in belongs.alternatives],
        "differs": differs,
    }


def _chance_as_json(chance: PartChance) -> dict[str, Any]:
    return {"part": chance.part, "role": chance.role, "p": chance.p}


def propose(
    page: PageMap,
    image: Image,
    codes: Sequence[CodeFound],
    *,
    notation: Notation = LETTERS_64,
    bible: PageBible | None = None,
    earlier: Sequence[EarlierMark] = (),
    cast: Collection[PartId] | None = None,
) -> list[PageProposal]:
    """What a page proposes for the codes found on it, in their order.

    Args:
        page: the page's map.
        image: the same picture, uint8 sRGB (h, w, 3).
        notation: reads the codes' texts.
        bible: what is in force at the page's issue; without one no part is named.
        earlier: confirmed marks of pages before.
        cast: ids of the subjects on the page, where a person has said so.
    """
    pointed = point(page, image, [np.asarray(code.place.corners(), np.float64) for code in codes])
    read = [_tints(code, notation) for code in codes]
    pointed, paints = _followed(page, image, pointed, read)
    clues = _clues(page, codes, pointed, read, paints)
    belongs = _belongings(page, clues, bible, earlier, cast)
    proposals = []
    for code, led, says, owner, clue in zip(codes, pointed, read, belongs, clues, strict=True):
        at = led.led_to(owner.areas) if owner is not None else led
        by_chance = sorted(_with_paint(says, paints.get(at.best.area, {})).items(), key=lambda item: -item[1])
        ordered = list(owner.readings) if owner is not None and owner.readings else by_chance
        written = tuple(CodeReading(notation.write(tint), p) for tint, p in ordered)
        proposals.append(
            PageProposal(code.box, code.angle, code.text, written, code.unreadable, code.crossed_out, at, owner, clue)
        )
    return proposals


def _followed(
    page: PageMap, image: Image, seen: Sequence[PointedAt], read: Sequence[Mapping[Tint, float]]
) -> tuple[list[PointedAt], dict[int, dict[Tint, float]]]:
    """What the codes point at once the paint has been asked, and what every area that they may mean is painted in."""
    pointed, kept = list(seen), KeptReadings()
    paints: dict[int, dict[Tint, float]] = {}
    asked: dict[int, PaintMark] = {}
    for teaches in TEACHES:
        before, asked = asked, _asked(pointed, read, teaches)
        if asked == before:
            break
        paints = _paints(page, image, asked, kept)
        weighed = (at.reweighed(_by_paint(r, paints, at.choices)) for r, at in zip(read, seen, strict=True))
        pointed = shared_out(list(weighed))
    return pointed, paints


def _tints(code: CodeFound, notation: Notation) -> dict[Tint, float]:
    """Tints a code may say, with their chances."""
    chances: dict[Tint, float] = {}
    for reading in code.alternatives:
        try:
            tint = notation.read(reading.code)
        except NotationError:
            continue
        chances[tint] = chances.get(tint, 0.0) + reading.p
    return chances


def _asked(
    pointed: Sequence[PointedAt], read: Sequence[Mapping[Tint, float]], teaches: tuple[float, float]
) -> dict[int, PaintMark]:
    """A mark in every area that some code may mean, by its id, with the code's tint where it is clear enough."""
    marks: dict[int, PaintMark] = {}
    for at, chances in zip(pointed, read, strict=True):
        tint, p = max(chances.items(), key=lambda item: item[1], default=(None, 0.0))
        for choice in at.choices:
            known = choice is at.best and p >= teaches[0] and choice.p >= teaches[1]
            if choice.area and (known or choice.area not in marks):
                marks[choice.area] = PaintMark(choice.area, choice.x, choice.y, tint if known else None)
    return marks


def _paints(
    page: PageMap, image: Image, asked: Mapping[int, PaintMark], kept: KeptReadings
) -> dict[int, dict[Tint, float]]:
    """What every area asked about is painted in, by its id; marks with a tint teach the hand."""
    opinions = read_paint(image, list(asked.values()), page_map=page, kept=kept)
    return {int(o.id): {s.tint: s.p for s in o.suggestions} for o in opinions if not o.problem or o.confidence > 0}


def _by_paint(
    read: Mapping[Tint, float], paints: Mapping[int, Mapping[Tint, float]], choices: Sequence[Pointing]
) -> dict[int, float]:
    """How well the paint of each area agrees with what a code says: likelihoods up to a common factor."""
    if not read:
        return {}
    agreed = {}
    for choice in choices:
        paint = paints.get(choice.area, {})
        own = sum(p * (PAINT_TOLD * paint.get(t, 0.0) + (1 - PAINT_TOLD) / TINTS) for t, p in read.items())
        agreed[choice.area] = (1 - WRONG) * own + WRONG * SLIP / 9
    return agreed


def _with_paint(read: Mapping[Tint, float], paint: Mapping[Tint, float]) -> dict[Tint, float]:
    """Readings weighed by the paint they point at; their sum stays: paint makes no code of what is none."""
    if not read or not paint:
        return dict(read)
    weighed = {
        t: p * ((1 - WRONG) * (PAINT_TOLD * paint.get(t, 0.0) + (1 - PAINT_TOLD) / TINTS) + WRONG / TINTS * 3)
        for t, p in read.items()
    }
    total, before = sum(weighed.values()), sum(read.values())
    return {t: p * before / total for t, p in weighed.items()}


def _clues(
    page: PageMap, codes: Sequence[CodeFound], pointed: Sequence[PointedAt], read: Sequence[Mapping[Tint, float]],
    paints: Mapping[int, Mapping[Tint, float]],
) -> list[Clue | None]:  # fmt: skip
    """What each code's part is judged by; None for what is crossed out."""
    panels = find_panels(page)
    clues: list[Clue | None] = []
    for code, at, says in zip(codes, pointed, read, strict=True):
        if code.crossed_out:
            clues.append(None)
            continue
        readings = {} if code.unreadable else says
        first = _clue(page, panels, at.best, readings, paints)
        others = ((_clue(page, panels, other, readings, paints), other.p) for other in _in_doubt(at, says, paints))
        doubts = (Doubt(clue, float(np.log(p / at.best.p))) for clue, p in others if clue.panel == first.panel)
        clues.append(replace(first, doubts=tuple(doubts)))
    return clues


def _clue(
    page: PageMap, panels: PagePanels, at: Pointing, says: Mapping[Tint, float],
    paints: Mapping[int, Mapping[Tint, float]],
) -> Clue:  # fmt: skip
    """What a code's part is judged by where the code means this place."""
    panel = int(panels.of_area[at.area]) if at.area else panels.at(at.x, at.y)
    paint = paints.get(at.area, {})
    readings = tuple(sorted(_with_paint(says, paint).items(), key=lambda item: -item[1]))
    size = float(page.areas[at.area - 1].pixels) ** 0.5 if at.area else 0.0
    return Clue(at.x, at.y, at.area, panel, readings, tuple(paint.items()), size)


def _in_doubt(
    at: PointedAt, says: Mapping[Tint, float], paints: Mapping[int, Mapping[Tint, float]]
) -> list[Pointing]:
    """What else a code may mean by line and nearness, whatever the paint says."""
    agreed = _by_paint(says, paints, at.choices)
    unpainted = {choice.area: choice.p / agreed.get(choice.area, 1.0) for choice in at.choices}
    least = LEAST_DOUBT * max(unpainted.values())
    likely = [choice for choice in at.choices[1:] if choice.p > 0 and unpainted[choice.area] >= least]
    return sorted(likely, key=lambda choice: -unpainted[choice.area])[:DOUBTS]


def bordering(page: PageMap) -> set[tuple[int, int]]:
    """Pairs of areas of a page, by id, the smaller first, that have a border in common."""
    least = SHORTEST_BORDER * page.pen / page.scale
    return {(first, second) for first, second, border in page.neighbours if border >= least}


def _belongings(
    page: PageMap, clues: Sequence[Clue | None], bible: PageBible | None, earlier: Sequence[EarlierMark],
    cast: Collection[PartId] | None,
) -> list[Belonging | None]:  # fmt: skip
    belongings: list[Belonging | None] = [None] * len(clues)
    asked = [(number, clue) for number, clue in enumerate(clues) if clue is not None]
    if bible is None or not asked:
        return belongings
    boxes = find_panels(page).boxes
    owners = find_parts([c for _, c in asked], boxes, bordering(page), bible, earlier=earlier, cast=cast)
    for (number, _), owner in zip(asked, owners, strict=True):
        belongings[number] = owner
    return belongings
