"""``manage.py make_history``: a long series with as many marks as wanted, to try how things hold at that size."""

from __future__ import annotations

import time
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.models import Membership, Series
from bible.series.services import start_series
from guides.maintenance.made_history import Size, finish, make_history

LONGEST = 20_000_000
"""More marks than this are a slip of the hand: they would take half a day and fill a disk."""

PEOPLE = (("lead", Membership.Role.LEAD), ("first", Membership.Role.FILL_IN), ("second", Membership.Role.FILL_IN))


class Command(JsonCommand):
    help = (
        "Make a large series by machine: issues of 28 pages with 60 marks a page, 400 subjects, pages without"
        " pictures. Its people cannot sign in until somebody gives them a password (changepassword)."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--marks", type=int, default=1_000_000, help="how many marks (default 1,000,000)")
        parser.add_argument("--as", dest="slug", default="long-run", help="short name of the series")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, marks, begin = options["json"], options["marks"], time.perf_counter()
        if not 1 <= marks <= LONGEST:
            self.refuse(f"{marks} marks cannot be made: 1 to {LONGEST:,} can.", as_json=as_json)
        size, series = Size.of_marks(marks), Series(slug=options["slug"], title=f"Long run of {marks:,} marks")
        try:
            series.full_clean()
        except ValidationError as error:
            self.refuse(" ".join(error.messages), as_json=as_json)
        people = [_person(f"{series.slug}-{name}") for name, _ in PEOPLE]
        start_series(series=series, lead=people[0])
        for person, (_, role) in zip(people[1:], PEOPLE[1:], strict=True):
            Membership.objects.create(series=series, user=person, role=role)
        make_history(series=series, size=size, by=people[0], colourists=people[1:])
        finish()
        took = time.perf_counter() - begin
        if as_json:
            self.say({"series": series.slug, "marks": marks, "issues": size.issues, "seconds": round(took, 1)})
        else:
            self.stdout.write(f"{series} is here as “{series.slug}”: {size.issues} issues, {took:.1f} s.")


def _person(name: str) -> User:
    person, is_new = User.objects.get_or_create(username=name)
    if is_new:
        person.set_unusable_password()
        person.save()
    return person
