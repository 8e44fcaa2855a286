"""What looks alike where there is no code: hardly read, placed in the same way, in lettering as high."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guides.models import FoundCode, Guide

UNCERTAIN = 0.9
"""Chance of what is read below which it may well be no code at all: of nine that were none on 18 pages of the demo
eight lay below, of 635 codes eight."""

AS_HIGH = 1.4
"""How many times as high one may be as the other (a guess: no source)."""


def is_alike(first: FoundCode, second: FoundCode) -> bool:
    """Whether what is said of one, that it is no code, may well hold for the other."""
    if first.pk == second.pk or max(first.p, second.p) >= UNCERTAIN or first.how != second.how:
        return False
    low, high = sorted(row.bottom - row.top for row in (first, second))
    return high <= AS_HIGH * low


def alike(found_code: FoundCode, waiting: Iterable[FoundCode]) -> tuple[FoundCode, ...]:
    """The codes that may be none where this one is none."""
    return tuple(row for row in waiting if is_alike(found_code, row))


def like_those_set_aside(guide: Guide, waiting: Sequence[FoundCode]) -> set[FoundCode]:
    """The codes that look like one of the page that somebody has said is none: they are asked last, by themselves."""
    aside = FoundCode.objects.filter(guide=guide).set_aside()
    return {row for other in aside for row in alike(other, waiting)} if waiting else set()
