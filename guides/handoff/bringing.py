"""Marks brought in, on a screen or by a program: what rows would do is shown, and saved only as it was shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from bible.series.holding import hold_series
from bible.web.digest import digest
from guides.core.impact import Impact, rehearse
from guides.desk.services import brought_before, do_together
from guides.handoff.services import Brought, FileMark, Trouble, bring_in, fit
from guides.models import Guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True)
class MarkRows:
    """Marks as a file or a program tells them, and what of it cannot be taken."""

    marks: Sequence[FileMark]
    troubles: Sequence[Trouble]


@dataclass(frozen=True, slots=True)
class Look:
    """What rows would put on a guide, and what that would do to the flags and sign-offs."""

    brought: Brought
    impact: Impact

    @property
    def token(self) -> str:
        return digest(f"{self.brought.token} {self.impact.token}")


def look(*, guide: Guide, rows: MarkRows, by: User) -> Look:
    """Try the rows and take them back."""
    brought = fit(guide, rows.marks, rows.troubles)
    return Look(brought, rehearse(guide.series, lambda: bring_in(guide=guide, brought=brought, by=by)))


@transaction.atomic
def bring_as_shown(*, guide: Guide, rows: MarkRows, by: User, key: str, shown: str) -> tuple[int, bool]:
    """Put the rows on a guide once, if what was shown is what would happen.

    Returns:
        How many marks (0: it is not what was shown), and whether they had been brought in before with this key.
    """
    if known := brought_before(guide=guide, by=by, key=key):
        return len(known), True
    hold_series(guide.series_id)  # so that nothing passes between looking and saving
    looked = look(guide=guide, rows=rows, by=by)
    if not looked.brought.rows or shown != looked.token:
        return 0, False
    deeds, _ = do_together(
        guide=guide, by=by, key=key, deed=lambda: bring_in(guide=guide, brought=looked.brought, by=by)
    )
    return len(deeds), False
