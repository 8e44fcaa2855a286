"""``manage.py lookup SERIES WORDS``: the codes of whatever the words fit."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils.text import capfirst

from bible.locks.queries import FoundPart, answer_to
from bible.management.output import JsonCommand
from bible.models import Series
from bible.series.running_order import RunningOrder


class Command(JsonCommand):
    help = "Look locked codes up by words of names, by a code (who wears it, who wore it) or by a colour (red coat)."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series")
        parser.add_argument("words", nargs="+")
        parser.add_argument("--issue", default="", help="as of this issue (default: the latest)")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json)
        as_of = self.as_of(series, options["issue"], as_json=as_json)
        answered = answer_to(series, " ".join(options["words"]), as_of.position)
        order = RunningOrder.of(series)
        rows = [_row(series, match, order) for match in answered.found]
        if as_json:
            read_as = dict(answered.read_as)
            self.say({"as_of": as_of.number or None, "found": rows, "count": len(rows), "read_as": read_as})
            return
        self.stdout.write(f"{capfirst(str(as_of))}:")
        for typed, meant in answered.read_as:
            self.stdout.write(f"Nothing is called “{typed}”; this is “{meant}”.")
        for row in rows:
            codes = ", ".join(f"{lock['role']} {lock['code']}" for lock in row["locks"]) or "nothing locked"
            worn = "" if row["in_use"] else "  (not in use then)"
            wore = "".join(f"  ({lock['role']} {lock['code']} {lock['when']})" for lock in row["wore"])
            self.stdout.write(f"{row['subject']}, {row['costume']}: {row['part']}  {codes}{worn}{wore}")
        if not rows:
            self.stdout.write("Nothing by that name.")


def _row(series: Series, match: FoundPart, order: RunningOrder) -> dict[str, Any]:
    part = match.part
    return {
        "subject": part.costume.subject.name,
        "costume": part.costume.name,
        "part": part.name,
        "in_use": match.in_use,
        "locks": [
            {
                "role": lock.role,
                "code": series.write(lock.locked),
                "written": lock.written,
                "reason": lock.reason,
            }
            for lock in match.locks
        ],
        "wore": [
            {"role": lock.role, "code": series.write(lock.locked), "when": order.span(lock)} for lock in match.wore
        ],
    }
