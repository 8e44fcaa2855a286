"""How the application holds as a series grows: what it asks through the ORM beside the best SQL by hand, and its pages.

``python tests/benchmarks/bench_scale.py [MARKS …]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_scale.py [MARKS …]`` on a throw-away PostgreSQL. Without sizes:
10,000, 100,000 and 1,000,000 marks, series side by side in one database, each measured when it has come in. Prints
the tables of DEVELOPERS.md.

Bars at a million marks, medians in ms: count 25, queue page 5, one page 2, one issue 3, impact 10, lock change 100,
look-up 3; where over 1 ms no more than 1.5 times the SQL by hand; pages 100 at the 95th percentile.
"""

from __future__ import annotations

import statistics
import sys
from collections.abc import Callable
from itertools import cycle
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import in_database, load_of_the_machine, long_series, median  # isort: skip (sets Django up)

from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.colour.tints import Tint
from bible.locks.queries import LOOKUP_LIMIT, look_up
from bible.locks.services import lock_tint
from bible.models import Part, Series
from bible.wsgi import warm_up
from guides.core import impact
from guides.maintenance.made_history import Size
from guides.models import Guide, Mark
from guides.palettes import queries as choice
from guides.palettes.forms import PaletteForm
from tests.benchmarks import by_hand

SIZES = (10_000, 100_000, 1_000_000)
BARS = {
    "open flags, counted": 25.0,
    "first 50 flags": 5.0,
    "one page's flags": 2.0,
    "one issue's flags": 3.0,
    "impact of a lock": 10.0,
    "lock changed": 100.0,
    "look-up": 3.0,
}
PAGE_BAR = 100.0
PAGE_ROUNDS = 60
WRITTEN = "lock changed"
"""What writes cannot be sent again as it was."""

Questions = dict[str, tuple[Callable[[], object], Callable[[], object]]]


def questions(series: Series, lead: User, parts: list[Part]) -> Questions:
    """By name: the application's way and the way by hand."""
    part = Part.objects.select_related("costume__subject__series").get(pk=parts[0].pk)
    open_ = Mark.objects.filter(series=series).open()
    last = open_.newest_first().select_related("guide")[0]
    where = {"position": last.position, "page_order": last.page_order, "guide": last.guide}
    page = (last.position, last.page_order, last.guide_id)
    words = f"{part.costume.subject.name} {part.name}"
    position = last.position
    tint = Tint(c=100, y=25)
    ours, theirs = (cycle([Tint(c=100, y=25), Tint(c=100, y=50)]) for _ in range(2))
    return {
        "open flags, counted": (open_.all().count, lambda: by_hand.open_flags(series.pk)),
        "first 50 flags": (
            lambda: list(open_.in_order()[:50]),
            lambda: by_hand.first_flags(series.pk, by_hand.BARE),
        ),
        "one page's flags": (
            lambda: list(open_.filter(**where).in_order()),
            lambda: by_hand.flags_of_page(series.pk, *page, by_hand.BARE),
        ),
        "one issue's flags": (
            lambda: list(open_.filter(position=position).in_order()),
            lambda: by_hand.flags_of_issue(series.pk, position, by_hand.BARE),
        ),
        "first 50 flags, all that is printed": (
            lambda: list(open_.in_order().with_names()[:50]),
            lambda: by_hand.first_flags(series.pk),
        ),
        "one page's, all that is printed": (
            lambda: list(open_.filter(**where).in_order().with_names()),
            lambda: by_hand.flags_of_page(series.pk, *page),
        ),
        "one issue's, all that is printed": (
            lambda: list(open_.filter(position=position).in_order().with_names()),
            lambda: by_hand.flags_of_issue(series.pk, position),
        ),
        "impact of a lock": (
            lambda: impact.of_lock(part, "base", tint, 0, None),
            lambda: by_hand.impact(part.pk, tint.packed),
        ),
        "look-up": (
            lambda: look_up(series, words, position),
            lambda: by_hand.look_up(series.pk, words, position, LOOKUP_LIMIT),
        ),
        "matrix of every issue": (
            lambda: choice.matrix(PaletteForm(series, {})),
            lambda: by_hand.matrix(series.pk),
        ),
        WRITTEN: (
            lambda: lock_tint(part=part, role="base", tint=next(ours), written="B", from_position=0, by=lead),
            lambda: by_hand.lock(series.pk, part.pk, next(theirs).packed, lead.pk, timezone.now()),
        ),
    }


def pages(series: Series, part: Part) -> dict[str, str]:
    """Addresses of a day's work, by name."""
    guide = Guide.objects.filter(series=series).order_by("-issue__position", "page_order")[3]
    subject = part.costume.subject
    return {
        "the desk of the series": reverse("series", args=[series.slug]),
        "flags": reverse("flags", args=[series.slug]),
        "a guide": guide.get_absolute_url(),
        "an issue": guide.issue.get_absolute_url(),
        "the bible": reverse("bible", args=[series.slug]),
        "a subject": subject.get_absolute_url(),
        "the look-up page": reverse("lookup", args=[series.slug]) + f"?q={subject.name}",
        "the palette": reverse("palette", args=[series.slug]),
        "going out": reverse("going-out", args=[series.slug]),
    }


def ask(asked: Questions, compare: bool) -> None:
    """The application's way, its statements alone sent again, and the way by hand, which makes no objects of its rows."""
    print("| question | ORM | its statements | by hand | statements : hand |\n|---|---|---|---|---|")
    for name, (orm, hand) in asked.items():
        ours, theirs = median(orm)[0], median(hand)[0]
        late = " over the bar" if compare and name in BARS and ours > BARS[name] else ""
        alone = ours if name == WRITTEN else median(in_database(orm))[0]
        print(f"| {name} | {ours:.1f}{late} | {alone:.1f} | {theirs:.1f} | {alone / theirs:.1f} |", flush=True)


def turn(addresses: dict[str, str], client: Client) -> None:
    warm_up()  # as a worker is
    print("\n| page | median | p95 |\n|---|---|---|")
    for name, address in addresses.items():

        def visit(address: str = address) -> None:
            assert client.get(address).status_code == 200, address

        visit()
        took = [median(visit, rounds=1)[0] for _ in range(PAGE_ROUNDS)]
        p95 = statistics.quantiles(took, n=20)[-1]
        late = " over the bar" if p95 > PAGE_BAR else ""
        print(f"| {name} | {statistics.median(took):.0f} | {p95:.0f}{late} |", flush=True)


def main(sizes: tuple[int, ...]) -> None:
    for marks in sizes:
        series, lead, parts = long_series(Size.of_marks(marks))
        print(
            f"\n{connection.vendor}, {marks:,} marks, ms; load of the machine {load_of_the_machine()}\n", flush=True
        )
        ask(questions(series, lead, parts), compare=marks >= SIZES[-1])
        client = Client(HTTP_HOST="localhost")  # without Django's test environment, which keeps every context
        client.force_login(lead)
        turn(pages(series, Part.objects.select_related("costume__subject").get(pk=parts[0].pk)), client)


if __name__ == "__main__":
    main(tuple(int(size) for size in sys.argv[1:]) or SIZES)
