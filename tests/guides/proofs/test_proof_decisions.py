"""Faults of a proof decided, counted, ranked and put on the correction sheet."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from guides.models import Guide, Proof, ProofDecision, ProofReading, ProofVerdict
from tests.factories import (
    make_guide,
    make_mark,
    make_proof,
    make_reading,
)
from tests.guides.proofs.at_the_desk import at, bring, scan, text
from tests.pages import htmx

pytestmark = pytest.mark.django_db


def test_a_fault_with_its_note_by_htmx(lead_client: Client, reading: ProofReading) -> None:
    data = {"decision": "fault", "note": "cut the red plate again", "seen": reading.version}
    answer = lead_client.post(at("decide-reading", reading), data, headers=htmx(f"reading-{reading.pk}"))
    assert answer.status_code == 200
    assert 'hx-swap-oob="true"' in text(answer)
    assert "cut the red plate again" in text(answer)
    reading.refresh_from_db()
    assert (reading.decision, reading.note, reading.open) == ("fault", "cut the red plate again", False)
    again = lead_client.post(at("decide-reading", reading), data, headers=htmx(f"reading-{reading.pk}"))
    assert again.status_code == 422, "sent twice: the second is told what stands"
    assert "meanwhile" in text(again)


def test_without_htmx_one_comes_back_to_the_row(lead_client: Client, reading: ProofReading) -> None:
    answer = lead_client.post(at("decide-reading", reading), {"decision": "fine", "seen": reading.version})
    assert answer["Location"].endswith(f"#reading-{reading.pk}")
    stale = lead_client.post(at("decide-reading", reading), {"decision": "fault", "note": "so", "seen": 1})
    assert stale.status_code == 422
    reading.refresh_from_db()
    assert reading.decision == ProofDecision.FINE


@pytest.mark.parametrize("bad", [{"decision": "perhaps"}, {"decision": "fault", "note": "x" * 301}, {"seen": "one"}])
def test_bad_decisions_are_refused_and_kept(lead_client: Client, reading: ProofReading, bad: dict[str, str]) -> None:
    for headers in ({}, htmx(f"reading-{reading.pk}")):
        answer = lead_client.post(at("decide-reading", reading), {"note": "typed"} | bad, headers=headers)
        assert answer.status_code == 422
        assert bad.get("note", "typed") in text(answer)
    reading.refresh_from_db()
    assert reading.decision == ""


def test_the_issue_counts_what_is_open_and_the_list_too(lead_client: Client, reading: ProofReading) -> None:
    issue = reading.proof.guide.issue
    assert "1 fault undecided" in " ".join(text(lead_client.get(issue.get_absolute_url())).split())
    listed = " ".join(text(lead_client.get(reverse("proofs", args=[issue.series.slug]))).split())
    assert "1 fault undecided" in listed
    lead_client.post(at("decide-reading", reading), {"decision": "fine"})
    assert "0 faults undecided" in " ".join(text(lead_client.get(issue.get_absolute_url())).split())


def queries(client: Client, address: str, counted: Any) -> int:
    with counted as found:
        assert client.get(address).status_code == 200
    return len(found)


def test_queries_do_not_grow(
    lead_client: Client, guide: Guide, proof: Proof, reading: ProofReading, django_assert_max_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    addresses = [
        proof.get_absolute_url(),
        reverse("proofs", args=[guide.series.slug]),
        guide.issue.get_absolute_url(),
        reverse("proofs-forgotten", args=[guide.series.slug]),
    ]
    make_reading(proof, make_mark(guide, "Y"), decision=ProofDecision.FAULT)
    make_reading(proof, make_mark(guide, "R"), verdict=ProofVerdict.CANNOT_TELL)
    make_reading(proof, make_mark(guide, "B"), verdict=ProofVerdict.AS_CALLED)
    few = [queries(lead_client, address, CaptureQueriesContext(connection)) for address in addresses]
    for page in ("8", "9"):
        more = make_guide(guide.issue, by=guide.uploaded_by, page=page)
        laid = make_proof(more)
        for code in ("YR", "Y3R", "YB"):
            make_reading(laid, make_mark(more, code), decision=ProofDecision.FAULT)
    for verdict in (ProofVerdict.INK_MISSING, ProofVerdict.CANNOT_TELL, ProofVerdict.AS_CALLED):
        for code in ("YR", "Y3R", "YB"):
            make_reading(proof, make_mark(guide, code), verdict=verdict)
    many = [queries(lead_client, address, CaptureQueriesContext(connection)) for address in addresses]
    assert many == few


def test_what_separators_forget_is_ranked_and_the_hand_off_warns(lead_client: Client, guide: Guide) -> None:
    proof = make_proof(guide)
    for _ in range(3):
        make_reading(proof, make_mark(guide, "YR3B2"), decision=ProofDecision.FAULT)
    for _ in range(24):
        make_reading(proof, make_mark(guide, "Y"), verdict=ProofVerdict.AS_CALLED)
    page = text(lead_client.get(reverse("proofs-forgotten", args=[guide.series.slug])))
    assert "3 accepted faults in 27 readings" in page
    assert "3 of 3" in page
    assert "hand-off warns" in page
    hand_off = text(lead_client.get(reverse("hand-off", args=[guide.series.slug, guide.issue_id])))
    assert "came back wrong 3 of 3 times" in hand_off


def test_the_correction_sheet_says_what_to_put_right(lead_client: Client, reading: ProofReading) -> None:
    lead_client.post(at("decide-reading", reading), {"decision": "fault", "note": "cut it again"})
    reading.refresh_from_db()
    assert reading.decided_by
    User.objects.filter(pk=reading.decided_by.pk).update(email="thea@example.org")
    for address in (at("page-corrections", reading.proof), at("issue-corrections", reading.proof.guide.issue)):
        answer: Any = lead_client.get(address)
        assert answer["Content-Type"] == "application/pdf"
        assert ".pdf" in answer["Content-Disposition"]
        pages = PdfReader(io.BytesIO(b"".join(answer.streaming_content))).pages
        said = " ".join(" ".join(page.extract_text() for page in pages).split())
        assert "magenta missing" in said
        assert "cut it again" in said
        assert reading.decided_at
        assert f"Decided by {reading.decided_by} (thea@example.org), {reading.decided_at:%Y-%m-%d}." in said
        assert "Press condition" in said
        assert "A scan is no measurement" in said


def test_an_issue_without_proofs_has_an_empty_sheet(lead_client: Client, guide: Guide) -> None:
    answer: Any = lead_client.get(at("issue-corrections", guide.issue))
    pages = PdfReader(io.BytesIO(b"".join(answer.streaming_content))).pages
    assert "No proof has been read" in pages[0].extract_text()


def test_a_scan_too_small_to_read_is_refused_by_the_desk(lead_client: Client, guide: Guide) -> None:
    answer = bring(lead_client, guide, scan(size=(190, 300)))
    assert answer.status_code == 422
    assert "at least 200 a side" in text(answer)
