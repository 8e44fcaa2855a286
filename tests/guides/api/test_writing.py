"""Programs that write: by a client that knows nothing but the published OpenAPI, and refused as the screens refuse."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Proposal, ReadToken, Series
from bible.models.permissions import Permission
from bible.subjects.services import archive
from bible.tasks.worker import work_off
from bible.web import limits
from guides.models import Guide, Mark, Proof
from guides.signoff.services import sign_off
from tests.factories import (
    damaged_picture,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    picture_bytes,
)
from tests.forms import form_of, text_of
from tests.openapi import OpenApiClient, api
from tests.pages import client_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: User) -> Guide:
    guide: Guide = make_guide(make_issue(series, number="57"), page="3", by=lead)
    return guide


def marks(*rows: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"issue": "57", "page": "3", "marks": list(rows)} | more


AT = {"x": 0.25, "y": 0.5, "written": "YR3B2"}


def test_marks_are_looked_at_first_and_brought_in_as_shown(series: Series, guide: Guide, fill_in: User) -> None:
    call, part = api(series, fill_in), make_part(series)
    make_lock(part, "Y2")
    subject, costume, name = part.names
    mine = {"subject": subject, "costume": costume, "part": name}
    body = marks(AT | mine, {"x": 0.5, "y": 0.5, "written": "?"}, {"x": 0.1, "y": 0.1, "written": "Y", "part": "no"})
    looked = call("bringMarks", body, slug=series.slug)
    assert looked.status_code == 200
    told = looked.json()
    assert (told["done"], told["new"], told["already"], told["opens"]) == (False, 2, 0, 1)
    assert told["troubles"] == ["mark ?: there is no part , : no"]
    assert not Mark.objects.exists()

    done = call("bringMarks", body | {"shown": told["shown"]}, slug=series.slug)
    assert (done.status_code, done.json()["done"]) == (201, True)
    assert [(mark.written, mark.part, mark.created_by) for mark in Mark.objects.order_by("number")] == [
        ("YR3B2", part, fill_in), ("?", None, fill_in),
    ]  # fmt: skip
    page = client_of(fill_in).get(reverse("guide", args=[series.slug, guide.pk]))
    form_of(page, action="/undo").press(client_of(fill_in))
    assert not Mark.objects.live().exists(), "it is taken back at the desk like a file of marks"


def test_sent_twice_nothing_is_done_twice(series: Series, guide: Guide, fill_in: User) -> None:
    call = api(series, fill_in)
    body = marks(AT) | {"shown": call("bringMarks", marks(AT), slug=series.slug).json()["shown"]}
    assert call("bringMarks", body, slug=series.slug).status_code == 201
    again = call("bringMarks", body, slug=series.slug)
    assert (again.status_code, again.json()["new"], again.json()["already"]) == (409, 0, 1)
    assert Mark.objects.count() == 1


def test_what_moved_since_it_was_shown_is_shown_anew(series: Series, guide: Guide, lead: User) -> None:
    call = api(series, lead)
    shown = call("bringMarks", marks(AT), slug=series.slug).json()["shown"]
    sign_off(issue=guide.issue, by=lead, words="known")
    moved = call("bringMarks", marks(AT, shown=shown), slug=series.slug)
    assert (moved.status_code, moved.json()["done"], moved.json()["reopens"]) == (409, False, ["57"])
    assert not Mark.objects.exists()
    assert call("bringMarks", marks(AT, shown=moved.json()["shown"]), slug=series.slug).status_code == 201


def test_a_code_is_proposed_once(series: Series, guide: Guide, fill_in: User, lead_client: Client) -> None:
    call, part = api(series, fill_in), make_part(series)
    body = {"part": part.pk, "code": "YR3B2", "from_issue": "57", "note": "as in the sketch"}
    made = call("propose", body, slug=series.slug)
    assert made.status_code == 201
    assert (made.json()["state"], made.json()["tint"]["magenta"]) == ("waiting", 50)
    again = call("propose", body, slug=series.slug)
    assert (again.status_code, again.json()["id"]) == (200, made.json()["id"])
    assert Proposal.objects.get().proposed_by == fill_in
    assert "as in the sketch" in text_of(lead_client.get(reverse("proposals", args=[series.slug])))


@pytest.mark.parametrize(
    ("body", "where", "status"),
    [
        ({"code": "scribble"}, ["body", "code"], 409),
        ({"code": "Y", "role": "nothing"}, ["body", "role"], 409),
        ({"code": "Y", "from_issue": "99"}, ["body", "from_issue"], 409),
        ({"code": "Y", "colour": "red"}, ["body", "wanted", "colour"], 422),
        ({}, ["body", "wanted", "code"], 422),
    ],
)
def test_a_proposal_that_cannot_be_is_refused_value_by_value(
    series: Series, guide: Guide, fill_in: User, body: dict[str, Any], where: list[str], status: int
) -> None:
    answer = api(series, fill_in)("propose", {"part": make_part(series).pk} | body, slug=series.slug)
    assert answer.status_code == status
    assert [one["loc"] for one in answer.json()["detail"]] == [where]
    assert not Proposal.objects.exists()


@pytest.mark.parametrize(
    "body",
    [
        marks(AT | {"x": 1.5}), marks(AT | {"written": "Y\0"}), marks(AT | {"written": "Y" * 81}), marks(), [], None,
        marks(AT | {"colour": "red"}), marks(AT, page=""), marks(*[AT] * 2001),
    ],
)  # fmt: skip
def test_marks_that_cannot_be_are_refused(series: Series, guide: Guide, fill_in: User, body: Any) -> None:
    assert api(series, fill_in)("bringMarks", body, slug=series.slug).status_code == 422
    assert not Mark.objects.exists()


def test_who_may_not_write(series: Series, guide: Guide, lead: User, fill_in: User) -> None:
    part, other = make_part(series), make_series()
    asked = {"bringMarks": marks(AT), "propose": {"part": part.pk, "code": "Y"}}
    for name, body in asked.items():
        nobody = OpenApiClient()(name, body, slug=series.slug)
        assert (nobody.status_code, nobody.headers["WWW-Authenticate"]) == (401, 'Bearer realm="series colour bible"')
        reading = api(series, lead, may_write=False)(name, body, slug=series.slug)
        assert reading.status_code == 403
        assert 'error="insufficient_scope"' in reading.headers["WWW-Authenticate"]
        for role in ("guest", "editor"):
            refused = api(series, make_member(series, role))(name, body, slug=series.slug)
            assert (refused.status_code, "may not" in refused.json()["detail"]) == (403, True), role
        assert api(series, fill_in)(name, body, slug=other.slug).status_code == 404
        path = f"/api/v1/series/{series.slug}/{'marks' if name == 'bringMarks' else 'proposals'}"
        headers = api(series, lead).headers
        for method in ("put", "patch", "delete"):
            assert getattr(Client(), method)(path, headers=headers).status_code == 405
        bad = Client().post(path, "{", content_type="application/json", headers=headers)
        assert bad.status_code == 400
    call = api(series, fill_in)
    for wrong in ({"issue": "99"}, {"page": "99"}):
        assert call("bringMarks", marks(AT) | wrong, slug=series.slug).status_code == 404
    assert call("propose", {"part": make_part(other).pk, "code": "Y"}, slug=series.slug).status_code == 404
    assert not Mark.objects.exists()
    assert not Proposal.objects.exists()


def test_a_program_is_limited_as_its_owner_is(series: Series, guide: Guide, fill_in: User, settings: Any) -> None:
    call = api(series, fill_in)
    for _ in range(limits.TABLES.at_once):
        limits.spend(limits.TABLES, fill_in.pk)
    slow = call("bringMarks", marks(AT), slug=series.slug)
    assert (slow.status_code, int(slow.headers["Retry-After"]) > 0) == (429, True)
    assert "a lot of tables to try" in slow.json()["detail"]
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    part = make_part(series)
    big = {"part": part.pk, "code": "Y", "note": "y" * 100}
    assert call("propose", big, slug=series.slug).status_code == 413


def test_what_is_archived_is_refused_as_on_the_screen(series: Series, guide: Guide, lead: User) -> None:
    part = make_part(series)
    archive(row=part, by=lead)
    answer = api(series, lead)("propose", {"part": part.pk, "code": "Y"}, slug=series.slug)
    assert answer.status_code == 409


def test_a_token_that_writes_is_made_by_whoever_may(series: Series, fill_in: User, fill_in_client: Client) -> None:
    address = reverse("tokens", args=[series.slug])
    form_of(fill_in_client.get(address), has="name").fill(name="reads").press(fill_in_client)
    form_of(fill_in_client.get(address), has="name").fill(name="writes", may_write="on").press(fill_in_client)
    assert {one.name: one.may_write for one in ReadToken.objects.all()} == {"reads": False, "writes": True}
    assert text_of(fill_in_client.get(address)).count("may write") > 1
    guest = client_of(make_member(series, "guest"))
    assert 'name="may_write"' not in guest.get(address).content.decode()
    guest.post(address, {"name": "mine", "may_write": "on"})
    assert not ReadToken.objects.get(name="mine").may_write


def test_a_right_that_is_taken_away_is_gone_for_the_token_too(series: Series, guide: Guide, fill_in: User) -> None:
    call = api(series, fill_in)
    series.memberships.filter(user=fill_in).update(role="guest")
    make_mark(guide, "Y")
    assert call("bringMarks", marks(AT), slug=series.slug).status_code == 403
    assert call("marks", slug=series.slug).status_code == 200, "it still reads"


def scan(data: bytes = b"", name: str = "proof.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data or picture_bytes(500, 750), "image/jpeg")


def test_a_proof_comes_in_once_and_is_read(series: Series, guide: Guide, lead: User) -> None:
    call = api(series, lead)
    made = call("bringProof", {"issue": "57", "page": "3", "scan": scan()}, slug=series.slug)
    assert (made.status_code, made.json()["state"], made.json()["sent_by"]) == (201, "waiting", lead.username)
    work_off()
    told = call("proof", slug=series.slug, pk=made.json()["id"]).json()
    assert (told["state"], told["refusal"] != "") == ("refused", True), "one flat colour cannot be laid over a page"
    again = call("bringProof", {"issue": "57", "page": "3", "scan": scan(name="again.jpg")}, slug=series.slug)
    assert (again.status_code, again.json()["id"]) == (200, made.json()["id"])
    assert Proof.objects.count() == 1
    page = client_of(lead).get(reverse("proof", args=[series.slug, told["id"]]))
    assert told["refusal"] in text_of(page)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"scan": scan(b"no picture")}, "This is text, not a picture"),
        ({"scan": scan(damaged_picture())}, "damaged"),
        ({"scan": scan(picture_bytes(100, 100))}, "at least"),
        ({"scan": scan(b"x", name="proof.exe")}, ""),
        ({}, "required"),
        ({"scan": scan(), "page": ""}, ""),
        ({"scan": scan(), "damagd": "true"}, "damagd"),
        ({"scan": scan(), "second": scan()}, "second"),
    ],
)
def test_what_is_no_proof_is_refused_in_words(
    series: Series, guide: Guide, lead: User, sent: dict[str, Any], words: str
) -> None:
    answer = api(series, lead)("bringProof", {"issue": "57", "page": "3"} | sent, slug=series.slug)
    assert (answer.status_code, words in answer.content.decode()) == (422, True), answer.content
    assert not Proof.objects.exists()


def test_who_may_not_bring_proofs(series: Series, guide: Guide, lead: User, fill_in: User) -> None:
    def body() -> dict[str, Any]:
        return {"issue": "57", "page": "3", "scan": scan()}

    assert OpenApiClient()("bringProof", body(), slug=series.slug).status_code == 401
    assert api(series, lead, may_write=False)("bringProof", body(), slug=series.slug).status_code == 403
    for person in (fill_in, make_member(series, "guest")):
        may = series.memberships.get(user=person).may(Permission.CHECK_PROOFS)
        assert not may
        assert api(series, person)("bringProof", body(), slug=series.slug).status_code == 403
    assert api(series, make_member(series, "editor"))("bringProof", body(), slug=series.slug).status_code == 201
    assert api(series, lead)("bringProof", body() | {"page": "99"}, slug=series.slug).status_code == 404
    assert api(series, lead)("bringProof", body(), slug=make_series().slug).status_code == 404
    eager = make_member(series, "lead")
    limits.spend(limits.PICTURES, eager.pk, cost=limits.PICTURES.at_once)
    assert api(series, eager)("bringProof", body(), slug=series.slug).status_code == 429
    assert Proof.objects.count() == 1
