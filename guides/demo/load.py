"""Puts the demo's story into the database: people, bible, drawn and marked pages, by the services all use."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from bible.locks.services import lock_tint
from bible.models import Costume, Issue, Lock, Membership, Part, Series, Subject
from bible.models.roles import FIRST_KINDS, FIRST_ROLES, KindList, Role, RoleList, SubjectKind
from guides.core.services import add_guide, place_marks
from guides.demo.album import print_an_album
from guides.demo.artist.drawing import PencilledMark
from guides.demo.artist.gallery import FinishedPage, drawn_pages
from guides.demo.charted import print_charts
from guides.demo.lights import light_a_page
from guides.demo.merged import merge_the_fishmonger
from guides.demo.proofed import bring_in, decide_some
from guides.demo.story.plot import demo_story
from guides.demo.story.story import LockSpec, PageSpec, Person, Story
from guides.demo.story.tintbox import NOTATION
from guides.demo.talk import load_talk
from guides.demo.way_out import give_out, send_out
from guides.found.tasks import ask_for_codes
from guides.imaging.intake.take_in import take_in
from guides.models import Guide

DEMO_PASSWORD = "quill-bend-demo"
"""Known to everybody who reads this: the demo is for trying out, not for an open network."""

ROLES = {"reader": Membership.Role.GUEST}
"""The story's words for roles where they are not the application's."""

PartKey = tuple[str, str, str]


def loaded() -> bool:
    """Whether the whole demo is here."""
    return Guide.objects.filter(series__slug=demo_story().slug).count() >= len(demo_story().pages)


def load_demo(tell: Callable[[str], None], drawn: Callable[[Story], Iterator[FinishedPage]] = drawn_pages) -> Series:
    """Load whatever of the demo is not there yet, page by page, so that a load that was stopped goes on.

    Args:
        tell: hears how far it has come.
        drawn: the finished pages of a story, in its order.
    """
    story = demo_story()
    series = Series.objects.filter(slug=story.slug).first() or _load_bible(story)
    _add_issues(series, story)
    users = {user.username: user for user in User.objects.filter(memberships__series=series)}
    issues = {issue.number: issue for issue in series.issues.all()}
    missing = [page for page in story.pages if page.issue in issues and not _is_here(series, page)]
    parts = _parts(series)
    leads = series.memberships.leads().select_related("user")
    editors = series.memberships.filter(role=Membership.Role.EDITOR).select_related("user")
    runs = print_charts(series, leads[0].user)
    for done, finished in enumerate(drawn(replace(story, pages=tuple(missing))), 1):
        marked = finished.page.issue not in story.unmarked
        guide = _store(finished, issues[finished.page.issue], users[finished.page.colourist], parts, marked=marked)
        if finished.proof is not None:
            bring_in(guide, finished.proof, editors[0].user, runs.get(guide.issue.number))
        if done % 10 == 0 or done == len(missing):
            tell(f"  drew page guide {done} of {len(missing)}")
    load_talk(series)
    merge_the_fishmonger(series, leads[0].user)
    light_a_page(series, leads[0].user)
    print_an_album(series, leads[0].user)
    decide_some(series, editors[0].user)
    send_out(series, leads[0].user, editors[0].user)
    give_out(series, editors[0].user)
    return series


def _is_here(series: Series, page: PageSpec) -> bool:
    return Guide.objects.filter(series=series, issue__number=page.issue, page=page.label).exists()


def _own_lists(story: Story) -> dict[str, Any]:
    """The columns of a series' roles and kinds of subject."""
    roles = RoleList((*FIRST_ROLES, *(Role(key, name, sign=sign) for key, name, sign in story.roles)))
    kinds = KindList((*FIRST_KINDS, *(SubjectKind(*kind) for kind in story.kinds)))
    return {"roles_data": roles.to_data(), "kinds_data": kinds.to_data()}


@transaction.atomic
def _load_bible(story: Story) -> Series:
    """People, issues, subjects and locks, all or nothing."""
    series = Series.objects.create(
        title=story.title, slug=story.slug, notation_data=NOTATION.to_dict(), **_own_lists(story)
    )
    users = {person.username: _join(series, person) for person in story.people}
    _add_issues(series, story)
    dates = {spec.position: timezone.make_aware(datetime(spec.year, spec.month, 1, 9)) for spec in story.issues}
    for subject_spec in story.subjects:
        subject = Subject.objects.create(
            series=series, kind=subject_spec.kind, name=subject_spec.name, note=subject_spec.note
        )
        for rank, costume_spec in enumerate(subject_spec.costumes):
            costume = Costume.objects.create(subject=subject, name=costume_spec.name, rank=rank)
            for begins, ends in costume_spec.worn:
                costume.stretches.create(from_position=begins, to_position=ends)
            for part_rank, part_spec in enumerate(costume_spec.parts):
                part = Part.objects.create(costume=costume, name=part_spec.name, rank=part_rank)
                for lock in sorted(part_spec.locks, key=lambda lock: lock.from_position):
                    # Decided when the issue was coloured, not when the demo was loaded.
                    decided = dates.get(lock.from_position, min(dates.values()))
                    _lock(series, part, lock, users[lock.by], decided)
    return series


def _join(series: Series, person: Person) -> User:
    first, _, last = person.name.partition(" ")
    user, new = User.objects.get_or_create(
        username=person.username, defaults={"first_name": first, "last_name": last}
    )
    if new:
        user.set_password(DEMO_PASSWORD)
        user.save()
    Membership.objects.create(series=series, user=user, role=ROLES.get(person.role, person.role))
    return user


def _lock(series: Series, part: Part, lock: LockSpec, by: User, decided: datetime) -> None:
    locked = lock_tint(
        part=part,
        role=lock.role,
        tint=series.read(lock.code),
        written=lock.code,
        from_position=lock.from_position,
        by=by,
        reason=lock.reason,
    )
    Lock.objects.filter(pk=locked.pk).update(decided_at=decided)


def _add_issues(series: Series, story: Story) -> None:
    """Those that are not there: the story of a demo that was loaded long ago has gone on since. Where somebody has
    put an issue of their own, none is added."""
    there = set(series.issues.values_list("position", flat=True))
    for spec in story.issues:
        if spec.position in there:
            continue
        fields = {"title": spec.title, "position": spec.position, "published": date(spec.year, spec.month, 1)}
        Issue.objects.get_or_create(series=series, number=spec.number, defaults=fields)


def _parts(series: Series) -> dict[PartKey, Part]:
    """Parts by the story's slugs of subject and costume and the part's name."""
    stored = {
        (part.costume.subject.name, part.costume.name, part.name): part
        for part in Part.objects.of_series(series).with_names()
    }
    return {
        (subject.slug, costume.slug, part.name): stored[subject.name, costume.name, part.name]
        for subject in demo_story().subjects
        for costume in subject.costumes
        for part in costume.parts
    }


def _scan_name(page: PageSpec) -> str:
    return f"quill-bend-{page.issue}-{page.label}.jpg".replace(" ", "-")


@transaction.atomic
def _store(drawn: FinishedPage, issue: Issue, by: User, parts: dict[PartKey, Part], *, marked: bool) -> Guide:
    """One page comes in like any upload: with its marks, or to be looked through for its codes in the background."""
    scan, name = io.BytesIO(drawn.jpeg), _scan_name(drawn.page)
    guide = add_guide(
        issue=issue,
        page=drawn.page.label,
        picture=take_in(scan, name),
        original=scan,
        filename=name,
        by=by,
        colourist=by,
    )
    if marked:
        place_marks(guide=guide, by=by, rows=[_row(mark, parts) for mark in drawn.marks])
    else:
        ask_for_codes(guide=guide, by=by)
    return guide


def _row(mark: PencilledMark, parts: dict[PartKey, Part]) -> tuple[float, float, str, Part | None, str]:
    part = None
    if mark.subject and mark.costume and mark.part:
        part = parts[mark.subject, mark.costume, mark.part]
    return (mark.x, mark.y, mark.written, part, mark.role or "base")
