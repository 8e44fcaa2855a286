"""Work in the background that is about one page: how it is asked for, and what it finds when its turn comes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from bible.models import Job
from bible.series.refusals import Refused
from bible.tasks.backend import BackgroundTask
from bible.tasks.services import enqueue
from guides.models import Guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def ask_about_page(
    task: BackgroundTask, /, *, guide: Guide, by: User | None, key: str, about: str, **when: Any
) -> Job:
    """The job to wait for that does ``task`` with a page.

    Args:
        key, about: as of ``enqueue``.
        when: ``afresh`` and ``after`` of ``enqueue``.
    """
    asked: dict[str, Any] = {"series": guide.series, "page": guide.get_absolute_url(), "guide": guide.pk}
    job, _ = enqueue(task, key=key, by=by, about=about, **asked, **when)
    return job


@contextmanager
def page_of_job(guide: int) -> Iterator[Guide]:
    """The page, with its series and issue; refused where it, or its picture while it is worked at, is not there."""
    page = Guide.objects.select_related("series", "issue").filter(pk=guide).first()
    if page is None:
        raise Refused("The page is not there any more.")
    try:
        yield page
    except OSError as error:
        raise Refused("The page’s picture is missing or damaged.") from error
