"""``manage.py settle SERIES``: what the marks of old guides say was in force, to be read or locked in one go."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.models import Membership, Series
from bible.models.naming import name_of
from bible.series.refusals import Refused
from bible.web.names import counted
from guides.decisions.settle import Settlement, Suggested, accept_unasked, settle_all, subjects_to_settle


class Command(JsonCommand):
    help = (
        "Propose locks from the marks of old guides, part by part. With --lock NAME the firm ones are locked in the "
        "name of that lead colourist; Ctrl-C stops between two subjects, and what is locked by then stays."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series")
        parser.add_argument("--subject", default="", help="only this subject")
        parser.add_argument("--lock", default="", metavar="NAME", help="lock what is firm in this lead's name")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        series = self.series(options["series"], as_json=as_json)
        lead = self._lead(series, options["lock"], as_json=as_json) if options["lock"] else None
        waiting = subjects_to_settle(series)
        if options["subject"]:
            waiting = [subject for subject in waiting if subject.name.casefold() == options["subject"].casefold()]
            if not waiting:
                self.refuse(f"No marks of a “{options['subject']}” wait for a lock.", as_json=as_json)
        rows: list[dict[str, Any]] = []
        locked, refused = 0, 0
        for number, (subject, settlements) in enumerate(settle_all(series, waiting), 1):
            if not as_json:
                self.stderr.write(f"\r{number} of {counted(len(waiting), 'subject')}", ending="")
            rows += [_row(series, str(subject), settlement) for settlement in settlements]
            if lead:
                try:
                    locked += accept_unasked(
                        series=series,
                        settlements=[settlement for settlement in settlements if settlement.is_firm],
                        by=lead,
                    )
                except Refused as refusal:
                    refused += 1
                    self.stderr.write(f"\n{subject}: {refusal}")
        self._tell(rows, locked if lead else None, as_json=as_json)
        if refused:
            sys.exit(1)

    def _lead(self, series: Series, name: str, *, as_json: bool) -> Any:
        leads = series.memberships.leads().select_related("user")
        lead: Membership | None = leads.filter(user__username=name).first()
        if lead is None:
            names = ", ".join(
                f"{name_of(membership.user)} ({membership.user.get_username()})" for membership in leads
            )
            self.refuse(f"{name} is no lead colourist of {series}. Lead: {names or 'nobody'}.", as_json=as_json)
        return lead.user

    def _tell(self, rows: list[dict[str, Any]], locked: int | None, *, as_json: bool) -> None:
        if as_json:
            self.say({"found": rows, "count": len(rows)} | ({} if locked is None else {"locked": locked}))
            return
        self.stderr.write("")
        for row in rows:
            self.stdout.write(f"{row['subject']}, {row['costume']}: {row['part']} ({row['role']})")
            for lock in row["locks"]:
                until = "" if lock["to"] is None else f" to {lock['to']}"
                odd = f", {len(lock['odd'])} odd" if lock["odd"] else ""
                marks = counted(lock["marks"], "mark")
                if lock["unconfirmed"]:
                    marks += f", {counted(lock['unconfirmed'], 'found code')} nobody has looked at"
                unsure = "" if lock["firm"] else "  (not firm)"
                self.stdout.write(f"  {lock['code']}  issues {lock['from']}{until}: {marks}{odd}{unsure}")
        made = "" if locked is None else f" {counted(locked, 'lock')} made."
        self.stdout.write(f"{counted(len(rows), 'part and role', 'parts and roles')} read.{made}")


def _row(series: Series, subject: str, settlement: Settlement) -> dict[str, Any]:
    return {
        "subject": subject,
        "costume": settlement.part.costume.name,
        "part": settlement.part.name,
        "role": settlement.role.key,
        "firm": settlement.is_firm,
        "locks": [_lock(series, lock) for lock in settlement.locks],
    }


def _lock(series: Series, lock: Suggested) -> dict[str, Any]:
    return {
        "code": series.write(lock.tint),
        "from": lock.first.number,
        "to": None if lock.to_position is None else lock.last.number,
        "marks": lock.agree,
        "pages": lock.pages,
        "unconfirmed": lock.unconfirmed,
        "firm": lock.firm,
        "odd": [{"issue": odd.issue, "page": odd.page, "code": series.write(odd.tint)} for odd in lock.odd],
    }
