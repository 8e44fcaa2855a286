"""Pages are looked through for codes in the background, as soon as they have come in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models.signals import post_save
from django.dispatch import receiver

from bible.models import Job, Series
from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from guides.core.page_jobs import ask_about_page
from guides.found.services import ask_the_rest, read_guide_page
from guides.models import Deed, Guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User


_SEARCHES = "codes-"


@background(words="being looked through for codes", kind="codes on a page", priority=5)
def look_through(context: Progress, *, guide: int) -> None:
    """Find the codes on a page."""
    page = Guide.objects.select_related("issue", "series", "colourist").filter(pk=guide).first()
    if page is None or not page.stands:
        raise Refused("The page counts no more.")
    read_guide_page(page)


def key_of_search(guide: Guide) -> str:
    """Under which a page's search is asked for in the background."""
    return f"{_SEARCHES}{guide.pk}"


def pages_being_searched(series: Series) -> int:
    """How many pages of a series wait to be looked through for codes, or are."""
    return Job.objects.filter(series=series, key__startswith=_SEARCHES).open().count()


def ask_for_codes(*, guide: Guide, by: User | None) -> None:
    """Have a page looked through; in the transaction that brings it in."""
    about = f"{guide} of issue {guide.issue.number}"
    ask_about_page(look_through, guide=guide, by=by, key=key_of_search(guide), about=about)


@receiver(post_save, sender=Deed, dispatch_uid="guides.found")
def a_scene_has_moved(*, instance: Deed, **_: Any) -> None:
    """A scene that holds now, or no longer, moves what the bible has: the codes that wait are asked again by it.

    Listens once the pages are loaded, as ``guides.paint.tasks`` does.
    """
    if instance.area_id:
        ask_the_rest(guide=instance.guide)
