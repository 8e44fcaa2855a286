"""One person does what stalled the site: ten pictures of thousands of passes and ten tables of blank lines, again and
again, while others work. Their pages come as before, or nearly so.

As it is run for real: gunicorn, two workers of four threads, on SQLite. Compared with the same work before it, since
a machine that tests run on has other things to do; the bar of 300 ms is for one that has not: look at what it prints.
"""

from __future__ import annotations

import io
import threading
import time
from pathlib import Path
from typing import Any

from tests.guides.imaging.intake.pictures import many_scans
from tests.serving import production, serving
from tests.test_many_machines import Person, run

MAKE = """
import json, django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.factories import make_issue, make_lock, make_member, make_part, make_series
from tests.serving import signed_in
series = make_series(slug="far-shore")
issue = make_issue(series)
make_lock(make_part(series), by=make_member(series, "lead", username="lead"))
for name in ("mallory", "nell", "mary"):
    make_member(series, "lead" if name == "mallory" else "fill-in", username=name)
print("MADE" + json.dumps([issue.pk, {name: signed_in(name) for name in ("mallory", "nell", "mary")}]))
"""

PAGES = ("/s/far-shore/bible/", "/s/far-shore/flags/", "/s/far-shore/issues/", "/s/far-shore/look-up/")
MOST_WAITED, SLOWER = 1.5, 10
"""Seconds that 95 of 100 pages take at most where the machine tests other things beside this; or as many times what
they took just before. Without bounds and shares others waited 25 seconds."""

BEFORE, DURING = 4.0, 10.0
AT_ONCE = 10


def at_work(person: Person, waits: list[float], faults: list[str], over: threading.Event) -> None:
    while not over.wait(0.05):
        for page in PAGES:
            began = time.monotonic()
            answer = person.get(page)
            waits.append(time.monotonic() - began)
            if answer.status_code != 200:
                faults.append(f"{page}: {answer.status_code}")


def p95(waits: list[float]) -> float:
    return sorted(waits)[int(len(waits) * 0.95)]


def attack(
    person: Person, number: int, answers: list[int], over: threading.Event, files: tuple[bytes, bytes]
) -> None:
    """A picture, then a table, then again, without a pause."""
    picture, table = files
    upload, bible = f"/s/far-shore/issues/{person.issue}/upload", "/s/far-shore/bring-in/bible"
    while not over.is_set():
        sent: list[tuple[str, dict[str, str], dict[str, Any]]] = [
            (upload, {"page": str(number)}, {"scans": (f"{number}.jpg", io.BytesIO(picture))}),
            (bible, {}, {"file": ("rows.csv", io.BytesIO(table))}),
        ]
        for path, said, attached in sent:
            answers.append(person.post(path, said, attached).status_code)


def test_others_work_on_while_one_attacks(tmp_path: Path) -> None:
    env = production(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path / 'bible.sqlite3'}")
    issue, sessions = run(MAKE, env)
    files = many_scans(2000, 3000, 3000), b"\n" * 3_000_000
    with serving(env, workers=2, threads=4) as server:
        mallory, *others = (Person(server, issue, *sessions[name]) for name in ("mallory", "nell", "mary"))
        waits: list[float] = []
        faults: list[str] = []
        answers: list[int] = []
        over = threading.Event()
        threads = [threading.Thread(target=at_work, args=(one, waits, faults, over)) for one in others]
        attackers = [
            threading.Thread(target=attack, args=(mallory, number, answers, over, files)) for number in range(AT_ONCE)
        ]
        try:
            for thread in threads:
                thread.start()
            time.sleep(BEFORE)
            quiet = p95(waits)
            waits.clear()
            for thread in attackers:
                thread.start()
            time.sleep(DURING)
            attacked = p95(waits)
        finally:
            over.set()
            for thread in (*threads, *attackers):
                thread.join(90)
    assert faults == []
    assert len(answers) > 2 * AT_ONCE, "it was an attack"
    assert set(answers) <= {422, 429}, "every one of them is refused"
    assert attacked < max(MOST_WAITED, SLOWER * quiet), (quiet, attacked, len(answers))
    print(f"p95 {quiet * 1000:.0f} ms before, {attacked * 1000:.0f} ms during {len(answers)} attacks")
