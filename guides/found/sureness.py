"""Which codes of a page are sure: taken together with one key, or by themselves where a house lets them in.

The chances alone promise too much. On 25 pages of the demo in one hand (935 codes; chosen on) codes with 0.95 of
being read, 0.9 of their part and 0.6 of their place were right in code, area and part 77.8 times in a hundred, on 12
pages in two other hands (364; watched) 84.3. What was wrong: a line that was not followed to its end, and one part
given twice where another part carries the same code. With what is asked below 95.5 and 96.8 in a hundred are right,
of 14 and 9 % of the codes instead of 35 and 30. On the 33 pages of the demo's first eleven issues, looked at once
(1,154 codes; few pages before them to learn from), 90.3 are right of 12 % instead of 81.6 of 30 %, and 95.5 point at
the right area. That is no 99 in a hundred: the whole page still wants a look.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from guides.models import FoundCode

SURE_CODE, SURE_PART, SURE_PLACE = 0.95, 0.97, 0.85
"""Chances that are asked of what a code says, whose part it is, and which area it means."""

PAINT_SPEAKS_FOR_IT = 0.3
"""Chance of the code's tint by the area's paint, in shares of the tint that the paint suggests most."""


def say_what_is_sure(rows: Sequence[FoundCode]) -> None:
    """Set ``was_sure`` of the codes that wait among all codes of a page (``mark`` at hand for the answered ones)."""
    claimed = Counter(_claims(rows))
    for row in rows:
        if row.decided_at is None:
            row.was_sure = _stands_alone(row) and claimed[row.part_id, row.role] <= 1


def likelihood(row: FoundCode) -> float:
    """The chance 0-1 that a code is right as it is proposed, in code, area and part. On the pages of above, of codes
    with 0.5 to 0.6 were 57 in a hundred right, with 0.7 to 0.8 71, with 0.9 and more 93."""
    return row.p * row.p_part * row.p_place * (1.0 if _paint_agrees(row) else PAINT_SPEAKS_FOR_IT)


def _claims(rows: Iterable[FoundCode]) -> list[tuple[int | None, str]]:
    """Part and role of each code, as answered or as proposed."""
    owners = []
    for row in rows:
        if row.decided_at is None:
            owners.append((row.part_id, row.role))
        elif row.mark is not None:
            owners.append((row.mark.part_id, row.mark.role))
    return [owner for owner in owners if owner[0] is not None]


def _stands_alone(row: FoundCode) -> bool:
    """Whether a code is sure, whatever the others are."""
    clear = not (row.unreadable or row.crossed_out or row.differs) and bool(row.code)
    chances = row.p >= SURE_CODE and row.p_part >= SURE_PART and row.p_place >= SURE_PLACE
    return clear and chances and _paint_agrees(row)


def _paint_agrees(row: FoundCode) -> bool:
    """Whether the area's paint speaks for what is read; also where nothing is known of it."""
    paint = {int(tint): float(p) for tint, p in row.clue.get("paint", ())}
    readings = row.clue.get("readings") or ()
    if not paint or not readings:
        return True
    return paint.get(int(readings[0][0]), 0.0) >= PAINT_SPEAKS_FOR_IT * max(paint.values())
