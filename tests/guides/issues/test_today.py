"""The day's work first: each role sees what waits for it, and nothing that waits for others."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Issue, Proposal, Series
from bible.models.permissions import MemberRole
from guides.issues.queries import SHOWN, Today, today
from tests.factories import make_found, make_guide, make_issue, make_lock, make_mark, make_member, make_part
from tests.forms import text_of
from tests.pages import client_of

pytestmark = pytest.mark.django_db


def propose(series: Series, by: Any, note: str) -> Proposal:
    part = make_part(series)
    lock = make_lock(part, "YR3B2")
    return Proposal.objects.create(
        series=series, part=part, tint=lock.tint, written="YR", from_position=0, proposed_by=by, note=note
    )


def a_day(series: Series, fill_in: Any) -> dict[str, Any]:
    """Something that waits for each role."""
    in_check = make_issue(series, in_check_at=timezone.now())
    part = make_part(series)
    make_lock(part, "YR3B2")
    page = make_guide(in_check, page="7", colourist=fill_in)
    make_mark(page, "YB", part=part)
    return {"issue": in_check, "page": page, "proposal": propose(series, fill_in, "greener, as printed")}


def of(series: Series, user: Any) -> Today:
    return today(series.memberships.get(user=user))


def test_each_role_gets_its_own(series: Series, lead: Any, fill_in: Any) -> None:
    day = a_day(series, fill_in)
    editor, guest = make_member(series, MemberRole.EDITOR), make_member(series, MemberRole.GUEST)
    assert of(series, lead) == Today(proposals=[day["proposal"]])
    assert of(series, fill_in) == Today(pages=[day["page"]])
    (going,) = of(series, editor).going_out
    assert going.issue == day["issue"]
    assert sum(going.flags.values()) == 1
    assert of(series, guest) == Today()


def test_what_is_answered_signed_or_somebody_elses_does_not_wait(series: Series, lead: Any, fill_in: Any) -> None:
    day = a_day(series, fill_in)
    other = make_member(series, MemberRole.FILL_IN)
    make_guide(make_issue(series), colourist=other)
    Proposal.objects.update(state=Proposal.State.DECLINED)
    Issue.objects.filter(pk=day["issue"].pk).update(signed_off_at=timezone.now())
    editor = make_member(series, MemberRole.EDITOR)
    assert of(series, lead) == of(series, fill_in) == of(series, editor) == Today()


def test_what_does_not_fit_is_counted(series: Series, lead: Any, fill_in: Any) -> None:
    waiting = [propose(series, fill_in, "") for _ in range(SHOWN + 2)]
    assert of(series, lead) == Today(proposals=waiting[:SHOWN], more_proposals=2)


@pytest.mark.parametrize(
    ("role", "first"),
    [
        (MemberRole.LEAD, "Proposals that wait for your answer"),
        (MemberRole.FILL_IN, "My pages in work"),
        (MemberRole.EDITOR, "What goes out next</a></h2>"),
    ],
)
def test_it_stands_before_everything_else(
    series: Series, lead: Any, fill_in: Any, role: MemberRole, first: str
) -> None:
    a_day(series, fill_in)
    person = {MemberRole.LEAD: lead, MemberRole.FILL_IN: fill_in}.get(role) or make_member(series, role)
    page = client_of(person).get(reverse("series", args=[series.slug])).content.decode()
    assert page.index(first) < page.index("open flag")
    assert page.count("first-things") == 1


def test_a_guest_reads_what_was_decided(series: Series, fill_in: Any) -> None:
    a_day(series, fill_in)
    client: Client = client_of(make_member(series, MemberRole.GUEST))
    page = text_of(client.get(reverse("series", args=[series.slug])))
    assert page.index("Who has which code") < page.index("Decided lately") < page.index("open flag")
    assert "Proposals that wait" not in page


def test_whoever_marks_sees_which_pages_propose_codes(series: Series, lead: Any, fill_in: Any) -> None:
    """Theirs or not, newest issue first; signed ones, answered codes and older scans wait for nobody."""
    old, new = (make_guide(make_issue(series), page="3") for _ in range(2))
    for guide in (old, new, new):
        make_found(guide, y=0.3)
    signed = make_guide(make_issue(series, signed_off_at=timezone.now()))
    make_found(signed)
    make_found(make_guide(make_issue(series)), decided_at=timezone.now())
    for somebody in (lead, fill_in):
        assert [(one.pk, vars(one)["found_count"]) for one in of(series, somebody).proposing] == [
            (new.pk, 2),
            (old.pk, 1),
        ]
    assert of(series, make_member(series, MemberRole.EDITOR)).proposing == []
    page = client_of(lead).get(reverse("series", args=[series.slug])).content.decode()
    assert "Pages whose codes wait for your yes" in page
    assert f'href="{new.get_absolute_url()}"' in page
    issue = client_of(lead).get(new.issue.get_absolute_url()).content.decode()
    assert "2 codes" in issue
    editor = client_of(make_member(series, MemberRole.EDITOR)).get(new.issue.get_absolute_url()).content.decode()
    assert "found, no mark yet" not in editor
