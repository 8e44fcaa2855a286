"""A costume that comes back: worn in any number of stretches, said anew as a whole, taken back as a whole."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse

from bible.locks import guards
from bible.models import CostumeStretch, Issue, Part, Series
from bible.models.stretches import Stretch
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.subjects.services import delete_unused, uses_of
from bible.subjects.wearing import set_worn, tidy, worn_before
from guides.core.waivers import waive
from guides.models import FlagKind, Mark
from tests.factories import make_costume, make_guide, make_issues, make_lock, make_mark, make_part, make_subject
from tests.forms import form_of
from tests.pages import member_client

pytestmark = pytest.mark.django_db


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 8)


@pytest.fixture
def coat(series: Series, issues: list[Issue], lead: User) -> Part:
    """Locked, and marked as locked in every issue."""
    part = make_part(costume=make_costume(make_subject(series, name="Ada"), name="work coat"), name="coat")
    make_lock(part, "YR3B2", by=lead)
    for issue in issues:
        make_mark(make_guide(issue, by=lead), "YR3B2", part=part, by=lead)
    return part


def places(issues: list[Issue], *runs: tuple[int, int | None]) -> list[Stretch]:
    """Stretches from and up to and including issues, by their numbers from 1."""
    return [Stretch(issues[a - 1].position, None if b is None else issues[b - 1].position + 1) for a, b in runs]


def out_of_use() -> list[str]:
    flagged = Mark.objects.flagged()
    assert {mark.flag_kind for mark in flagged} <= {FlagKind.OUT_OF_USE}
    return [mark.guide.issue.number for mark in flagged.order_by("position")]


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ([(30, None), (0, 10)], [(0, 10), (30, None)]),
        ([(0, 10), (10, 20)], [(0, 20)]),
        ([(0, 10), (10, None)], []),
        ([(0, None)], []),
        ([], []),
    ],
)
def test_stretches_are_put_in_order_and_joined(said: list[Any], kept: list[Any]) -> None:
    assert tidy(Stretch(*one) for one in said) == tuple(Stretch(*one) for one in kept)


@pytest.mark.parametrize("said", [[(0, 10), (9, 20)], [(0, None), (40, 50)], [(5, 5)], [(9, 3)]])
def test_stretches_that_cannot_be_are_refused(said: list[Any]) -> None:
    with pytest.raises(Refused):
        tidy(Stretch(*one) for one in said)


def test_marks_outside_of_every_stretch_are_out_of_use(coat: Part, issues: list[Issue], lead: User) -> None:
    set_worn(costume=coat.costume, worn=places(issues, (1, 2), (4, 4), (7, None)), by=lead)
    assert out_of_use() == ["3", "5", "6"]
    assert RunningOrder.of(coat.costume.subject.series).worn(coat.costume) == (
        "up to issue 2, issue 4, from issue 7 on"
    )
    assert set_worn(costume=coat.costume, worn=[], by=lead)
    assert out_of_use() == []
    assert not set_worn(costume=coat.costume, worn=[Stretch(0)], by=lead), "the same again is no deed"


def test_what_was_said_before_stands_again_with_its_waivers(coat: Part, issues: list[Issue], lead: User) -> None:
    costume = coat.costume
    set_worn(costume=costume, worn=places(issues, (1, 2), (4, 4)), by=lead)
    waive(marks=[Mark.objects.flagged().get(position=issues[2].position)], reason="in disguise", by=lead)
    set_worn(costume=costume, worn=places(issues, (1, 5)), by=lead)
    assert out_of_use() == ["6", "7", "8"]
    costume.refresh_from_db()
    before = worn_before(costume)
    assert before == tuple(places(issues, (1, 2), (4, 4)))
    set_worn(costume=costume, worn=before, by=lead)
    assert out_of_use() == ["3", "5", "6", "7", "8"]
    assert [mark.guide.issue.number for mark in Mark.objects.waived()] == ["3"]
    assert CostumeStretch.objects.filter(costume=costume).count() == 5, "nothing is deleted"


def test_one_that_was_never_changed_has_nothing_to_take_back(coat: Part) -> None:
    assert worn_before(coat.costume) is None


@pytest.mark.parametrize(("start", "end"), [(10, 20), (19, None), (0, 11), (0, None)])
def test_the_database_refuses_stretches_that_overlap(coat: Part, start: int, end: int | None) -> None:
    coat.costume.stretches.create(from_position=10, to_position=20)
    with pytest.raises(IntegrityError, match=guards.COSTUME_CONSTRAINT), transaction.atomic():
        coat.costume.stretches.create(from_position=start, to_position=end)
    coat.costume.stretches.create(from_position=20, to_position=None)
    assert guards.missing(connection) == []


def test_an_issue_that_a_stretch_is_told_by_is_in_use(coat: Part, issues: list[Issue], lead: User) -> None:
    Mark.objects.all().delete()
    set_worn(costume=coat.costume, worn=places(issues, (4, 4)), by=lead)
    assert "1 time of a costume" in [str(use) for use in uses_of(issues[3])]
    other = make_costume(coat.costume.subject, worn=places(issues, (2, 3)))
    delete_unused(row=other, by=lead)
    assert not CostumeStretch.objects.filter(costume_id=other.pk).exists()


def test_a_costume_comes_back_by_issue_numbers(lead_client: Client, coat: Part, issues: list[Issue]) -> None:
    page = lead_client.get(coat.costume.subject.get_absolute_url())
    address = reverse("edit-costume", args=[coat.costume.subject.series.slug, coat.costume_id])
    assert address in page.content.decode()
    form = form_of(lead_client.get(address), says="Save").fill(to_issue="2")
    shown = form.press(lead_client)
    assert [(row.issue.number, row.opens) for row in shown.context["shown"].impact.rows] == [
        (issue.number, 1) for issue in issues[2:]
    ]
    form_of(shown, says="Save with these consequences").press(lead_client)
    again = form_of(lead_client.get(address), says="Save").fill(from_issue_2="5", to_issue_2="6")
    form_of(again.press(lead_client), says="Save with these consequences").press(lead_client)
    assert out_of_use() == ["3", "4", "7", "8"]
    told = lead_client.get(coat.costume.subject.get_absolute_url()).content.decode()
    assert "worn up to issue 2, issues 5 to 6" in told
    form = form_of(lead_client.get(address), says="Save")
    assert form.value("from_issue_3") == "", "there is always room for one more"


def test_the_last_change_is_undone_from_its_page(
    lead_client: Client, coat: Part, issues: list[Issue], lead: User
) -> None:
    set_worn(costume=coat.costume, worn=places(issues, (1, 2), (5, 6)), by=lead)
    set_worn(costume=coat.costume, worn=places(issues, (1, 2)), by=lead)
    address = reverse("edit-costume", args=[coat.costume.subject.series.slug, coat.costume_id])
    page = lead_client.get(address)
    assert "Before the last change it was worn up to issue 2, issues 5 to 6." in " ".join(
        page.content.decode().split()
    )
    shown = form_of(lead_client.get(f"{address}?before=1"), says="Save").press(lead_client)
    form_of(shown, says="Save with these consequences").press(lead_client)
    assert out_of_use() == ["3", "4", "7", "8"]


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"to_issue": "3", "from_issue_2": "2"}, "Two of these stretches overlap"),
        ({"from_issue_2": "5", "to_issue_2": "4"}, "It cannot end before it begins."),
        ({"from_issue_2": "77"}, "There is no issue 77"),
    ],
)
def test_a_time_that_cannot_be_is_refused(
    lead_client: Client, coat: Part, said: dict[str, str], message: str
) -> None:
    address = reverse("edit-costume", args=[coat.costume.subject.series.slug, coat.costume_id])
    answer = form_of(lead_client.get(address), says="Save").fill(**said).press(lead_client)
    assert answer.status_code == 422
    assert answer.content.decode().count(message) == 1
    assert coat.costume.worn == ()


def test_the_timeline_shows_when_it_is_worn(lead_client: Client, coat: Part, issues: list[Issue], lead: User) -> None:
    series = coat.costume.subject.series
    set_worn(costume=coat.costume, worn=places(issues, (1, 2), (5, 5)), by=lead)
    address = reverse("timeline", args=[series.slug, coat.costume.subject_id])
    page = lead_client.get(address)
    [strip] = [one["strip"] for one in page.context["strips"]]
    assert [cell.number for cell in strip.cells if cell.worn] == ["1", "2", "5"]
    form = form_of(page, says="Save when it is worn")
    said = dict(form.entries) | {"from_issue_2": "6", "to_issue_2": ""}  # as the page's script writes them
    asked = lead_client.post(form.address, said)
    assert [row.issue.number for row in asked.context["shown"].impact.rows] == ["5", "6", "7", "8"]
    drawn = asked.context["strip"]
    assert [cell.number for cell in drawn.cells if cell.worn] == ["1", "2", "6", "7", "8", "later"]
    theirs = member_client(series, "fill-in").get(address).content.decode()
    assert "worn up to issue 2, issue 5" in theirs
    assert "data-worn-strip" not in theirs
