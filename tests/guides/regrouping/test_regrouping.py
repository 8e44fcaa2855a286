"""Merging, moving, re-assigning: as it was shown, with nothing lost, and undone as one."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from bible.locks.services import end_lock
from bible.locks.stretches import left_open
from bible.models import Activity, Costume, Issue, Lock, Part, Proposal, Series, Subject
from bible.models.stretches import Stretch
from bible.series.refusals import Refused
from bible.subjects.owning import Owned, owned, set_owners
from bible.subjects.wearing import together
from guides.core import continuity, recounting
from guides.core.fingerprint import broken
from guides.core.impact import rehearse
from guides.core.waivers import waive
from guides.models import FlagKind, Mark, Regrouping
from guides.regrouping.services import (
    merge_parts,
    merge_subjects,
    move_costume,
    move_part,
    reassign_marks,
)
from guides.regrouping.undoing import undo_regrouping
from guides.signoff.services import put_in_check, sign_off
from tests.factories import (
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.forms import form_of, link_of
from tests.pages import member_client

pytestmark = pytest.mark.django_db

BELT, COAT = "Stranger, work coat: belt", "Ada, Work coat: Coat"


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 4)


@pytest.fixture
def stranger(series: Series, issues: list[Issue], lead: User) -> Subject:
    """Known from issues 1 and 2."""
    subject = make_subject(series, name="Stranger")
    costume = make_costume(subject, name="work coat", to_position=issues[2].position)
    coat, belt = make_part(costume=costume, name="coat"), make_part(costume=costume, name="belt")
    make_lock(coat, "YR3B2", by=lead)
    make_lock(coat, "YR", role="shade", by=lead)
    make_part(costume=make_costume(subject, name="rags"), name="shirt")
    for issue in issues[:2]:
        make_mark(make_guide(issue, by=lead), "YR3B2", part=coat, by=lead)
        make_mark(make_guide(issue, by=lead), "Y", part=belt, by=lead)
    return subject


@pytest.fixture
def ada(series: Series, issues: list[Issue], lead: User) -> Subject:
    """Who it turns out to be: worn from issue 3 on, with another code."""
    subject = make_subject(series, name="Ada")
    costume = make_costume(subject, name="Work coat", from_position=issues[2].position)
    coat = make_part(costume=costume, name="Coat")
    make_lock(coat, "B", by=lead)
    make_mark(make_guide(issues[3], by=lead), "B", part=coat, by=lead)
    return subject


def everything(series: Series) -> tuple[Any, ...]:
    """What marks belong to and owe, what is locked and worn, who belongs to whom: what an undo must bring back."""
    marks = Mark.objects.filter(series=series).order_by("pk")
    locks = Lock.objects.filter(series=series).standing().order_by("part", "role", "from_position")
    costumes = Costume.objects.filter(subject__series=series).order_by("pk")
    parts = Part.objects.filter(costume__subject__series=series).order_by("pk")
    return (
        list(marks.values_list("pk", "part", "role", "tint", "expected", "waived", "live")),
        list(locks.values_list("part", "role", "tint", "from_position", "to_position")),
        [(one.pk, one.subject_id, one.name, one.worn, one.archived_at is None) for one in costumes],
        list(parts.values_list("pk", "costume", "name", "archived_at")),
        list(series.subjects.order_by("pk").values_list("pk", "name", "archived_at")),
    )


def sound(series: Series) -> None:
    assert continuity.discrepancies(series) == []
    assert recounting.discrepancies(series) == []
    assert broken(series) == []


def undone(series: Series, lead: User) -> None:
    undo_regrouping(regrouping=Regrouping.objects.filter(series=series).standing().newest_first()[0], by=lead)


def test_two_subjects_that_are_one(series: Series, stranger: Subject, ada: Subject, lead: User) -> None:
    before = everything(series)
    copies: dict[str, Any] = {"source": Subject.objects.get(pk=stranger.pk), "target": Subject.objects.get(pk=ada.pk)}
    shown = rehearse(series, partial(merge_subjects, **copies, by=lead))
    assert everything(series) == before
    opened = Mark.objects.filter(series=series).open().count()
    merge_subjects(source=stranger, target=ada, by=lead, reason="issue 3 tells")
    assert Mark.objects.filter(series=series).open().count() - opened == shown.opens - shown.closes
    ada = Subject.objects.get(pk=ada.pk)
    assert {costume.name for costume in ada.costumes.active()} == {"Work coat", "rags"}
    coat = Part.objects.get(costume__subject=ada, name="Coat")
    assert coat.costume.worn == (), "worn when either was"
    assert coat.marks.count() == 3
    assert {part.name for part in coat.costume.parts.all()} == {"Coat", "belt"}
    assert [lock.written for lock in Lock.objects.of(coat.pk, "base").standing()] == ["B"], "the target's code holds"
    assert [lock.written for lock in Lock.objects.of(coat.pk, "shade").standing()] == ["YR"], "where it had none"
    stranger.refresh_from_db()
    assert stranger.archived_at
    assert Lock.objects.filter(part__costume__subject=stranger).standing().count() == 2, "its history stays"
    sound(series)
    undone(series, lead)
    assert everything(series) == before
    sound(series)
    with pytest.raises(Refused, match="has undone this already"):
        undo_regrouping(regrouping=Regrouping.objects.get(), by=lead)
    told = Activity.objects.filter(series=series, kind="regrouped").order_by("pk")
    assert [one.words.get("undone", "") for one in told] == ["", "undone"]


def test_a_sign_off_falls_and_stands_again_and_waivers_live_again(
    series: Series, stranger: Subject, ada: Subject, issues: list[Issue], lead: User
) -> None:
    belt = Part.objects.get(name="belt")
    waive(marks=list(Mark.objects.filter(series=series).open()), reason="in mud", by=lead)
    assert Mark.objects.filter(part=belt, waived=True).count() == 2
    put_in_check(issue=issues[0], by=lead)
    sign_off(issue=issues[0], by=lead, words="fine")
    merge_parts(source=belt, target=Part.objects.get(name="Coat"), by=lead)
    issues[0].refresh_from_db()
    assert issues[0].signed_off_at is None
    assert not Mark.objects.filter(waived=True).exists()
    undone(series, lead)
    issues[0].refresh_from_db()
    assert issues[0].signed_off_at
    assert Mark.objects.filter(part=belt, waived=True).count() == 2
    sound(series)


def test_a_costume_moves_and_a_new_subject_is_split_off(
    series: Series, stranger: Subject, ada: Subject, lead: User
) -> None:
    before, rags = everything(series), Costume.objects.get(name="rags")
    move_costume(costume=rags, new_name="Beggar", by=lead)
    assert Costume.objects.get(pk=rags.pk).subject.name == "Beggar"
    undone(series, lead)
    assert everything(series) == before, "the new subject is gone as well"
    move_costume(costume=Costume.objects.get(pk=rags.pk), subject=ada, by=lead)
    assert Costume.objects.get(pk=rags.pk).subject == ada
    work = Costume.objects.get(name="work coat")
    with pytest.raises(Refused, match="has a costume “work coat” already"):
        move_costume(costume=work, subject=ada, by=lead)


def test_a_part_moves_to_a_costume_and_is_worn_when_that_is(
    series: Series, stranger: Subject, ada: Subject, lead: User
) -> None:
    before, belt = everything(series), Part.objects.get(name="belt")
    move_part(part=belt, costume=Costume.objects.get(name="Work coat"), by=lead)
    assert Mark.objects.filter(part=belt).flagged().kind_counts()[FlagKind.OUT_OF_USE] == 2
    sound(series)
    undone(series, lead)
    assert everything(series) == before
    with pytest.raises(Refused, match="merge the two instead"):
        move_part(part=Part.objects.get(name="coat"), costume=Costume.objects.get(name="Work coat"), by=lead)


def test_marks_are_given_by_a_filter(series: Series, stranger: Subject, ada: Subject, lead: User) -> None:
    before, belt, coat = everything(series), Part.objects.get(name="belt"), Part.objects.get(name="coat")
    first = series.issues.get(number="1")
    among = Mark.objects.filter(position=first.position, written="Y")
    assert reassign_marks(source=belt, target=coat, among=among, by=lead) == 1
    assert [mark.guide.issue.number for mark in belt.marks.all()] == ["2"]
    sound(series)
    undone(series, lead)
    assert everything(series) == before
    with pytest.raises(Refused, match="No mark is among these"):
        reassign_marks(source=belt, target=coat, among=Mark.objects.none(), by=lead)
    with pytest.raises(Refused, match="belong to Stranger, work coat: belt already"):
        reassign_marks(source=belt, target=belt, among=Mark.objects.all(), by=lead)


def test_what_somebody_built_on_is_not_undone(series: Series, stranger: Subject, ada: Subject, lead: User) -> None:
    merge_subjects(source=stranger, target=ada, by=lead)
    shade = Lock.objects.of(Part.objects.get(name="Coat").pk, "shade").standing().get()
    end_lock(lock=shade, at_position=shade.from_position, by=lead, reason="over")
    with pytest.raises(Refused, match="has decided about"):
        undone(series, lead)


def test_a_mark_changed_since_stays_and_is_named(series: Series, stranger: Subject, ada: Subject, lead: User) -> None:
    belt, coat = Part.objects.get(name="belt"), Part.objects.get(name="coat")
    reassign_marks(source=belt, target=coat, among=Mark.objects.all(), by=lead)
    mark = coat.marks.order_by("pk").last()
    assert mark
    Mark.objects.filter(pk=mark.pk).update(version=mark.version + 1)
    with pytest.raises(Refused, match=f"has changed mark {mark.number} of issue"):
        undone(series, lead)


def test_a_waiting_proposal_goes_along(series: Series, stranger: Subject, ada: Subject, lead: User) -> None:
    coat, target = Part.objects.get(name="coat"), Part.objects.get(name="Coat")
    asked = Proposal.objects.create(
        series=series, part=coat, tint=series.read("Y"), written="Y", from_position=0, proposed_by=lead
    )
    merge_parts(source=coat, target=target, by=lead)
    assert Proposal.objects.get(pk=asked.pk).part == target
    undone(series, lead)
    assert Proposal.objects.get(pk=asked.pk).part == coat


def test_what_somebody_had_goes_along(series: Series, stranger: Subject, ada: Subject, lead: User) -> None:
    lantern = make_subject(series, name="Lantern", kind="prop")
    set_owners(subject=lantern, owners=[Owned(stranger.pk, 0, None)], by=lead)
    merge_subjects(source=stranger, target=ada, by=lead)
    assert owned(lantern) == (Owned(ada.pk, 0, None),)
    undone(series, lead)
    assert owned(lantern) == (Owned(stranger.pk, 0, None),)


def test_two_series_are_not_mixed(series: Series, stranger: Subject, lead: User) -> None:
    other = make_part(make_series())
    with pytest.raises(Refused, match="another series"):
        merge_subjects(source=other.costume.subject, target=stranger, by=lead)
    with pytest.raises(Refused, match="another series"):
        merge_parts(source=other, target=Part.objects.get(name="coat"), by=lead)
    with pytest.raises(Refused, match="itself"):
        merge_subjects(source=stranger, target=stranger, by=lead)


@pytest.mark.parametrize(
    ("stretch", "taken", "free"),
    [
        ((0, None), [], [(0, None)]),
        ((0, None), [(5, 9)], [(0, 5), (9, None)]),
        ((0, 10), [(5, None)], [(0, 5)]),
        ((3, 10), [(0, 5), (7, 8)], [(5, 7), (8, 10)]),
        ((3, 10), [(0, None)], []),
        ((3, 10), [(10, 20)], [(3, 10)]),
    ],
)
def test_what_a_stretch_leaves_open(stretch: Any, taken: Any, free: Any) -> None:
    assert left_open(Stretch(*stretch), taken) == [Stretch(*one) for one in free]


def test_times_together() -> None:
    assert together((Stretch(0, 5),), (Stretch(3, 9), Stretch(20))) == (Stretch(0, 9), Stretch(20))
    assert together((Stretch(0, 5),), ()) == ()


def test_merged_from_the_subjects_page_and_undone(
    lead_client: Client, series: Series, stranger: Subject, ada: Subject
) -> None:
    page = lead_client.get(link_of(lead_client.get(stranger.get_absolute_url()), "Merge or move"))
    form = form_of(page, says="Merge them").fill(target=str(ada.pk), reason="issue 3 tells")
    shown = form.press(lead_client)
    assert shown.status_code == 422
    assert f"{COAT}, base: B holds" in " ".join(shown.content.decode().split())
    assert not Regrouping.objects.exists(), "nothing is done before a yes"
    done = form_of(shown, says="Merge them with these consequences").press(lead_client, follow=True)
    assert "Stranger merged into Ada" in done.content.decode()
    address = reverse("undo-regrouping", args=[series.slug, Regrouping.objects.get().pk])
    form_of(lead_client.get(address), says="Undo it").press(lead_client)
    stranger.refresh_from_db()
    assert stranger.archived_at is None
    assert "has undone this already" in lead_client.get(address).content.decode()


@pytest.mark.parametrize(
    ("button", "said", "words"),
    [
        ("Move the costume", {"costume": "rags", "new_name": "Beggar"}, "rags moved to Beggar"),
        ("Move the part", {"part": BELT, "costume": "Work coat"}, "belt moved to Ada, Work coat"),
        ("Merge the parts", {"part": BELT, "target": COAT}, "belt merged into"),
        ("Give the marks to it", {"part": BELT, "issues": "1-2", "written": "Y", "target": COAT}, "belt given to"),
    ],
)
def test_each_form_does_what_it_says(
    lead_client: Client,
    series: Series,
    stranger: Subject,
    ada: Subject,
    button: str,
    said: dict[str, str],
    words: str,
) -> None:
    if "costume" in said:
        said = said | {"costume": str(Costume.objects.get(name=said["costume"]).pk)}
    page = lead_client.get(reverse("regroup", args=[series.slug, stranger.pk]))
    shown = form_of(page, says=button).fill(**said).press(lead_client)
    form_of(shown, says=f"{button} with these consequences").press(lead_client)
    assert words in Regrouping.objects.get().words


@pytest.mark.parametrize(
    ("button", "said", "message"),
    [
        ("Move the costume", {"costume": "rags"}, "Say one of the two"),
        ("Give the marks to it", {"part": COAT, "target": BELT}, "is none of Stranger"),
        ("Give the marks to it", {"part": BELT, "issues": "77", "target": COAT}, "There is no issue 77"),
    ],
)
def test_bad_input_is_told_and_nothing_is_done(
    lead_client: Client,
    series: Series,
    stranger: Subject,
    ada: Subject,
    button: str,
    said: dict[str, str],
    message: str,
) -> None:
    if "costume" in said:
        said = said | {"costume": str(Costume.objects.get(name=said["costume"]).pk)}
    page = lead_client.get(reverse("regroup", args=[series.slug, stranger.pk]))
    answer = form_of(page, says=button).fill(**said).press(lead_client)
    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert not Regrouping.objects.exists()


def test_only_a_lead_may(series: Series, stranger: Subject) -> None:
    for role in ("fill-in", "editor", "guest"):
        client = member_client(series, role)
        assert client.get(reverse("regroup", args=[series.slug, stranger.pk])).status_code == 403
        assert client.get(reverse("regroupings", args=[series.slug])).status_code == 200
        assert "Merge or move" not in client.get(stranger.get_absolute_url()).content.decode()
