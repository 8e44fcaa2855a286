"""Work in the background: asked for once, done in turn, ended in words, taken up again."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from bible.models import Issue, Job
from bible.tasks import services
from bible.tasks.progress import NoLongerHeld, Progress
from bible.tasks.services import KEPT, clear_old, stop, take_up_lost
from bible.tasks.worker import claim, do, work_off
from tests.background import again, ask, break_off, count, hurry, refuse
from tests.factories import make_issue, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def issue(series: Any) -> Issue:
    return make_issue(series)


def counted(issue: Issue) -> int:
    """How often ``count`` was done."""
    before = issue.position
    return Issue.objects.get(pk=issue.pk).position - before


def in_time(job: Job) -> None:
    """As if its wait were over."""
    DBTaskResult.objects.filter(pk=job.run_id).update(run_after=timezone.now() - dt.timedelta(seconds=1))


# --- asked for


def test_it_is_done_once_whoever_asks(issue: Issue) -> None:
    first, is_new = services.enqueue(count, key="thing", by=None, issue=issue.pk)
    second, is_new_too = services.enqueue(count, key="thing", by=make_user(), issue=issue.pk)
    assert (is_new, is_new_too, first) == (True, False, second)
    assert work_off() == 1
    assert counted(issue) == 1
    assert again(first).outcome == Job.Outcome.DONE
    assert again(first).run.status == "SUCCESSFUL"


def test_what_was_not_committed_is_not_done(issue: Issue) -> None:
    class Undone(Exception):
        pass

    def ask_and_undo() -> None:
        with transaction.atomic():
            ask(issue=issue.pk)
            raise Undone

    with pytest.raises(Undone):
        ask_and_undo()
    assert (Job.objects.count(), DBTaskResult.objects.count(), work_off()) == (0, 0, 0)


def test_the_database_refuses_two_open_ones_of_a_key(issue: Issue) -> None:
    job, other = ask(issue=issue.pk), ask(key="other", issue=issue.pk)
    theirs = Job.objects.filter(pk=other.pk)
    with pytest.raises(DatabaseError), transaction.atomic():
        theirs.update(key=job.key)


def test_asked_afresh_while_it_is_done_it_is_done_once_more(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    claimed = claim("somebody")
    assert claimed == job
    for _ in range(3):
        assert not services.enqueue(count, key=job.key, by=None, afresh=True, issue=issue.pk)[1]
    do(claimed)
    assert again(job).outcome == "done"
    assert work_off() == 1
    assert counted(issue) == 2


def test_asked_afresh_while_it_waits_it_is_done_once(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    services.enqueue(count, key=job.key, by=None, afresh=True, issue=issue.pk)
    assert work_off() == 1
    assert counted(issue) == 1


# --- in turn


def test_everybody_has_a_share(issue: Issue) -> None:
    many, few, one = make_user(), make_user(), make_user()
    asked = [(many, n) for n in range(6)] + [(few, n) for n in range(2)] + [(one, 0)]
    for person, number in asked:
        ask(key=f"{person.pk}-{number}", by=person, issue=issue.pk)
    order = []
    while job := claim("somebody"):
        do(job)
        order.append(job.asked_by)
    assert order == [many, few, one, many, few, many, many, many, many]


def test_the_shortest_wait_asked_for_holds(issue: Issue) -> None:
    """Read in a while, for the marks still to come; then somebody presses “now”."""
    ask(issue=issue.pk, after=dt.timedelta(hours=1))
    assert work_off() == 0
    ask(issue=issue.pk, after=dt.timedelta(hours=2))
    assert work_off() == 0
    ask(issue=issue.pk)
    assert (work_off(), Job.objects.count()) == (1, 1)


def test_who_has_something_being_done_comes_after_who_has_not(issue: Issue) -> None:
    busy, waiting = make_user(), make_user()
    for number in range(3):
        ask(key=f"busy-{number}", by=busy, issue=issue.pk)
    assert claim("one")
    ask(key="waiting", by=waiting, issue=issue.pk)
    second = claim("two")
    assert second
    assert second.asked_by == waiting


def test_what_somebody_waits_for_comes_first(issue: Issue) -> None:
    ask(key="slow", issue=issue.pk)
    first = ask(hurry, key="quick")
    assert claim("somebody") == first


# --- how it ends


def test_a_refusal_is_kept_in_words() -> None:
    job = ask(refuse, why="The scan is blank.")
    work_off()
    job = again(job)
    assert (job.outcome, job.said, job.run.status) == ("refused", "The scan is blank.", "FAILED")
    assert job.state_words == "refused: The scan is blank."
    assert ask(refuse, why="So.").pk != job.pk, "an ended one can be asked for again"


def test_what_breaks_off_is_tried_again_after_a_while_and_not_for_ever(caplog: Any) -> None:
    job = ask(break_off, times=5)
    for failures in (1, 2):
        assert work_off() == 1
        job = again(job)
        assert (job.failures, job.is_waiting) == (failures, True)
        assert work_off() == 0, "not before its time"
        in_time(job)
    assert work_off() == 1
    job = again(job)
    assert (job.outcome, job.said) == ("failed", "It broke off. Try again.")
    assert "a fault of ours" in caplog.text
    in_time(job)
    assert work_off() == 0


def test_what_breaks_off_once_is_done_the_second_time() -> None:
    job = ask(break_off, times=1)
    work_off()
    in_time(job)
    work_off()
    assert again(job).outcome == "done"


def test_stopped_before_it_began_it_is_never_begun(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    assert stop(job=job, why="Not wanted.")
    assert not stop(job=job)
    assert (work_off(), counted(issue), again(job).said) == (0, 0, "Not wanted.")


def test_stopped_while_it_is_done_nothing_is_stored(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    claimed = claim("somebody")
    assert claimed
    stop(job=job)
    do(claimed)
    assert (counted(issue), again(job).outcome) == (0, "stopped")


def test_what_is_stopped_hears_so_at_its_next_report(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    claimed: Any = claim("somebody")
    progress = Progress(task_result=claimed.run.task_result, job=claimed)
    progress.say("being drawn", 1, 3)
    job = again(job)
    assert (job.words, job.done, job.total, job.percent) == ("being drawn", 1, 3, 33)
    stop(job=job)
    with pytest.raises(NoLongerHeld):
        progress.say("being stored", 2, 3)


def test_a_function_that_is_no_more_is_said(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    DBTaskResult.objects.filter(pk=job.run_id).update(task_path="tests.background.gone")
    work_off()
    assert again(job).said == "Nothing here can do it any more."


# --- what dead workers leave


def silent(job: Job) -> None:
    Job.objects.filter(pk=job.pk).update(beat_at=timezone.now() - dt.timedelta(seconds=31))


def test_what_a_dead_worker_left_is_taken_up_and_done_once(issue: Issue) -> None:
    job = ask(issue=issue.pk)
    lost: Any = claim("dead")
    assert take_up_lost(Job.objects.lost()) == 0, "heard of lately"
    silent(job)
    assert take_up_lost(Job.objects.lost()) == 1
    in_time(job)
    assert work_off() == 1
    do(lost)  # it was not dead, only very late
    assert (counted(issue), again(job).outcome, again(job).failures) == (1, "done", 1)


def test_what_kills_every_worker_is_given_up_in_words() -> None:
    job = ask(break_off, times=0)
    for _ in range(3):
        in_time(job)
        assert claim("dead")
        silent(job)
        take_up_lost(Job.objects.lost())
    assert again(job).outcome == "failed"
    assert "3 times" in again(job).said


def test_old_ones_are_forgotten_with_the_rows_of_the_library(issue: Issue) -> None:
    old, new = ask(key="old", issue=issue.pk), ask(key="new", issue=issue.pk)
    work_off()
    waiting = ask(key="waiting", issue=issue.pk)
    Job.objects.filter(pk=old.pk).update(ended_at=timezone.now() - KEPT - dt.timedelta(hours=1))
    assert clear_old() == 1
    assert set(Job.objects.all()) == {new, waiting}
    assert DBTaskResult.objects.count() == 2
