"""Work in the background is asked for, stopped, ended, and taken up again. Keyword-only and atomic.

It is asked for in the transaction that makes it necessary, and a worker sees it when that is committed: nothing is
begun too early, and nothing is forgotten by a process that dies in between.

Work is a row: ``Job`` beside the row of django-tasks-db. A worker holds a job by the number of its attempt and ends
it in the transaction that stores its outcome: one that was killed, stopped or thought dead stores nothing, so what
is taken up again is done once. The job's row is locked last. Whose turn it is goes by priority, then by who has
least being done and was served longest ago. The library lacks progress, keys, turns, time-outs and a second try; it
has the interface, the queue's table and its migrations.

A new kind of work: a ``tasks.py`` in its room with ``@background(words="being read", kind="proof", seconds=120,
tries=3, priority=0)`` on a function whose first argument is ``context: Progress`` and whose others are JSON values
(keys, never rows). It says ``context.say("being laid over its guide", 1, 3)`` between steps (which raises when it
is not wanted any more), puts ``with context.finishing():`` around the one transaction that stores what came of it,
and raises ``Refused("why")`` where it cannot be done. ``enqueue(function, key="proof-12", by=person, series=…,
about=…, page=…)`` asks for it, with ``afresh=True`` where what is there has changed. Keep it where it is safe to
begin anew: store files first and delete them when ``finishing`` fails.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult, get_date_max

from bible.models import Job, JobQuerySet, Series
from bible.tasks.backend import BackgroundTask

if TYPE_CHECKING:
    from django.contrib.auth.models import User

KEPT = dt.timedelta(days=14)
"""How long an ended job is kept: until somebody back from a holiday has read why it was not done."""

WAITS = (dt.timedelta(seconds=2), dt.timedelta(seconds=20), dt.timedelta(minutes=2))
"""How long a job that broke off waits before it is begun again, the last for every further time: a store or a
database that is away for a moment is back by then."""

CLEARED_AT_ONCE = 500

Outcome = Job.Outcome


@transaction.atomic
def enqueue(
    task: BackgroundTask,
    /,
    *,
    key: str,
    by: User | None,
    series: Series | None = None,
    about: str = "",
    page: str = "",
    afresh: bool = False,
    after: dt.timedelta = dt.timedelta(),
    **arguments: Any,
) -> tuple[Job, bool]:
    """The job to wait for, and whether it is a new one: what is open under its key is not asked for twice.

    Args:
        key: what it is about, as “proof-12”.
        by: whose share of the workers it takes.
        about: what it is called where work is listed.
        page: the address where one sees what came of it.
        afresh: what it works on has changed, so where it is being done already it is done once more afterwards.
        after: how long it waits at least, so that much of the same is done in one; the shortest wait asked for holds.
        arguments: of the task's function, JSON values.
    """
    if job := _asked_already(key, afresh, after):
        return job, False
    try:
        with transaction.atomic():
            later = task.using(run_after=timezone.now() + after) if after else task
            run = DBTaskResult.objects.get(pk=later.enqueue(**arguments).id)
            fields = {"key": key, "series": series, "asked_by": by, "about": about[:300], "page": page}
            job = Job.objects.create(**fields, run=run, words=task.words)
    except IntegrityError:  # somebody was faster by a moment
        if job := _asked_already(key, afresh, after):
            return job, False
        raise
    return job, True


def _asked_already(key: str, afresh: bool, after: dt.timedelta) -> Job | None:
    """What is open under a key: to be done once more where it is being done, and no later than is asked now."""
    job = Job.objects.open().filter(key=key).select_for_update(of=("self",)).select_related("run").first()
    if job and afresh and job.run.status == TaskResultStatus.RUNNING and not job.again:
        job.again = True
        job.save(update_fields=["again"])
    if job and job.is_waiting and not job.failures and timezone.now() + after < job.run.run_after < get_date_max():
        DBTaskResult.objects.filter(pk=job.run_id).update(run_after=timezone.now() + after)
    return job


def stop(*, job: Job, why: str = "") -> bool:
    """Stop it; False where it had ended. A worker that is at it finds out at its next report, and stores nothing."""
    return end(Job.objects.open().filter(pk=job.pk), Outcome.STOPPED, why)


STATUS = {Outcome.DONE: TaskResultStatus.SUCCESSFUL}


@transaction.atomic
def end(held: JobQuerySet, outcome: str, words: str = "") -> bool:
    """End the one job that ``held`` still finds; False where it finds none. Asked for again meanwhile, it is begun
    anew as a job of its own."""
    job = held.order_by().select_for_update(of=("self",)).select_related("run").first()
    if job is None:
        return False
    now = timezone.now()
    Job.objects.filter(pk=job.pk).update(ended_at=now, outcome=outcome, said=words[:300], again=False)
    status = STATUS.get(Outcome(outcome), TaskResultStatus.FAILED)
    DBTaskResult.objects.filter(pk=job.run_id).update(status=status, finished_at=now)
    if job.again and outcome != Outcome.STOPPED:
        task: Any = job.run.task
        again: Any = {"key": job.key, "by": job.asked_by, "series": job.series, "about": job.about, "page": job.page}
        enqueue(task, **again, **job.run.args_kwargs["kwargs"])
    return True


@transaction.atomic
def break_off(held: JobQuerySet, *, tries: int, words: str, counts: bool = True, wait: bool = True) -> bool:
    """Give the job that ``held`` still finds back to the workers, after a while; it ends as broken off, in
    ``words``, once it has broken off ``tries`` times.

    Args:
        counts: it broke off; False: its worker was asked to end.
        wait: it broke off by itself, and would at once break off again.
    """
    job = held.order_by().select_for_update(of=("self",)).first()
    if job is None:
        return False
    failures = job.failures + counts
    if failures >= tries:
        Job.objects.filter(pk=job.pk).update(failures=failures)
        return end(Job.objects.filter(pk=job.pk, ended_at=None), Outcome.FAILED, words)
    later = timezone.now() + (WAITS[min(failures, len(WAITS)) - 1] if wait and failures else dt.timedelta())
    Job.objects.filter(pk=job.pk).update(failures=failures, worker="", done=0, attempt=job.attempt + 1)
    DBTaskResult.objects.filter(pk=job.run_id).update(status=TaskResultStatus.READY, run_after=later)
    return True


LOST = "It broke off with the program that was at it, {} times."


def take_up_lost(lost: JobQuerySet) -> int:
    """Give what dead workers have left back to the living. Returns how many jobs that were."""
    given_back = 0
    for job in lost.select_related("run"):
        tries = tries_of(job)
        still = Job.objects.running().filter(pk=job.pk, attempt=job.attempt)
        given_back += break_off(still, tries=tries, words=LOST.format(tries), wait=False)
    return given_back


def tries_of(job: Job) -> int:
    """How often it may break off; once where its function is no more."""
    try:
        return int(job.run.task.tries)  # type: ignore[attr-defined]
    except ImportError:
        return 1


def clear_old() -> int:
    """Forget jobs that ended long ago, the library's rows with them. Returns how many."""
    before = timezone.now() - KEPT
    old = Job.objects.filter(ended_at__lt=before).order_by("ended_at").values_list("run", flat=True)[:CLEARED_AT_ONCE]
    return DBTaskResult.objects.filter(pk__in=list(old)).delete()[1].get(Job._meta.label, 0)
