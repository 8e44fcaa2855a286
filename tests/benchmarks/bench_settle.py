"""How long reading the past takes: one part of 600 issues, and a series of 2,400 parts with a million marks.

``python tests/benchmarks/bench_settle.py [MARKS]``; on PostgreSQL through ``tests/postgres.py`` as in bench_impact.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks import large  # sets Django up


def main(how_many: int) -> None:
    from django.db import connection

    from bible.models import Lock, Part
    from guides.decisions.settle import accept, settle, settle_all, subjects_to_settle
    from guides.models import Mark

    series, lead, parts = large.long_series(large.crowded(how_many))
    Mark.objects.update(lock=None)
    Lock.objects.all().delete()
    used = Part.objects.filter(pk=parts[0].pk)
    print(f"{connection.vendor}: {how_many:,} marks, {len(parts):,} parts")
    large.timed("history of the most used part", lambda: settle(series, used))
    begin = time.perf_counter()
    waiting = subjects_to_settle(series)
    print(f"  which of the subjects wait, {len(waiting)}: {time.perf_counter() - begin:.1f} s")
    begin = time.perf_counter()
    read = [found for _, found in settle_all(series, waiting)]
    print(f"  reading {sum(map(len, read)):,} parts: {time.perf_counter() - begin:.1f} s")
    begin = time.perf_counter()
    locks = sum(accept(series=series, settlements=found, by=lead) for found in read)
    print(f"  locking them, {locks:,} locks, every mark resolved: {time.perf_counter() - begin:.1f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
