"""``manage.py lookup SERIES WORDS``: the codes of whatever the words fit."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils.text import capfirst

from bible.locks.queries import FoundPart, look_up
from bible.management.output import JsonCommand
from bible.models import Series
from bible.series.running_order import AsOf


class Command(JsonCommand):
    help = "Look locked codes up by words of the subject's, costume's or part's name."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series")
        parser.add_argument("words", nargs="+")
        parser.add_argument("--issue", default="", help="as of this issue (default: the latest)")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json)
        as_of = AsOf.of(series, options["issue"])
        if as_of.unknown:
            self.refuse(f"There is no issue {as_of.unknown} in {series}.", as_json=as_json)
        rows = [_row(series, found) for found in look_up(series, " ".join(options["words"]), as_of.position)]
        if as_json:
            self.say({"as_of": as_of.number or None, "found": rows, "count": len(rows)})
            return
        self.stdout.write(f"{capfirst(str(as_of))}:")
        for row in rows:
            codes = ", ".join(f"{lock['role']} {lock['code']}" for lock in row["locks"]) or "nothing locked"
            worn = "" if row["in_use"] else "  (not in use then)"
            self.stdout.write(f"{row['subject']}, {row['costume']}: {row['part']}  {codes}{worn}")
        if not rows:
            self.stdout.write("Nothing by that name.")


def _row(series: Series, found: FoundPart) -> dict[str, Any]:
    part = found.part
    return {
        "subject": part.costume.subject.name,
        "costume": part.costume.name,
        "part": part.name,
        "in_use": found.in_use,
        "locks": [
            {
                "role": lock.role,
                "code": series.write(lock.tint),
                "written": lock.written,
                "reason": lock.reason,
            }
            for lock in found.locks
        ],
    }
