"""Work in the background for tests: functions that count, break off, refuse or take long; and real workers for them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.db import connection
from django.db.models import F

from bible.models import Issue, Job, Series
from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from bible.tasks.services import enqueue

PATIENCE = 60.0
"""Seconds after which what is waited for is held not to come: no measure of speed."""

MANY = 1000


@background(words="being counted", tries=MANY)
def count(context: Progress, *, issue: int, steps: int = 0, pause: float = 0.0) -> None:
    """Adds one to an issue's position: done twice, it is seen."""
    for step in range(steps):
        context.say(f"at step {step}", step, steps)
        time.sleep(pause)
    with context.finishing():
        Issue.objects.filter(pk=issue).update(position=F("position") + 1)


@background(words="breaking off")
def break_off(context: Progress, *, times: int) -> None:
    """Breaks off so many times, then is done."""
    if context.job.failures < times:
        raise ValueError("a fault of ours")


@background(words="being refused")
def refuse(context: Progress, *, why: str) -> None:
    raise Refused(why)


@background(words="taking long", seconds=1)
def take_long(context: Progress, *, seconds: float) -> None:
    time.sleep(seconds)


@background(words="waited for", kind="something waited for", priority=10)
def hurry(context: Progress) -> None:
    """Before everything else."""


def ask(task: Any = count, *, key: str = "thing-1", by: Any = None, series: Series | None = None, **said: Any) -> Job:
    return enqueue(task, key=key, by=by, series=series, **said)[0]


def again(job: Job) -> Job:
    """As it stands now."""
    return Job.objects.with_run().get(pk=job.pk)


def until(what: Callable[[], Any], patience: float = PATIENCE) -> Any:
    """Wait for it, or fail."""
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if found := what():
            return found
        time.sleep(0.05)
    raise AssertionError("it did not come")


def database_url() -> str:
    """The database of this test as ``DATABASE_URL`` names it."""
    said = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{said['NAME']}"
    whom = f"{quote(said['USER'])}:{quote(said['PASSWORD'])}" if said["PASSWORD"] else quote(said["USER"])
    host = quote(said["HOST"], safe="")
    return f"postgres://{whom}@{host}:{said['PORT'] or 5432}/{said['NAME']}"


@contextmanager
def workers(folder: Path, processes: int = 1, grace: float = 5.0) -> Iterator[subprocess.Popen[bytes]]:
    """``manage.py worker`` over the test's own database, ended with all it started."""
    env = os.environ | {
        "DATABASE_URL": database_url(),
        "BIBLE_DATA": str(folder),
        "DJANGO_SETTINGS_MODULE": "bible.settings",
        "PYTHONPATH": str(settings.BASE_DIR),
    }
    command = [sys.executable, "-m", "django", "worker", "--processes", str(processes), "--grace", str(grace)]
    with (folder / "worker.log").open("ab") as log:
        process = subprocess.Popen(command, env=env, stdout=log, stderr=log)
        try:
            yield process
        finally:
            process.terminate()
            process.wait(PATIENCE)


def processes_of(supervisor: int) -> list[int]:
    """The workers that it keeps just now."""
    try:
        children = Path(f"/proc/{supervisor}/task/{supervisor}/children").read_text().split()
    except FileNotFoundError:
        return []
    return [int(child) for child in children]


def kill_one(supervisor: int, which: int = 0) -> bool:
    """SIGKILL to one of its workers; False where none is there."""
    found = processes_of(supervisor)
    if not found:
        return False
    try:
        os.kill(found[which % len(found)], signal.SIGKILL)
    except ProcessLookupError:
        return False
    return True
