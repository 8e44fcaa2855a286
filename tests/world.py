"""Every address of the URLconf, and a series with one of everything to fill the addresses in."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.models import LockNote, Membership, Proposal, Scene, Series
from bible.notices.services import add_webhook
from bible.people.services import invite, make_read_token
from bible.scenes.services import set_scene
from bible.tasks.services import enqueue
from guides.assignments.services import give_pages
from guides.core.kept import keep as keep_state
from guides.core.scene_areas import apply_scene
from guides.core.waivers import waive
from guides.desk.page_notes import write_page_note
from guides.imports.services import keep
from guides.models import Booklet, BroughtTable, IssueStep, Regrouping
from guides.proofs.tasks import read
from guides.uploads.services import start
from tests.factories import (
    make_carry,
    make_chart_scan,
    make_chart_sheet,
    make_drawing,
    make_edition,
    make_found,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_proof,
    make_reading,
    make_series,
    make_sinking_pair,
)

Role = Membership.Role
SERIES_PREFIX = "s/<slug:slug>/"


@dataclass(frozen=True)
class Address:
    route: str
    pattern: URLPattern

    @property
    def view(self) -> Callable[..., Any]:
        return self.pattern.callback

    @property
    def name(self) -> str:
        return str(self.pattern.name)

    def __str__(self) -> str:
        return self.name


def walk(patterns: list[Any], before: str = "") -> Iterator[Address]:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from walk(pattern.url_patterns, route)
        else:
            yield Address(route, pattern)


ADDRESSES = list(walk(get_resolver().url_patterns))
IN_SERIES = [address for address in ADDRESSES if address.route.startswith(SERIES_PREFIX)]
OUTSIDE = [address for address in ADDRESSES if not address.route.startswith(SERIES_PREFIX)]


class World:
    """A series with one of everything, and somebody for each role."""

    def __init__(self) -> None:
        self.series = make_series()
        self.people = {role: make_member(self.series, role.value) for role in Role}
        lead = self.people[Role.LEAD]
        issue = make_issue(self.series)
        part = make_part(self.series)
        lock = make_lock(part, "YR3B2", by=lead)
        guide = make_guide(issue, by=lead)
        mark = make_mark(guide, "YR", part=part, by=lead)
        scene = set_scene(
            scene=Scene(series=self.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead
        )
        give_pages(issue=issue, pages=["9"], colourist=self.people[Role.FILL_IN], by=lead)
        invitation, self.token = invite(series=self.series, role=Role.GUEST, by=lead)
        proposal = Proposal.objects.create(
            series=self.series,
            part=part,
            tint=lock.tint,
            written="YR",
            from_position=0,
            proposed_by=self.people[Role.FILL_IN],
        )
        note = LockNote.objects.create(series=self.series, lock=lock, text="so", written_by=lead)
        proof, arriving = make_proof(guide, by=lead), make_proof(guide, by=lead, is_current=False)
        self.things: dict[str, Any] = {
            "proofs": proof,
            "proof-readings": make_reading(proof, mark),
            "bible": part.costume.subject,
            "subjects": part.costume.subject,
            "costumes": part.costume,
            "parts": part,
            "locks": lock,
            "issues": issue,
            "guides": guide,
            "marks": mark,
            "people": self.series.memberships.get(user=self.people[Role.GUEST]),
            "invitations": invitation,
            "proposals": proposal,
            "scenes": scene,
            "scene-areas": apply_scene(guide=guide, scene=scene, by=lead),
            "regroupings": Regrouping.objects.create(
                series=self.series, kind="move", words="moved", by=lead, at=timezone.now()
            ),
            "waivers": waive(marks=[type(mark).objects.get(pk=mark.pk)], reason="so", by=lead)[0],
            "notes": note,
            "booklets": self._booklet(lead),
            "work": enqueue(read, key=arriving.job_key, by=lead, series=self.series, proof=arriving.pk)[0],
            "signings": IssueStep.objects.create(
                series=self.series, issue=issue, kind=IssueStep.Kind.SIGNED_OFF, by=lead, at=timezone.now()
            ),
            "sign-offs": self._kept_step(issue, lead),
            "webhooks": add_webhook(series=self.series, url="https://hooks.example/", by=lead),
            "tokens": make_read_token(membership=self.series.memberships.get(user=lead), name="so")[0],
            "arrivals": start(issue=issue, page="9", revision=1, filename="9.jpg", byte_size=9, by=lead),
            "carries": make_carry(issue, lead),
            "editions": make_edition(self.series, [issue]),
            "found-codes": make_found(guide, x=0.9, y=0.9),
            "sinking": make_sinking_pair(guide),
            "costume-pictures": make_drawing(part.costume, lead),
            "chart-sheets": make_chart_sheet(self.series, lead),
            "chart-scans": make_chart_scan(self.series, lead, on_wall=True),
            "page-notes": write_page_note(issue=issue, first_page=guide.page, last_page="", text="so", by=lead),
        } | {f"{table.kind}-rows": table for table in self._tables(lead)}
        self.words: dict[str, Any] = {
            "slug": self.series.slug,
            "kind": "screen",
            "form": "csv",
            "palette_format": "cxf",
            "inks": "c",
            "token": "0" * 43,
            "uidb64": "MA",
            "topic": "trade",
            "tint": Tint(),
        }

    def _booklet(self, by: User) -> Booklet:
        made = Booklet(series=self.series, state=Booklet.State.READY, asked_by=by)
        made.file.save(f"booklets/{self.series.pk}.pdf", ContentFile(b"%PDF-"))
        return made

    def _kept_step(self, issue: Any, by: User) -> IssueStep:
        """A step that keeps what it was about."""
        yesterday = timezone.now() - dt.timedelta(days=1)
        step = IssueStep(series=self.series, issue=issue, kind=IssueStep.Kind.SIGNED_OFF, by=by, at=yesterday)
        step.save()
        keep_state(step)
        return step

    def _tables(self, by: User) -> Iterator[BroughtTable]:
        for kind in BroughtTable.Kind.values:
            yield keep(series=self.series, kind=kind, data=b"a,b\n1,2\n", filename="rows.csv", by=by)

    def arguments(self, address: Address) -> dict[str, Any]:
        """A value for every part of a route, by what stands before it: ``issues/<int:pk>`` is an issue."""
        values: dict[str, Any] = {}
        route = address.route.removeprefix(SERIES_PREFIX)
        named = re.findall(
            r"(?:([a-z-]+)/)?(?:<(?:(?:int|slug|str|tint|palette_format):)?(\w+)>|\(\?P<(\w+)>)", route
        )
        for segment, simple, regex in named:
            name = simple or regex
            if name in self.words:
                values[name] = self.words[name]
            elif segment in self.things:
                values[name] = self.things[segment].pk
            else:
                pytest.fail(f"{address.route}: say in World what stands at “{segment}/<{name}>”.")
        return values


def url(address: Address, series: Series, arguments: dict[str, Any]) -> str:
    return reverse(address.name, kwargs={"slug": series.slug} | arguments)


def full_name(address: Address) -> str:
    return f"api:{address.name}" if address.route.startswith("api/") else address.name
