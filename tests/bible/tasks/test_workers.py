"""Real workers over the test's own database: killed, too slow, asked to end, without a database for a moment."""

from __future__ import annotations

import random
import signal
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from bible.models import Issue, Job
from tests.background import (
    again,
    ask,
    count,
    kill_one,
    processes_of,
    take_long,
    until,
    workers,
)
from tests.factories import make_issue

pytestmark = pytest.mark.django_db(transaction=True)

KILLS = 20


@pytest.fixture
def issue(series: Any) -> Issue:
    return make_issue(series)


def ended(jobs: list[Job]) -> bool:
    return not Job.objects.open().filter(pk__in=[job.pk for job in jobs]).exists()


def times_counted(issue: Issue) -> int:
    return Issue.objects.get(pk=issue.pk).position - issue.position


def test_workers_killed_in_the_middle_lose_nothing_and_do_nothing_twice(tmp_path: Path, issue: Issue) -> None:
    dice = random.Random(5)
    jobs = [ask(key=f"count-{n}", issue=issue.pk, steps=8, pause=0.1) for n in range(2 * KILLS)]
    killed = 0
    with workers(tmp_path, processes=2) as supervisor:
        while killed < KILLS:
            until(lambda: Job.objects.running().exists() or not Job.objects.open().exists())
            time.sleep(dice.uniform(0, 0.8))
            killed += kill_one(supervisor.pid, dice.randrange(8))
            if ended(jobs):
                jobs += [ask(key=f"more-{killed}", issue=issue.pk, steps=8, pause=0.1)]
        until(lambda: ended(jobs), 300)
    assert {again(job).outcome for job in jobs} == {"done"}
    assert times_counted(issue) == len(jobs)
    assert sum(again(job).failures for job in jobs) > 0, "some were killed at it"


def test_what_takes_too_long_is_ended_and_its_worker_followed_by_another(tmp_path: Path, issue: Issue) -> None:
    slow = ask(take_long, key="slow", seconds=600)
    after = ask(count, key="after", issue=issue.pk)
    with workers(tmp_path):
        until(lambda: ended([slow, after]))
    assert (again(slow).outcome, again(slow).said) == ("failed", "It took longer than 1 seconds and was given up.")
    assert again(after).outcome == "done"


def test_a_worker_asked_to_end_comes_to_the_end_of_its_job(tmp_path: Path, issue: Issue) -> None:
    job = ask(issue=issue.pk, steps=20, pause=0.1)
    with workers(tmp_path, grace=30) as supervisor:
        until(lambda: again(job).done > 1)
        supervisor.send_signal(signal.SIGTERM)
        supervisor.wait(60)
        assert again(job).outcome == "done"


def test_what_does_not_come_to_its_end_in_time_is_left_to_the_next_worker(tmp_path: Path, issue: Issue) -> None:
    job = ask(issue=issue.pk, steps=100, pause=0.1)
    with workers(tmp_path, grace=0.5) as supervisor:
        until(lambda: again(job).done > 1)
        supervisor.send_signal(signal.SIGTERM)
        supervisor.wait(60)
    job = again(job)
    assert (job.is_waiting, job.failures, times_counted(issue)) == (True, 0, 0)


def test_a_worker_whose_supervisor_was_killed_ends_and_leaves_its_job(tmp_path: Path, issue: Issue) -> None:
    job = ask(issue=issue.pk, steps=100, pause=0.1)
    with workers(tmp_path, grace=0.5) as supervisor:
        until(lambda: again(job).done > 1)
        child = processes_of(supervisor.pid)[0]
        supervisor.kill()
        until(lambda: not Path(f"/proc/{child}/cmdline").exists())
    assert again(job).is_waiting


@pytest.mark.backend("postgresql")
def test_two_workers_share_the_work_and_none_does_the_others(tmp_path: Path, issue: Issue) -> None:
    jobs = [ask(key=f"count-{n}", issue=issue.pk, steps=4, pause=0.05) for n in range(40)]
    with workers(tmp_path, processes=2):
        until(lambda: ended(jobs))
    assert times_counted(issue) == len(jobs)
    assert len(set(Job.objects.values_list("worker", flat=True))) == 2


@pytest.mark.backend("postgresql")
def test_a_database_that_is_away_for_a_moment_is_waited_for(tmp_path: Path, issue: Issue) -> None:
    import psycopg

    said, name = connection.settings_dict, connection.settings_dict["NAME"]
    elsewhere = psycopg.conninfo.make_conninfo(
        host=said["HOST"], port=said["PORT"] or None, user=said["USER"], password=said["PASSWORD"], dbname="template1"
    )
    jobs = [ask(key=f"count-{n}", issue=issue.pk, steps=10, pause=0.1) for n in range(6)]
    with workers(tmp_path, processes=2):
        until(lambda: Job.objects.running().count() == 2)
        connection.close()
        with psycopg.connect(elsewhere, autocommit=True) as line:
            line.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
            line.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [name])
            time.sleep(3)
            line.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
        until(lambda: ended(jobs), 120)
    assert {again(job).outcome for job in jobs} == {"done"}
    assert times_counted(issue) == len(jobs)


@pytest.mark.backend("sqlite")
def test_people_and_a_worker_write_at_the_same_time_without_a_locked_database(tmp_path: Path, issue: Issue) -> None:
    jobs = [ask(key=f"count-{n}", issue=issue.pk, steps=20, pause=0.01) for n in range(10)]
    faults: list[BaseException] = []
    writes = []

    def write() -> None:
        try:
            while not ended(jobs):
                Issue.objects.filter(pk=issue.pk).update(title="written")
                writes.append(1)
        except BaseException as fault:
            faults.append(fault)
        finally:
            connection.close()

    people = [threading.Thread(target=write) for _ in range(3)]
    with workers(tmp_path):
        for person in people:
            person.start()
        until(lambda: ended(jobs))
        for person in people:
            person.join()
    assert faults == []
    assert len(writes) > 20
    assert times_counted(issue) == len(jobs)
    assert "locked" not in (tmp_path / "worker.log").read_text()
