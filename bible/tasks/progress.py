"""What a function in the background is given, to say how far it is, to hear whether it is wanted, and to end.

A worker holds a job by the number of its attempt. One that was stopped, given up or taken up by somebody else since
is not held any more: everything here then raises ``NoLongerHeld``, and what was about to be stored is not stored.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from django.db import transaction
from django.utils import timezone
from django_tasks.base import TaskContext

from bible.models import Job, JobQuerySet
from bible.tasks.services import end

SAY_EVERY = 0.5
"""Seconds between two reports within a step: a bar that moves, and few writes."""


class NoLongerHeld(Exception):
    """The work is not wanted any more, or somebody else is at it: leave everything as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress(TaskContext):
    """A running job as its own function sees it."""

    job: Job
    said: list[object] = field(default_factory=lambda: ["", 0.0])
    ended: list[bool] = field(default_factory=list)

    @property
    def held(self) -> JobQuerySet:
        """The job's row, as long as it is this attempt's."""
        return Job.objects.running().filter(pk=self.job.pk, attempt=self.job.attempt)

    def say(self, words: str = "", done: int = 0, total: int = 0) -> None:
        """Say what is at hand (“being read, mark by mark”) and how many steps of how many are behind it.

        Raises:
            NoLongerHeld: it is not wanted any more.
        """
        words = words or str(self.said[0])
        now = time.monotonic()
        if words == self.said[0] and now - float(self.said[1]) < SAY_EVERY:  # type: ignore[arg-type]
            return
        self.said[:] = [words, now]
        if not self.held.update(words=words[:300], done=done, total=total, beat_at=timezone.now()):
            raise NoLongerHeld

    @contextmanager
    def finishing(self, *, refused: str = "") -> Iterator[None]:
        """The transaction in which the function stores what it has made: the job ends with it, or neither is done.

        The job's row is taken last, after all that is held within: whoever asks for work does so in that order.

        Args:
            refused: why it is not done, where that is what is stored.

        Raises:
            NoLongerHeld: at the end, when it was not wanted any more; nothing is stored.
        """
        with transaction.atomic():
            yield
            if not end(self.held, Job.Outcome.REFUSED if refused else Job.Outcome.DONE, refused):
                raise NoLongerHeld
        self.ended.append(True)


class ByHand:
    """The same for work that is done where it is asked for: by a command, or while the demo is loaded."""

    def say(self, words: str = "", done: int = 0, total: int = 0) -> None:
        """Nobody watches."""

    @contextmanager
    def finishing(self, *, refused: str = "") -> Iterator[None]:
        with transaction.atomic():
            yield


Reporter = Progress | ByHand
