"""A small series with enough in it to walk in: one of everything, and beside it what is open, odd, old and archived."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.utils import timezone

from bible.models import Costume, Issue, Membership, Series
from guides.models import Mark, PaintReading
from tests.factories import (
    PASSWORD,
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_proof,
    make_reading,
    make_revision,
    make_subject,
)
from tests.world import World

PLACES = [(x / 8, y / 8) for y in range(1, 8) for x in range(1, 8)]


class Ground:
    """``name_of[role]`` signs in with ``password``."""

    password = PASSWORD

    def __init__(self) -> None:
        world = World()
        self.series: Series = world.series
        self.name_of = {role.value: person.username for role, person in world.people.items()}
        self.lead: User = world.people[Membership.Role.LEAD]
        self.fill_in: User = world.people[Membership.Role.FILL_IN]
        self.issues = make_issues(self.series, 4)
        coat = self._subject("Ada Penn", "work coat", "coat", "boots")
        self._subject("Bo", "as drawn", "hat")
        make_part(costume=coat, name="old sash", archived_at=timezone.now())
        self.marks = [mark for issue in self.issues[:3] for mark in self._page(issue, coat)]
        make_revision(self.marks[0].guide)
        self._odd(self.marks[5])
        self._page(self.issues[0], coat, page="2")
        make_reading(make_proof(self.marks[-1].guide, by=self.lead), self.marks[-1])

    def _subject(self, name: str, look: str, *parts: str) -> Costume:
        """Somebody with one costume; the first part has a change at the third issue, and none has a shade."""
        costume = make_costume(make_subject(self.series, name=name), name=look)
        for n, part in enumerate(parts):
            made = make_part(costume=costume, name=part)
            make_lock(made, "YR3B2" if n else "YR2", by=self.lead)
            if not n:
                make_lock(made, "Y", from_position=self.issues[2].position, by=self.lead)
        return costume

    def _page(self, issue: Issue, costume: Costume, **named: str) -> list[Mark]:
        """A page with a mark that agrees, one that differs, one that can't be read, a fade and a background."""
        guide = make_guide(issue, by=self.fill_in, colourist=self.fill_in, **named)
        coat, boots = costume.parts.filter(archived_at=None).order_by("pk")
        says: tuple[tuple[str, dict[str, Any]], ...] = (
            ("YR2", {"part": coat}),
            ("YB", {"part": coat}),
            ("R4", {"part": boots}),
            ("YR3B2", {"part": boots, "to_written": "Y2", "to": (0.9, 0.9)}),
            ("B2", {}),
        )
        return [
            make_mark(guide, code, x=x, y=y, by=self.fill_in, **said)
            for (x, y), (code, said) in zip(PLACES, says, strict=False)
        ]

    def _odd(self, mark: Mark) -> None:
        """Paint that speaks for another code."""
        said = [[self.series.read(code).packed, 0.8] for code in ("Y", "YR3")]
        PaintReading.objects.create(
            series=self.series, mark=mark, version=mark.version, odd=True, wrong=0.9, suggestions=said
        )
