"""The pages of work in the background, and every refusal."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Job
from bible.tasks.worker import work_off
from tests.background import again, ask, hurry
from tests.factories import make_member, make_series
from tests.forms import text_of
from tests.pages import client_of, htmx, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(series: Any, fill_in: Any) -> Job:
    return ask(hurry, by=fill_in, series=series, about="proof 1", page="/s/slow-river/proofs/")


def stop_at(job: Job) -> str:
    return reverse("stop-job", args=["slow-river", job.pk])


def test_the_list_says_what_waits_and_what_ended(lead_client: Client, job: Job) -> None:
    address = reverse("work", args=["slow-river"])
    assert "Proof 1: waiting for its turn" in text_of(lead_client.get(address))
    work_off()
    page = lead_client.get(address).content.decode()
    assert "Nothing waits" in page
    assert "Something waited for," in " ".join(page.split()), "of which kind it was"
    assert 'href="/s/slow-river/proofs/"' in page


def test_the_page_that_shows_it_is_loaded_anew_once_it_has_ended(lead_client: Client, job: Job) -> None:
    part = lead_client.get(job.get_absolute_url(), headers=htmx(f"job-{job.pk}"))
    assert 'hx-trigger="every 1s"' in part.content.decode()
    assert "HX-Refresh" not in part.headers
    work_off()
    assert lead_client.get(job.get_absolute_url(), headers=htmx(f"job-{job.pk}"))["HX-Refresh"] == "true"
    assert "Proof 1: done" in lead_client.get(job.get_absolute_url()).content.decode()


def test_who_asked_stops_it(fill_in_client: Client, job: Job) -> None:
    assert f'action="{stop_at(job)}"' in fill_in_client.get(job.get_absolute_url()).content.decode()
    assert fill_in_client.post(stop_at(job))["Location"] == job.page
    assert again(job).outcome == "stopped"
    assert "nothing left to stop" in fill_in_client.post(stop_at(job), follow=True).content.decode()


def test_a_lead_stops_anything_and_others_only_what_they_asked_for(
    series: Any, lead_client: Client, job: Job
) -> None:
    for role in ("editor", "guest"):
        other = member_client(series, role)
        assert stop_at(job) not in other.get(job.get_absolute_url()).content.decode()
        assert other.post(stop_at(job)).status_code == 404
    assert again(job).is_open
    assert lead_client.post(stop_at(job)).status_code == 302
    assert not again(job).is_open


def test_who_has_no_business_there(job: Job, lead_client: Client) -> None:
    stranger = client_of(make_member(make_series(slug="other-river"), "lead"))
    pages = [reverse("work", args=["slow-river"]), job.get_absolute_url()]
    for method, address in [("get", page) for page in pages] + [("post", stop_at(job))]:
        assert getattr(Client(), method)(address)["Location"].startswith(reverse("login"))
        assert getattr(stranger, method)(address).status_code == 404
        through = address.replace("slow-river", "other-river")
        assert address == pages[0] or getattr(stranger, method)(through).status_code == 404
    assert again(job).is_open
    for address in pages:
        methods_are_refused(lead_client, address, "post", "put", "delete")
    methods_are_refused(lead_client, stop_at(job), "get", "put", "delete")


def test_a_years_pages_waiting_are_one_question_every_two_seconds_and_not_hundreds(
    series: Any, fill_in: Any, lead_client: Client
) -> None:
    """Each job on the list asked for itself every second: 60 of them made 60 requests a second, from one open page."""
    for number in range(60):
        ask(hurry, key=f"thing-{number}", by=fill_in, series=series, about=f"page {number}")
    page = lead_client.get(reverse("work", args=["slow-river"])).content.decode()
    assert page.count('hx-trigger="every') == 1
    assert page.count("waiting for its turn") == 50
    assert "And 10 more wait." in page
