"""When a mark is flagged, and as what: conditions that queries, indexes and counts share."""

from __future__ import annotations

import enum

from django.db import models
from django.db.models import F, Func, Q

from bible.colour.tints import Tint
from bible.models.fields import NoTint, TintField

MOST_COUNTED = 10_000
"""More marks than this a page calls “more than 10,000”: nobody looks through so many, and counting all of them would
make every page of a long series slower from year to year."""


class Agreement(enum.Enum):
    """What a mark's page says beside it."""

    BACKGROUND = "background"
    AGREES = "agrees"
    FLAGGED = "flagged"
    NOT_COMPARED = "not-compared"
    """Deleted, of an older revision, or in an archived issue."""


class FlagKind(models.TextChoices):
    """What a flag says. Which one it is follows from the stored tints alone."""

    DIFFERS = "differs", "differs"
    FADES = "fades", "fades otherwise"
    UNREADABLE = "unreadable", "not on the chart or unreadable"
    NO_LOCK = "no-lock", "no lock"
    OUT_OF_USE = "out-of-use", "out of use"
    NOT_THE_SAME = "not-the-same", "not the same within the scene"

    @property
    def verdict(self) -> str:
        """What the desk says of such a mark, with room for the {costume} and the {issue}."""
        return VERDICTS[self]

    @property
    def is_weak(self) -> bool:
        """Nothing is decided against it: marks only differ among each other. It is shown after the others."""
        return self is FlagKind.NOT_THE_SAME


VERDICTS = {
    FlagKind.DIFFERS: "Differs from the bible",
    FlagKind.FADES: "Begins as the bible has it, but does not fade as it says",
    FlagKind.UNREADABLE: "Cannot be read",
    FlagKind.NO_LOCK: "Nothing is locked for this part here",
    FlagKind.OUT_OF_USE: "{costume} is out of use in issue {issue}",
    FlagKind.NOT_THE_SAME: "Not the same as elsewhere in this scene",
}
NO_TINT_FLAGS = {
    FlagKind.UNREADABLE: ("tint", NoTint.UNREADABLE),
    FlagKind.OUT_OF_USE: ("expected", NoTint.OUT_OF_USE),
    FlagKind.NO_LOCK: ("expected", NoTint.NO_LOCK),
    FlagKind.NOT_THE_SAME: ("expected", NoTint.NOT_THE_SAME),
}
"""Kinds that say there is no tint: of the mark's two columns the one, and what it holds. The first that fits is it: a
text that says nothing cannot differ, and neither half of a gradient may say nothing. What has its tints differs: from
the first on, or only in what it fades to."""


def second_tint(prefix: str = "") -> Func:
    """What a mark fades to, ``NoTint.FLAT`` where it does not. Its SQL is the partial index's, word for word: the
    figure stands in it, since a parameter hides from SQLite that the index serves."""
    flat = f"COALESCE(%(expressions)s, {NoTint.FLAT.value})"
    return Func(F(f"{prefix}to_tint"), template=flat, output_field=TintField())


def as_expected(prefix: str = "") -> Q:
    """A mark says what is expected of it: its tint, and what that fades to, or that it does not."""
    return Q(**{f"{prefix}tint": F(f"{prefix}expected"), f"{prefix}expected_to": second_tint(prefix)})


def flagged_condition(prefix: str = "") -> Q:
    """A live mark of a known part that is not as expected. The partial index repeats it word for word."""
    return Q(**{f"{prefix}live": True, f"{prefix}part__isnull": False}) & ~as_expected(prefix)


def flag_kind_condition(kind: FlagKind) -> Q:
    """Which flags are of a kind."""
    readable = Q(tint__gte=0) & ~Q(to_tint=NoTint.UNREADABLE)
    match kind:
        case FlagKind.DIFFERS:
            return readable & Q(expected__gte=0) & ~Q(tint=F("expected"))
        case FlagKind.FADES:
            return readable & Q(expected__gte=0, tint=F("expected"))
        case FlagKind.UNREADABLE:
            return ~readable
    return readable & Q(NO_TINT_FLAGS[kind])


def kind_of_flag(
    tint: Tint | NoTint,
    expected: Tint | NoTint,
    to_tint: Tint | NoTint | None = None,
    expected_to: Tint | NoTint = NoTint.FLAT,
) -> FlagKind | None:
    """The flag on a live mark of a known part, None where it is as expected; the twin of ``flag_kind_condition``."""
    if (tint, NoTint.FLAT if to_tint is None else to_tint) == (expected, expected_to):
        return None
    if NoTint.UNREADABLE in (tint, to_tint):
        return FlagKind.UNREADABLE
    no_tint = next((kind for kind, (_, why) in NO_TINT_FLAGS.items() if expected == why), None)
    return no_tint or (FlagKind.FADES if tint == expected else FlagKind.DIFFERS)
