"""The pocket look-up's data, its worker's reach, and refusals. What it does without connection: tests/browser."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.series.presses import condition
from tests.factories import make_costume, make_issues, make_lock, make_part, make_series, make_subject
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db

PAGES = ("pocket", "pocket-data", "pocket-worker", "pocket-manifest", "lookup-worker")


def test_it_takes_along_what_holds_now(series: Series, lead: Any) -> None:
    issues = make_issues(series, 3)
    ada = make_subject(series, name="Ada Penn")
    coat = make_part(costume=make_costume(ada, name="work coat"), name="coat")
    make_lock(coat, "YR3B2", by=lead)
    make_lock(coat, "B", by=lead, from_position=issues[1].position)
    old = make_costume(ada, name="old coat", rank=1, to_position=issues[1].position)
    make_part(costume=old, name="belt")
    data = member_client(series, "guest").get(reverse("pocket-data", args=[series.slug])).json()
    assert (data["series"], data["issue"], data["press"]) == ("The Slow River", "3", condition(series).title)
    blue = {"role": "base", "code": "B", "tint": "C100", "fill": condition(series).hex(series.read("B")), "also": []}
    blue["called"] = ["blue"]
    wore = [{"role": "base", "code": "YR3B2", "when": "up to issue 1"}]
    assert data["parts"] == [
        {"subject": "Ada Penn", "costume": "work coat", "part": "coat", "worn": True, "codes": [blue], "wore": wore},
        {"subject": "Ada Penn", "costume": "old coat", "part": "belt", "worn": False, "codes": [], "wore": []},
    ]
    assert data["issues"] == ["1", "2", "3"]
    then = member_client(series, "guest").get(reverse("pocket-data", args=[series.slug]), {"issue": "1"}).json()
    assert (then["issue"], then["parts"][0]["codes"][0]["code"], then["parts"][1]["worn"]) == ("1", "YR3B2", True)
    assert then["parts"][0]["wore"] == [{"role": "base", "code": "B", "when": "from issue 2 on"}]


def test_an_issue_that_does_not_exist_is_refused_without_throwing_anything_away(
    series: Series, lead_client: Client
) -> None:
    """The worker takes 401, 403, 404 and 410 for having to leave, and forgets."""
    answer = lead_client.get(reverse("pocket-data", args=[series.slug]), {"issue": "99"})
    assert (answer.status_code, answer.json()) == (422, {"refusal": "There is no issue 99."})


def test_the_manifest_has_what_a_browser_asks_for(series: Series, lead_client: Client) -> None:
    """W3C Web Application Manifest: name, start within scope, display, an icon with its sizes and type."""
    answer = lead_client.get(reverse("pocket-manifest", args=[series.slug]))
    assert answer["Content-Type"] == "application/manifest+json"
    told = answer.json()
    assert told["start_url"].startswith(told["scope"])
    assert told["display"] == "standalone"
    assert series.title in told["name"]
    assert {"src", "sizes", "type"} <= set(told["icons"][0])
    page = lead_client.get(reverse("pocket", args=[series.slug])).content.decode()
    assert (
        f'rel="manifest" href="{reverse("pocket-manifest", args=[series.slug])}" crossorigin="use-credentials"'
        in page
    )


def test_queries_do_not_grow(series: Series, lead: Any, django_assert_max_num_queries: Any) -> None:
    client = member_client(series, "guest")
    for _ in range(8):
        make_lock(make_part(series), "Y", by=lead)
    with django_assert_max_num_queries(16):
        assert len(client.get(reverse("pocket-data", args=[series.slug])).json()["parts"]) == 8


def test_the_worker_lies_below_its_page_and_names_nothing_else(series: Series, lead_client: Client) -> None:
    """Service Workers, 4.4 (w3.org/TR/service-workers): without a header a worker's scope is at most its own folder."""
    page, worker = (reverse(name, args=[series.slug]) for name in ("pocket", "pocket-worker"))
    answer = lead_client.get(worker)
    assert answer["Content-Type"].startswith("text/javascript")
    assert "Service-Worker-Allowed" not in answer
    assert worker.rsplit("/", 1)[0] + "/" == page
    assert f'"page": "{page}"' in answer.content.decode()


def test_what_is_kept_names_nobody(series: Series, lead_client: Client, lead: Any) -> None:
    for page in PAGES:
        answer = lead_client.get(reverse(page, args=[series.slug]))
        assert "no-cache" in answer["Cache-Control"]
        assert "private" in answer["Cache-Control"]
        assert lead.username not in answer.content.decode()
        assert "csrf" not in answer.content.decode().lower()


def test_refusals(series: Series, lead_client: Client) -> None:
    stranger = member_client(make_series(), "lead")
    for page in PAGES:
        path = reverse(page, args=[series.slug])
        methods_are_refused(lead_client, path, "post", "put", "delete")
        assert stranger.get(path).status_code == 404
        assert Client().get(path).headers["Location"].startswith(reverse("login"))


def test_only_pages_shown_to_nobody_say_so(series: Series, lead_client: Client) -> None:
    assert "data-signed-out" in Client().get(reverse("login")).content.decode()
    assert "data-signed-out" not in lead_client.get(reverse("lookup", args=[series.slug])).content.decode()
