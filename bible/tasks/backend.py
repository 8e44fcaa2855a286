"""Django's tasks interface with what this program asks of work in the background.

``django-tasks`` is the interface that Django 6 has of its own, ``django-tasks-db`` keeps the queue in the database:
work is asked for in the very transaction that makes it necessary. What they lack stands in ``Job``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, cast

from django_tasks import task
from django_tasks.base import Task
from django_tasks_db import DatabaseBackend

USUAL_SECONDS = 120
"""A page takes seconds; what takes two minutes does not end by itself."""

USUAL_TRIES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class BackgroundTask(Task):
    """A function done in the background. ``words`` go on with “is”: “being read”; ``kind`` is what the thing is
    called where work is listed: “proof”.

    ``seconds`` it may take before it is given up, ``tries`` it has where it breaks off.
    """

    words: str
    kind: str = ""
    seconds: int = USUAL_SECONDS
    tries: int = USUAL_TRIES


class Backend(DatabaseBackend):
    """The library's, with tasks of ours."""

    task_class = BackgroundTask  # type: ignore[assignment]


def background(
    *, words: str, kind: str = "", seconds: int = USUAL_SECONDS, tries: int = USUAL_TRIES, priority: int = 0
) -> Callable[[Callable[..., None]], BackgroundTask]:
    """Makes a function of a module a task: its first argument, ``context``, is the ``Progress`` of the work.

    Args:
        priority: -100 to 100; above 0 for what somebody waits for at the screen, below for what nobody does.
    """

    def decorate(function: Callable[..., None]) -> BackgroundTask:
        attributes: dict[str, Any] = {"words": words, "kind": kind, "seconds": seconds, "tries": tries}
        made = task(priority=priority, takes_context=True, **attributes)(function)
        return cast(BackgroundTask, made)

    return decorate
