"""A worker: takes the next job in turn, does it, says that it lives, and takes up what dead ones left.

Whose turn it is: what somebody waits for at the screen first; then whoever has the fewest jobs being done, and has
waited longest since the last one was begun. One person's hundred jobs and another's one are done in turn.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any, cast

from django.db import DatabaseError, close_old_connections, connection, transaction
from django.db.models import Count, Max, Min
from django.utils import timezone

from bible.models import Job
from bible.series.refusals import Refused
from bible.tasks import services
from bible.tasks.backend import BackgroundTask
from bible.tasks.progress import NoLongerHeld, Progress
from bible.web.memory import give_back
from bible.web.outages import outage_of

log = logging.getLogger("bible.tasks")

IDLE = 0.5
"""Seconds between two looks for work."""

BEAT = 2.0
LOOK_AFTER = 5.0
"""Seconds between two looks for what dead workers left."""

CLEAR_EVERY = 3600.0
NEVER = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)

BROKE_OFF = "It broke off. Try again."
TOO_LONG = "It took longer than {} seconds and was given up."


def turns() -> Iterator[tuple[int, int | None]]:
    """(priority, person) of everybody with a job to be begun, in the order in which they are served."""
    ready = Job.objects.ready().order_by()
    waiting = list(ready.values_list("run__priority", "asked_by").annotate(first=Min("id")))
    if not waiting:
        return
    people = {person for _, person, _ in waiting}
    theirs = Job.objects.filter(asked_by__in=people - {None}).order_by()
    served = dict(theirs.values_list("asked_by").annotate(at=Max("started_at")))
    busy = dict(Job.objects.running().order_by().values_list("asked_by").annotate(n=Count("id")))
    served[None] = Job.objects.filter(asked_by=None).aggregate(at=Max("started_at"))["at"]

    def rank(turn: tuple[int, int | None, int]) -> tuple[int, int, dt.datetime, int]:
        priority, person, first = turn
        return -priority, busy.get(person, 0), served.get(person) or NEVER, first

    yield from ((priority, person) for priority, person, _ in sorted(waiting, key=rank))


def claim(worker: str, only: int | None = None) -> Job | None:
    """The next job in turn, now this worker's; None where there is none to be begun."""
    for priority, person in turns():
        mine = Job.objects.ready().filter(run__priority=priority, asked_by=person)
        if only is not None:
            mine = mine.filter(pk=only)
        with transaction.atomic():
            free = mine.order_by("id").select_for_update(of=("self",), skip_locked=True)
            job = free.select_related("run").first()
            if job is None:
                continue
            job.run.claim(worker)
            now = timezone.now()
            job.attempt, job.worker, job.started_at, job.beat_at = job.attempt + 1, worker, now, now
            job.save(update_fields=["attempt", "worker", "started_at", "beat_at"])
        return Job.objects.select_related("run", "series", "asked_by").get(pk=job.pk)
    return None


def do(job: Job) -> None:
    """Do a claimed job and say how it ended. Raises ``DatabaseError`` only, where that cannot be said."""
    try:
        task: BackgroundTask = job.run.task  # type: ignore[assignment]
        progress = Progress(task_result=cast(Any, job.run.task_result), job=job)
    except ImportError:
        services.end(Job.objects.running().filter(pk=job.pk), Job.Outcome.FAILED, "Nothing here can do it any more.")
        return
    try:
        task.func(progress, **job.run.args_kwargs["kwargs"])
        if not progress.ended:
            with progress.finishing():
                pass
    except NoLongerHeld:
        log.info("job %s is not wanted any more", job.pk)
    except Refused as refusal:
        services.end(progress.held, Job.Outcome.REFUSED, str(refusal))
    except Exception as error:
        log.exception("job %s broke off", job.pk)
        amiss = outage_of(error)
        services.break_off(progress.held, tries=task.tries, words=amiss.words if amiss else BROKE_OFF)


def work_off(*, most: int = 1000, only: int | None = None, worker: str = "at-once") -> int:
    """Do what waits, in this process, until nothing does (or one job only). Returns how many were begun."""
    for begun in range(most):
        job = claim(worker, only)
        if job is None:
            return begun
        do(job)
    return most


def see_through(job: Job) -> Job:
    """The job as it ended: done here as soon as it may be begun, or waited for where a worker is at it."""
    while True:
        work_off(only=job.pk, worker="by-command")
        ended = Job.objects.get(pk=job.pk)
        if not ended.is_open:
            return ended
        services.take_up_lost(Job.objects.lost().filter(pk=job.pk))
        time.sleep(IDLE)


class Watch(threading.Thread):
    """Says every two seconds that the job at hand is being done, and ends the process where it takes too long, where
    its parent has gone, or where it was asked to end and does not come to one: what is left is taken up again."""

    def __init__(self, wanted: Callable[[], bool], grace: float) -> None:
        super().__init__(daemon=True, name="watch")
        self.wanted, self.grace, self.unwanted_since = wanted, grace, 0.0
        self.job: Job | None = None
        self.since = 0.0

    def begin(self, job: Job) -> None:
        self.since, self.job = time.monotonic(), job

    def rest(self) -> None:
        self.job = None

    def run(self) -> None:
        while True:
            time.sleep(BEAT)
            try:
                if job := self.job:
                    self.look_at(job)
            except DatabaseError:
                connection.close()  # it is away for a moment: the next look opens another one

    def look_at(self, job: Job) -> None:
        """One look at a job that is being done."""
        held = Job.objects.running().filter(pk=job.pk, attempt=job.attempt)
        held.update(beat_at=timezone.now())
        seconds = job.run.task.seconds  # type: ignore[attr-defined]
        now = time.monotonic()
        if now - self.since > seconds and self.job is job:
            services.end(held, Job.Outcome.FAILED, TOO_LONG.format(seconds))
            self.leave(f"job {job.pk} took longer than {seconds} s")
        if not self.wanted():
            self.unwanted_since = self.unwanted_since or now
            if now - self.unwanted_since > self.grace and self.job is job:
                services.break_off(held, tries=1, words=BROKE_OFF, counts=False, wait=False)
                self.leave(f"job {job.pk} is left to another worker")

    def leave(self, why: str) -> None:
        log.warning("worker ends: %s", why)
        logging.shutdown()
        os._exit(1)


def work(worker: str, wanted: Callable[[], bool], *, grace: float, most: int) -> None:
    """Go on until ``wanted`` says no, or ``most`` jobs are done: then another process takes this one's place.

    What an earlier process of this very name left is taken up first. A database that is away is waited for.
    """
    watch = Watch(wanted, grace)
    watch.start()
    looked = cleared = -CLEAR_EVERY
    done, returned = 0, False
    while wanted() and done < most:
        close_old_connections()
        try:
            if not returned:
                services.take_up_lost(Job.objects.running().filter(worker=worker))
                returned = True
            if time.monotonic() - looked > LOOK_AFTER:
                services.take_up_lost(Job.objects.lost())
                looked = time.monotonic()
            if time.monotonic() - cleared > CLEAR_EVERY:
                services.clear_old()
                cleared = time.monotonic()
            if job := claim(worker):
                watch.begin(job)
                do(job)
                watch.rest()
                give_back()
                done += 1
                continue
        except DatabaseError as error:
            log.warning("the database is away: %s", type(error).__name__)
            watch.rest()
            returned = False  # what was being done has to be begun anew
            connection.close()
        time.sleep(IDLE)
