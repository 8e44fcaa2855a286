"""Looking a code up, fast: words in, parts with their codes out. The page and the command share it."""

from __future__ import annotations

from dataclasses import dataclass

from bible.models import Lock, Part, Series

LOOKUP_LIMIT = 80
"""More answers than this help nobody with a brush in the other hand."""


@dataclass(frozen=True, slots=True)
class Found:
    """One part that matches, with its locks in force, base first."""

    part: Part
    locks: tuple[Lock, ...]
    in_use: bool


def look_up(series: Series, words: str, position: int, limit: int | None = LOOKUP_LIMIT) -> list[Found]:
    """Parts for which every word occurs in the subject's, costume's or part's name, as of a position.

    ``limit`` None: all of them. Without words there are no answers: the whole bible is another page.
    """
    if not words.strip():
        return []
    parts = Part.objects.of_series(series).matching(words).with_names().with_locks(position)[:limit]
    return [
        Found(part, tuple(part.locks_in_force), part.costume.in_use_at(position))  # type: ignore[attr-defined]
        for part in parts
    ]
