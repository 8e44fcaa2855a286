"""``python tests/postgres.py python -m tests.faults [kills] [races]``: break things, then look for what was lost.

1. Workers are killed (SIGKILL) while people mark, send pages and lock, and restores are killed in between.
2. Two leads lock the same part at the same moment, having seen the same: one is told that the other was first.
3. The disk under the pictures is full, then not.
4. The database is gone for three seconds, then back.

After each: everything that was said to be saved is there, once; nothing is half written; what is left over is found
and mended by ``doctor``; ``check --verify`` agrees. Needs root for the small disk (a tmpfs).
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg

from tests.faults.house import FOLDER, House, Wrong, at_work, crew, furnish, look_back, look_through  # isort: skip (sets Django up)

from django.db import connection
from django.urls import reverse

from bible.models import Lock, Series
from guides.archive.exports import export_series
from guides.models import Guide, Mark
from tests.faults.people import Locker
from tests.serving import Server, production, serving

KILLS, RACES = 200, 1000
WORKERS = 3
PAUSE = (0.2, 0.9)
"""Seconds between two kills: a worker takes about one to come up again."""

RESTORES_KILLED = 4
"""Every so manieth kill meets a restore instead of a worker."""


def kill_workers(server: Server, series: Series, house: House, kills: int) -> None:
    stop, dice = threading.Event(), random.Random(7)
    archive = FOLDER / "series.zip"
    export_series(series, archive)
    in_archive = Mark.objects.filter(series=series).count(), Guide.objects.filter(series=series).count()
    people = crew(server, stop, series, house)
    done: Counter[str] = Counter()
    whole: list[str] = []
    restore: subprocess.Popen[bytes] | None = None
    with at_work(people, stop):
        for number in range(kills):
            time.sleep(dice.uniform(*PAUSE))
            if number % RESTORES_KILLED == 0:
                slug = f"again-{number}"
                command = [sys.executable, "manage.py", "restore_series", str(archive), "--as", slug]
                restore = subprocess.Popen(command, env=server.env, stdout=subprocess.DEVNULL)
                time.sleep(dice.uniform(0.5, 1.6))
                if restore.poll() is None:
                    restore.kill()
                    done["restores killed"] += 1
                elif restore.returncode == 0:
                    whole.append(slug)
                restore.wait()
                continue
            workers = server.workers()
            if workers:
                os.kill(dice.choice(workers), signal.SIGKILL)
                done["workers killed"] += 1
    print(f"{dict(done)}, {len(whole)} restores came to their end")
    for again in Series.objects.exclude(pk=series.pk):
        found = Mark.objects.filter(series=again).count(), Guide.objects.filter(series=again).count()
        if found != in_archive:
            raise Wrong(f"{again.slug} is half there: {found}, not {in_archive}")
    if gone := set(whole) - set(Series.objects.values_list("slug", flat=True)):
        raise Wrong(f"restored and not there: {gone}")
    look_back(people)


def race(server: Server, series: Series, parts: list[int], rounds: int) -> None:
    """Two leads who have seen the same lock the same part at once: one decides, the other is told."""
    base, stop = reverse("series", args=[series.slug]), threading.Event()
    leads = [Locker(server, name, stop) for name in ("lead-a", "lead-b")]
    for lead in leads:
        lead.base, lead.parts = base, parts
    part = parts[0]
    before = Lock.objects.filter(part=part).count()
    outcomes: Counter[int] = Counter()
    for number in range(rounds):
        seen = Lock.objects.filter(part=part).order_by("-pk").values_list("pk", flat=True)[0]
        gate = threading.Barrier(2)
        won: list[str] = []

        def decide(lead: Locker, number: int = number, seen: int = seen, gate: Any = gate, won: Any = won) -> None:
            gate.wait()
            if lead.lock(part, f"race {number} {lead.username}", seen):
                won.append(lead.username)

        threads = [threading.Thread(target=decide, args=[lead]) for lead in leads]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        outcomes[len(won)] += 1
    standing = Lock.objects.filter(part=part).standing().count()
    print(f"{rounds} races: {dict(outcomes)} (winners: races); refused otherwise: {[lead.refused for lead in leads]}")
    if set(outcomes) != {1} or Lock.objects.filter(part=part).count() != before + rounds or standing != 1:
        raise Wrong(f"{Lock.objects.filter(part=part).count() - before} decisions of {rounds}, {standing} standing")
    look_through()


def fill_the_disk(series: Series, house: House) -> None:
    """A server whose pictures lie on a disk of their own, which fills up and is emptied again."""
    media = FOLDER / "media"
    kept = FOLDER / "kept"
    media.rename(kept)
    media.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", str(media)], check=True)
    try:
        subprocess.run(["cp", "-a", f"{kept}/.", str(media)], check=True)
        stop = threading.Event()
        with serving(production(FOLDER), workers=WORKERS) as server:
            people = crew(server, stop, series, house)
            with at_work(people, stop):
                time.sleep(4)
                ballast = media / "ballast"
                fill(ballast)
                time.sleep(6)
                ready = server.is_ready()
                ballast.unlink()
                time.sleep(5)
            if ready:
                raise Wrong("a worker that can store no picture called itself ready")
            look_back(people)
        subprocess.run(["cp", "-a", f"{media}/.", str(kept)], check=True)
    finally:
        subprocess.run(["umount", "-l", str(media)], check=True)
        media.rmdir()
        kept.rename(media)


def fill(path: Path) -> None:
    """Write a file until the disk takes no more."""
    line = os.open(path, os.O_WRONLY | os.O_CREAT)
    try:
        while True:
            os.write(line, bytes(4096))
    except OSError as full:
        print(f"  {full.strerror}", flush=True)
    finally:
        os.close(line)


def take_the_database_away(server: Server, series: Series, house: House) -> None:
    stop = threading.Event()
    people = crew(server, stop, series, house)
    name = connection.settings_dict["NAME"]
    elsewhere = os.environ["DATABASE_URL"].rsplit("/", 1)[0] + "/template1"
    away: list[bool] = []
    with at_work(people, stop):
        time.sleep(3)
        connection.close()
        with psycopg.connect(elsewhere, autocommit=True) as line:
            line.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
            line.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [name])
            time.sleep(3)
            away.append(server.is_ready())
            line.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
        time.sleep(5)
        away.append(server.is_ready())
    if away != [False, True]:
        raise Wrong(f"ready while the database was away, and after: {away}")
    look_back(people)


def main(kills: int, races: int) -> None:
    series, house = furnish()

    def step(words: str, deed: Callable[[], None]) -> None:
        print(f"\n== {words}", flush=True)
        begin = time.monotonic()
        deed()
        print(f"  fine, {time.monotonic() - begin:.0f} s", flush=True)

    with serving(production(FOLDER), workers=WORKERS) as server:
        step("killing", lambda: kill_workers(server, series, house, kills))
        step("two leads at once", lambda: race(server, series, house[1], races))
        step("no database", lambda: take_the_database_away(server, series, house))
    step("a full disk", lambda: fill_the_disk(series, house))


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    main(*(numbers + [KILLS, RACES][len(numbers) :]))
