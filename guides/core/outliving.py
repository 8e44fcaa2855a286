"""Waivers that die with the disagreement they were given for, and live again where the decision is undone that killed
them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from bible.models import ActivityKind
from guides.core.notes import record_about_marks
from guides.models import Mark, MarkQuerySet, Waiver

if TYPE_CHECKING:
    import datetime as dt

    from django.contrib.auth.models import User

_KEPT = (
    "series_id", "mark_id", "part_id", "role", "tint", "expected", "fades_to", "expected_to", "reason",
    "waived_by_id", "waived_at",
)  # fmt: skip


def bury_waivers(marks: MarkQuerySet, at: dt.datetime | None = None) -> None:
    """A waiver is for one disagreement: where mark or expectation have changed, it is dead.

    Args:
        at: the moment of the decision that changed them, by which ``revive_waivers`` knows what died of it.
    """
    outlived = Waiver.objects.filter(mark__in=marks.order_by().values("pk")).outlived()
    dead = dict(outlived.values_list("pk", "mark_id"))
    if dead:
        Waiver.objects.filter(pk__in=dead).update(died_at=at or timezone.now())
        Mark.objects.filter(pk__in=dead.values()).update(waived=False)


def revive_waivers(marks: MarkQuerySet, *, died_at: dt.datetime, by: User | None) -> list[Waiver]:
    """Let waivers live again that a decision killed and whose disagreement is there again, as rows of their own with
    their own giver, date and reason. What somebody took back stays taken back.

    Args:
        died_at: the moment of the decision, which is undone.
        by: who undid it.
    """
    died = Waiver.objects.filter(mark__in=marks.order_by().values("pk")).true_again(died_at)
    rows = list(died.select_related("mark__created_by").order_by("pk"))
    again = Waiver.objects.bulk_create(Waiver(**{name: getattr(row, name) for name in _KEPT}) for row in rows)
    if rows:
        Mark.objects.filter(pk__in=[row.mark_id for row in rows]).update(waived=True)
        reasons = sorted({row.reason for row in rows})
        record_about_marks(ActivityKind.WAIVED_AGAIN, [row.mark for row in rows], by, {"reason": "; ".join(reasons)})
    return again
