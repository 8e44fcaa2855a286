"""How the application holds as a series grows: what it asks through the ORM beside the best SQL by hand, and its pages.

``python tests/benchmarks/bench_scale.py [MARKS …]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_scale.py [MARKS …]`` on a throw-away PostgreSQL. Without sizes:
10,000, 100,000 and 1,000,000 marks, series side by side in one database, each measured when it has come in. Prints
the tables below.

Bars at a million marks, medians in ms: count 25, queue page 5, one page 2, one issue 3, impact 10, lock change 100,
look-up 3; where over 1 ms no more than 1.5 times the SQL by hand; pages 100 at the 95th percentile.

`bench_scale.py`, SQLite / PostgreSQL 15, two shared virtual cores with nothing else to do, Debian's Python, 2026-11-27, a slow day: the very same SQL by hand took 1.3 to 1.7
times as long as the day before. The last two columns are at a million marks: the ORM's statements sent again without making objects, and the best SQL we can write by
hand. Bars at a million: count 25, first 50 flags 5, one page 2, one issue 3, impact 10, lock changed 100, look-up 3, pages 100 at the 95th percentile. Not met: the look-up
(a sequential search for parts of words in 2,400 names, and what Django takes to put its two statements together; a fifth less since this table was made) and, on PostgreSQL that day, the impact (the day before:
6.5) and the flags' page by 6 ms (81).

| question, median ms | 10,000 marks | 100,000 | 1,000,000 | its statements alone | by hand |
|---|---|---|---|---|---|
| open flags, counted | 0.3 / 0.7 | 0.5 / 1.8 | 2.5 / 10.7 | 2.2 / 9.9 | 2.2 / 10.1 |
| first 50 flags | 1.7 / 2.0 | 1.7 / 2.1 | 1.6 / 2.0 | 0.2 / 0.8 | 0.1 / 0.4 |
| one page's flags | 0.8 / 1.4 | 0.8 / 1.3 | 0.8 / 1.2 | 0.0 / 0.4 | 0.0 / 0.3 |
| one issue's flags | 1.6 / 2.2 | 1.5 / 1.9 | 1.4 / 1.8 | 0.2 / 0.7 | 0.1 / 0.4 |
| first 50 flags, all that is printed | 5.2 / 13.5 | 5.6 / 13.6 | 5.4 / 12.9 | 0.7 / 8.0 | 0.2 / 6.1 |
| one page's, all that is printed | 2.0 / 4.3 | 1.9 / 4.3 | 1.8 / 4.1 | 0.1 / 1.8 | 0.0 / 1.4 |
| one issue's, all that is printed | 5.0 / 11.3 | 4.8 / 14.7 | 4.6 / 26.2 | 0.5 / 19.9 | 0.2 / 13.0 |
| impact of a lock | 4.4 / 7.7 | 4.8 / 8.1 | 8.3 / 12.3 | 0.9 / 2.7 | 0.9 / 1.0 |
| look-up | 4.8 / 6.6 | 4.9 / 8.1 | 4.9 / 8.6 | 1.5 / 4.5 | 1.4 / 4.0 |
| matrix of every issue | 2.1 / 2.9 | 3.2 / 4.2 | 15.0 / 18.2 | 1.9 / 5.1 | 1.7 / 5.2 |
| lock changed | 11.0 / 20.1 | 14.2 / 22.2 | 53.2 / 45.1 | 53.2 / 45.1 | 64.0 / 51.4 |

| page, median (95th percentile) ms | 10,000 marks | 100,000 | 1,000,000 |
|---|---|---|---|
| going out | 16 (18) / 20 (22) | 16 (17) / 22 (25) | 20 (21) / 40 (49) |
| the look-up page | 12 (14) / 15 (17) | 12 (13) / 16 (19) | 21 (35) / 25 (35) |
| a guide | 28 (38) / 39 (49) | 29 (38) / 38 (50) | 31 (48) / 38 (50) |
| the desk of the series | 18 (20) / 37 (49) | 22 (24) / 44 (59) | 39 (48) / 64 (73) |
| an issue | 47 (58) / 59 (71) | 44 (52) / 80 (103) | 46 (60) / 73 (92) |
| the palette | 14 (22) / 17 (26) | 19 (25) / 22 (32) | 54 (64) / 55 (64) |
| flags | 52 (59) / 69 (83) | 55 (59) / 72 (95) | 65 (71) / 89 (106) |
| the bible | 54 (64) / 63 (71) | 54 (63) / 62 (74) | 66 (78) / 75 (93) |
| a subject | 54 (64) / 66 (78) | 55 (63) / 63 (71) | 72 (84) / 78 (87) |
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
