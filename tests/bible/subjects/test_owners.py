"""A prop that changes hands: whose it is, stretch by stretch, beside it and beside whoever has it."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse
from lxml import html

from bible.locks import guards
from bible.models import Activity, Issue, Ownership, Series, Subject
from bible.series.refusals import Refused
from bible.subjects.owning import Owned, owned, set_owners
from bible.subjects.services import uses_of
from tests.factories import make_issues, make_series, make_subject
from tests.forms import form_of, link_of
from tests.pages import member_client

pytestmark = pytest.mark.django_db


def text_of(answer: Any) -> str:
    words = html.fromstring(answer.content.decode()).text_content().split()
    return " ".join(words).replace(" ,", ",").replace(" ;", ";")


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 6)


@pytest.fixture
def lantern(series: Series, issues: list[Issue]) -> Subject:
    return make_subject(series, name="Lantern", kind="prop")


@pytest.fixture
def ada(series: Series) -> Subject:
    return make_subject(series, name="Ada")


@pytest.fixture
def tam(series: Series) -> Subject:
    return make_subject(series, name="Tam")


def test_it_changes_hands_from_its_page(
    lead_client: Client, series: Series, lantern: Subject, ada: Subject, tam: Subject, lead: User
) -> None:
    page = lead_client.get(link_of(lead_client.get(lantern.get_absolute_url()), "Whose it is"))
    form = form_of(page, says="Save").fill(owner_1=str(ada.pk), to_issue_1="2", owner_2=str(tam.pk), from_issue_2="4")
    form.press(lead_client)
    told = text_of(lead_client.get(lantern.get_absolute_url()))
    assert "Belongs to Ada, up to issue 2; Tam, from issue 4 on" in told
    assert "Has Lantern, from issue 4 on" in text_of(lead_client.get(tam.get_absolute_url()))
    assert Activity.objects.get(series=series).words["name"] == "Lantern"
    again = form_of(lead_client.get(reverse("owners", args=[series.slug, lantern.pk])), says="Save")
    assert (again.value("owner_2"), again.value("from_issue_2"), again.value("to_issue_2")) == (str(tam.pk), "4", "")
    again.fill(owner_1="", to_issue_1="").press(lead_client)
    assert [one.owner for one in owned(lantern)] == [tam.pk]
    assert Ownership.objects.count() == 2, "what was said before is kept"


def test_the_same_again_is_no_deed(series: Series, lantern: Subject, ada: Subject, lead: User) -> None:
    assert set_owners(subject=lantern, owners=[Owned(ada.pk, 0, None)], by=lead)
    assert not set_owners(subject=lantern, owners=[Owned(ada.pk, 0, None)], by=lead)
    assert Activity.objects.filter(series=series).count() == 1


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ([("ada", 0, 10), ("tam", 9, None)], "two at once"),
        ([("ada", 5, 5)], "before the one"),
        ([("lantern", 0, None)], "cannot belong to itself"),
        ([("stranger", 0, None)], "a subject of this series"),
    ],
)
def test_what_cannot_be_is_refused(
    said: list[Any], message: str, lantern: Subject, ada: Subject, tam: Subject, lead: User
) -> None:
    known = {"ada": ada, "tam": tam, "lantern": lantern, "stranger": make_subject(make_series())}
    with pytest.raises(Refused, match=message):
        set_owners(subject=lantern, owners=[Owned(known[name].pk, *rest) for name, *rest in said], by=lead)
    assert owned(lantern) == ()


def test_bad_input_is_told(lead_client: Client, series: Series, lantern: Subject, ada: Subject) -> None:
    address = reverse("owners", args=[series.slug, lantern.pk])
    for said, message in (
        ({"from_issue_1": "2"}, "Whose is it in these issues?"),
        ({"owner_1": str(ada.pk), "from_issue_1": "77"}, "There is no issue 77"),
        ({"owner_1": str(ada.pk), "from_issue_1": "3", "to_issue_1": "2"}, "It cannot end before it begins."),
        ({"owner_1": str(ada.pk), "owner_2": str(ada.pk)}, "two at once"),
    ):
        answer = form_of(lead_client.get(address), says="Save").fill(**said).press(lead_client)
        assert (answer.status_code, message in answer.content.decode()) == (422, True), said
    assert owned(lantern) == ()


def test_a_save_says_whether_it_changed_anything(lantern: Subject, ada: Subject, lead_client: Client) -> None:
    address = reverse("owners", args=[lantern.series.slug, lantern.pk])
    for said, words in (({}, "Nothing is another than before"), ({"owner_1": str(ada.pk)}, "Saved: whose")):
        answer = form_of(lead_client.get(address), says="Save").fill(**said).press(lead_client)
        assert words in lead_client.get(answer.headers["Location"]).content.decode()


def test_the_database_refuses_two_at_once(lantern: Subject, ada: Subject, tam: Subject) -> None:
    lantern.ownerships.create(owner=ada, from_position=10, to_position=20)
    with pytest.raises(IntegrityError, match=guards.OWNER_CONSTRAINT), transaction.atomic():
        lantern.ownerships.create(owner=tam, from_position=19)
    lantern.ownerships.create(owner=tam, from_position=20)
    assert guards.missing(connection) == []


def test_an_owner_is_in_use(series: Series, lantern: Subject, ada: Subject, issues: list[Issue], lead: User) -> None:
    set_owners(subject=lantern, owners=[Owned(ada.pk, issues[2].position, None)], by=lead)
    assert [use.name for use in uses_of(ada)] == ["time with an owner"]
    assert [use.name for use in uses_of(issues[2])] == ["time with an owner"]
    assert uses_of(lantern) == ()


def test_only_a_lead_may(series: Series, lantern: Subject) -> None:
    for role in ("fill-in", "editor", "guest"):
        assert member_client(series, role).get(reverse("owners", args=[series.slug, lantern.pk])).status_code == 403
