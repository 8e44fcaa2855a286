"""Pages are looked at for sinking neighbours in the background, as many as wait, each when its turn comes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bible.models import Job
from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from bible.tasks.services import enqueue
from guides.models import Guide
from guides.preview.services import look_at

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@background(words="being looked at for what sinks", kind="neighbours", priority=-10)
def look(context: Progress, *, guide: int) -> None:
    """Find a page's areas and keep which sink into their neighbours."""
    found = Guide.objects.select_related("series", "issue").filter(pk=guide).first()
    if found is None:
        raise Refused("The page is not there any more.")
    try:
        look_at(found)
    except OSError as error:
        raise Refused("The page’s picture is missing or damaged.") from error


def ask_for_look(*, guide: Guide, by: User | None) -> Job:
    """Have a page looked at, once more where its marks change while it is being looked at."""
    job, _ = enqueue(
        look,
        key=f"sinking-{guide.pk}",
        by=by,
        series=guide.series,
        about=f"neighbours on issue {guide.issue.number}, {guide}",
        page=guide.get_absolute_url(),
        afresh=True,
        guide=guide.pk,
    )
    return job
