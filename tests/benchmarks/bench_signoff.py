"""What signed-off issues cost those who mark and lock: each deed asks whether it touches one.

``python tests/benchmarks/bench_signoff.py [MARKS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_signoff.py [MARKS]`` on a throw-away PostgreSQL.
"""

from __future__ import annotations

import os
import sys
from functools import partial
from pathlib import Path
from unittest import mock

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import crowded, long_series, timed  # isort: skip (sets Django up)

from django.db import connection, transaction
from django.utils import timezone

from bible.colour.tints import Tint
from bible.locks.services import lock_tint
from bible.models import Issue, Series
from guides.core import reopening
from guides.core.fingerprint import fingerprint
from guides.core.services import place_mark
from guides.models import Guide, IssueStep
from guides.signoff.queries import points, points_of

SIGNED = 550
"""Of 600 issues: a series looks back on far more signed issues than it has open ones."""


def sign(series: Series) -> None:
    issues = list(series.issues.in_order()[:SIGNED])
    now = timezone.now()
    Issue.objects.filter(pk__in=[issue.pk for issue in issues]).update(signed_off_at=now)
    kind = IssueStep.Kind.SIGNED_OFF
    IssueStep.objects.bulk_create(IssueStep(series=series, issue=issue, kind=kind, at=now) for issue in issues)


def main(how_many: int) -> None:
    series, lead, parts = long_series(crowded(how_many))
    first, last = series.issues.in_order()[0], series.issues.in_order().reverse()[0]
    pages = {issue: Guide.objects.filter(issue=issue)[0] for issue in (first, last)}

    def undone(deed: object) -> None:
        with transaction.atomic():
            deed()  # type: ignore[operator]
            if connection.vendor == "postgresql":
                connection.check_constraints()  # put off until the commit that does not come
            transaction.set_rollback(True)

    def place(issue: Issue) -> None:
        guide = pages[issue]
        undone(lambda: place_mark(guide=guide, x=0.5, y=0.5, written="Y", part=parts[0], role="base", by=lead))

    def lock() -> None:
        tint = Tint(c=100, y=25)
        undone(lambda: lock_tint(part=parts[0], role="base", tint=tint, written="B", from_position=0, by=lead))

    print(f"{connection.vendor}: {how_many:,} marks in 600 issues")
    with mock.patch.object(reopening, "reopen", return_value=[]):
        timed("a mark placed, nothing asked", lambda: place(last))
    ask = partial(reopening.reopen, series_id=series.pk, issues=[last.pk], by=lead, why="")

    def asked() -> None:
        with transaction.atomic():
            ask()

    timed("the question alone, in a transaction of its own", asked)
    timed("a mark placed, nothing signed", lambda: place(last))
    timed("a lock on the most used part, nothing signed", lock)
    sign(series)
    timed(f"a mark placed in an open issue, {SIGNED} others signed", lambda: place(last))
    timed("a mark placed in a signed issue, which opens again", lambda: place(first))
    timed(f"a lock on the most used part, which opens most of {SIGNED} issues", lock)
    timed("what is open in one issue", lambda: points_of(series, last))
    timed("what is open in six issues", lambda: points(series, series.issues.order_by("-position")[:6]))
    timed("fingerprint of an issue", lambda: fingerprint(last))
    print(f"  load of the machine at the end: {', '.join(f'{load:.1f}' for load in os.getloadavg())}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
