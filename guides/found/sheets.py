"""Likely codes that are looked over together: which stand on a sheet, and what some answers make of the rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from guides.found.choices import CodeChoice, choices_of, panel_of, parts_in_question
from guides.found.forms import Said
from guides.found.proposing import proposed_anew
from guides.found.sureness import likelihood, paint_agrees
from guides.models import FoundCode, Guide

LIKELY = 0.45
"""Chance of a code and its part from which it is looked over with others: its figure key goes on to the next answer,
so a sheet takes fewer keys than questions do wherever that is pressed less than once a code. Chosen on six pages of
the demo (216 codes; keys a page of 40, drags of rings that stand in the wrong area counted): 40.0 with one panel a
sheet from 0.5 of code, part and place, and wrong ones struck; 34.1 over several panels from 0.3 of code and part,
32.2 from 0.45. Twelve other pages (428 codes) took 44.8 before, and 42.8 at 0.3."""

SHEET = 9
"""Codes looked over together that have a figure key each."""

BESIDE = 0.85
"""Chance from which a code needs no figure key, and stands below those that have one. Chosen on the same six pages,
keys a page of 40; a ring that stands on another piece of what its code means is no drag there, a wrong code without a
figure key is two clicks: 31.7 with nine codes a sheet and the sure ones apart; with these and the sure ones beside
them, and the rest of a sheet asked anew once a line is changed, 28.5 from 0.85 and 29.6 from 0.7. Twelve other pages:
36.3 before, 34.9 from 0.85.

A line has every answer that a question has: what is not among the first is picked from its list in two clicks, where
it was struck and asked by itself before: 28.0 on the six, 34.1 on the twelve."""

LOOK_AT_PLACE = 0.7
"""Chance of its place below which a sheet says to look at it: there a third of the rings stood in the right area,
above it nine of ten (216 codes of the demo)."""


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A likely code among those that are looked over, and what it may be, as proposed first; ``number`` is its figure
    key (0: none)."""

    found: FoundCode
    choices: tuple[CodeChoice, ...]
    number: int = 0

    @property
    def asks_for_place(self) -> bool:
        """Whether it may well mean another area than its ring stands in."""
        return self.found.p_place < LOOK_AT_PLACE or not paint_agrees(self.found)


@dataclass(frozen=True, slots=True)
class LikelySheet:
    """Codes that are looked over together: the ``numbered`` ones, and those likelier still ``beside`` them, the sure
    ones too."""

    numbered: tuple[FoundCode, ...] = ()
    beside: tuple[FoundCode, ...] = ()

    @property
    def numbered_lines(self) -> list[SheetLine]:
        return lines_of(self.numbered, has_keys=True)

    @property
    def lines_beside(self) -> list[SheetLine]:
        return lines_of(self.beside)

    @property
    def rows(self) -> tuple[FoundCode, ...]:
        return *self.numbered, *self.beside

    def __bool__(self) -> bool:
        return bool(self.numbered or self.beside)


def lines_of(rows: Sequence[FoundCode], *, has_keys: bool = False) -> list[SheetLine]:
    """Codes as lines of a sheet."""
    parts = parts_in_question(rows)
    return [SheetLine(row, choices_of(row, parts), n if has_keys else 0) for n, row in enumerate(rows, 1)]


def sheet_of(waiting: Sequence[FoundCode]) -> LikelySheet:
    """What may be looked over together: panel by panel so that the eye stays there, the panels with most of them
    first. None where a single one is left, or where all are sure."""
    fits = [row for row in waiting if _is_likely(row)]
    if len(fits) < 2 or all(row.is_sure for row in fits):
        return LikelySheet()
    counts = Counter(panel_of(row) for row in fits)
    by_panel = sorted(fits, key=lambda row: (-counts[panel_of(row)], panel_of(row)))
    beside = tuple(row for row in by_panel if row.is_sure or likelihood(row) >= BESIDE)
    return LikelySheet(tuple(row for row in by_panel if row not in beside)[:SHEET], beside)


def _is_likely(row: FoundCode) -> bool:
    unlike = not row.is_clear or row.differs or row.doubted
    return not unlike and (row.is_sure or likelihood(row) >= LIKELY)


def as_said(guide: Guide, keys: Iterable[int], said: Mapping[int, Said]) -> list[SheetLine]:
    """The other lines of a sheet as they would stand if some of its codes had been answered so."""
    owners = {key: (part.pk if part else None, role) for key, (part, role, _) in said.items()}
    anew = {row.pk: row for row in proposed_anew(guide, owners) if row.decided_at is None}
    rows = [anew[key] for key in keys if key in anew and key not in said]
    parts = parts_in_question(rows)
    for row in rows:
        row.part = parts.get(row.part_id or 0)
    return lines_of(rows)
