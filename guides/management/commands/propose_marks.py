"""``propose_marks SERIES [--issue N]``: look pages through for codes, as the background does when one comes in."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.web.names import counted
from guides.found.queries import to_search
from guides.found.services import read_guide_page
from guides.models import FoundCode


class Command(JsonCommand):
    help = (
        "Find the codes on a series' pages, read them and give them to their parts, for somebody's yes at the desk. "
        "Marks nothing, unless the series lets sure codes in by themselves."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series", metavar="SERIES")
        parser.add_argument("--issue", default="", help="only this issue of the series")
        parser.add_argument("--again", action="store_true", help="look pages through anew, too")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json)
        as_of = self.as_of(series, options["issue"], as_json=as_json)
        issue = as_of.issue if as_of.asked else None
        pages: list[dict[str, Any]] = []
        failed: list[dict[str, Any]] = []
        for guide in to_search(series, issue, again=options["again"]):
            name = {"issue": guide.issue.number, "page": guide.page}
            try:
                search = read_guide_page(guide)
            except OSError as error:  # a missing or damaged file stops its own page only
                failed.append(name | {"problem": str(error)})
                continue
            if search.problem:
                failed.append(name | {"problem": search.problem})
                continue
            rows = next(iter(FoundCode.objects.filter(guide=guide).waiting().counts_by_guide()), None)
            counts = {"codes": rows.codes, "sure": rows.sure, "unlike": rows.unlike} if rows else {}
            pages.append(name | {"codes": 0, "sure": 0, "unlike": 0} | counts | {"notes": search.notes})
        if as_json:
            self.say({"read": pages, "failed": failed})
            return
        for page in pages:
            codes = (
                f"{counted(page['codes'], 'code')} to answer, {page['sure']} sure, {page['unlike']} unlike the bible"
            )
            line = " ".join([f"{codes}.", *page["notes"]])
            self.stdout.write(f"issue {page['issue']}, page {page['page']}: {line}")
        for page in failed:
            self.stderr.write(f"issue {page['issue']}, page {page['page']}: not read, {page['problem']}")
        self.stdout.write(f"{counted(len(pages), 'page')} looked through.")
