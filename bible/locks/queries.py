"""Looking a code up, fast: words in, parts with their codes out. The page and the command share it."""

from __future__ import annotations

from dataclasses import dataclass

from bible.models import Lock, Part, Series

LOOKUP_LIMIT = 80
"""More answers than this help nobody with a brush in the other hand."""


@dataclass(frozen=True, slots=True)
class FoundPart:
    """One part that matches, with its locks in force, base first."""

    part: Part
    locks: tuple[Lock, ...]
    in_use: bool


def look_up(series: Series, words: str, position: int, limit: int | None = LOOKUP_LIMIT) -> list[FoundPart]:
    """Parts for which every word occurs in the subject's, costume's or part's name, as of a position.

    ``limit`` None: all of them. Without words there are no answers: the whole bible is another page.
    """
    if not words.strip():
        return []
    parts = list(Part.objects.matching(series, words).with_names()[:limit])
    locks = Lock.objects.in_force(position).by_part(part.pk for part in parts)
    return [FoundPart(part, tuple(locks[part.pk]), part.costume.in_use_at(position)) for part in parts]
