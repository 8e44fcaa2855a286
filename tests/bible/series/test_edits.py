"""Two people saving the same thing: the second sees the first's version and keeps what they typed."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse

from bible.models import Series, Subject
from bible.series.edits import StaleEdit, add, fingerprint, save_edit
from bible.series.refusals import Refused
from bible.series.services import add_issue, move_issue
from tests.factories import make_costume, make_issue, make_issues, make_part, make_subject
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def shown(client: Client, url: str) -> dict[str, str]:
    """What a browser would send back of a form that nobody has touched."""
    form = client.get(url).context["form"]
    return {bound.name: str(bound.value() or "") for bound in form}


CASES = {
    "subject": ("edit-subject", "name", "Old Tam", "Tam the Elder"),
    "costume": ("edit-costume", "name", "oilskin", "storm coat"),
    "part": ("edit-part", "name", "brim", "hat brim"),
    "issue": ("edit-issue", "title", "The Long Frost", "Frost"),
    "series": ("edit-series", "title", "The Quick River", "The Slower River"),
}


@pytest.fixture
def things(series: Series) -> dict[str, Any]:
    costume = make_costume(make_subject(series))
    return {
        "subject": costume.subject,
        "costume": costume,
        "part": make_part(costume=costume),
        "issue": make_issue(series),
        "series": series,
    }


@pytest.mark.parametrize("what", CASES)
def test_the_second_sees_the_firsts_version_keeps_the_own_text_and_may_save_again(
    series: Series, lead: Any, things: dict[str, Any], what: str
) -> None:
    name, field, firsts, seconds = CASES[what]
    url = reverse(name, args=[series.slug, *([things[what].pk] if what != "series" else [])])
    get_user_model().objects.filter(pk=lead.pk).update(first_name="Lea", last_name="Dow")
    one, two = client_of(lead), member_client(series, "lead")
    mine, theirs = shown(one, url), shown(two, url)
    assert one.post(url, mine | {field: firsts}).status_code == 302
    response = two.post(url, theirs | {field: seconds})
    page = response.content.decode()
    assert response.status_code == 422
    assert f"“{firsts}”" in page
    assert f'value="{seconds}"' in page
    assert "Lea Dow changed this meanwhile" in page
    things[what].refresh_from_db()
    assert getattr(things[what], field) == firsts
    again = {bound.name: str(bound.value() or "") for bound in response.context["form"]}
    assert two.post(url, again).status_code == 302
    things[what].refresh_from_db()
    assert getattr(things[what], field) == seconds


def test_the_time_of_a_costume_is_told_in_issues(series: Series, lead_client: Client) -> None:
    make_issues(series, 3)
    costume = make_costume(make_subject(series))
    url = reverse("edit-costume", args=[series.slug, costume.pk])
    first, second = shown(lead_client, url), shown(lead_client, url)
    lead_client.post(url, first | {"from_issue": "2"})
    response = lead_client.post(url, second | {"from_issue": "3"})
    assert response.status_code == 422
    assert "worn from issue 2 on" in response.content.decode()


@pytest.mark.parametrize("new", [True, False])
def test_a_costume_is_not_given_another_time_by_an_issue_that_moves_meanwhile(
    new: bool, series: Series, lead: Any, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between reading “worn from issue 2” and saving, somebody moves issue 2."""
    from bible.series import edits

    issues = make_issues(series, 3)
    subject = make_subject(series)
    costume = make_costume(subject)
    rest = ("new-costume", subject.pk) if new else ("edit-costume", costume.pk)
    url = reverse(rest[0], args=[series.slug, rest[1]])
    said = {"name": "oilskins", "from_issue": "2"}

    def moved_then(*args: Any) -> Any:
        move_issue(issue=issues[1], after=issues[2], by=lead)
        return hold(*args)

    hold = edits.hold_places
    monkeypatch.setattr(edits, "hold_places", moved_then)
    response = lead_client.post(url, said)
    assert response.status_code == 422
    assert "Issue 2 has been moved in the running order meanwhile" in response.content.decode()
    assert not subject.costumes.filter(name="oilskins").exists()
    monkeypatch.setattr(edits, "hold_places", hold)
    assert lead_client.post(url, said).status_code == 302
    assert subject.costumes.get(name="oilskins").worn[0].from_position == series.issues.get(number="2").position


def test_saving_nothing_new_is_no_deed(series: Series, lead: Any, lead_client: Client) -> None:
    subject = make_subject(series)
    url = reverse("edit-subject", args=[series.slug, subject.pk])
    assert lead_client.post(url, shown(lead_client, url)).status_code == 302
    assert not series.activity.exists()
    lead_client.post(url, shown(lead_client, url) | {"note": "limps"})
    deed = series.activity.get()
    assert (deed.kind, deed.by, deed.subject) == ("changed", lead, subject)


def test_press_conditions_are_not_overrun_either(series: Series, lead: Any, lead_client: Client) -> None:
    page = lead_client.get(reverse("presses", args=[series.slug]))
    names = [info.condition.name for info in page.context["rows"] if info.condition.name != series.press][:2]
    seen = page.context["form"]["seen"].value()
    url = reverse("choose-press", args=[series.slug])
    assert lead_client.post(url, {"press": names[0], "seen": seen}).status_code == 302
    response = member_client(series, "lead").post(url, {"press": names[1], "seen": seen})
    assert response.status_code == 422
    assert "changed this meanwhile" in response.content.decode()
    series.refresh_from_db()
    assert series.press == names[0]
    assert series.activity.get().words["name"] == names[0]


def test_a_name_given_twice_at_once_is_a_refusal(series: Series, lead: Any) -> None:
    subject = make_subject(series, name="Tam")
    with pytest.raises(Refused, match="subject of this name meanwhile"):
        add(row=Subject(series=series, name="Tam"), by=lead)
    other = make_subject(series, name="Nell")
    other.name = "Tam"
    with pytest.raises(Refused, match="of this name meanwhile"):
        save_edit(row=other, fields=["name"], by=lead)
    make_issue(series, number="7")
    with pytest.raises(Refused, match="issue 7"):
        add_issue(series=series, number="7", by=lead)
    assert list(series.subjects.values_list("name", flat=True)) == ["Nell", "Tam"]
    assert subject.name == "Tam"


def test_what_was_deleted_meanwhile_is_told(series: Series, lead: Any) -> None:
    subject = make_subject(series)
    Subject.objects.all().delete()
    with pytest.raises(Refused, match="deleted this meanwhile"):
        save_edit(row=subject, fields=["name"], by=lead)


def test_an_editor_may_edit_an_issue_and_a_taken_number_is_refused(series: Series) -> None:
    make_issue(series, number="1")
    issue = make_issue(series, number="2")
    editor = member_client(series, "editor")
    url = reverse("edit-issue", args=[series.slug, issue.pk])
    assert editor.post(url, shown(editor, url) | {"number": "2a"}).status_code == 302
    for taken in (" 1 ", "１"):  # the second in full-width figures, as some keyboards give them
        response = editor.post(url, shown(editor, url) | {"number": taken})
        assert response.status_code == 422
        assert "has an issue 1 already" in response.content.decode()


def test_stale_needs_what_was_seen(series: Series, lead: Any) -> None:
    subject = make_subject(series, name="Tam")
    seen = fingerprint(subject, ["name"])
    Subject.objects.filter(pk=subject.pk).update(name="Tom")
    subject.name = "Tim"
    with pytest.raises(StaleEdit, match="Somebody changed this meanwhile"):
        save_edit(row=subject, fields=["name"], by=lead, seen=seen)
    save_edit(row=subject, fields=["name"], by=lead)
    subject.refresh_from_db()
    assert subject.name == "Tim"


def test_methods(series: Series, lead_client: Client) -> None:
    methods_are_refused(lead_client, reverse("edit-series", args=[series.slug]), "put", "delete")


def test_an_issue_from_wherever_it_comes_is_kept_as_printed(series: Series, lead: Any) -> None:
    assert add_issue(series=series, number=" ２７", by=lead).number == "27"
    with pytest.raises(Refused, match="has added issue 27"):
        add_issue(series=series, number="27", by=lead)
