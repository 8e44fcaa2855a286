"""When a mark is flagged, and as what: conditions that queries, indexes and counts share."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from bible.colour.tints import Tint
from bible.models.fields import NoTint


class FlagKind(models.TextChoices):
    """What a flag says. Which one it is follows from the two stored tints alone."""

    DIFFERS = "differs", "differs"
    UNREADABLE = "unreadable", "not on the chart or unreadable"
    NO_LOCK = "no-lock", "no lock"
    OUT_OF_USE = "out-of-use", "out of use"


def flagged_condition(prefix: str = "") -> Q:
    """A live mark of a known part whose tint is not the expected one. The partial index repeats it word for word."""
    return Q(**{f"{prefix}live": True, f"{prefix}part__isnull": False}) & ~Q(
        **{f"{prefix}tint": F(f"{prefix}expected")}
    )


def flag_kind_condition(kind: FlagKind) -> Q:
    """Which flags are of a kind. Unreadable comes first: a text that says nothing cannot differ."""
    unreadable = Q(tint=NoTint.UNREADABLE)
    return {
        FlagKind.UNREADABLE: unreadable,
        FlagKind.OUT_OF_USE: ~unreadable & Q(expected=NoTint.OUT_OF_USE),
        FlagKind.NO_LOCK: ~unreadable & Q(expected=NoTint.NO_LOCK),
        FlagKind.DIFFERS: Q(tint__gte=0, expected__gte=0),
    }[kind]


def kind_of_flag(tint: Tint | NoTint, expected: Tint | NoTint) -> FlagKind | None:
    """The flag on a live mark of a known part, None where the two agree; the twin of ``flag_kind_condition``."""
    if tint == expected:
        return None
    if tint == NoTint.UNREADABLE:
        return FlagKind.UNREADABLE
    return _OF_WHAT_IS_MISSING.get(expected, FlagKind.DIFFERS)


_OF_WHAT_IS_MISSING: dict[Tint | NoTint, FlagKind] = {
    NoTint.OUT_OF_USE: FlagKind.OUT_OF_USE,
    NoTint.NO_LOCK: FlagKind.NO_LOCK,
}
