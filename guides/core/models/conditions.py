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

    @property
    def verdict(self) -> str:
        """What the desk says of such a mark, with room for the {costume} and the {issue}."""
        return VERDICTS[self]


VERDICTS = {
    FlagKind.DIFFERS: "Differs from the bible",
    FlagKind.UNREADABLE: "Cannot be read",
    FlagKind.NO_LOCK: "Nothing is locked for this part here",
    FlagKind.OUT_OF_USE: "{costume} is out of use in issue {issue}",
}
NO_TINT_FLAGS = {
    FlagKind.UNREADABLE: ("tint", NoTint.UNREADABLE),
    FlagKind.OUT_OF_USE: ("expected", NoTint.OUT_OF_USE),
    FlagKind.NO_LOCK: ("expected", NoTint.NO_LOCK),
}
"""Kinds that say there is no tint: of the mark's two columns the one, and what it holds. The first that fits is it: a
text that says nothing cannot differ. What has both tints differs."""


def flagged_condition(prefix: str = "") -> Q:
    """A live mark of a known part whose tint is not the expected one. The partial index repeats it word for word."""
    return Q(**{f"{prefix}live": True, f"{prefix}part__isnull": False}) & ~Q(
        **{f"{prefix}tint": F(f"{prefix}expected")}
    )


def flag_kind_condition(kind: FlagKind) -> Q:
    """Which flags are of a kind."""
    if kind not in NO_TINT_FLAGS:
        return Q(tint__gte=0, expected__gte=0)
    column, why = NO_TINT_FLAGS[kind]
    condition = Q((column, why))
    for earlier, (its_column, its_why) in NO_TINT_FLAGS.items():
        if earlier is kind:
            break
        if its_column != column:
            condition = ~Q((its_column, its_why)) & condition
    return condition


def kind_of_flag(tint: Tint | NoTint, expected: Tint | NoTint) -> FlagKind | None:
    """The flag on a live mark of a known part, None where the two agree; the twin of ``flag_kind_condition``."""
    if tint == expected:
        return None
    held = {"tint": tint, "expected": expected}
    return next((kind for kind, (column, why) in NO_TINT_FLAGS.items() if held[column] == why), FlagKind.DIFFERS)
