"""What a page and a mark must be for something to be done to them: refused in words where they are not."""

from __future__ import annotations

from collections.abc import Callable

from bible.models import Issue
from bible.models.naming import name_of
from bible.series.refusals import Refused
from guides.core.holding import hold_pages
from guides.core.once import state_of
from guides.models import Before, Guide, Mark

OLDER_REVISION = "A newer revision of this page has come in: this one stays as it is. Open the newer one to mark it."


class StaleMark(Refused):
    """Somebody else changed or deleted the mark meanwhile; ``mark`` is how it is now."""

    def __init__(self, mark: Mark) -> None:
        self.mark = mark
        deed = "deleted" if mark.deleted_at else "changed"
        super().__init__(
            f"{name_of(mark.changed_by)} {deed} this mark meanwhile; look at it, then save again if need be."
        )


def refuse_archived(issue: Issue) -> None:
    if issue.archived_at:
        raise Refused(f"Issue {issue.number} is archived: bring it back before anything on its pages is changed.")


def refuse_older(guide: Guide) -> None:
    if not guide.is_current:
        raise Refused(OLDER_REVISION)


def refuse_fixed(mark: Mark) -> None:
    """Marks that nobody may change any more: on an older revision, or deleted by somebody meanwhile."""
    refuse_older(mark.guide)
    if mark.deleted_at:
        raise Refused(f"Mark {mark.number} was deleted meanwhile; bring it back first.")


def hold_mark(
    mark: Mark, seen: int | None = None, part: int | None = None, refuse: Callable[[Mark], None] = lambda mark: None
) -> Mark:
    """The mark as it is now, held with the part it is to be given to; it remembers how it was (``Mark.before``).

    Args:
        refuse: says what the mark, as it is now, must not be for what is to be done.
    """
    hold_pages(
        series_id=mark.series_id,
        parts=[part],
        issues=[mark.guide.issue_id],
        marks=Mark.objects.filter(pk=mark.pk),
    )
    mark = Mark.objects.select_related("guide__issue", "series", "changed_by").get(pk=mark.pk)
    refuse(mark)
    refuse_archived(mark.guide.issue)
    if seen is not None and seen != mark.version:
        raise StaleMark(mark)
    mark.before = Before(mark.version, state_of(mark))
    return mark
