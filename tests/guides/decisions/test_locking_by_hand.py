"""Locking as a lead does it: the page's own form, what it says by itself, a choice in the select, a code, Lock."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Issue, Lock, Part, Series
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part
from tests.forms import PageForm, form_of, link_of, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    """Three issues, of which the first is signed off: the second is at work."""
    issues = make_issues(series, 3)
    series.issues.filter(pk=issues[0].pk).update(signed_off_at=timezone.now())
    return issues


@pytest.fixture
def part(series: Series, issues: list[Issue], lead: Any) -> Part:
    """A part with only a base, decided years ago, for its first issue on."""
    part = make_part(series, name="coat")
    make_lock(part, "YR", by=lead, from_position=issues[0].position)
    return part


def lock_form(client: Client, part: Part) -> PageForm:
    """The form behind “Lock a code” on the subject's page."""
    subject = client.get(part.costume.subject.get_absolute_url())
    return form_of(client.get(link_of(subject, "Lock a code")), has="code")


def standing(part: Part, role: str) -> list[tuple[str, int, int | None]]:
    locks = Lock.objects.of(part.pk, role).standing().order_by("from_position")
    return [(lock.written, lock.from_position, lock.to_position) for lock in locks]


@pytest.mark.parametrize("role", ["shade", "highlight"])
def test_a_part_with_only_a_base_gets_a_shade(
    part: Part, issues: list[Issue], lead_client: Client, role: str
) -> None:
    answer = lock_form(lead_client, part).fill(role=role, code="YRB2").press(lead_client, "Lock", follow=True)
    assert answer.status_code == 200
    assert standing(part, role) == [("YRB2", issues[1].position, None)]
    assert standing(part, "base") == [("YR", issues[0].position, None)]


def test_a_first_shade_says_from_which_issue_it_would_hold(
    part: Part, series: Series, issues: list[Issue], lead_client: Client
) -> None:
    """The field is filled with the issue in work, since the part is locked already; it says so, and what empty means."""
    page = lead_client.get(reverse("lock", args=[series.slug, part.pk]), {"role": "shade"})
    assert form_of(page, has="code").value("from_issue") == issues[1].number
    said = text_of(page)
    assert "Nothing is locked as shade yet. It would hold from issue 2 on, the one in work" in said
    assert "empty: from the first issue on" in said
    answer = form_of(page, has="code").fill(code="YRB2", from_issue="").press(lead_client, "Lock", follow=True)
    assert answer.status_code == 200
    assert standing(part, "shade") == [("YRB2", 0, None)]


def test_from_issue_says_one_thing(part: Part, series: Series, lead_client: Client) -> None:
    """Where something is locked it has to be said; where nothing is, it may stay empty: never both."""
    fields = {}
    for one in (part, make_part(series, name="hat")):
        page = lead_client.get(reverse("lock", args=[series.slug, one.pk]))
        fields[one.name] = page.content.decode().partition('for="id_from_issue"')[2].partition("</div>")[0]
    assert "The first issue in which this holds." in fields["coat"]
    assert "Empty" not in fields["coat"]
    assert "optional" not in fields["coat"]
    assert "Empty: from the first issue on." in fields["hat"]
    assert "optional" in fields["hat"]


def test_an_old_decision_for_another_role_is_no_news(part: Part, lead: Any, lead_client: Client) -> None:
    make_lock(part, "YRB2", role="shade", by=lead)
    answer = lock_form(lead_client, part).fill(role="shade", code="YRB").press(lead_client, "Lock", follow=True)
    assert "meanwhile" not in text_of(answer)
    assert [written for written, _, _ in standing(part, "shade")] == ["YRB2", "YRB"]


def test_a_decision_meanwhile_is_told_for_the_role_that_is_chosen(
    series: Series, part: Part, lead_client: Client
) -> None:
    form = lock_form(lead_client, part)
    other = make_member(series, "lead", username="other-lead")
    make_lock(part, "YRB2", role="shade", by=other)
    assert form.fill(role="highlight", code="Y").press(lead_client, "Lock").status_code == 302
    refused = form.fill(role="shade", code="YRB").press(lead_client, "Lock")
    assert "other-lead locked YRB2 here meanwhile" in text_of(refused)
    assert [written for written, _, _ in standing(part, "shade")] == ["YRB2"]
    again = form_of(refused, has="code")
    assert (again.value("role"), again.value("code")) == ("shade", "YRB")
    assert again.press(lead_client, "Lock").status_code == 302
    assert [written for written, _, _ in standing(part, "shade")] == ["YRB2", "YRB"]


@pytest.mark.parametrize(
    "seen", ["0", "base:0", "base:99999999", "nonsense", "²", "base:²", "shade:-1", "highlight:9999"]
)
def test_what_nobody_was_shown_is_refused_and_no_fault(part: Part, lead_client: Client, seen: str) -> None:
    page = reverse("lock", args=[part.costume.subject.series.slug, part.pk])
    role = "highlight" if seen.startswith("highlight") else "base"
    said = {"role": role, "code": "B", "from_issue": "2", "seen": seen}
    assert lead_client.post(page, said).status_code == 422
    assert [written for written, _, _ in standing(part, "base")] == ["YR"]
    assert not standing(part, "highlight")


def test_where_something_is_locked_the_issue_at_work_is_filled_in(part: Part, lead_client: Client) -> None:
    form = lock_form(lead_client, part)
    assert form.value("from_issue") == "2"
    answer = form.fill(code="B").press(lead_client, "Lock", follow=True)
    assert "In force: from issue 2 on." in text_of(answer)


def test_from_has_to_be_said_where_something_is_locked(part: Part, lead_client: Client) -> None:
    refused = lock_form(lead_client, part).fill(code="B", from_issue=None).press(lead_client, "Lock")
    assert refused.status_code == 422
    assert "The base is locked already: say from which issue on this holds." in text_of(refused)
    assert form_of(refused, has="code").value("code") == "B"
    assert [written for written, _, _ in standing(part, "base")] == ["YR"]


def test_another_role_of_a_locked_part_may_hold_from_the_first_issue_on(part: Part, lead_client: Client) -> None:
    form = lock_form(lead_client, part).fill(role="shade", code="YRB2", from_issue=None)
    assert "In force: always." in text_of(form.press(lead_client, "Lock", follow=True))


def test_a_part_with_nothing_locked_needs_no_from(series: Series, issues: list[Issue], lead_client: Client) -> None:
    form = lock_form(lead_client, make_part(series))
    assert form.value("from_issue") == ""
    assert "In force: always." in text_of(form.fill(code="B").press(lead_client, "Lock", follow=True))


def test_in_a_series_without_issues_too(series: Series, lead: Any, lead_client: Client) -> None:
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    assert lock_form(lead_client, part).fill(code="B").press(lead_client, "Lock").status_code == 302
    assert [written for written, _, _ in standing(part, "base")] == ["B"]


def test_a_stretch_up_to_the_next_decision_is_said_before_and_after(
    series: Series, issues: list[Issue], lead: Any, lead_client: Client
) -> None:
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    make_lock(part, "Y", by=lead, from_position=issues[2].position)
    make_mark(make_guide(issues[1], by=lead), "YR", part=part)
    form = lock_form(lead_client, part).fill(code="B", from_issue="1")
    foreseen = lead_client.get(reverse("lock-impact", args=[series.slug, part.pk]), dict(form.entries))
    assert "In force: up to issue 2; then another decision holds." in text_of(foreseen)
    shown = form.press(lead_client, "Lock")
    assert "Nothing is saved yet" in text_of(shown)
    assert "In force: up to issue 2; then another decision holds." in text_of(shown)
    done = form_of(shown, has="code").press(lead_client, "Lock with these consequences", follow=True)
    assert "In force: up to issue 2." in text_of(done)


def test_the_stretch_is_said_before_there_is_a_code(series: Series, part: Part, lead_client: Client) -> None:
    form = lock_form(lead_client, part)
    foreseen = lead_client.get(reverse("lock-impact", args=[series.slug, part.pk]), dict(form.entries))
    assert text_of(foreseen) == "In force: from issue 2 on."


def test_from_is_asked_for_by_what_is_locked_when_it_is_sent(
    series: Series, part: Part, issues: list[Issue], lead: Any, lead_client: Client
) -> None:
    """The page was opened before the shade was locked, and its newer decision is seen by now."""
    form = lock_form(lead_client, part)
    make_lock(part, "YRB2", role="shade", by=lead, from_position=issues[0].position)
    page = lock_form(lead_client, part).value("seen")
    entries = dict(form.fill(role="shade", code="YRB", from_issue=None).entries) | {"seen": page}
    said = lead_client.post(form.address, entries)
    assert said.status_code == 422
    assert standing(part, "shade") == [("YRB2", issues[0].position, None)]


def test_a_correction_says_where_it_is_in_force(series: Series, part: Part, lead_client: Client) -> None:
    lock = Lock.objects.of(part.pk, "base").get()
    form = form_of(lead_client.get(reverse("correct-lock", args=[series.slug, lock.pk])), has="code")
    done = form.fill(code="YR3", reason="misread").press(lead_client, "Correct", follow=True)
    assert "is corrected to YR3. In force: always." in text_of(done)


def test_an_unknown_role_in_the_address_is_no_fault(series: Series, part: Part, lead_client: Client) -> None:
    for role in ("glow", "\0", "²"):
        assert lead_client.get(reverse("lock", args=[series.slug, part.pk]), {"role": role}).status_code == 200
