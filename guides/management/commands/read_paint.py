"""``read_paint SERIES [--issue N]``: look at the paint of every page that waits for it, as a night's job.

Both for codes that the paint disagrees with and for areas that sink into their neighbours.
"""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.web.names import counted
from guides.models import Guide
from guides.paint.services import disagreements_by_guide, read_guide, unread
from guides.preview.services import look_at, pairs_of
from guides.preview.services import waiting as pages_to_look_at


class Command(JsonCommand):
    help = "Look at the paint on a series' pages and keep what it says of codes and neighbours. Changes no code."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series", metavar="SERIES")
        parser.add_argument("--issue", default="", help="only this issue of the series")
        parser.add_argument("--again", action="store_true", help="read pages anew whose readings still hold, too")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json)
        as_of = self.as_of(series, options["issue"], as_json=as_json)
        issue = as_of.issue if as_of.asked else None
        guides = Guide.objects.filter(series=series).current().in_order().select_related("series", "issue")
        if issue:
            guides = guides.filter(issue=issue)
        waiting, unseen = unread(series), {guide.pk for guide in pages_to_look_at(series, issue)}
        pages: list[dict[str, Any]] = []
        failed: list[dict[str, Any]] = []
        for guide in guides:
            name = {"issue": guide.issue.number, "page": guide.page}
            again = options["again"]
            if not again and guide.pk not in waiting and guide.pk not in unseen:
                continue
            try:
                if again or guide.pk in unseen:
                    look_at(guide)
                if again or guide.pk in waiting:
                    pages.append(name | {"disagree": read_guide(guide)})
            except OSError as error:  # a missing or damaged file stops its own page only
                failed.append(name | {"problem": str(error)})
        counts = disagreements_by_guide(series)
        total = sum(counts.get(guide.pk, 0) for guide in guides)
        sinks = pairs_of(series).open().filter(look__guide__in=guides.order_by().values("pk")).count()
        if as_json:
            self.say({"read": pages, "failed": failed, "disagree": total, "sinking": sinks})
            return
        for page in pages:
            self.stdout.write(f"issue {page['issue']}, page {page['page']}: {page['disagree']} disagree")
        for page in failed:
            self.stderr.write(f"issue {page['issue']}, page {page['page']}: not read, {page['problem']}")
        marks = counted(total, "mark")
        self.stdout.write(f"{counted(len(pages), 'page')} read; the paint disagrees at {marks} in all.")
        pairs = counted(sinks, "pair of areas sinks", "pairs of areas sink")
        self.stdout.write(f"{pairs} into each other.")
