"""The proof desk's pages: bringing a scan in, reading, setting points, deciding, correction sheets; and every refusal."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Job
from bible.tasks.services import stop
from bible.tasks.worker import claim, work_off
from guides.charts.services import keep_press
from guides.models import Guide, Proof, ProofReading
from guides.proofs.services import press_of
from tests.factories import (
    damaged_picture,
    make_chart_scan,
    make_mark,
    make_member,
    make_proof,
    make_series,
)
from tests.forms import form_of
from tests.guides.proofs.at_the_desk import at, bring, scan, text
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


READERS = ("lead", "editor", "fill-in", "guest")
WRITERS = ("lead", "editor")


@pytest.mark.parametrize("role", READERS)
def test_every_member_looks_and_only_lead_and_editor_decide(
    guide: Guide, proof: Proof, reading: ProofReading, role: str
) -> None:
    client = member_client(guide.series, role)
    page = client.get(proof.get_absolute_url())
    assert page.status_code == 200
    assert (f'action="{at("decide-reading", reading)}"' in text(page)) == (role in WRITERS)
    for address in (at("new-proof", guide), at("proof-points", proof)):
        assert client.get(address).status_code == (200 if role in WRITERS else 403)
    deeds: tuple[tuple[str, dict[str, str]], ...] = (
        (at("read-proof", proof), {}),
        (at("decide-reading", reading), {"decision": "fine"}),
    )
    for address, data in deeds:
        assert client.post(address, data).status_code == (302 if role in WRITERS else 403)
    reading.refresh_from_db()
    assert reading.decision == ("fine" if role in WRITERS else "")


def test_nobody_without_signing_in_and_nobody_of_another_series(
    guide: Guide, proof: Proof, reading: ProofReading
) -> None:
    addresses = [
        at("new-proof", guide),
        at("proof", proof),
        at("read-proof", proof),
        at("proof-points", proof),
        at("page-corrections", proof),
        at("proof-picture", proof, "laid"),
        at("decide-reading", reading),
        at("issue-corrections", guide.issue),
    ]
    other = make_series(slug="other-river")
    stranger = client_of(make_member(other, "lead"))
    posted = {at("read-proof", proof), at("decide-reading", reading)}
    for address in addresses:
        method = "post" if address in posted else "get"
        assert getattr(Client(), method)(address)["Location"].startswith(reverse("login"))
        assert getattr(stranger, method)(address).status_code == 404, address
        through = address.replace(f"/{guide.series.slug}/", f"/{other.slug}/")
        assert getattr(stranger, method)(through).status_code == 404, through
    reading.refresh_from_db()
    assert reading.decision == ""


def test_wrong_methods(lead_client: Client, proof: Proof, reading: ProofReading) -> None:
    methods_are_refused(lead_client, at("read-proof", proof), "get", "put", "delete")
    methods_are_refused(lead_client, at("decide-reading", reading), "get", "put", "delete")
    for name in ("proof", "page-corrections"):
        methods_are_refused(lead_client, at(name, proof), "post", "put", "delete")
    for name in ("proof-points",):
        methods_are_refused(lead_client, at(name, proof), "put", "delete")
    assert lead_client.get(at("proof", proof).replace(str(proof.pk), "999999")).status_code == 404


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (None, "This field is required"),
        (lambda: scan(size=(20, 30)), "at least 64 a side"),
        (lambda: io.BytesIO(b"%PDF-1.4 not a picture"), ""),
    ],
)
def test_what_is_no_scan_is_refused_in_words(lead_client: Client, guide: Guide, file: Any, said: str) -> None:
    answer = bring(lead_client, guide, file() if file else None)
    assert answer.status_code == 422
    assert 'class="wrong" role="alert"' in text(answer)
    assert said in text(answer)
    assert not Proof.objects.exists()


def test_a_damaged_scan_is_asked_about(lead_client: Client, guide: Guide) -> None:
    asked = bring(lead_client, guide, io.BytesIO(damaged_picture()))
    assert "The JPEG is damaged: the lower" in text(asked)
    assert not Proof.objects.exists()
    form = form_of(asked, has="damaged").attach(scan=io.BytesIO(damaged_picture()))
    assert form.fill(damaged="on").press(lead_client).status_code == 302
    assert Proof.objects.count() == 1


def job_of(proof: Proof) -> Job:
    return Job.objects.of(proof.job_key).with_run()[0]


def test_a_scan_that_comes_in_is_read_in_the_background(lead_client: Client, guide: Guide, lead: Any) -> None:
    answer = bring(lead_client, guide, scan())
    waiting = Proof.objects.get()
    assert answer["Location"] == waiting.get_absolute_url()
    assert waiting.state == Proof.State.WAITING
    job = job_of(waiting)
    assert (job.asked_by, job.series, job.page) == (lead, guide.series, waiting.get_absolute_url())
    page = text(lead_client.get(waiting.get_absolute_url()))
    assert f'hx-get="{job.get_absolute_url()}"' in page
    assert "waiting for its turn" in page
    assert "Look again" in page, "without a script the link does it"
    assert work_off() == 1
    waiting.refresh_from_db()
    assert waiting.state == Proof.State.REFUSED


def test_a_proof_is_read_against_the_run_it_was_printed_in(lead_client: Client, guide: Guide, lead: Any) -> None:
    """Named when it comes in or later on its page; a run whose condition was kept is read on the kept one."""
    assert 'name="run"' not in text(lead_client.get(at("new-proof", guide))), "no chart has been scanned"
    run, later = make_chart_scan(guide.series, lead), make_chart_scan(guide.series, lead, run="Issue 2")
    form = form_of(lead_client.get(at("new-proof", guide)), has="run")
    form.fill(run=str(run.pk)).attach(scan=scan()).press(lead_client)
    waiting = Proof.objects.get()
    assert waiting.run == run
    assert press_of(waiting).name == "chart-scan"
    keep_press(scan=later, name="house-press", title="House press", by=lead)
    proof = make_proof(guide, run=run)
    page = lead_client.get(proof.get_absolute_url())
    assert "Printed in the run" in text(page)
    assert run.get_absolute_url() in text(page)
    form_of(page, says="Read again").fill(run=str(later.pk)).press(lead_client)
    proof.refresh_from_db()
    assert press_of(proof).name == "house-press"
    lead_client.post(at("read-proof", proof), {"run": ""})
    proof.refresh_from_db()
    assert press_of(proof).name == guide.series.press


def test_another_series_run_is_refused(lead_client: Client, guide: Guide, proof: Proof, lead: Any) -> None:
    make_chart_scan(guide.series, lead)
    elsewhere = make_chart_scan(make_series(slug="other-river"), lead)
    for address in (at("new-proof", guide), at("read-proof", proof)):
        answer = lead_client.post(address, {"run": elsewhere.pk, "scan": scan()})
        assert answer.status_code == 422
        assert "Select a valid choice" in text(answer)
    proof.refresh_from_db()
    assert proof.run is None
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("shade", "reason", "word"),
    [(255, "blank", "blank"), ((120, 90, 60), "blank", "blank")],
)
def test_a_blank_scan_decides_nothing_and_says_so(
    lead_client: Client, guide: Guide, shade: Any, reason: str, word: str
) -> None:
    make_mark(guide, "YR")
    bring(lead_client, guide, scan(shade))
    waiting = Proof.objects.get()
    work_off()
    waiting.refresh_from_db()
    assert (job_of(waiting).outcome, job_of(waiting).said) == ("refused", waiting.refusal_said)
    assert (waiting.state, waiting.refusal, waiting.is_current) == ("refused", reason, False)
    page = text(lead_client.get(waiting.get_absolute_url()))
    assert word in page
    assert "Nothing was decided on it" in page
    assert at("proof-points", waiting) not in page, "four points mend no blank sheet"
    assert not waiting.readings.exists()


def test_what_is_read_already_is_asked_for_once(lead_client: Client, proof: Proof) -> None:
    for _ in range(2):
        assert lead_client.post(at("read-proof", proof))["Location"] == proof.get_absolute_url()
    assert Job.objects.count() == 1
    assert "Read again" not in text(lead_client.get(proof.get_absolute_url())), "somebody is at it"


def test_points_that_come_while_it_is_read_are_read_from_afterwards(lead_client: Client, proof: Proof) -> None:
    lead_client.post(at("read-proof", proof))
    assert claim("somebody")
    lead_client.post(at("proof-points", proof), four())
    assert Job.objects.get().again


def test_a_reading_that_was_stopped_says_so_and_can_be_asked_for(lead_client: Client, proof: Proof) -> None:
    Proof.objects.filter(pk=proof.pk).update(state=Proof.State.WAITING)
    lead_client.post(at("read-proof", proof))
    assert stop(job=job_of(proof), why="Somebody stopped it.")
    page = text(lead_client.get(proof.get_absolute_url()))
    assert "Not read yet" in page
    assert "Somebody stopped it." in page
    assert "Read it now" in page
    Proof.objects.filter(pk=proof.pk).update(state=Proof.State.READ)
    assert "What is shown was read before" in text(lead_client.get(proof.get_absolute_url()))


def four(**changed: str) -> dict[str, str]:
    corners = ((10, 10), (90, 10), (90, 90), (10, 90))
    data = {f"{side}{axis}{n}": str(corners[n]["xy".index(axis)]) for n in range(4) for side in "gs" for axis in "xy"}
    return data | changed


@pytest.mark.parametrize("bad", ["", "nan", "inf", "-1", "101", "left", "1e999"])
def test_points_off_the_picture_are_refused_and_kept(lead_client: Client, proof: Proof, bad: str) -> None:
    answer = lead_client.post(at("proof-points", proof), four(sx2=bad, gy1="33.25"))
    assert answer.status_code == 422
    assert 'value="33.25"' in text(answer), "what was typed stays"
    assert "percentage of the picture" in text(answer)
    proof.refresh_from_db()
    assert proof.hand_points is None


def test_four_points_in_one_place_are_refused_by_the_reading(lead_client: Client, guide: Guide) -> None:
    out = io.BytesIO()
    with guide.screen.open("rb") as file:
        out.write(file.read())
    out.seek(0)
    out.name = "scan.jpg"
    bring(lead_client, guide, out)
    proof = Proof.objects.get()
    same = dict.fromkeys(four(), "50")
    answer = lead_client.post(at("proof-points", proof), same)
    assert answer["Location"] == proof.get_absolute_url()
    work_off()
    proof.refresh_from_db()
    assert (proof.state, proof.refusal) == ("refused", "bad_points")
    assert "Forget the points" in text(lead_client.get(proof.get_absolute_url()))
    lead_client.post(at("read-proof", proof), {"forget_points": "1"})
    proof.refresh_from_db()
    assert proof.hand_points is None


def test_a_missing_picture_is_not_found(lead_client: Client, proof: Proof) -> None:
    for kind in ("original", "screen", "thumb", "laid"):
        assert lead_client.get(at("proof-picture", proof, kind)).status_code == 200
    proof.laid.storage.delete(str(proof.laid.name))
    assert lead_client.get(at("proof-picture", proof, "laid")).status_code == 404
