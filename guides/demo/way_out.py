"""The demo's issues on their way out: old ones signed off, the newest in check, the last one's pages given out."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.models import User
from django.utils import timezone

from bible.models import Membership, Series
from guides.assignments.services import give_pages
from guides.signoff.services import put_in_check, sign_off

IN_CHECK, IN_WORK = 1, 1
"""Of the issues that have pages, the last is in work and the one before it in check; the others have gone out."""


def send_out(series: Series, lead: User, editor: User) -> None:
    """Take the issues with guides as far as they have come; what has been taken anywhere stays there."""
    with_pages = series.issues.filter(guides__is_current=True).distinct().order_by("position")
    *gone, last = list(with_pages)[: -IN_WORK or None]
    for issue in [*gone, last]:
        if issue.steps.exists():
            continue
        put_in_check(issue=issue, by=lead, words="All pages of this issue that will come are in.")
        if issue != last:
            sign_off(issue=issue, by=editor, words="Gone to the printer; what is open is known.")


LATE, NEXT = -2, 6
"""Days from when the demo is loaded by which pages are to be in: some are late, others are not."""


def give_out(series: Series, editor: User) -> None:
    """Give the pages of the last issue to the fill-in colourists, once: those that are in to whoever coloured them,
    four behind them to come, of which two are late."""
    issue = series.issues.filter(guides__is_current=True).order_by("position").last()
    people = [membership.user for membership in series.memberships.filter(role=Membership.Role.FILL_IN).by_role()]
    if series.assignments.exists() or issue is None or not people or issue.signed_off_at:
        return
    late, later = (timezone.localdate() + dt.timedelta(days=days) for days in (LATE, NEXT))
    here = list(issue.guides.current().select_related("colourist").in_order())
    for guide in here:
        if guide.colourist in people:
            give_pages(issue=issue, pages=[guide.page], colourist=guide.colourist, due=late, by=editor)
    last = max(int(guide.page) for guide in here if guide.page.isdecimal())
    note = "The lamp goes out on these: ask before you guess."
    give_pages(issue=issue, pages=_two(last + 1), colourist=people[0], due=late, by=editor)
    give_pages(issue=issue, pages=_two(last + 3), colourist=people[-1], due=later, note=note, by=editor)


def _two(first: int) -> list[str]:
    return [str(first), str(first + 1)]
