"""A page that has come in is mapped in the background: whoever opens it next finds its areas."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from guides.core.page_jobs import ask_about_page
from guides.core.page_maps import keep_map, outlines_of
from guides.models import Guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@background(words="being mapped", kind="map of a page", priority=-10)
def make_map(context: Progress, *, guide: int) -> None:
    """Make a page's map and the outlines of its areas, unless they are there."""
    page = Guide.objects.filter(pk=guide).first()
    if page is None:
        raise Refused("The page is not there any more.")
    keep_map(page)
    outlines_of(page)


def ask_for_map(*, guide: Guide, by: User) -> None:
    """Have a page mapped that has just come in; what reads it sooner maps it on the spot."""
    ask_about_page(make_map, guide=guide, by=by, key=f"map-{guide.pk}", about=f"issue {guide.issue.number}, {guide}")
