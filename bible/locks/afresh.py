"""Locks for many parts and roles at once, for which nothing stands: from old pages, and from a table."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django.db import connection, transaction
from django.db.models import Min
from django.utils import timezone

from bible import signals
from bible.locks.services import LockToBe
from bible.locks.stretches import Piece
from bible.models import ActivityKind, Lock, Part, Series, columns_of, record
from bible.models.bulk import write_rows
from bible.models.naming import name_of
from bible.series.holding import hold_to_lock
from bible.series.refusals import Refused
from bible.web.names import counted

if TYPE_CHECKING:
    from django.contrib.auth.models import User


AFRESH_COLUMNS = (
    "series_id", "part_id", "role", "edition_id", "tint", "to_tint", "direction", "written", "rule_data",
    "from_position", "to_position", "reason", "decided_by_id", "decided_at", "restored", "withdrawn_reason",
)  # fmt: skip


@transaction.atomic
def lock_histories(
    *, series: Series, histories: Mapping[tuple[int, str], Sequence[Piece]], by: User, reason: str
) -> int:
    """Lock several parts' roles that nothing has been locked for, each for its whole past. Returns how many locks.

    Args:
        histories: by (part's primary key, role), pieces that do not overlap.

    Raises:
        Refused: something has been locked for one of them (meanwhile); nothing is locked then.
    """
    decisions = [
        LockToBe(part, role, tint, series.write(tint), start, end, reason)
        for (part, role), pieces in histories.items()
        for start, end, tint in pieces
    ]
    return lock_afresh(series=series, decisions=decisions, by=by)


@transaction.atomic
def lock_afresh(*, series: Series, decisions: Iterable[LockToBe], by: User) -> int:
    """Lock many parts' roles for which nothing stands, in a few statements. Returns how many locks.

    Args:
        decisions: about the first printing; of one part and role, none may overlap another.

    Raises:
        Refused: something has been locked for one of them (meanwhile), or it is archived; nothing is locked then.
    """
    decisions = list(decisions)
    keys = {(decision.part_id, decision.role) for decision in decisions}
    hold_to_lock(series.pk, {part for part, _ in keys})
    parts = Part.objects.filter(pk__in={part for part, _ in keys}, costume__subject__series=series)
    held = {part.pk: part for part in parts.select_related("costume__subject")}
    for lock in Lock.objects.filter(part__in=held).standing().with_people().select_related("part__costume__subject"):
        if (lock.part_id, lock.role) in keys:
            raise Refused(
                f"{name_of(lock.decided_by)} locked {lock.written} for {lock.part.full_name} meanwhile. Look again."
            )
    now = timezone.now()
    write_rows(Lock, AFRESH_COLUMNS, _rows_of(decisions, series, by, now))
    made = Lock.every_printing.filter(part__in=held, decided_at=now, decided_by=by).order_by()
    firsts = dict(made.values_list("part__costume__subject").annotate(first=Min("pk")))
    settled = Counter((held[decision.part_id].costume.subject, decision.reason) for decision in decisions)
    for (subject, reason), count in settled.items():
        about: dict[str, Any] = {"subject": subject, "lock_id": firsts[subject.pk], "words": {"reason": reason}}
        record(ActivityKind.SETTLED, series=series, by=by, count=count, **about)
    if held:
        names = sorted({part.name for part in held.values()})
        why = f"{counted(len(decisions), 'code')} of {', '.join(names)} locked"
        signals.expectation_changed.send(sender=Lock, series=series, part_ids=list(held), by=by, why=why, at=now)
    return len(decisions)


def _rows_of(decisions: Iterable[LockToBe], series: Series, by: User, now: dt.datetime) -> Iterator[tuple[Any, ...]]:
    """Locks as the database's driver takes them: twenty thousand through the models took three times as long."""
    moment = connection.ops.adapt_datetimefield_value(now)
    for decision in decisions:
        tint, to_tint, direction = columns_of(decision.tint).values()
        yield (
            series.pk, decision.part_id, decision.role, decision.edition.pk if decision.edition else None,
            tint.packed, to_tint.packed if to_tint else None, direction, decision.written, "[]",
            decision.from_position, decision.to_position, decision.reason, by.pk, moment, False, "",
        )  # fmt: skip
