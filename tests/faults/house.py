"""A house full of people at work, and the look through it afterwards: what the trials of this folder share.

Import it first: it sets Django up, with a data folder of its own.
"""

from __future__ import annotations

import datetime as dt
import os
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FOLDER = Path(tempfile.mkdtemp(prefix="faults-"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bible.settings")
os.environ["BIBLE_DATA"] = str(FOLDER)

import django

django.setup()

from django.core.management import call_command
from django.db import connections
from django.urls import reverse
from django.utils import timezone

from bible.models import Series
from guides.maintenance.doctor import examine
from tests.factories import make_guide, make_issue, make_lock, make_member, make_part, make_series
from tests.faults.people import Locker, Marker, Person, Sender
from tests.serving import Server

House = tuple[list[int], list[int], int]
"""Guides to mark, parts to lock, the issue that new pages come into."""


class Wrong(Exception):
    """Something was lost, doubled, or left behind for good."""


def furnish() -> tuple[Series, House]:
    """A series and what is in it, in a database that is migrated for it."""
    call_command("migrate", verbosity=0)
    series = make_series()
    guides = [make_guide(make_issue(series)).pk for _ in range(4)]
    parts = [make_part(series) for _ in range(8)]
    for part in parts:
        make_lock(part, "B2")
    for name in ("lead-a", "lead-b"):
        make_member(series, "lead", username=name)
    for name in ("hand-a", "hand-b", "sender-a", "sender-b"):
        make_member(series, "fill-in", username=name)
    return series, (guides, [part.pk for part in parts], make_issue(series).pk)


def crew(server: Server, stop: threading.Event, series: Series, house: House) -> list[Any]:
    guides, parts, issue = house
    base = reverse("series", args=[series.slug])
    people: list[Any] = [Marker(server, name, stop) for name in ("hand-a", "hand-b")]
    people += [Sender(server, name, stop) for name in ("sender-a", "sender-b")]
    people += [Locker(server, "lead-a", stop)]
    for person in people:
        person.base, person.guides, person.parts, person.issue = base, guides, parts, issue
    return people


@contextmanager
def at_work(people: list[Any], stop: threading.Event) -> Iterator[None]:
    """Everybody works in a thread of their own until the block ends."""

    def work(person: Any) -> None:
        try:
            person.work()
        finally:
            connections.close_all()

    threads = [threading.Thread(target=work, args=[person]) for person in people]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        for thread in threads:
            thread.join()


def look_back(people: list[Person]) -> None:
    """Whatever people were told is saved is there; then the whole house is looked through."""
    for person in people:
        saved = len(getattr(person, "saved", []))
        print(
            f"  {person.username}: {saved} saved, asked again {person.asked_again} times, refused {person.refused[:3]}"
        )
        if trouble := person.lost():  # type: ignore[attr-defined]
            raise Wrong(f"{person.username}: {trouble[:3]}")
        if not saved:
            raise Wrong(f"{person.username} got nothing done")
    look_through()


def look_through() -> None:
    later = timezone.now() + dt.timedelta(days=3)
    found = list(examine(later))
    print(f"  doctor: {dict(Counter(finding.kind.value for finding in found)) or 'nothing amiss'}", flush=True)
    for finding in found:
        if finding.mend is None:
            raise Wrong(f"{finding.what}: {finding.words}")
        finding.mend()
    if left := list(examine(later)):
        raise Wrong(f"not mended: {left[:3]}")
    for series in Series.objects.all():
        call_command("check", series.slug, "--verify", stdout=(FOLDER / "verified.txt").open("w"))
