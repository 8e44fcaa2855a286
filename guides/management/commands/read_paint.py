"""``read_paint SERIES [--issue N]``: look at the paint of every page that waits for it, as a night's job.

Both for codes that the paint disagrees with and for areas that sink into their neighbours. The pages are asked for as
at the screen and done here, in turn; what a worker beside it is at is waited for, so nothing is done twice.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.models import Job
from bible.tasks.worker import see_through
from bible.web.names import counted
from guides.models import Guide
from guides.paint.services import disagreements_by_guide, unread
from guides.paint.tasks import ask_for_paint
from guides.preview.services import pairs_of
from guides.preview.services import waiting as pages_to_look_at
from guides.preview.tasks import ask_for_look

NOW = dt.timedelta()
Asked = list[tuple[Guide, Job]]


class Command(JsonCommand):
    help = "Look at the paint on a series' pages and keep what it says of codes and neighbours. Changes no code."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series", metavar="SERIES")
        parser.add_argument("--issue", default="", help="only this issue of the series")
        parser.add_argument("--again", action="store_true", help="read pages anew whose readings still hold, too")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, again = options["json"], options["again"]
        series = self.series(options["series"], as_json=as_json)
        as_of = self.as_of(series, options["issue"], as_json=as_json)
        issue = as_of.issue if as_of.asked else None
        guides = Guide.objects.filter(series=series).current().in_order().select_related("series", "issue")
        if issue:
            guides = guides.filter(issue=issue)
        unread_pages, unseen = unread(series), {guide.pk for guide in pages_to_look_at(series, issue)}
        looks = [(page, ask_for_look(guide=page, by=None)) for page in guides if again or page.pk in unseen]
        reads = [
            (page, ask_for_paint(guide=page, by=None, after=NOW))
            for page in guides
            if again or page.pk in unread_pages
        ]
        not_looked_at, not_read = _failed(looks), _failed(reads)
        counts = disagreements_by_guide(series)
        read = [_name(page) | {"disagree": counts.get(page.pk, 0)} for page, _ in reads if page.pk not in not_read]
        total = sum(counts.get(guide.pk, 0) for guide in guides)
        sinks = pairs_of(series).open().filter(look__guide__in=guides.order_by().values("pk")).count()
        failed = list((not_looked_at | not_read).values())
        if as_json:
            self.say({"read": read, "failed": failed, "disagree": total, "sinking": sinks})
        else:
            self._tell(read, failed, total, sinks)

    def _tell(self, read: list[dict[str, Any]], failed: list[dict[str, Any]], total: int, sinks: int) -> None:
        for page in read:
            self.stdout.write(f"issue {page['issue']}, page {page['page']}: {page['disagree']} disagree")
        for page in failed:
            self.stderr.write(f"issue {page['issue']}, page {page['page']}: not read, {page['problem']}")
        marks = counted(total, "mark")
        self.stdout.write(f"{counted(len(read), 'page')} read; the paint disagrees at {marks} in all.")
        pairs = counted(sinks, "pair of areas sinks", "pairs of areas sink")
        self.stdout.write(f"{pairs} into each other.")


def _name(guide: Guide) -> dict[str, Any]:
    return {"issue": guide.issue.number, "page": guide.page}


def _failed(asked: Asked) -> dict[int, dict[str, Any]]:
    """See what was asked for through; by page, what was not done (a missing or damaged file stops its own page)."""
    ended = [(page, see_through(job)) for page, job in asked]
    return {page.pk: _name(page) | {"problem": job.said} for page, job in ended if not job.was_done}
