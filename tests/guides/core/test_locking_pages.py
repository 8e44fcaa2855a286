"""Locking through its pages: what is shown is what is saved, and nobody's decision is silently lost."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Lock, Series
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part

pytestmark = pytest.mark.django_db


@pytest.fixture
def issues(series: Series) -> list[Any]:
    return make_issues(series, 3)


@pytest.fixture
def part(series: Series, issues: list[Any], lead: Any) -> Any:
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    for issue in issues:
        make_mark(make_guide(issue, by=lead), "YR", part=part)
    return part


def token_in(response: Any) -> str:
    found = re.search(r'name="shown" value="(\w+)"', response.content.decode())
    assert found
    return found[1]


def standing(part: Any, role: str = "base") -> list[str]:
    return [lock.written for lock in Lock.objects.of(part.pk, role).standing()]


def test_a_lock_with_consequences_is_shown_first_and_saved_on_the_yes(
    series: Series, part: Any, lead_client: Client
) -> None:
    page = reverse("lock", args=[series.slug, part.pk])
    answers = {"role": "base", "code": "B", "from_issue": "2", "reason": "new coat"}
    response = lead_client.post(page, answers)
    assert response.status_code == 422
    text = response.content.decode()
    assert "Nothing is saved yet" in text
    assert "<strong>2</strong> flags would open" in text
    assert 'value="B"' in text
    assert standing(part) == ["YR"]
    assert lead_client.post(page, answers | {"shown": token_in(response)}).status_code == 302
    assert standing(part) == ["YR", "B"]


def test_when_it_moved_meanwhile_nothing_is_saved_and_the_new_answer_shown(
    series: Series, part: Any, issues: list[Any], lead_client: Client
) -> None:
    page = reverse("lock", args=[series.slug, part.pk])
    answers = {"role": "base", "code": "B", "from_issue": "1"}
    shown = token_in(lead_client.post(page, answers))
    make_mark(make_guide(issues[0]), "B", part=part)
    response = lead_client.post(page, answers | {"shown": shown})
    assert response.status_code == 422
    assert "moved meanwhile" in response.content.decode()
    assert standing(part) == ["YR"]
    assert lead_client.post(page, answers | {"shown": token_in(response)}).status_code == 302


def test_the_later_of_two_leads_is_shown_the_earlier(series: Series, part: Any, lead_client: Client) -> None:
    page = reverse("lock", args=[series.slug, part.pk])
    first = lead_client.get(page).context["form"].initial["seen"]
    make_lock(part, "Y", by=make_member(series, "lead", username="other-lead"), reason="mine")
    answers = {"role": "base", "code": "B", "from_issue": "1", "reason": "my own words", "seen": first}
    response = lead_client.post(page, answers)
    text = response.content.decode()
    assert response.status_code == 422
    assert "other-lead locked Y here meanwhile (mine)" in text
    assert "my own words" in text
    assert standing(part) == ["Y"]


def test_a_lock_without_consequences_is_saved_at_once(series: Series, lead_client: Client) -> None:
    part = make_part(series)
    response = lead_client.post(reverse("lock", args=[series.slug, part.pk]), {"role": "base", "code": "B"})
    assert response.status_code == 302
    assert standing(part) == ["B"]


def test_a_shade_by_rule(series: Series, part: Any, lead_client: Client) -> None:
    page = reverse("lock", args=[series.slug, part.pk])
    answers = {"role": "shade", "code": "", "rule_c_0": "add", "rule_c_1": "25"}
    assert lead_client.post(page, answers).status_code == 302
    lock = Lock.objects.of(part.pk, "shade").standing().get()
    assert (series.write(lock.tint), lock.written) == ("YRB2", "25 % more cyan")
    make_lock(part, "Y")
    shade = Lock.objects.of(part.pk, "shade").standing().get()
    assert series.write(shade.tint) == "YB2"
    assert Lock.objects.get(pk=lock.pk).withdrawn_reason == "its base changed"


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ({"role": "base", "code": ""}, "Write a code"),
        ({"role": "base", "code": "Q"}, "Q"),
        ({"role": "base", "rule_c_0": "add", "rule_c_1": "25"}, "The base is a code of its own"),
        ({"role": "shade", "code": "B", "rule_c_0": "add", "rule_c_1": "25"}, "A code or a rule, not both"),
        ({"role": "shade", "rule_c_0": "add"}, "Say by how much"),
        ({"role": "shade", "rule_c_1": "25"}, "Say what to do with this figure"),
        ({"role": "shade", "rule_c_0": "up", "rule_c_1": "40"}, "not between 1 and 9"),
        ({"role": "base", "code": "B", "from_issue": "99"}, "There is no issue 99"),
    ],
)
def test_what_is_refused_beside_its_field(
    series: Series, part: Any, lead_client: Client, answers: dict[str, str], says: str
) -> None:
    response = lead_client.post(reverse("lock", args=[series.slug, part.pk]), answers)
    assert response.status_code == 422
    assert says in response.content.decode()
    assert Lock.objects.count() == 1


def test_the_preview_on_the_way(series: Series, part: Any, lead_client: Client, fill_in_client: Client) -> None:
    page = reverse("lock-impact", args=[series.slug, part.pk])
    for client in (lead_client, fill_in_client):
        text = client.get(page, {"role": "base", "code": "B", "from_issue": "1"}).content.decode()
        assert "<strong>3</strong> flags would open" in text
    assert "flag" not in lead_client.get(page, {"role": "base", "code": "Bx"}).content.decode()


def test_ending_and_correcting_show_their_consequences(series: Series, part: Any, lead_client: Client) -> None:
    lock = Lock.objects.get()
    end = reverse("end-lock", args=[series.slug, lock.pk])
    response = lead_client.post(end, {"at_issue": "3", "reason": "lost at sea"})
    assert "<strong>1</strong> flag would open" in response.content.decode()
    correct = reverse("correct-lock", args=[series.slug, lock.pk])
    response = lead_client.post(correct, {"code": "Y", "reason": "misread"})
    assert "<strong>3</strong> flags would open" in response.content.decode()
    answers = {"code": "Y", "reason": "misread", "shown": token_in(response)}
    assert lead_client.post(correct, answers).status_code == 302
    assert standing(part) == ["Y"]


@pytest.mark.parametrize("said", ["²", "٣", "-1", "9" * 30, "9" * 5000, "1\0", ""])
def test_a_proposal_that_is_no_number_is_none(series: Series, part: Any, lead_client: Client, said: str) -> None:
    page = reverse("lock", args=[series.slug, part.pk])
    assert lead_client.get(page, {"proposal": said}).status_code == 200
    assert lead_client.post(page, {"proposal": said, "role": "base", "code": ""}).status_code == 422
