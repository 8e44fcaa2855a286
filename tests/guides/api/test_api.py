"""The JSON for other programs, exercised against its own OpenAPI by schemathesis, and checked by hand."""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Iterator
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.test import Client
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.models import ReadToken, Scene, Series
from bible.people.services import make_read_token, remove_member, withdraw_read_token
from bible.scenes.services import HeldTo, set_scene
from bible.series.presses import condition
from bible.subjects.owning import Owned, set_owners
from guides.assignments.services import give_pages
from guides.core.scene_areas import apply_scene
from guides.imaging.intake.formats import PICTURES
from tests.factories import (
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    make_subject,
    picture_bytes,
)

pytestmark = pytest.mark.django_db


def token_for(series: Series, user: User) -> str:
    return make_read_token(membership=series.memberships.get(user=user), name="a program")[1]


def ask(series: Series, token: str, path: str = "", **query: Any) -> Any:
    return Client().get(f"/api/v1/series/{series.slug}{path}", query, headers={"Authorization": f"Bearer {token}"})


@pytest.fixture
def token(series: Series, lead: User) -> str:
    return token_for(series, lead)


def test_the_series_and_its_chart(series: Series, token: str) -> None:
    assert ask(series, token).json()["short_name"] == series.slug
    chart = ask(series, token, "/chart").json()
    assert len(chart["items"]) == 64
    press = condition(series)
    yr = next(item for item in chart["items"] if item["code"] == series.write(series.read("YR3B2")))
    tint = series.read("YR3B2")
    assert (yr["cyan"], yr["magenta"], yr["yellow"], yr["key"]) == tint.percentages
    assert yr["srgb"] == press.hex(tint)


def test_parts_say_whose_their_subject_is(series: Series, lead: User, token: str) -> None:
    one, two = make_issues(series, 2)
    lantern, ada = make_part(series, name="glass"), make_subject(series, name="Ada")
    make_lock(lantern, "Y", by=lead)
    set_owners(subject=lantern.costume.subject, owners=[Owned(ada.pk, 0, two.position)], by=lead)
    (found,) = ask(series, token, "/parts").json()["items"]
    assert found["belongs_to"] == [{"first": None, "last": one.number, "owner": "Ada"}]
    assert ask(series, token, "/look-up", words="glass").json()["items"][0]["belongs_to"] == found["belongs_to"]


def test_scenes_say_what_they_fall_on(series: Series, lead: User, token: str) -> None:
    part = make_part(series, name="skin")
    rule = Shift((Step(Op.ADD, "m", 25),))
    set_scene(scene=Scene(series=series, name="Night"), rule=rule, by=lead)
    targets = [HeldTo(part=part.pk, role="shade")]
    fire = set_scene(scene=Scene(series=series, name="Fire"), rule=rule, by=lead, targets=targets)
    subject = part.costume.subject.name
    assert ask(series, token, "/scenes").json()["items"] == [
        {"name": "Fire", "note": "", "rule": str(rule), "falls_on": [
            {"subject": subject, "costume": part.costume.name, "part": "skin", "role": "shade"}
        ]},
        {"name": "Night", "note": "", "rule": str(rule), "falls_on": []},
    ]  # fmt: skip
    make_lock(part, "Y2", by=lead, role="shade")
    guide = make_guide(make_issues(series, 1)[0], by=lead)
    apply_scene(guide=guide, scene=fire, by=lead)
    make_mark(guide, "Y2R2", part=part, role="shade", by=lead)
    make_mark(guide, "Y2R2", by=lead)
    assert [mark["scene"] for mark in ask(series, token, "/marks").json()["items"]] == ["Fire", None]


def test_parts_carry_the_locks_in_force_at_an_issue(series: Series, lead: User, token: str) -> None:
    _, two = make_issues(series, 2)
    part = make_part(series)
    make_lock(part, "Y", by=lead)
    make_lock(part, "R", by=lead, from_position=two.position)
    for number, code in (("1", "Y"), ("2", "R"), ("", "R")):
        (found,) = ask(series, token, "/parts", issue=number).json()["items"]
        assert [lock["written"] for lock in found["locks"]] == [code]
        assert found["part"] == part.name
    (found,) = ask(series, token, "/look-up", words=part.name, issue="1").json()["items"]
    assert found["locks"][0]["tint"]["yellow"] == 100
    assert ask(series, token, "/parts", issue="99").status_code == 404


def test_marks_and_flags_page_by_keyset(series: Series, lead: User, token: str) -> None:
    (issue,) = make_issues(series, 1)
    part = make_part(series)
    make_lock(part, "Y", by=lead)
    guide = make_guide(issue)
    for code in ("Y", "R", "scribble", "B"):
        make_mark(guide, code, part=part)
    make_mark(guide, "R")
    seen, after = [], ""
    while after is not None:
        page = ask(series, token, "/marks", limit=2, after=after).json()
        seen += page["items"]
        after = page["next"]
    assert [mark["written"] for mark in seen] == ["Y", "R", "scribble", "B", "R"]
    assert [mark["flag"] for mark in seen] == [None, "differs", "unreadable", "differs", None]
    assert seen[2]["tint"] is None
    assert seen[4]["part"] is None
    assert seen[4]["expected"] is None
    flags = ask(series, token, "/flags", issue="1").json()
    assert [mark["written"] for mark in flags["items"]] == ["R", "scribble", "B"]
    assert flags["next"] is None
    assert ask(series, token, "/marks", after="1-2").status_code == 404
    assert ask(series, token, "/marks", limit=0).status_code == 422


def test_queries_do_not_grow_with_rows(series: Series, lead: User, token: str) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def count(path: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert ask(series, token, path).status_code == 200
        return len(captured)

    def grow(how_many: int) -> dict[str, int]:
        for issue in make_issues(series, how_many):
            part = make_part(series)
            make_lock(part, "Y", by=lead)
            make_mark(make_guide(issue), "R", part=part)
        return {path: count(path) for path in ("/issues", "/parts", "/marks", "/flags")}

    ask(series, token)
    assert grow(1) == grow(6)


def test_who_does_which_page(series: Series, lead: User, token: str) -> None:
    one, two = make_issues(series, 2)
    colourist = make_member(series, "fill-in")
    due = timezone.localdate() - dt.timedelta(days=2)
    give_pages(issue=one, pages=["7", "8"], colourist=colourist, due=due, by=lead)
    give_pages(issue=two, pages=["1"], colourist=colourist, note="lamplight", by=lead)
    make_mark(make_guide(one, page="8", by=lead), "YR")
    items = ask(series, token, "/assignments").json()["items"]
    assert [(item["issue"], item["page"], item["late"], item["is_in"]) for item in items] == [
        ("1", "7", True, False),
        ("1", "8", False, True),
        ("2", "1", False, False),
    ]
    assert (items[0]["to_be_in_by"], items[2]["note"]) == (due.isoformat(), "lamplight")
    remove_member(membership=series.memberships.get(user=colourist), by=lead)
    (item,) = ask(series, token, "/assignments", issue="2").json()["items"]
    assert item["given_to"] is None
    assert ask(series, token, "/assignments", issue="99").status_code == 404
    guest = token_for(series, make_member(series, "guest"))
    assert ask(series, guest, "/assignments").status_code == 403


def test_what_opens_nothing(series: Series, lead: User, token: str) -> None:
    assert ask(series, "wrong").status_code == 401
    assert ask(make_series(), token).status_code == 404
    assert Client().get(f"/api/v1/series/{series.slug}").status_code == 401
    signed_in = Client()
    signed_in.force_login(lead)
    assert signed_in.get(f"/api/v1/series/{series.slug}").status_code == 401
    assert ask(series, token).status_code == 200
    for method in ("post", "put", "patch", "delete"):
        answer = getattr(Client(), method)(
            f"/api/v1/series/{series.slug}", headers={"Authorization": f"Bearer {token}"}
        )
        assert answer.status_code == 405


def test_whoever_is_refused_is_told_what_opens(series: Series, token: str) -> None:
    """RFC 6750, section 3; RFC 9110, 11.6.1."""
    answer = Client().get(f"/api/v1/series/{series.slug}")
    assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, 'Bearer realm="series colour bible"')
    assert "WWW-Authenticate" not in ask(series, token).headers


def test_what_has_not_changed_is_not_sent_again(series: Series, token: str) -> None:
    """RFC 9110, 13.1.2: If-None-Match; a change in the bible changes the mark of the answer."""
    part, address = make_part(series), f"/api/v1/series/{series.slug}/parts"
    headers = {"Authorization": f"Bearer {token}"}
    first = Client().get(address, headers=headers)
    assert first.headers["Cache-Control"] == "private, no-cache"
    again = Client().get(address, headers=headers | {"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    make_lock(part, "Y")
    changed = Client().get(address, headers=headers | {"If-None-Match": first.headers["ETag"]})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != first.headers["ETag"]
    nobody = Client().get(address, headers={"If-None-Match": first.headers["ETag"]})
    assert nobody.status_code == 401, "a mark of an answer opens nothing"


def test_head_is_get_without_the_body(series: Series, token: str) -> None:
    headers = {"Authorization": f"Bearer {token}"}
    for path in ("", "/marks", "/issues"):
        got = Client().get(f"/api/v1/series/{series.slug}{path}", headers=headers)
        head = Client().head(f"/api/v1/series/{series.slug}{path}", headers=headers)
        assert (head.status_code, head.content) == (200, b"")
        assert head.headers["ETag"] == got.headers["ETag"]
    assert Client().head(f"/api/v1/series/{series.slug}").status_code == 401


def test_values_that_cannot_be_are_named(series: Series, token: str) -> None:
    answer = ask(series, token, "/marks", limit="many")
    assert answer.status_code == 422
    (wrong,) = answer.json()["detail"]
    assert wrong["loc"] == ["query", "limit"]


def test_a_token_ends(series: Series, lead: User) -> None:
    fill_in = make_member(series, "fill-in")
    withdrawn, expired, left, gone = (token_for(series, user) for user in (lead, lead, fill_in, fill_in))
    withdraw_read_token(token=ReadToken.objects.with_token(withdrawn).get())
    ReadToken.objects.with_token(expired).update(expires_at=timezone.now())
    assert ask(series, left).status_code == 200
    User.objects.filter(pk=fill_in.pk).update(is_active=False)
    assert ask(series, left).status_code == 401
    User.objects.filter(pk=fill_in.pk).update(is_active=True)
    remove_member(membership=series.memberships.get(user=fill_in))
    for token in (withdrawn, expired, left, gone):
        assert ask(series, token).status_code == 401


def test_the_day_of_use_is_kept_once(series: Series, token: str) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    ask(series, token)
    assert ReadToken.objects.get().used_on == timezone.localdate()
    with CaptureQueriesContext(connection) as captured:
        ask(series, token)
    assert not [query for query in captured if query["sql"].startswith("UPDATE")]


def test_tokens_page(series: Series, lead: User, lead_client: Client, fill_in_client: Client) -> None:
    address = f"/s/{series.slug}/tokens/"
    made = lead_client.post(address, {"name": "the separator's desk"})
    token = made.context["token"]
    assert token in made.content.decode()
    assert token not in lead_client.get(address).content.decode()
    assert not ReadToken.objects.filter(token_hash=token).exists()
    assert ask(series, token).status_code == 200
    row = ReadToken.objects.get()
    assert "separator" not in fill_in_client.get(address).content.decode()
    assert fill_in_client.post(f"{address}{row.pk}/withdraw").status_code == 404
    lead_client.post(f"{address}{row.pk}/withdraw")
    assert ask(series, token).status_code == 401
    assert lead_client.post(address, {"name": ""}).status_code == 422
    for _ in range(20):
        make_read_token(membership=series.memberships.get(user=lead), name="x")
    assert "withdraw one first" in lead_client.post(address, {"name": "one more"}).content.decode()


@pytest.fixture
def one_connection() -> Iterator[None]:
    """Lets a whole WSGI application run within a test's transaction: a request's end must not close the connection,
    as Django's own test client sees to as well."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.usefixtures("one_connection")
def test_every_address_keeps_to_its_openapi(series: Series, lead: User) -> None:
    """schemathesis draws requests from the published description and holds every answer against it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import schemathesis
        from hypothesis import HealthCheck, given, settings
        from hypothesis import strategies as st

        from bible.wsgi import application

        (issue,) = make_issues(series, 1)
        part = make_part(series)
        make_lock(part, "Y", by=lead)
        make_mark(make_guide(issue), "R", part=part)
        membership = series.memberships.get(user=lead)
        _, token = make_read_token(membership=membership, name="a program", may_write=True)
        picture = st.just(picture_bytes(40, 60))
        for kind in PICTURES.values():
            schemathesis.openapi.media_type(kind.content_type, picture)
        schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", application)
        tried = 0
        for result in schema.get_all_operations():
            operation: Any = result.ok()  # type: ignore[union-attr]

            @settings(max_examples=12, deadline=None, database=None, suppress_health_check=list(HealthCheck))
            @given(case=operation.as_strategy())
            def run(case: Any) -> None:
                if "slug" in case.path_parameters:
                    case.path_parameters["slug"] = series.slug
                case.call_and_validate(headers={"Authorization": f"Bearer {token}"})

            run()
            tried += 1
        assert tried == 20
