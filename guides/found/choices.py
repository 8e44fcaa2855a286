"""What may be answered to a found code, and which codes go along: those of its figure, and those like it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from bible.locks.stretches import why_no_role
from bible.models import Part
from bible.models.roles import BASE_ROLE
from guides.models import FoundCode

CHOICES, KEYS = 4, 9
"""Answers that are offered, the likeliest first: what is read at a glance; and with the parts that carry the code
read all the same, as many as there are figure keys."""

CARRIES = "the part that carries this code"

MAY_BE = 0.05
"""Chance from which the part that carries a code is named in a list, beside the one by which it is wrong."""

OF_FIGURE = 0.4
"""Chance of its part from which a code is taken with its figure; below it nobody has been named for it."""


@dataclass(frozen=True, slots=True)
class CodeChoice:
    """A way to answer: the code in a part and role (no part: nobody's). ``why`` says what it would mean; ``along``
    are the codes that one yes may answer with it, each as it would be."""

    code: str
    part: Part | None
    role: str
    why: str = ""
    along: tuple[GoesAlong, ...] = ()

    @property
    def saying(self) -> str:
        """As a form carries it."""
        return f"{self.part.pk if self.part else 0}|{self.role}|{self.code}"


@dataclass(frozen=True, slots=True)
class GoesAlong:
    """Another code that one yes answers too, and what it would be."""

    found: FoundCode
    choice: CodeChoice


@dataclass(frozen=True, slots=True)
class WaitingCode:
    """A code of a list, and where it is unlike the bible the part that would carry it as written, if that may be."""

    found: FoundCode
    carrier: Part | None

    @property
    def role(self) -> str:
        """In which the carrier carries it."""
        return self.found.elsewhere[0][1] or BASE_ROLE


def with_carriers(rows: Sequence[FoundCode]) -> list[WaitingCode]:
    """Codes with both their readings."""
    likeliest = {row.pk: row.elsewhere[0][0] for row in rows if row.differs and _may_be_carried(row)}
    parts = Part.objects.filter(pk__in=set(likeliest.values())).with_names().in_bulk() if likeliest else {}
    return [WaitingCode(row, parts.get(likeliest.get(row.pk, 0))) for row in rows]


def _may_be_carried(row: FoundCode) -> bool:
    return bool(row.elsewhere) and row.elsewhere[0][2] >= MAY_BE


def parts_in_question(rows: Sequence[FoundCode]) -> dict[int, Part]:
    """The parts that some codes may be of, by key, with their names."""
    keys = {key for row in rows for key, _, _ in (*row.owners, *row.elsewhere) if key}
    series = rows[0].series_id if rows else None
    return Part.objects.filter(pk__in=keys, costume__subject__series=series).with_names().in_bulk() if keys else {}


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


def goes_along(
    found_code: FoundCode, choice: CodeChoice, waiting: Iterable[FoundCode], parts: dict[int, Part]
) -> tuple[GoesAlong, ...]:
    """What else a yes to a choice may answer: the codes like it, which are read and proposed the same, and the rest
    of its figure, in the costume that is chosen."""
    along = []
    for row in waiting:
        if row.pk == found_code.pk or row.differs or not row.is_clear:
            continue
        answer = _like(found_code, choice, row) or _in_costume(found_code, choice, row, parts)
        if answer and not why_no_role(found_code.guide.series, answer.part, answer.role):
            along.append(GoesAlong(row, answer))
    return tuple(along)


def panel_of(row: FoundCode) -> int:
    return int(row.clue.get("panel", -1)) if row.clue else -1


def _like(found_code: FoundCode, choice: CodeChoice, row: FoundCode) -> CodeChoice | None:
    """The same answer for a code that is read the same and was thought to be the same part's."""
    same = (row.code, row.part_id, row.role) == (found_code.code, found_code.part_id, found_code.role)
    if not same or row.part_id is None or choice.part is None or choice.code != found_code.code:
        return None
    return CodeChoice(row.code, choice.part, choice.role)


def _in_costume(
    found_code: FoundCode, choice: CodeChoice, row: FoundCode, parts: dict[int, Part]
) -> CodeChoice | None:
    """What a code of the same figure is in the costume that is chosen: as proposed where it has that costume already,
    else the likeliest of its parts."""
    if choice.part is None or row.part is None or panel_of(row) != panel_of(found_code):
        return None
    costume = choice.part.costume_id
    if row.part.costume_id == costume:
        return CodeChoice(row.code, row.part, row.role or BASE_ROLE) if row.p_part >= OF_FIGURE else None
    if found_code.part is None or row.part.costume_id != found_code.part.costume_id:
        return None
    owners = (*row.owners, *row.elsewhere)
    fits = ((parts[key], role) for key, role, _ in owners if key in parts and parts[key].costume_id == costume)
    part, role = next(fits, (None, ""))
    return CodeChoice(row.code, part, role or BASE_ROLE) if part else None
