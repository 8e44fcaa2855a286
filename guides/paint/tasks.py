"""Paint is read in the background: when marks of a page have changed, or when somebody asks for an issue."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db.models.signals import post_save
from django.dispatch import receiver

from bible.models import Job
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from guides.core.page_jobs import ask_about_page, page_of_job
from guides.models import Deed, Guide
from guides.paint.services import read_guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User

QUIET = dt.timedelta(seconds=20)
"""After a mark the next one comes within seconds: a page is read once for all of them."""

LOOKS = (Deed.Kind.AS_MEANT, Deed.Kind.ASK_AGAIN)
"""What is done about the paint itself: the mark stays as it is."""


@background(words="being read for its paint", kind="paint", priority=-10)
def read(context: Progress, *, guide: int) -> None:
    """Read the paint at the marks of a page and keep what it says."""
    with page_of_job(guide) as page:
        read_guide(page)


@receiver(post_save, sender=Deed, dispatch_uid="guides.paint")
def marks_have_changed(*, instance: Deed, created: bool, **_: Any) -> None:
    """What was done to a mark at the desk is committed together with the wish to have its page read.

    Listens once the pages are loaded: nothing else does deeds, and no command has to wait for the reader of paint.
    """
    if created and instance.mark_id and instance.kind not in LOOKS:
        ask_for_paint(guide=instance.guide, by=instance.by)


def ask_for_paint(*, guide: Guide, by: User | None, after: dt.timedelta = QUIET) -> Job:
    """Have the paint of a page read, once more where its marks change while it is being read."""
    about = f"paint of issue {guide.issue.number}, {guide}"
    return ask_about_page(read, guide=guide, by=by, key=f"paint-{guide.pk}", about=about, afresh=True, after=after)
