"""Which codes are looked over together, and which one is asked first."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from urllib.parse import urlencode

from django.urls import reverse

from bible.models import Part, Scene
from bible.models.roles import BASE_ROLE
from guides.found.alike import alike, like_those_set_aside
from guides.found.choices import CodeChoice, choices_of, goes_along, panel_of, parts_in_question
from guides.found.lights import light_of
from guides.found.sheets import LikelySheet, sheet_of
from guides.models import FoundCode, Guide

LEAST = 1e-6


@dataclass(frozen=True)
class CodeQuestion:
    """The code that is asked about now, and what may be answered."""

    found: FoundCode
    choices: tuple[CodeChoice, ...]
    owner: Part | None
    alike: tuple[FoundCode, ...] = ()

    @property
    def along(self) -> set[int]:
        """Keys of the codes that some answer takes along."""
        return {other.found.pk for choice in self.choices for other in choice.along} | {row.pk for row in self.alike}

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
    """What a page offers: every code that waits, those that are sure, a sheet of likely ones to look over together,
    and where there is none the one to ask about."""

    guide: Guide
    waiting: tuple[FoundCode, ...]
    sure: tuple[FoundCode, ...]
    sheet: LikelySheet
    question: CodeQuestion | None

    @cached_property
    def light(self) -> Scene | None:
        """The scene that the page seems to stand in; worked out where it is shown."""
        return light_of(self.guide, self.waiting)

    @property
    def places(self) -> list[FoundPlace]:
        """Every code that waits, as the picture shows it."""
        numbers = {row.pk: number for number, row in enumerate(self.sheet.numbered, 1)}
        asked = self.question.found.pk if self.question else None
        along = self.question.along if self.question else set()
        return [FoundPlace(row, numbers.get(row.pk, 0), row.pk == asked, row.pk in along) for row in self.waiting]


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """A found code on the picture: its figure key among those that are looked over (0: none), and whether it is the
    one that is asked about, or one that an answer takes along. Places in pixels of the guide's picture."""

    found: FoundCode
    number: int
    is_asked: bool
    goes_along: bool

    @property
    def classes(self) -> str:
        """What it is, for its looks."""
        numbered = bool(self.number)
        says = {"sure": self.found.is_sure, "numbered": numbered, "asked": self.is_asked, "along": self.goes_along}
        return " ".join(["found-place", *(f"found-{word}" for word, holds in says.items() if holds)])

    @property
    def says(self) -> str:
        """Its figure key, its code, and where they disagree what the bible has."""
        number = f"{self.number} · " if self.number else ""
        unlike = f" ≠ {self.found.expected}" if self.found.differs and self.found.expected else ""
        return f"{number}{self.found.code or '?'}{unlike}"

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
    suspect = like_those_set_aside(guide, waiting)
    sheet = LikelySheet() if chosen else sheet_of([row for row in waiting if row not in suspect])
    if not chosen and not sheet:
        order = in_teaching_order([row for row in waiting if not row.is_sure])
        chosen = next(iter(sorted(order, key=lambda row: row in suspect)), None)
    question = _question(chosen, waiting) if chosen else None
    return PageOffer(guide, waiting, sure, sheet, question)


def in_teaching_order(rows: Sequence[FoundCode]) -> list[FoundCode]:
    """Codes by how much an answer tells: how open the question is, and for how many codes of its panel that are open
    themselves the same subjects are in question. What differs from the bible follows: it teaches nothing of others;
    what can't be read comes last.

    Other orders took no fewer keys on six pages of the demo that were otherwise asked as they are now (28.5 a page of
    40): 29.1 by how many of its panel an answer is expected to make right, a key, and 29.1 with the surest first.
    """
    doubt = {row.pk: entropy(row) for row in rows}
    subjects = {row.pk: {part for part, _, p in row.owners if part and p >= 0.05} for row in rows}

    def teaches(row: FoundCode) -> float:
        beside = (other for other in rows if other.pk != row.pk and panel_of(other) == panel_of(row))
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


def _question(found_code: FoundCode, waiting: Sequence[FoundCode]) -> CodeQuestion:
    parts = parts_in_question([found_code, *waiting])
    choices = (
        replace(choice, along=goes_along(found_code, choice, waiting, parts))
        for choice in choices_of(found_code, parts)
    )
    return CodeQuestion(found_code, tuple(choices), found_code.part, alike(found_code, waiting))
