"""How long flags, the impact of a lock and its saving take among a million marks.

``python tests/benchmarks/bench_impact.py [MARKS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_impact.py [MARKS]`` on a throw-away PostgreSQL.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bible.settings")
if "DATABASE_URL" not in os.environ:
    os.environ["BIBLE_DATA"] = tempfile.mkdtemp(prefix="bench-")

import django

django.setup()

import numpy as np
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from bible.colour.tints import Tint
from bible.fields import NoTint
from bible.models import Costume, Issue, Lock, Part, Scene, Series, Subject
from bible.services import lock_tint, set_scene
from guides import impact
from guides.models import Guide, Mark
from tests.factories import make_member, make_series

ISSUES, PAGES, SUBJECTS, PARTS_EACH = 600, 20, 120, 20
SLIPS = 0.03
ROUNDS = 31
SKEW = 1.3
"""Parts are used unevenly: the most used one carries about a four-hundredth of all marks."""


def bible(series: Series) -> list[Part]:
    """600 issues of 20 pages; 120 subjects with 20 parts each, one lock a part."""
    Issue.objects.bulk_create(Issue(series=series, number=str(n), position=n * 65_536) for n in range(1, ISSUES + 1))
    by = series.memberships.get().user
    Guide.objects.bulk_create(
        Guide(
            series=series, issue=issue, page=str(page), page_order=page * 30, filename="x", sha256="0" * 64,
            byte_size=1, width=10, height=10, uploaded_by=by,
        )
        for issue in series.issues.all()
        for page in range(1, PAGES + 1)
    )  # fmt: skip
    subjects = Subject.objects.bulk_create(Subject(series=series, name=f"S{n}") for n in range(SUBJECTS))
    costumes = Costume.objects.bulk_create(Costume(subject=subject, name="one") for subject in subjects)
    parts = Part.objects.bulk_create(
        Part(costume=costume, name=f"part {n}") for costume in costumes for n in range(PARTS_EACH)
    )
    from django.utils import timezone

    tints = series.chart.tints
    Lock.objects.bulk_create(
        Lock(
            series=series, part=part, tint=tints[n % len(tints)], written="x", from_position=0, decided_by=by,
            decided_at=timezone.now(),
        )
        for n, part in enumerate(parts)
    )  # fmt: skip
    return parts


COLUMNS = [
    "series_id",
    "guide_id",
    "position",
    "page_order",
    "number",
    "x",
    "y",
    "part_id",
    "role",
    "written",
    "to_written",
    "tint",
    "lock_id",
    "expected",
    "waived",
    "live",
    "version",
    "created_by_id",
    "created_at",
    "changed_by_id",
    "changed_at",
]


def marks(series: Series, parts: list[Part], how_many: int) -> None:
    """Marks spread over all pages, 3 % of them wrong, written straight into the table."""
    rng = np.random.default_rng(1)
    guides = list(Guide.objects.order_by("pk").values_list("pk", "issue__position", "page_order"))
    locks = dict(Lock.objects.values_list("part_id", "pk"))
    tint_of = dict(Lock.objects.values_list("part_id", "tint"))
    by, now = series.memberships.get().user_id, "2026-01-01 00:00:00+00:00"
    chosen = (len(parts) * rng.random(how_many) ** SKEW).astype(int)
    wrong = rng.random(how_many) < SLIPS
    other = Tint(c=50, m=25).packed

    def row(n: int) -> tuple[object, ...]:
        guide, position, page = guides[n % len(guides)]
        part = parts[int(chosen[n])].pk
        expected = tint_of[part].packed
        tint = other if wrong[n] and other != expected else expected
        return (
            series.pk, guide, position, page, n // len(guides) + 1, 0.5, 0.5, part, "base", "x", "", tint, locks[part],
            expected, False, True, 1, by, now, by, now,
        )  # fmt: skip

    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY guides_mark ({', '.join(COLUMNS)}) FROM STDIN") as copy:
                for n in range(how_many):
                    copy.write_row(row(n))
        else:
            places = ", ".join(["?"] * len(COLUMNS))
            connection.connection.executemany(
                f"INSERT INTO guides_mark ({', '.join(COLUMNS)}) VALUES ({places})", map(row, range(how_many))
            )
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


def timed(name: str, deed: Callable[[], object]) -> None:
    took = []
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        deed()
        took.append((time.perf_counter() - begin) * 1000)
    print(f"  {name}: median {statistics.median(took):.1f} ms, best {min(took):.1f}, worst {max(took):.1f}")


def in_database(deed: Callable[[], object]) -> Callable[[], object]:
    """The statements of a deed alone, sent again as they were and fetched, without what Python makes of them."""
    with CaptureQueriesContext(connection) as caught:
        deed()
    statements = [query["sql"] for query in caught.captured_queries]

    def again() -> None:
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
                cursor.fetchall()

    return again


def main(how_many: int) -> None:
    call_command("migrate", verbosity=0)
    series = make_series()
    lead = make_member(series)
    parts = bible(series)
    marks(series, parts, how_many)
    set_scene(scene=Scene(series=series, name="Night"), rule=Scene().rule, by=lead)
    everything = Mark.objects.filter(series=series)
    used = everything.filter(part=parts[0]).count()
    print(
        f"{connection.vendor}: {how_many:,} marks, {everything.flagged().count():,} flags; most used part: {used:,}"
    )
    part = Part.objects.select_related("costume__subject__series").get(pk=parts[0].pk)
    tint = Tint(c=100, y=25)
    assert everything.filter(expected=NoTint.NO_LOCK).count() == 0
    timed("count of open flags", lambda: everything.open().count())
    timed("count of waived flags", lambda: everything.waived().count())
    timed("first 50 open flags", lambda: list(everything.open().in_order()[:50]))
    show = partial(impact.of_lock, part, "base", tint, 0, None)
    timed("impact of a lock on the most used part, in the database", in_database(show))
    timed("the same with what Python makes of it", show)

    def apply() -> None:
        with transaction.atomic():
            lock_tint(part=part, role="base", tint=tint, written="B", from_position=0, by=lead)
            connection.check_constraints()  # PostgreSQL puts foreign keys off until the commit that does not come
            transaction.set_rollback(True)

    timed("saving that lock", apply)
    print(f"  load of the machine at the end: {', '.join(f'{load:.1f}' for load in os.getloadavg())}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
