"""Fifty people at work for a minute among a million marks: how long they wait, and whether all that they saved is there.

``pip install -e '.[load]'``, then ``python tests/postgres.py python tests/benchmarks/bench_load.py [MARKS]``. It starts
gunicorn in production settings and sends it people (``load_people.py``) by locust, all on this machine: what locust
itself needs is taken from the server's share. Pages have no pictures here: a web server sends those.

Bars: 200 ms at the 95th percentile, no error, nothing lost.

Fifty people who each do something about every two seconds, each in their own time (a million marks, PostgreSQL, four workers of two threads, locust on the
same two cores, Debian's Python, 2026-11-27): 1,444 requests in a minute, no error, every saved mark found again, median 54 ms, 95th percentile 190 ms (bar 200). On the same
machine, which goes now faster and now slower, eight shorter runs gave 120 to 280 ms; four workers of one thread did as well, three of four threads 280 to 330. A Python built without
profile-guided optimisation needs a third more (270 ms). While all people asked in the same two instants, as evenly paced ones do, it was 750 ms.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import load_of_the_machine, long_series  # isort: skip (sets Django up)

from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection
from django.urls import reverse

from bible.models import Part, Series
from guides.maintenance.made_history import Size
from guides.models import Guide, Mark
from tests.factories import make_member
from tests.serving import production, serving, signed_in

PEOPLE, SECONDS = 50, 60
WORKERS, THREADS = 4, 2
"""As it is run for real on two cores. Threads of one worker take turns at Python: more of them make everybody wait."""
COME_A_SECOND = 5
"""How fast people come; what they wait for meanwhile is not counted. Fifty at once would queue for half the minute."""
BAR = 200.0
AT_WORK = 200
"""Pages that are being marked: the newest ones."""


def main(marks: int) -> int:
    series, _, parts = long_series(Size.of_marks(marks))
    people = [make_member(series, "fill-in", username=f"hand-{n}") for n in range(PEOPLE)]
    folder = Path(tempfile.mkdtemp(prefix="bench-load-"))
    (folder / "load.json").write_text(
        json.dumps(_what_is_there(series, people, parts) | {"saved": f"{folder}/saved.txt"})
    )
    print(
        f"{connection.vendor}, {marks:,} marks; {PEOPLE} people, {SECONDS} s, {WORKERS} workers of {THREADS} threads",
        flush=True,
    )
    connection.close()
    env = production(folder)
    with serving(env, workers=WORKERS, threads=THREADS) as server:
        subprocess.run(
            [sys.executable, "-m", "locust", "-f", str(Path(__file__).with_name("load_people.py")), "--headless",
             f"--users={PEOPLE}", f"--spawn-rate={COME_A_SECOND}", "--reset-stats",
             f"--run-time={SECONDS + PEOPLE // COME_A_SECOND}s", f"--host={server.url}",
             f"--csv={folder / 'told'}", "--only-summary", "--loglevel=ERROR"],
            env=env | {"BIBLE_LOAD": str(folder / "load.json")}, stdout=subprocess.DEVNULL, check=False,
        )  # fmt: skip
    late = _waited(folder)
    return int(bool(_lost(folder, series) or late))


def _what_is_there(series: Series, people: list[User], parts: list[Part]) -> dict[str, Any]:
    base = reverse("series", args=[series.slug])
    newest = Guide.objects.filter(series=series).order_by("-issue__position", "page_order")
    named = Part.objects.filter(pk__in=[part.pk for part in parts[:400]]).with_names()
    rooms = ("series", "flags", "bible", "issues", "palette", "going-out", "activity")
    return {
        "path": base,
        "people": [signed_in(person.username) for person in people],
        "guides": list(newest.values_list("pk", flat=True)[:AT_WORK]),
        "parts": [(part.costume.subject.name, part.full_name) for part in named],
        "codes": ["B2", "YR3B2", "R", "Y2R2", "no such code"],
        "pages": [(reverse(name, args=[series.slug]).removeprefix(base), name) for name in rooms],
    }


def _waited(folder: Path) -> bool:
    """Print how long people waited; whether it was too long, or anything was refused."""
    with (folder / "told_stats.csv").open() as file:
        rows = list(csv.DictReader(file))
    print("| what | requests | errors | median | p95 | longest |\n|---|---|---|---|---|---|")
    for row in sorted(rows, key=lambda row: -int(row["Request Count"])):
        print(
            f"| {row['Name']} | {row['Request Count']} | {row['Failure Count']} | {row['Median Response Time']}"
            f" | {row['95%']} | {float(row['Max Response Time']):.0f} |"
        )
    whole = next(row for row in rows if row["Name"] == "Aggregated")
    return float(whole["95%"]) > BAR or int(whole["Failure Count"]) > 0


def _lost(folder: Path, series: Series) -> int:
    """How many marks the server said were saved and are not there; the stored flags are worked out anew as well."""
    saved = [tuple(map(float, line.split())) for line in (folder / "saved.txt").read_text().splitlines()]
    placed = Mark.objects.filter(series=series, created_by__username__startswith="hand-")
    lost = set(saved) - set(placed.values_list("guide_id", "x", "y"))
    print(f"{len(saved)} marks saved, {len(lost)} lost; load of the machine at the end: {load_of_the_machine()}")
    begin = time.perf_counter()
    call_command("check", series.slug, "--verify")
    print(f"check --verify took {time.perf_counter() - begin:.0f} s")
    return len(lost)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000))
