"""Which code is asked first, what may be answered to it, and which codes stand together in a figure."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from bible.locks.stretches import why_no_role
from bible.models import Part, Scene
from bible.models.roles import BASE_ROLE
from guides.found.lights import light_of
from guides.found.sureness import likelihood
from guides.models import FoundCode, Guide

CHOICES, KEYS = 4, 9
"""Answers that are offered, the likeliest first: what is read at a glance; and with the parts that carry the code
read all the same, as many as there are figure keys."""

CARRIES = "the part that carries this code"

OF_FIGURE = 0.4
"""Chance of its part from which a code is taken with its figure; below it nobody has been named for it."""

LEAST = 1e-6

LIKELY = 0.5
"""Likelihood from which codes are looked over together: striking the wrong ones of nine takes fewer keys than nine
questions as soon as more than half are right."""

SHEET = 9
"""Codes looked over together: each has a figure key of its own."""


@dataclass(frozen=True, slots=True)
class CodeChoice:
    """A way to answer: the code in a part and role (no part: nobody's). ``why`` says what it would mean."""

    code: str
    part: Part | None
    role: str
    why: str = ""

    @property
    def saying(self) -> str:
        """As a form carries it."""
        return f"{self.part.pk if self.part else 0}|{self.role}|{self.code}"


@dataclass(frozen=True)
class CodeQuestion:
    """The code that is asked about now. ``figure`` are the others of its figure that a yes may take along."""

    found: FoundCode
    choices: tuple[CodeChoice, ...]
    figure: tuple[FoundCode, ...]
    owner: Part | None

    @property
    def otherwise(self) -> str:
        """The form for a mark there, filled in with what was found."""
        found_code, part = self.found, self.owner.full_name if self.owner else ""
        fields = {
            "x": found_code.x,
            "y": found_code.y,
            "written": found_code.code,
            "part": part,
            "role": found_code.role or BASE_ROLE,
        }
        address = reverse("new-mark", args=[found_code.guide.series.slug, found_code.guide_id])
        return f"{address}?{urlencode(fields)}"


@dataclass(frozen=True)
class PageOffer:
    """What a page offers: every code that waits, those that are sure, likely ones to look over together, and where
    there are none of these the one to ask about."""

    guide: Guide
    waiting: tuple[FoundCode, ...]
    sure: tuple[FoundCode, ...]
    likely: tuple[FoundCode, ...]
    question: CodeQuestion | None

    @cached_property
    def light(self) -> Scene | None:
        """The scene that the page seems to stand in; worked out where it is shown."""
        return light_of(self.guide, self.waiting)

    @property
    def places(self) -> list[FoundPlace]:
        """Every code that waits, as the picture shows it."""
        numbers = {row.pk: number for number, row in enumerate(self.likely, 1)}
        asked = self.question.found.pk if self.question else None
        return [FoundPlace(row, numbers.get(row.pk, 0), row.pk == asked) for row in self.waiting]


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """A found code on the picture: its figure key among those that are looked over (0: none), and whether it is the
    one that is asked about. Places in pixels of the guide's picture."""

    found: FoundCode
    number: int
    is_asked: bool

    @property
    def classes(self) -> str:
        """What it is, for its looks."""
        says = {"sure": self.found.is_sure, "numbered": bool(self.number), "asked": self.is_asked}
        return " ".join(["found-place", *(f"found-{word}" for word, holds in says.items() if holds)])

    @property
    def transform(self) -> str:
        """Where it points."""
        return f"translate({self.found.x * self.found.guide.width:.1f} {self.found.y * self.found.guide.height:.1f})"

    @property
    def from_writing(self) -> tuple[str, str]:
        """From where it points to the middle of its writing."""
        (x, y), guide = self.found.written_at, self.found.guide
        return f"{(x - self.found.x) * guide.width:.1f}", f"{(y - self.found.y) * guide.height:.1f}"


def offer_of(guide: Guide, asked: int | None = None) -> PageOffer:
    """What a page offers somebody who may mark it; ``asked`` is the key of a code that was clicked on."""
    rows = FoundCode.objects.filter(guide=guide).waiting().select_related("part__costume__subject")
    waiting = tuple(rows.order_by("number"))
    for row in waiting:
        row.guide = guide
    sure = tuple(row for row in waiting if row.is_sure)
    chosen = next((row for row in waiting if row.pk == asked), None)
    likely = () if chosen else to_look_over(waiting)
    if not chosen and not likely:
        chosen = next(iter(in_teaching_order([row for row in waiting if not row.is_sure])), None)
    question = _question(chosen, waiting) if chosen else None
    return PageOffer(guide, waiting, sure, likely, question)


def to_look_over(waiting: Sequence[FoundCode]) -> tuple[FoundCode, ...]:
    """Likely codes of one panel, so that the eye stays there: of the panel that has most of them. None where a single
    one is left."""
    fits = [row for row in waiting if _is_likely(row)]
    panels = Counter(_panel(row) for row in fits)
    if not panels or max(panels.values()) < 2:
        return tuple(fits[:SHEET]) if len(fits) > 1 else ()
    fullest = max(panels, key=lambda panel: (panels[panel], -panel))
    return tuple(row for row in fits if _panel(row) == fullest)[:SHEET]


def _is_likely(row: FoundCode) -> bool:
    clear = bool(row.code) and not (row.unreadable or row.crossed_out or row.differs)
    return clear and not row.is_sure and not row.doubted and likelihood(row) >= LIKELY


def in_teaching_order(rows: Sequence[FoundCode]) -> list[FoundCode]:
    """Codes by how much an answer tells: how open the question is, and for how many codes of its panel that are open
    themselves the same subjects are in question. What differs from the bible follows: it teaches nothing of others;
    what can't be read comes last."""
    doubt = {row.pk: entropy(row) for row in rows}
    subjects = {row.pk: {part for part, _, p in row.owners if part and p >= 0.05} for row in rows}

    def teaches(row: FoundCode) -> float:
        beside = (other for other in rows if other.pk != row.pk and _panel(other) == _panel(row))
        shared = sum(doubt[other.pk] for other in beside if subjects[other.pk] & subjects[row.pk])
        return doubt[row.pk] * (1 + shared)

    return sorted(rows, key=lambda row: (row.unreadable or row.crossed_out, row.differs, -teaches(row), row.number))


def entropy(row: FoundCode) -> float:
    """How open it is what a code says and whose it is, in nats."""
    chances = [p for _, _, p in row.owners], [p for _, p in row.readings]
    return sum(_entropy(some) for some in chances)


def _entropy(chances: Iterable[float]) -> float:
    known = [p for p in chances if p > LEAST]
    rest = 1 - sum(known)
    return -sum(p * math.log(p) for p in [*known, *([rest] if rest > LEAST else [])])


def _panel(row: FoundCode) -> int:
    return int(row.clue.get("panel", -1)) if row.clue else -1


def _question(found_code: FoundCode, waiting: Sequence[FoundCode]) -> CodeQuestion:
    keys = {key for key, _, _ in (*found_code.owners, *found_code.elsewhere) if key}
    parts = Part.objects.filter(pk__in=keys, costume__subject__series=found_code.series_id).with_names().in_bulk()
    return CodeQuestion(found_code, choices_of(found_code, parts), _figure(found_code, waiting), found_code.part)


def choices_of(found_code: FoundCode, parts: dict[int, Part]) -> tuple[CodeChoice, ...]:
    """Ways to answer, as proposed first. Where the code is another than its part's, both readings stand before any
    other part: that it is as written and unlike the bible, and that it says what the bible has."""
    if not found_code.code:
        return ()
    own = CodeChoice(found_code.code, found_code.part, found_code.role or BASE_ROLE)
    pairs: list[tuple[float, CodeChoice]] = []
    for key, role, p_owner in found_code.owners or [[None, "", 1.0]]:
        for code, p in found_code.readings[:3]:
            if key is None or key in parts:
                pairs.append((p_owner * p, CodeChoice(code, parts.get(key or 0), role or BASE_ROLE)))
    likely = [choice for _, choice in sorted(pairs, key=lambda pair: -pair[0])]
    first = [own]
    if found_code.differs:
        first = [CodeChoice(own.code, own.part, own.role, "as written: unlike the bible, and flagged")]
        if found_code.expected:
            first.append(CodeChoice(found_code.expected, own.part, own.role, "it says what the bible has"))
        first += _carriers(own.code, found_code.elsewhere[:1], parts)
    glance = _each_once(found_code, [*first, *likely])[:CHOICES]
    return tuple(_each_once(found_code, [*glance, *_carriers(own.code, found_code.elsewhere, parts)])[:KEYS])


def _carriers(code: str, elsewhere: Iterable[Any], parts: dict[int, Part]) -> list[CodeChoice]:
    """The parts whose code in the bible is what was read."""
    return [CodeChoice(code, parts[key], role or BASE_ROLE, CARRIES) for key, role, _ in elsewhere if key in parts]


def _each_once(found_code: FoundCode, choices: Iterable[CodeChoice]) -> list[CodeChoice]:
    """The first of each, without roles that a part was confirmed in before its kinds were named."""
    chosen: dict[str, CodeChoice] = {}
    for choice in choices:
        if not why_no_role(found_code.guide.series, choice.part, choice.role):
            chosen.setdefault(choice.saying, choice)
    return list(chosen.values())


def _figure(found_code: FoundCode, waiting: Iterable[FoundCode]) -> tuple[FoundCode, ...]:
    """The other codes of the panel that are given to the same costume, as the bible has them."""
    if found_code.part is None or not found_code.code:
        return ()
    return tuple(
        row
        for row in waiting
        if row.pk != found_code.pk and row.part is not None and row.part.costume_id == found_code.part.costume_id
        and _panel(row) == _panel(found_code) and not row.differs and row.p_part >= OF_FIGURE
        and row.code and not (row.unreadable or row.crossed_out)
    )  # fmt: skip
