"""Which codes of a page are sure: taken together with one key, or by themselves where a house lets them in.

The chances alone promise too much. While lines were followed stroke by stroke, 95.5 in a hundred of the codes said
sure were right in code, area and part on 25 pages of the demo in one hand (chosen on), 96.8 on 12 in two others
(watched), and 90.3 on the 33 pages of its first eleven issues (1,154 codes, looked at once; 12 % of the codes). The
network that points since then is surer of itself on the demo's lines than it may be: on six pages of issues 13
to 23 (202 codes; chosen on) the same demands would have said 20 % sure and been right in 78 of a hundred. Asked for
0.98 of the place they say 13 % and are right in 25 of 27. These pages are few and judged nothing else: that is no 99
in a hundred, and the whole page still wants a look. Since chances of parts are less sure of themselves
(``parts.TEMPERATURE``), 0.91 asks what 0.97 asked before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from guides.models import FoundCode

SURE_CODE, SURE_PART, SURE_PLACE = 0.95, 0.91, 0.98
"""Chances that are asked of what a code says, whose part it is, and which area it means."""

PAINT_SPEAKS_FOR_IT = 0.3
"""Chance of the code's tint by the area's paint, in shares of the tint that the paint suggests most."""


def say_what_is_sure(rows: Sequence[FoundCode], *, lit_unsaid: bool = False, nobodys: bool = True) -> None:
    """Set ``was_sure`` of the codes that wait among all codes of a page (``mark`` at hand for the answered ones).

    Args:
        lit_unsaid: the page seems to stand in a light that nobody has told of: none is sure then.
        nobodys: codes of no part may be sure as well, as in a series that has no parts. Among parts "nobody's" is
            what is left where the right one was not found.
    """
    claimed = Counter(_claims(rows))
    for row in rows:
        if row.decided_at is None:
            whose = row.part_id is not None or nobodys
            row.was_sure = whose and not lit_unsaid and _stands_alone(row) and claimed[row.part_id, row.role] <= 1


def likelihood(row: FoundCode) -> float:
    """The chance 0-1 that a code is right as it is proposed, in code and part. Of codes of the demo with 0.3 to 0.4
    were 50 in a hundred right, with 0.5 to 0.6 63, with 0.7 to 0.9 85 and above 93 (184 codes of six pages). Where it
    stands is another question: its part was looked for in every area that it may mean."""
    return row.p * row.p_part


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
    chances = row.p >= SURE_CODE and row.p_part >= SURE_PART and row.p_place >= SURE_PLACE
    return row.is_clear and not row.differs and chances and paint_agrees(row)


def paint_agrees(row: FoundCode) -> bool:
    """Whether the area's paint speaks for what is read; also where nothing is known of it."""
    paint = {int(tint): float(p) for tint, p in row.clue.get("paint", ())}
    readings = row.clue.get("readings") or ()
    if not paint or not readings:
        return True
    return paint.get(int(readings[0][0]), 0.0) >= PAINT_SPEAKS_FOR_IT * max(paint.values())
