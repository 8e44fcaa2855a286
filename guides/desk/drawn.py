"""What a desk has drawn of a page, as a short digest: an answer need not draw again what already stands there.

A desk says with a new mark what it has drawn. Where that is what every other mark is like now, the answer is the new
mark alone; where somebody else has been at the page meanwhile, it is all of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from bible.models.fields import NoTint, packed
from bible.web.digest import digest
from guides.models import Guide, Mark, PaintReading

HEADER = "Desk-Drawn"
"""The request header that says what is drawn. A header, since what is to be done does not depend on it."""


@dataclass(frozen=True, slots=True, order=True)
class DrawnMark:
    """All of a mark that may change without somebody opening the page anew; ``version`` stands for what people say
    of it, the rest is what the bible and the paint say. Tints are packed."""

    key: int
    version: int
    tint: int
    to_tint: int | None
    expected: int
    expected_to: int
    live: bool
    waived: bool
    paint_odd: bool
    has_part: bool

    @classmethod
    def of(cls, mark: Mark, paint_odd: bool) -> DrawnMark:
        return cls(
            mark.pk, mark.version, packed(mark.tint), packed(mark.to_tint) if mark.to_tint is not None else None,
            packed(mark.expected), packed(mark.expected_to), mark.live, mark.waived, paint_odd,
            mark.part_id is not None,
        )  # fmt: skip

    @property
    def is_flagged(self) -> bool:
        """Twin of ``Mark.flag_kind``: for counting without making a mark of it."""
        marked = (self.tint, NoTint.FLAT.value if self.to_tint is None else self.to_tint)
        return self.live and self.has_part and marked != (self.expected, self.expected_to)


def drawn_marks(guide: Guide) -> list[DrawnMark]:
    """The marks that stand on a guide as they would be drawn now, in two queries whatever they say."""
    odd = odd_marks(guide)
    rows = Mark.objects.filter(guide=guide, deleted_at=None).as_drawn()
    return [
        DrawnMark(key, version, tint, to_tint, expected, expected_to, live, waived, key in odd, part is not None)
        for key, version, tint, to_tint, expected, expected_to, live, waived, part in rows
    ]


def odd_marks(guide: Guide) -> set[int]:
    """Keys of the marks of a guide whose paint disagrees with their code."""
    return set(PaintReading.objects.filter(mark__guide=guide).disagreeing().values_list("mark_id", flat=True))


def drawn_digest(guide: Guide, marks: Iterable[DrawnMark]) -> str:
    """What is drawn, whatever the order; codes and differences also follow the series' notation and press."""
    series = guide.series
    press = guide.issue.press or series.press
    content: tuple[Any, ...] = (guide.is_current, press, series.notation_data, sorted(marks))
    return digest(repr(content))
