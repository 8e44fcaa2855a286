"""Asking for a code, and what becomes of it."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Lock, Proposal, Series
from bible.proposals.services import accept_proposal, decline_proposal, withdraw_proposal
from bible.series.refusals import Refused
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(series: Series, lead: Any) -> Any:
    make_issues(series, 3)
    part = make_part(series, name="coat")
    make_lock(part, "YR", by=lead)
    return part


@pytest.fixture
def proposal(series: Series, part: Any, fill_in_client: Client) -> Proposal:
    page = reverse("propose", args=[series.slug, part.pk])
    answers = {"role": "base", "code": "Y", "from_issue": "2", "note": "it looks sunlit"}
    assert fill_in_client.post(page, answers).status_code == 302
    return Proposal.objects.get()


def test_a_proposal_locks_nothing(series: Series, part: Any, proposal: Proposal) -> None:
    assert Lock.objects.count() == 1
    assert proposal.state == "waiting"


def test_the_lead_sees_it_with_look_alikes_and_impact(
    series: Series, part: Any, proposal: Proposal, lead_client: Client, lead: Any
) -> None:
    """Solid and 50 % yellow nearly print alike on newsprint (TR 002: CIEDE2000 5.3 between them)."""
    make_lock(make_part(series, name="lantern"), "Y3", by=lead)
    make_lock(make_part(series, name="wall"), "B", by=lead)
    text = lead_client.get(reverse("proposals", args=[series.slug])).content.decode()
    alike = text[text.index("Prints like") : text.index("impact-box")]
    assert "lantern" in alike
    assert "wall" not in alike
    assert "it looks sunlit" in text
    impact = re.search(r'hx-get="([^"]*lock/impact[^"]*)"', text)
    assert impact
    make_mark(make_guide(series.issues.get(number="2")), "YR", part=part)
    answer = lead_client.get(impact[1].replace("&amp;", "&")).content.decode()
    assert "<strong>1</strong> flag would open" in answer


def test_accepting_as_it_is(series: Series, part: Any, proposal: Proposal, lead_client: Client) -> None:
    page = reverse("lock", args=[series.slug, part.pk]) + f"?proposal={proposal.pk}"
    text = lead_client.get(page).content.decode()
    assert 'value="Y"' in text
    answers = {"role": "base", "code": "Y", "from_issue": "2", "reason": "yes", "proposal": proposal.pk}
    assert lead_client.post(page, answers).status_code == 302
    proposal.refresh_from_db()
    assert (proposal.state, proposal.answer) == ("accepted", "yes")
    assert proposal.lock == Lock.objects.get(written="Y")


def test_accepting_with_a_change(series: Series, part: Any, proposal: Proposal, lead_client: Client) -> None:
    page = reverse("lock", args=[series.slug, part.pk])
    answers = {"role": "base", "code": "Y3", "from_issue": "2", "reason": "paler", "proposal": proposal.pk}
    assert lead_client.post(page, answers).status_code == 302
    proposal.refresh_from_db()
    assert proposal.state == "changed"


def test_declining_needs_a_reason_which_the_proposer_reads(
    series: Series, proposal: Proposal, lead_client: Client, fill_in_client: Client
) -> None:
    page = reverse("decline-proposal", args=[series.slug, proposal.pk])
    assert lead_client.post(page, {"answer": ""}).status_code == 422
    assert lead_client.post(page, {"answer": "the coat is never yellow"}).status_code == 302
    text = fill_in_client.get(reverse("proposals", args=[series.slug])).content.decode()
    assert "the coat is never yellow" in text


def test_two_leads_answer_one_proposal(series: Series, part: Any, proposal: Proposal, lead: Any) -> None:
    second = make_member(series, "lead")
    decline_proposal(proposal=proposal, by=lead, answer="no")
    with pytest.raises(Refused, match="answered this meanwhile"):
        accept_proposal(proposal=proposal, lock=Lock.objects.get(), by=second)
    with pytest.raises(Refused, match="answered this meanwhile"):
        decline_proposal(proposal=proposal, by=second, answer="no")


def test_only_the_proposer_takes_it_back(series: Series, proposal: Proposal, fill_in: Any) -> None:
    with pytest.raises(Refused, match="Only the person"):
        withdraw_proposal(proposal=proposal, by=make_member(series, "fill-in"))
    withdraw_proposal(proposal=proposal, by=fill_in)
    proposal.refresh_from_db()
    assert proposal.state == "withdrawn"


def test_a_proposal_from_a_mark_leads_back_to_it(series: Series, part: Any, fill_in_client: Client) -> None:
    mark = make_mark(make_guide(series.issues.get(number="1")), "B", part=part)
    panel = fill_in_client.get(mark.get_absolute_url()).content.decode()
    link = re.search(r'href="([^"]*/propose\?[^"]*)"', panel)
    assert link
    form = fill_in_client.get(link[1].replace("&amp;", "&"))
    page = reverse("propose", args=[series.slug, part.pk])
    initial = {name: value for name, value in form.context["form"].initial.items() if name != "issue"}
    assert initial == {"role": "base", "code": "B", "from_issue": "1", "seen_url": mark.get_absolute_url()}
    assert fill_in_client.post(page, initial).status_code == 302
    assert Proposal.objects.get().seen_url == mark.get_absolute_url()


@pytest.mark.parametrize(
    "url", ["https://elsewhere.example/", "//elsewhere", "/s/other/guides/1/?mark=1", "javascript:1"]
)
def test_no_other_link_is_taken(series: Series, part: Any, fill_in_client: Client, url: str) -> None:
    page = reverse("propose", args=[series.slug, part.pk])
    assert fill_in_client.post(page, {"role": "base", "code": "B", "seen_url": url}).status_code == 422
    assert not Proposal.objects.exists()


def test_what_was_typed_stays(series: Series, part: Any, fill_in_client: Client) -> None:
    page = reverse("propose", args=[series.slug, part.pk])
    response = fill_in_client.post(page, {"role": "base", "code": "Q", "note": "my own words"})
    assert response.status_code == 422
    assert "my own words" in response.content.decode()
