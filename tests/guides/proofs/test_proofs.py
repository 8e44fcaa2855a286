"""Proofs as rows: what counts as open, what a decision does, what a newer proof does."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.urls import reverse

from bible.series.refusals import Refused
from guides.core.services import rewrite_mark
from guides.imaging.proof.verdicts import Verdict as EngineVerdict
from guides.models import Proof, ProofDecision, ProofReading, ProofVerdict
from guides.proofs.services import StaleReading, changed_since, decide, read_proof
from tests.factories import make_guide, make_issue, make_mark, make_proof, make_reading, picture_bytes

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Any, lead: Any) -> Any:
    return make_guide(make_issue(series), by=lead, page="7")


@pytest.fixture
def reading(guide: Any) -> ProofReading:
    return make_reading(make_proof(guide), make_mark(guide, "YR3B2"))


def test_the_words_are_the_engines() -> None:
    assert {str(one) for one in EngineVerdict} == set(ProofVerdict.values)
    for one in EngineVerdict:
        assert one.is_fault == ProofVerdict(str(one)).is_fault


def test_what_is_open_is_counted_by_issue_and_goes_when_decided(guide: Any, reading: Any, lead: Any) -> None:
    proof = reading.proof
    make_reading(proof, make_mark(guide, "Y"), verdict=ProofVerdict.AS_CALLED)
    make_reading(proof, make_mark(guide, "R"), verdict=ProofVerdict.CANNOT_TELL)
    second = make_reading(proof, make_mark(guide, "YR"), delta_e=40.0)
    open_now = ProofReading.objects.filter(series=guide.series).undecided()
    assert open_now.counts_by_issue() == {guide.issue_id: 2}
    assert list(open_now.worst_first()) == [second, reading]
    decide(reading=reading, decision=ProofDecision.FAULT, note="cut the red plate", by=lead)
    decide(reading=second, decision=ProofDecision.FINE, note="so it should be", by=lead)
    assert open_now.counts_by_issue() == {}
    assert list(ProofReading.objects.faults()) == [reading]
    assert ProofReading.objects.faults().get().note == "cut the red plate"
    assert ProofReading.objects.fine().get().note == "so it should be", "what is typed is kept"
    counted: Any = Proof.objects.with_counts().get(pk=proof.pk)
    assert (counted.mark_count, counted.undecided_count, counted.fault_count, counted.unsure_count) == (4, 0, 1, 1)


def test_a_decision_can_be_taken_back(reading: Any, lead: Any) -> None:
    decide(reading=reading, decision=ProofDecision.FAULT, note="so", by=lead)
    again = decide(reading=reading, decision="", by=lead)
    assert (again.open, again.decided_by, again.note) == (True, None, "so"), "what was noted is not lost"
    with pytest.raises(Refused):
        decide(reading=reading, decision="perhaps", by=lead)


def test_two_people_at_once(reading: Any, lead: Any) -> None:
    decide(reading=reading, decision=ProofDecision.FINE, by=lead, seen=1)
    with pytest.raises(StaleReading) as stale:
        decide(reading=reading, decision=ProofDecision.FAULT, by=lead, seen=1)
    assert stale.value.reading.decision == ProofDecision.FINE


def test_a_decision_taken_back_meanwhile_is_told_too(reading: Any, lead: Any, lead_client: Any) -> None:
    """Then nobody stands beside it any more: the desk of whoever had it open answered a 500."""
    decide(reading=reading, decision=ProofDecision.FINE, by=lead)
    decide(reading=reading, decision="", by=lead)
    url = reverse("decide-reading", args=[reading.proof.series.slug, reading.pk])
    answer = lead_client.post(url, {"decision": "fault", "note": "still typed", "seen": reading.version})
    assert answer.status_code == 422
    assert "Somebody decided on this meanwhile" in answer.content.decode()
    assert "still typed" in answer.content.decode()


def test_the_database_refuses_two_current_proofs_of_a_guide(guide: Any) -> None:
    make_proof(guide)
    with pytest.raises(IntegrityError), transaction.atomic():
        make_proof(guide)


def test_a_mark_that_was_rewritten_since_is_noticed(guide: Any, reading: Any, lead: Any) -> None:
    proof = reading.proof
    assert changed_since(proof, proof.readings.all()) == 0
    rewrite_mark(mark=reading.mark, written="Y", part=None, role="base", by=lead)
    make_mark(guide, "B")
    assert changed_since(proof, proof.readings.all()) == 2


@pytest.mark.parametrize(
    ("colour", "size", "reason"),
    [("#ffffff", (400, 600), "blank"), ("#808080", (60, 90), "too_small"), ("#c04040", (400, 600), "blank")],
)
def test_what_shows_nothing_is_refused_and_nothing_is_decided(
    guide: Any, reading: Any, lead: Any, colour: str, size: tuple[int, int], reason: str
) -> None:
    proof = reading.proof
    guide.screen.save("page.jpg", ContentFile(picture_bytes()))
    proof.guide.refresh_from_db()
    proof.screen.save("scan.jpg", ContentFile(picture_bytes(*size, colour=colour)))
    read = read_proof(proof=proof)
    assert (read.state, read.refusal, read.is_current) == (Proof.State.REFUSED, reason, False)
    assert read.refusal_said
    assert not proof.readings.exists()


def test_a_lost_file_is_said(guide: Any, lead: Any) -> None:
    proof = make_proof(guide)
    proof.screen.storage.delete(str(proof.screen.name))
    assert read_proof(proof=proof).refusal == "no_file"
