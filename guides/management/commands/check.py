"""``manage.py check SERIES``: what differs from the bible. Without a series it is Django's own check.

App labels are refused as short names of series.
"""

from __future__ import annotations

import json
import sys
from typing import Any, TextIO, cast

from django.apps import apps
from django.core.management.base import CommandParser
from django.core.management.commands import check as django_check

from bible.management.output import JsonCommand
from bible.models import Series
from bible.series.presses import condition
from bible.series.running_order import AsOf
from bible.web.names import counted
from guides.core import recounting
from guides.core.continuity import discrepancies
from guides.core.fingerprint import broken
from guides.core.flags import Flag, flags_of
from guides.models import Mark


class Command(django_check.Command):
    help = (
        "Check a series' marks against its bible; exits 1 when there are flags. "
        "Without a series, or with app labels: Django's system checks."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--issue", default="", help="only this issue of the series")
        parser.add_argument("--json", action="store_true", help="print JSON")
        parser.add_argument(
            "--verify",
            action="store_true",
            help="work every expectation out from scratch as well, and compare; signed issues too",
        )

    def handle(self, *app_labels: Any, **options: Any) -> None:
        labels = app_labels
        installed = {config.label for config in apps.get_app_configs()}
        if not labels or set(labels) <= installed:
            super().handle(*labels, **options)
            return
        answers = JsonCommand(stdout=cast(TextIO, self.stdout), stderr=cast(TextIO, self.stderr))
        if len(labels) > 1:
            answers.refuse("One series at a time.", as_json=options["json"])
        series = answers.series(labels[0], as_json=options["json"])
        as_of = answers.as_of(series, options["issue"], as_json=options["json"])
        if options["verify"]:
            self._verify(series, as_json=options["json"])
        else:
            self._flags(series, as_of, as_json=options["json"])

    def _flags(self, series: Series, as_of: AsOf, *, as_json: bool) -> None:
        marks = Mark.objects.filter(series=series)
        if as_of.asked:
            marks = marks.filter(position=as_of.position)
        flags = flags_of(_of_one_series(marks.open().in_order().with_names(), series), condition(series))
        waived = marks.waived().count()
        if as_json:
            rows = [flag.as_dict() for flag in flags]
            self.stdout.write(json.dumps({"flags": rows, "count": len(rows), "waived": waived}, ensure_ascii=False))
        else:
            for flag in flags:
                self.stdout.write(_line(flag))
            besides = f", {waived} waived besides" if waived else ""
            self.stdout.write(f"{counted(len(flags), 'flag')}{besides}.")
        if flags:
            sys.exit(1)

    def _verify(self, series: Series, *, as_json: bool) -> None:
        rows: list[dict[str, object]] = [
            {"mark_id": stored.mark_id, "stored": str(stored), "derived": str(derived)}
            for stored, derived in discrepancies(series)
        ]
        rows += [
            {"palette_count": str(key), "stored": str(stored), "derived": str(afresh)}
            for key, stored, afresh in recounting.discrepancies(series)
        ]
        unlike = [issue.number for issue in broken(series)]
        if as_json:
            report = {"discrepancies": rows, "count": len(rows), "not_as_signed": unlike}
            self.stdout.write(json.dumps(report, ensure_ascii=False))
        elif rows or unlike:
            for row in rows:
                about = f"palette count {row['palette_count']}\n" if "palette_count" in row else ""
                self.stdout.write(f"{about}stored  {row['stored']}\nderived {row['derived']}")
            for number in unlike:
                self.stdout.write(f"issue {number} is signed off and is not what was signed")
        else:
            self.stdout.write("What is stored and what follows from scratch are the same, mark by mark and counted.")
        if rows or unlike:
            sys.exit(1)


def _of_one_series(marks: Any, series: Series) -> list[Mark]:
    """The marks with their series already at hand, so that writing their codes asks the database nothing."""
    at_hand = list(marks)
    for mark in at_hand:
        mark.series = series
    return at_hand


def _line(flag: Flag) -> str:
    row = flag.as_dict()
    line = f"issue {row['issue']}, page {row['page']}, mark {row['mark']}: "
    line += f"{row['subject']}, {row['costume']}: {row['part']} ({row['role']}) "
    line += f"{flag.kind.label}: written {row['written']}"
    if row["expected"]:
        line += f", bible says {row['expected']}, ΔE00 {row['delta_e']}"
    return line
