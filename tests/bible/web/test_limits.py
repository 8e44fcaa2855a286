"""Limits: how much goes through, who is counted, what is said, and that workers agree."""

from __future__ import annotations

import re
import threading
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import close_old_connections, connection
from django.http import HttpRequest
from django.test import RequestFactory
from django.urls import reverse

from bible.models import Allowance, Invitation
from bible.web import limits
from bible.web.limits import Limit, TooMany, address_of, give_back, limited, spend, sweep
from tests.factories import make_issue, make_member, make_series
from tests.pages import HTMX, client_of
from tests.world import IN_SERIES

THREE = Limit("three", 3, 10, "a lot of threes")


class Clock:
    """The time as a test says it."""

    def __init__(self, now: float = 1_000_000.0) -> None:
        self.now = now

    def time(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr(limits, "time", made)
    return made


def goes(*who: object, cost: int = 1) -> bool:
    try:
        spend(THREE, *who, cost=cost)
    except TooMany:
        return False
    return True


@pytest.mark.django_db
def test_so_many_at_once_then_one_more_each_time(clock: Clock) -> None:
    assert [goes(1) for _ in range(4)] == [True, True, True, False]
    clock.now += 9.9
    assert not goes(1)
    clock.now += 0.2
    assert [goes(1), goes(1)] == [True, False]
    clock.now += 3600  # a long rest earns what goes at once, not more
    assert [goes(1) for _ in range(4)] == [True, True, True, False]


@pytest.mark.django_db
def test_everybody_has_their_own(clock: Clock) -> None:
    assert all(goes(1) for _ in range(3))
    assert goes(2)
    assert goes("1", "x")


@pytest.mark.django_db
def test_the_wait_that_is_said_is_the_wait_there_is(clock: Clock) -> None:
    for _ in range(3):
        spend(THREE, 1)
    with pytest.raises(TooMany) as refusal:
        spend(THREE, 1)
    assert str(refusal.value) == "That was a lot of threes. Try again in 10 seconds."
    clock.now += refusal.value.wait
    spend(THREE, 1)


@pytest.mark.django_db
def test_dear_deeds_cost_more_and_never_more_than_there_is(clock: Clock) -> None:
    assert goes(1, cost=2)
    assert not goes(1, cost=2)
    assert goes(1)
    assert goes(2, cost=99)
    assert not goes(2)


@pytest.mark.django_db
def test_what_is_given_back_can_be_spent_again(clock: Clock) -> None:
    assert all(goes(1) for _ in range(3))
    give_back(THREE, 1)
    assert [goes(1), goes(1)] == [True, False]


@pytest.mark.django_db
def test_a_clock_that_was_ahead_locks_nobody_out(clock: Clock) -> None:
    clock.now += 10**6
    assert all(goes(1) for _ in range(3))
    clock.now -= 10**6
    assert [goes(1) for _ in range(4)] == [True, True, True, False]


@pytest.mark.django_db
def test_rows_that_say_nothing_any_more_are_cleared_away(clock: Clock) -> None:
    for n in range(20):
        goes(n)
    clock.now += 1000
    goes("new")
    sweep()
    assert Allowance.objects.count() == 1


@pytest.mark.django_db
def test_the_table_tells_neither_names_nor_addresses() -> None:
    spend(THREE, "thea", "192.0.2.7")
    kept = str(Allowance.objects.values())
    assert "thea" not in kept
    assert "192.0.2.7" not in kept


@pytest.mark.backend("postgresql")  # SQLite lets one write at a time, and in memory does not wait
@pytest.mark.django_db(transaction=True)
def test_workers_at_the_same_time_agree() -> None:
    limit, through = Limit("forty", 40, 1000, "a lot"), []

    def work() -> None:
        try:
            for _ in range(20):
                try:
                    spend(limit, "same")
                    through.append(1)
                except TooMany:
                    pass
        finally:
            connection.close()

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    close_old_connections()
    assert len(through) == 40


def asked(remote: str, forwarded: str = "") -> HttpRequest:
    more: Any = {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    return RequestFactory().get("/", REMOTE_ADDR=remote, **more)


@pytest.mark.parametrize(
    ("proxies", "remote", "forwarded", "counted"),
    [
        (0, "192.0.2.7", "", "192.0.2.7"),
        (0, "192.0.2.7", "198.51.100.1", "192.0.2.7"),  # no proxy of ours: what a stranger says proves nothing
        (1, "127.0.0.1", "198.51.100.1", "198.51.100.1"),
        (1, "127.0.0.1", "10.9.9.9, 198.51.100.1", "198.51.100.1"),
        (2, "127.0.0.1", "10.9.9.9, 198.51.100.1, 203.0.113.5", "198.51.100.1"),
        (2, "127.0.0.1", "198.51.100.1", "198.51.100.1"),
        (1, "127.0.0.1", "", "127.0.0.1"),
        (1, "", "2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        (0, "::ffff:192.0.2.7", "", "192.0.2.7"),
        (1, "", "<script>", "unknown"),
        (0, "", "", "unknown"),
    ],
)
def test_whom_an_address_stands_for(settings: Any, proxies: int, remote: str, forwarded: str, counted: str) -> None:
    settings.PROXIES = proxies
    assert address_of(asked(remote, forwarded)) == counted


@pytest.fixture
def tight(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every limit lets one deed through."""
    monkeypatch.setattr(Limit, "span", property(lambda self: self.every))


@pytest.mark.django_db
def test_a_page_says_it_in_words_with_the_wait(tight: None) -> None:
    series = make_series()
    client = client_of(make_member(series, "lead"))
    url = reverse("invite", args=[series.slug])
    assert client.post(url, {"role": "guest"}).status_code == 200
    refused = client.post(url, {"role": "guest"})
    assert refused.status_code == 429
    assert 0 < int(refused["Retry-After"]) <= 30
    assert re.search(
        r"That was a lot of invitations. Try again in \d+ seconds. Nothing was changed.", refused.content.decode()
    )
    assert Invitation.objects.count() == 1
    by_htmx = client.post(url, {"role": "guest"}, headers=HTMX)
    assert by_htmx.status_code == 429
    assert '<p class="sheet">That was' in by_htmx.content.decode()
    # Looking is not limited, and another lead of the series is somebody else.
    assert client.get(reverse("people", args=[series.slug])).status_code == 200
    assert client_of(make_member(series, "lead")).post(url, {"role": "guest"}).status_code == 200


@pytest.mark.django_db
def test_a_program_is_told_in_json(tight: None) -> None:
    series = make_series()
    client = client_of(make_member(series, "fill-in"))
    url = reverse("begin-arrival", args=[series.slug, make_issue(series).pk])
    asks: Any = {"headers": {"Accept": "application/json"}}
    client.post(url, {"filename": "1.png", "byte_size": "9", "page": "1", "revision": "1"}, **asks)
    refused = client.post(url, {"filename": "2.png", "byte_size": "9", "page": "2"}, **asks)
    assert refused.status_code == 429
    assert refused.json()["state"] == "slow"
    assert refused.json()["wait"] == int(refused["Retry-After"])


@pytest.mark.django_db
def test_who_may_not_do_it_pays_nothing(tight: None) -> None:
    series = make_series()
    guest = client_of(make_member(series, "guest"))
    for _ in range(3):
        assert guest.post(reverse("invite", args=[series.slug]), {"role": "lead"}).status_code == 403
    assert not Allowance.objects.exists()


@pytest.mark.django_db
def test_whole_lists_are_limited_and_pages_are_not(tight: None) -> None:
    series = make_series()
    client = client_of(make_member(series, "guest"))
    page = reverse("bible", args=[series.slug])
    assert client.get(page, {"as": "csv"}).status_code == 200
    assert client.get(page, {"as": "csv"}).status_code == 429
    assert client.get(page).status_code == 200


@pytest.mark.django_db
def test_sixty_pages_at_once_are_no_trouble() -> None:
    """The plain form with sixty files, twice over, and then sixty more one by one."""
    series = make_series()
    issue = make_issue(series)
    client = client_of(make_member(series, "fill-in"))
    for _ in range(2):
        nothing = [SimpleUploadedFile(f"p{n}.txt", b"x") for n in range(1, 61)]
        assert client.post(reverse("upload", args=[series.slug, issue.pk]), {"scans": nothing}).status_code == 422
    begin = reverse("begin-arrival", args=[series.slug, issue.pk])
    for n in range(1, 61):
        answer = client.post(begin, {"filename": f"p{n}.png", "byte_size": "9", "page": str(n), "revision": "1"})
        assert answer.status_code == 201, answer.content


EXPENSIVE = {
    "code-crop",
    "search-codes", "sheet-anew",
    "upload", "begin-arrival", "new-proof", "read-proof", "proof-points", "read-issue-paint", "look-for-sinking",
    "new-booklet",
    "colour-sheet-pdf", "wall-sheets", "continuity-report-pdf", "page-corrections", "issue-corrections", "hand-off-file",
    "guide-hand-off-file", "page-areas", "printed-picture", "plate-picture", "carry", "bring-bible", "bring-marks-table",
    "bring-issues", "bring-bible-rows", "bring-marks-rows", "bring-issues-rows", "bring-scenes", "bring-scenes-rows",
    "bring-waivers", "bring-waivers-rows", "bring-assignments", "bring-assignments-rows", "bring-marks", "edit-notation",
    "house-chart", "chart-audit", "look-alikes", "new-press", "invite", "tokens",
    "new-chart-sheet", "chart-sheet", "new-chart-scan", "read-chart-scan", "chart-corners",
    "to-read-pdf", "webhooks", "new-secret", "try-webhook", "propose", "choose-picture",
}  # fmt: skip


def limit_of(view: Any) -> Limit | None:
    while view is not None:
        if hasattr(view, "limit"):
            return view.limit
        view = getattr(view, "__wrapped__", None)
    return None


def test_what_is_expensive_has_a_limit() -> None:
    assert {address.name for address in IN_SERIES if limit_of(address.view)} == EXPENSIVE


def test_a_limit_is_counted_for_the_methods_it_names(monkeypatch: pytest.MonkeyPatch) -> None:
    spent: list[str] = []
    monkeypatch.setattr(limits, "spend", lambda limit, *who, cost: spent.append(limit.name))
    view = limited(THREE, "GET")(lambda request: None)  # type: ignore[arg-type, return-value]
    for method in ("get", "post"):
        request = getattr(RequestFactory(), method)("/")
        request.user = type("User", (), {"pk": 1})()
        view(request)
    assert spent == ["three"]
