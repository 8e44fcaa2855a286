"""What the benchmarks of a large series share: Django on a scratch database, a series of any size, and a stop-watch.

Import it first: it sets Django up. Without ``DATABASE_URL`` the database is a scratch SQLite file.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
SCRATCH = os.path.join(tempfile.gettempdir(), "bench-")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bible.settings")
if "DATABASE_URL" not in os.environ and not os.environ.get("BIBLE_DATA", "").startswith(SCRATCH):
    os.environ["BIBLE_DATA"] = tempfile.mkdtemp(prefix="bench-")  # a process that this one starts finds it

import django

django.setup()

from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bible.models import Part, Series
from bible.models.bulk import gather_statistics
from guides.maintenance.made_history import Size, finish, make_history
from tests.factories import make_member, make_series

ROUNDS = 31


def crowded(marks: int) -> Size:
    """600 issues of 20 pages and 120 subjects of 20 parts with one lock each, however many marks there are."""
    return Size(marks=marks, issues=600, pages=20, subjects=120, parts_each=20, changed=0)


def long_series(size: Size, colourists: int = 0) -> tuple[Series, User, list[Part]]:
    """(series, its lead, its parts with the most used first), in a database that is migrated for it."""
    call_command("migrate", verbosity=0)
    series = make_series()
    lead = make_member(series)
    people = [lead, *(make_member(series, "fill-in") for _ in range(colourists - 1))][:colourists]
    parts = make_history(series=series, size=size, by=lead, colourists=people)
    finish()
    return series, lead, parts


def median(deed: Callable[[], object], rounds: int = ROUNDS) -> tuple[float, float, float]:
    """(median, best, worst) in milliseconds."""
    took = []
    for _ in range(rounds):
        begin = time.perf_counter()
        deed()
        took.append((time.perf_counter() - begin) * 1000)
    return statistics.median(took), min(took), max(took)


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


def timed(name: str, deed: Callable[[], object], rounds: int = ROUNDS) -> None:
    middle, best, worst = median(deed, rounds)
    print(f"  {name}: median {middle:.1f} ms, best {best:.1f}, worst {worst:.1f}", flush=True)


def load_of_the_machine() -> str:
    return ", ".join(f"{load:.1f}" for load in os.getloadavg())


__all__ = [
    "ROUNDS",
    "connection",
    "crowded",
    "gather_statistics",
    "in_database",
    "load_of_the_machine",
    "long_series",
    "median",
    "timed",
]
