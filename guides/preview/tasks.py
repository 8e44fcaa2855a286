"""Pages are looked at for sinking neighbours in the background, as many as wait, each when its turn comes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bible.models import Job
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from guides.core.page_jobs import ask_about_page, page_of_job
from guides.models import Guide
from guides.preview.services import look_at

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@background(words="being looked at for what sinks", kind="neighbours", priority=-10)
def look(context: Progress, *, guide: int) -> None:
    """Find a page's areas and keep which sink into their neighbours."""
    with page_of_job(guide) as page:
        look_at(page)


def ask_for_look(*, guide: Guide, by: User | None) -> Job:
    """Have a page looked at, once more where its marks change while it is being looked at."""
    about = f"neighbours on issue {guide.issue.number}, {guide}"
    return ask_about_page(look, guide=guide, by=by, key=f"sinking-{guide.pk}", about=about, afresh=True)
