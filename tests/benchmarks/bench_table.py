"""How long a large table of a bible takes to come in: kept, looked at, taken.

``python tests/benchmarks/bench_table.py [ROWS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_table.py [ROWS]`` on a throw-away PostgreSQL. 20,000 rows are
5,000 parts of 250 subjects in two roles, each locked up to an issue and from there on. Seconds of processor of this
process, and of the clock. Bar: 10 s for 20,000 rows.
"""

from __future__ import annotations

import csv
import io
import random
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import load_of_the_machine  # isort: skip (sets Django up)

from django.core.management import call_command
from django.db import connection

from bible.colour.notation import LETTERS_64
from bible.models import Lock
from guides.imports.services import Kind, keep, open_for, take_kept, try_out
from tests.factories import make_issues, make_member, make_series

ROWS, ISSUES = 20_000, 40
SUBJECTS, A_PART = 250, 4


def table(rows: int, seed: int = 1) -> bytes:
    """Columns as a small house would call them, in the order of its subjects."""
    rng = random.Random(seed)
    codes = [LETTERS_64.write(tint) for tint in LETTERS_64.steps_chart.tints]
    out = io.StringIO()
    sheet = csv.writer(out)
    sheet.writerow(["Subject", "Costume", "Part", "Role", "Code", "From issue", "To issue", "Reason"])
    for n in range(rows // A_PART):
        names = [f"Figure {n % SUBJECTS:03d}", f"look {n // SUBJECTS % 4}", f"part {n // (4 * SUBJECTS)}"]
        for role in ("base", "shade"):
            turn = rng.randrange(2, ISSUES)
            for first, last in (("", str(turn - 1)), (str(turn), "")):
                sheet.writerow([*names, role, rng.choice(codes), first, last, "as in the chart on the wall"])
    return out.getvalue().encode()


def timed(name: str, deed: Callable[[], object]) -> object:
    processor, clock = time.process_time(), time.perf_counter()
    answer = deed()
    print(f"| {name} | {time.process_time() - processor:.1f} | {time.perf_counter() - clock:.1f} |", flush=True)
    return answer


def main(rows: int) -> None:
    call_command("migrate", verbosity=0)
    series = make_series()
    lead = make_member(series)
    make_issues(series, ISSUES)
    data = table(rows)
    print(f"{connection.vendor}, {rows:,} rows; load of the machine {load_of_the_machine()}\n")
    print("| step | processor, s | clock, s |\n|---|---|---|")
    kept = keep(series=series, kind=Kind.BIBLE, data=data, filename="bible.csv", by=lead)
    timed("kept", lambda: keep(series=series, kind=Kind.BIBLE, data=data, filename="bible.csv", by=lead))
    opened = open_for(series, Kind.BIBLE, data, kept.filename)
    columns = opened.headings.guess
    timed("opened", lambda: open_for(series, Kind.BIBLE, data, kept.filename))
    trial = try_out(series, Kind.BIBLE, opened, columns, lead)
    timed("shown", lambda: try_out(series, Kind.BIBLE, opened, columns, lead))
    token = trial.fates.token
    timed("taken", lambda: take_kept(table=kept, columns=columns, by=lead, token=token))
    assert Lock.objects.count() == rows, Lock.objects.count()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS)
