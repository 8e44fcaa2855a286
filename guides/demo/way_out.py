"""The demo's issues on their way out: old ones signed off, the newest in check."""

from __future__ import annotations

from django.contrib.auth.models import User

from bible.models import Series
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
