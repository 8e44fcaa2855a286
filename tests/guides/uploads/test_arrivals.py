"""Scans that come by pieces: gone on with after a lost connection, looked at, stored once, refused with the reason."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client, TestCase
from django.urls import reverse
from django.utils import timezone

from bible.models import Issue, Series
from guides.imaging.intake.rules import MAX_BYTES
from guides.models import Arrival, Guide
from guides.uploads import services as arrivals
from tests.factories import make_guide, make_issue, picture_bytes
from tests.guides.uploads.pieces import PAGE, begin, piece, send_all, sha, stored_files
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def test_pieces_become_a_guide_and_leave_nothing_else(fill_in_client: Client, issue: Issue, fill_in: Any) -> None:
    answer = send_all(fill_in_client, issue, PAGE, colourist=fill_in.pk)
    guide = Guide.objects.get()
    assert answer.json() == {"state": "stored", "message": "page 7", "url": guide.get_absolute_url(), "notes": []}
    assert guide.original.read() == PAGE
    assert (guide.sha256, guide.uploaded_by, guide.colourist) == (sha(PAGE), fill_in, fill_in)
    assert stored_files() == ["original.png", "screen.jpg", "thumb.jpg"]


def test_storing_twice_gives_the_same_guide(fill_in_client: Client, issue: Issue) -> None:
    """The answer got lost and the browser asks again."""
    first = send_all(fill_in_client, issue, PAGE).json()
    again = fill_in_client.post(Arrival.objects.get().get_absolute_url()).json()
    assert again == first
    assert Guide.objects.count() == 1


def test_after_a_lost_connection_the_rest_is_enough(fill_in_client: Client, issue: Issue) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)
    assert fill_in_client.get(url).json()["offset"] == 100
    late = piece(fill_in_client, url, PAGE, 0, 100)
    assert (late.status_code, late.json()["offset"]) == (409, 100), "a piece that came already says where to go on"
    assert piece(fill_in_client, url, PAGE, 200, 50).status_code == 409
    assert fill_in_client.post(url).status_code == 422, "not all here yet"
    assert begin(fill_in_client, issue, PAGE, page="8").json() == fill_in_client.get(url).json(), (
        "found by its content"
    )
    piece(fill_in_client, url, PAGE, 100, len(PAGE))
    assert fill_in_client.post(url).json()["state"] == "stored"
    assert Guide.objects.get().page == "8"


def test_what_came_before_the_line_broke_is_kept(issue: Issue, fill_in: Any) -> None:
    class Breaking(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            if self.tell() >= 50:
                raise OSError("connection reset")
            return super().read(50)

    arrival = arrivals.start(
        issue=issue, page="7", revision=1, filename="7.png", byte_size=len(PAGE), by=fill_in, sha256=sha(PAGE)
    )
    assert arrivals.append(arrival=arrival, at=0, stream=Breaking(PAGE)).received == 50


def test_bytes_that_are_not_those_announced_are_asked_for_again(fill_in_client: Client, issue: Issue) -> None:
    other = picture_bytes(120, 180, "#303030", form="PNG")
    other = other[: len(PAGE)] + b"\0" * (len(PAGE) - len(other))
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, other, 0, len(PAGE))
    answer = fill_in_client.post(url)
    assert (answer.status_code, answer.json()["offset"]) == (422, 0)
    assert Guide.objects.count() == 0


@pytest.mark.parametrize(
    ("data", "word"),
    [(b"GIF89a" + bytes(600), "GIF"), (b"%PDF-1.7" + bytes(600), "PDF"), (PAGE[:40], "breaks off")],
)
def test_a_bad_file_says_why_and_leaves_nothing(fill_in_client: Client, issue: Issue, data: bytes, word: str) -> None:
    url = begin(fill_in_client, issue, data).json()["url"]
    answer = piece(fill_in_client, url, data, 0, len(data))
    if answer.status_code == 200:
        answer = fill_in_client.post(url)
    assert (answer.status_code, answer.json()["state"]) == (422, "refused")
    assert word in answer.json()["message"]
    assert fill_in_client.get(url).json()["state"] == "refused"
    assert stored_files() == []


def test_a_file_that_the_series_has_needs_a_yes(fill_in_client: Client, issue: Issue, series: Series) -> None:
    make_guide(make_issue(series), page="3", sha256=sha(PAGE))
    answer = begin(fill_in_client, issue, PAGE)
    assert (answer.status_code, answer.json()["state"]) == (409, "asks")
    assert answer.json()["message"] == "This very file is here already: issue 2, page 3."
    assert begin(fill_in_client, issue, PAGE, again="on").status_code == 201
    assert Arrival.objects.count() == 1


def test_a_browser_that_cannot_work_fingerprints_out_hears_of_it_at_the_end(
    fill_in_client: Client, issue: Issue, series: Series
) -> None:
    make_guide(make_issue(series), page="3", sha256=sha(PAGE))
    answer = send_all(fill_in_client, issue, PAGE, sha256="")
    assert (answer.status_code, answer.json()["state"]) == (409, "asks")
    url = Arrival.objects.get().get_absolute_url()
    assert fill_in_client.post(url, {"again": "1"}).json()["state"] == "stored", "nothing is sent a second time"


def test_a_scan_somebody_else_brought_meanwhile_is_not_buried(fill_in_client: Client, issue: Issue) -> None:
    guide = make_guide(issue, page="7")
    answer = send_all(fill_in_client, issue, PAGE)
    assert answer.json()["state"] == "asks"
    assert "meanwhile; this one would be revision 2" in answer.json()["message"]
    guide.refresh_from_db()
    assert guide.is_current
    assert fill_in_client.post(Arrival.objects.get().get_absolute_url(), {"again": "1"}).json()["state"] == "stored"
    assert Guide.objects.current().get().revision == 2


@pytest.mark.parametrize(
    "said",
    [
        {"byte_size": 0},
        {"byte_size": MAX_BYTES + 1},
        {"byte_size": "many"},
        {"page": ""},
        {"page": "x" * 31},
        {"revision": 0},
        {"sha256": "not a fingerprint"},
        {"filename": ""},
        {"colourist": 10**9},
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_sent(
    fill_in_client: Client, issue: Issue, said: dict[str, Any]
) -> None:
    answer = begin(fill_in_client, issue, PAGE, **said)
    assert (answer.status_code, answer.json()["state"]) == (422, "refused")
    assert answer.json()["message"]
    assert Arrival.objects.count() == 0


@pytest.mark.parametrize(
    ("place", "status"),
    [
        ("", 400),
        ("bytes */9", 400),
        ("bytes 0-9/9999999", 416),
        ("bytes 9-0/{size}", 416),
        ("bytes 0-99999999/{size}", 416),
    ],
)
def test_a_piece_without_its_place_is_refused(fill_in_client: Client, issue: Issue, place: str, status: int) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    headers = {"Content-Range": place.format(size=len(PAGE))}
    answer = fill_in_client.patch(url, b"abc", content_type="application/octet-stream", headers=headers)
    assert answer.status_code == status
    assert fill_in_client.get(url).json()["offset"] == 0


def test_half_sent_files_are_bounded_and_forgotten(
    fill_in_client: Client, issue: Issue, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(arrivals, "MOST_UNFINISHED", 1)
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)
    other = PAGE + b"x"
    assert "half-sent" in begin(fill_in_client, issue, other).json()["message"]
    Arrival.objects.update(touched_at=timezone.now() - dt.timedelta(hours=25))
    assert begin(fill_in_client, issue, other).status_code == 201
    assert stored_files() == []
    assert fill_in_client.get(url).status_code == 404


def test_a_file_left_out_is_forgotten(fill_in_client: Client, issue: Issue) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)
    assert fill_in_client.delete(url).status_code == 204
    assert stored_files() == []
    assert Arrival.objects.count() == 0


def test_only_those_who_may_mark(series: Series, issue: Issue, fill_in_client: Client) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    for role in ("editor", "guest"):
        client = member_client(series, role)
        assert begin(client, issue, PAGE).status_code == 403
        assert piece(client, url, PAGE, 0, 10).status_code == 403
        assert client.delete(url).status_code == 403
    assert piece(Client(), url, PAGE, 0, 10).status_code == 302
    assert fill_in_client.get(url).json()["offset"] == 0


def test_a_file_on_its_way_is_its_senders(series: Series, issue: Issue, fill_in_client: Client) -> None:
    """Keys are counted on, so anybody can say another one: neither read, nor written to, stored or forgotten."""
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)
    for role in ("fill-in", "lead"):
        client = member_client(series, role)
        assert client.get(url).status_code == 404
        assert piece(client, url, PAGE, 100, len(PAGE)).status_code == 404
        assert client.post(url, {"page": "8"}).status_code == 404
        assert client.delete(url).status_code == 404
    assert fill_in_client.get(url).json()["offset"] == 100
    assert Arrival.objects.get().page == "7"


def test_a_lead_may_cancel_and_the_sender_is_told_by_whom(
    series: Series, issue: Issue, fill_in_client: Client, lead_client: Client
) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)
    page = reverse("upload", args=[series.slug, issue.pk])
    cancel = reverse("cancel-arrival", args=[series.slug, Arrival.objects.get().pk])
    assert cancel in lead_client.get(page).content.decode()
    assert cancel not in member_client(series, "fill-in").get(page).content.decode()
    assert member_client(series, "fill-in").post(cancel).status_code == 404
    assert member_client(series, "editor").post(cancel).status_code == 403
    assert fill_in_client.get(url).json()["state"] == "coming"
    with TestCase.captureOnCommitCallbacks(execute=True):
        assert "does not come in" in lead_client.post(cancel, follow=True).content.decode()
    answer = piece(fill_in_client, url, PAGE, 100, len(PAGE))
    assert (answer.status_code, answer.json()["state"]) == (409, "refused")
    assert answer.json()["message"] == "Cancelled by lead."
    assert piece(fill_in_client, url, PAGE, 0, 100).status_code == 409
    assert stored_files() == []
    assert "Cancelled by lead." in fill_in_client.get(page).content.decode()
    assert "nothing left to cancel" in lead_client.post(cancel, follow=True).content.decode()
    methods_are_refused(lead_client, cancel, "get", "put", "delete")
    assert send_all(fill_in_client, issue, PAGE).json()["state"] == "stored"


def test_a_file_cancelled_while_it_is_looked_at_is_not_stored(
    issue: Issue, fill_in: Any, lead: Any, fill_in_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, len(PAGE))
    real = arrivals.take_in

    def cancelled_meanwhile(*args: Any, **said: Any) -> Any:
        arrivals.cancel(arrival=Arrival.objects.get(), by=lead)
        return real(*args, **said)

    monkeypatch.setattr(arrivals, "take_in", cancelled_meanwhile)
    assert fill_in_client.post(url).json()["state"] == "refused"
    assert (Guide.objects.count(), Path(settings.MEDIA_ROOT, "guides").exists()) == (0, False)


def test_wrong_methods(fill_in_client: Client, issue: Issue) -> None:
    at = [issue.series.slug, issue.pk]
    methods_are_refused(fill_in_client, reverse("begin-arrival", args=at), "get", "put", "delete")
    methods_are_refused(fill_in_client, reverse("foresee-arrivals", args=at), "get", "put", "delete")
    methods_are_refused(fill_in_client, begin(fill_in_client, issue, PAGE).json()["url"], "put")
