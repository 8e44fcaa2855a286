"""What grows, whole and since a moment, by a client that knows nothing but the published OpenAPI."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from bible.locks.undoing import undo_decision
from bible.models import Activity, Lock, Proposal, Series
from bible.proposals.services import decline_proposal, propose
from guides.core.services import delete_mark
from guides.models import Mark, Proof, ProofReading
from guides.proofs.services import decide
from guides.signoff.services import sign_off
from tests.factories import (
    make_edition,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_proof,
    make_reading,
    make_revision,
)
from tests.openapi import OpenApiClient, api

pytestmark = pytest.mark.django_db

LONG_AGO = timezone.now() - dt.timedelta(days=400)


@pytest.fixture
def call(series: Series, lead: User) -> OpenApiClient:
    return api(series, lead, may_write=False)


def moment(at: dt.datetime) -> str:
    return at.isoformat()


def since(call: OpenApiClient, name: str, series: Series, at: dt.datetime) -> list[Any]:
    answer = call(name, slug=series.slug, since=moment(at))
    assert answer.status_code == 200, answer.content
    found = answer.json()
    again = dt.datetime.fromisoformat(found["since_next"])
    # Two minutes back, so that what was being written is not missed.
    assert dt.timedelta(seconds=119) < timezone.now() - again < dt.timedelta(seconds=180)
    return list(found["items"])


def test_a_decision_is_told_whole_and_never_vanishes(series: Series, lead: User, call: OpenApiClient) -> None:
    make_issue(series, number="1")
    two = make_issue(series, number="2")
    part = make_part(series)
    first = make_lock(part, "Y", by=lead)
    Lock.objects.filter(pk=first.pk).update(decided_at=LONG_AGO)
    between = timezone.now()
    second = make_lock(part, "R", by=lead, from_position=two.position, reason="the new coat")
    told = {one["id"]: one for one in since(call, "locks", series, between)}
    assert told[second.pk]["holds"] == {"first": "2", "last": None}
    assert (told[second.pk]["reason"], told[second.pk]["decided_by"]) == ("the new coat", lead.username)
    assert told[first.pk]["withdrawn_at"], "superseded, so it holds no more, and the list says so"
    standing = [one["id"] for one in call("locks", slug=series.slug).json()["items"]]
    assert first.pk not in standing
    assert second.pk in standing
    undo_decision(lock=second, by=lead, reason="no")
    gone = next(one for one in since(call, "locks", series, between) if one["id"] == second.pk)
    assert (gone["withdrawn_by"], gone["withdrawn_reason"]) == (lead.username, "no")
    assert since(call, "locks", series, timezone.now() + dt.timedelta(days=1)) == []


def test_marks_since_say_what_is_gone_and_why(series: Series, lead: User, call: OpenApiClient) -> None:
    issue, other = make_issue(series, number="1"), make_issue(series, number="2")
    old, kept = make_guide(issue, page="1"), make_guide(issue, page="2")
    away = make_guide(other, page="1")
    marks = {
        name: make_mark(guide, "Y") for name, guide in (("off", kept), ("stays", kept), ("old", old), ("away", away))
    }
    untouched = make_mark(kept, "R")
    Mark.objects.update(changed_at=LONG_AGO, created_at=LONG_AGO)
    between = timezone.now()
    assert since(call, "marks", series, between) == []
    delete_mark(mark=marks["off"], by=lead)
    marks["stays"].save()
    make_revision(old)
    other.archived_at = timezone.now()
    other.save()
    told = {one["id"]: one["gone"] for one in since(call, "marks", series, between)}
    assert told == {
        marks["off"].pk: "taken-off", marks["stays"].pk: None, marks["old"].pk: "newer-scan",
        marks["away"].pk: "issue-archived",
    }  # fmt: skip
    whole = call("marks", slug=series.slug).json()
    assert untouched.pk in [one["id"] for one in whole["items"]]
    assert whole["since_next"] is None


def test_pages_of_changes_miss_nothing(series: Series, lead: User, call: OpenApiClient) -> None:
    make_issue(series, number="1")
    made = [make_lock(make_part(series), "Y", by=lead) for _ in range(5)]
    for name, all_of_them in (("locks", {one.pk for one in made}), ("activity", set(Activity.objects.values_list("pk", flat=True)))):  # fmt: skip
        seen, after = [], ""
        while after is not None:
            page = call(name, slug=series.slug, since=moment(LONG_AGO), limit=2, after=after).json()
            seen += [one["id"] for one in page["items"]]
            after = page["next"]
        assert (len(seen), set(seen)) == (len(all_of_them), all_of_them), name
        assert call(name, slug=series.slug, after="x").status_code == 404


def test_what_is_proposed_and_answered(series: Series, lead: User, fill_in: User, call: OpenApiClient) -> None:
    part = make_part(series)
    asked = propose(part=part, by=fill_in, tint=series.read("Y"), written="Y", from_position=0, note="n")
    Proposal.objects.update(proposed_at=LONG_AGO)
    between = timezone.now()
    assert since(call, "proposals", series, between) == []
    decline_proposal(proposal=asked, by=lead, answer="too bright")
    (told,) = since(call, "proposals", series, between)
    assert (told["state"], told["answer"], told["answered_by"]) == ("declined", "too bright", lead.username)
    guest = api(series, make_member(series, "guest"), may_write=False)
    assert guest("proposals", slug=series.slug).status_code == 403
    kinds = {one["deed"] for one in guest("activity", slug=series.slug).json()["items"]}
    assert "declined" in {one["deed"] for one in call("activity", slug=series.slug).json()["items"]}
    assert "declined" not in kinds, "as on the screen"


def test_a_proof_comes_again_when_somebody_decides(series: Series, lead: User, call: OpenApiClient) -> None:
    guide = make_guide(make_issue(series, number="1"))
    proof = make_proof(guide)
    reading = make_reading(proof, make_mark(guide, "YR3"))
    Proof.objects.update(changed_at=LONG_AGO)
    between = timezone.now()
    assert since(call, "proofs", series, between) == []
    decide(reading=ProofReading.objects.get(pk=reading.pk), decision="fault", note="magenta", by=lead)
    (told,) = since(call, "proofs", series, between)
    assert (told["id"], told["issue"], told["faults"], told["current"]) == (proof.pk, "1", 1, True)
    (said,) = call("proof", slug=series.slug, pk=proof.pk).json()["readings"]
    assert (said["decision"], said["note"], said["decided_by"]) == ("fault", "magenta", lead.username)
    assert call("proof", slug=series.slug, pk=proof.pk + 1).status_code == 404


def test_what_was_signed_is_given_whole(series: Series, lead: User, call: OpenApiClient) -> None:
    issue = make_issue(series, number="1")
    mark = make_mark(make_guide(issue, page="3"), "YR3B2", part=make_part(series))
    step = sign_off(issue=issue, by=lead, words="known")
    mark.written = "Y"
    mark.save()
    (told,) = since(call, "signOffs", series, LONG_AGO)
    assert (told["id"], told["step"], told["by"], told["kept"]) == (step.pk, "signed-off", lead.username, True)
    content = call("signOff", slug=series.slug, pk=step.pk).json()
    assert [(one["page"], one["written"]) for one in content["marks"]] == [("3", "YR3B2")], "as it was then"
    assert content["guides"][0]["sha256"] == mark.guide.sha256
    assert call("signOffs", slug=series.slug, issue="99").status_code == 404


def test_editions_name_their_issues_and_press(series: Series, lead: User, call: OpenApiClient) -> None:
    issue = make_issue(series, number="1")
    make_edition(series, name="Album", issues=[issue])
    (told,) = call("editions", slug=series.slug).json()["items"]
    assert (told["name"], told["issues"]) == ("Album", ["1"])


@pytest.mark.parametrize("at", ["yesterday", "0", "2026-11-29", "2026-11-29T10:00:00", "2026-13-29T10:00:00Z"])
def test_what_is_no_moment_is_refused(series: Series, call: OpenApiClient, at: str) -> None:
    assert call("locks", slug=series.slug, since=at).status_code == 422


def test_a_moment_may_have_any_offset_that_rfc_3339_knows(series: Series, lead: User, call: OpenApiClient) -> None:
    """RFC 3339, 5.6: hours of an offset go to 23; PostgreSQL refuses those from 16 on."""
    make_lock(make_part(series), "Y", by=lead)
    for at in ("1929-01-13T04:01:48+22:34", "1929-01-13T04:01:48-23:59"):
        assert len(call("locks", slug=series.slug, since=at).json()["items"]) == 1
    assert call("locks", slug=series.slug, since="0001-01-01T00:00:00+23:59").status_code == 422
