"""Who comes into a view of a series and who is told what, which rows are held, and that tables are as migrations make
them."""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.http import Http404, HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse

from bible.models import Series
from bible.models.permissions import MemberRole, Permission
from bible.series import holding
from bible.series.holding import (
    How,
    hold,
    hold_places,
    hold_reading,
    hold_series,
    hold_to_decide,
    part_rows,
    series_rows,
)  # fmt: skip
from bible.series.refusals import Refused
from bible.web import access
from tests.factories import make_edition, make_issue, make_member, make_part, make_series

pytestmark = pytest.mark.django_db


def test_who_may_in_words() -> None:
    lead, editor = MemberRole.LEAD, MemberRole.EDITOR
    assert access.who_may((lead,)) == "a lead colourist"
    assert access.who_may((editor,)) == "an editor"
    assert access.who_may((lead, editor)) == "a lead colourist or an editor"


def test_a_view_of_a_series_and_who_comes_in(series: Series, lead: Any, fill_in: Any) -> None:
    @access.member(Permission.LOCK, ["GET"])
    def view(request: Any, found: Series, word: str = "") -> HttpResponse:
        return HttpResponse(f"{found.title} {request.membership.role} {request.edition} {request.may['lock']} {word}")

    def ask(user: Any, address: str = "/", method: str = "get", slug: str = series.slug) -> Any:
        request = getattr(RequestFactory(), method)(address)
        request.user = user
        return view(request, slug=slug, word="so")

    assert view.permission is Permission.LOCK  # type: ignore[attr-defined]
    assert view.__name__ == "view"
    assert ask(lead).content.decode() == f"{series.title} lead None True so"
    assert ask(lead, method="post").status_code == 405
    album = make_edition(series, name="Album")
    for name in ("Album", "album", " Album ", "Al\0bum"):
        assert f" {album} " in ask(lead, f"/?edition={name}").content.decode().replace("  ", " ")
    assert " None " in ask(lead, "/?edition=%20").content.decode()
    for user, address, slug in ((make_member(make_series()), "/", series.slug), (lead, "/?edition=x", series.slug), (lead, "/", "nowhere")):  # fmt: skip
        with pytest.raises(Http404):
            ask(user, address, slug=slug)
    with pytest.raises(access.PermissionDenied, match=r"Only a lead colourist may do this; you are a fill-in colourist. Ask lead\."):  # fmt: skip
        ask(fill_in)
    series.memberships.filter(user=lead).delete()
    with pytest.raises(access.PermissionDenied, match=r"Ask the lead colourist\."):
        ask(fill_in)


def test_a_lead_without_the_factor_asked_for_is_told_so(series: Series, lead: Any, lead_client: Client) -> None:
    Series.objects.filter(pk=series.pk).update(leads_need_second_factor=True)
    part = make_part(series)
    said = lead_client.get(reverse("lock", args=[series.slug, part.pk]))
    assert said.status_code == 403
    assert f"{series} asks its lead colourists for a second factor" in said.content.decode()
    assert lead_client.get(reverse("bible", args=[series.slug])).status_code == 200
    fill_in = make_member(series, "fill-in")
    client = Client()
    client.force_login(fill_in)
    assert "second factor" not in client.get(reverse("lock", args=[series.slug, part.pk])).content.decode()


def test_whom_a_view_without_a_series_is_open_to() -> None:
    opened = {each.__name__: each(lambda request: HttpResponse()) for each in (access.anybody, access.invited, access.everybody)}  # fmt: skip
    assert {name: view.open_to for name, view in opened.items()} == {  # type: ignore[attr-defined]
        "anybody": "signed in", "invited": "token", "everybody": "everybody",
    }  # fmt: skip
    assert {name: getattr(view, "login_required", True) for name, view in opened.items()} == {
        "anybody": True, "invited": False, "everybody": False,
    }  # fmt: skip


def test_after_signing_in_one_comes_back_to_the_page_that_something_was_sent_from(series: Series) -> None:
    only_sent = reverse("decide-reading", args=[series.slug, 1])
    page, anonymous = reverse("flags", args=[series.slug]), Client()
    came = {"Referer": f"http://testserver{page}?kind=differs"}
    for headers, back in (
        (came, f"{page}?kind=differs"),
        ({"Referer": "https://elsewhere.example/x"}, only_sent),
        ({}, only_sent),
    ):
        answer = anonymous.post(only_sent, headers=headers)
        assert answer["Location"] == f"{reverse('login')}?{urlencode({'next': back}, safe='/')}"
    piece = {"HX-Request": "true", "HX-Current-URL": came["Referer"]}
    answer = anonymous.post(only_sent, headers=piece)
    assert (answer.status_code, "You are signed out" in answer.content.decode()) == (401, True)
    assert answer["HX-Redirect"] == f"{reverse('login')}?{urlencode({'next': f'{page}?kind=differs'}, safe='/')}"
    answer = anonymous.get(page, headers=piece)
    assert (answer.status_code, "HX-Redirect" in answer) == (401, False), "nobody is led away from what they write"


def test_an_address_that_only_takes_what_is_sent_says_so_to_whoever_opens_it(
    series: Series, lead_client: Client
) -> None:
    """What was shown before a yes stands at such an address: opened once more, it is no blank page."""
    only_sent = reverse("decide-reading", args=[series.slug, 1])
    answer = lead_client.get(only_sent, headers={"Accept": "text/html,*/*"})
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert "only takes what is sent" in answer.content.decode()
    assert lead_client.get(only_sent).content == b"", "a program knows by the status"


def test_rows_are_held_for_a_transaction_and_in_their_order(series: Series) -> None:
    part = make_part(series)
    hold(part_rows([part.pk, None], How.SHARED), series_rows(series.pk, How.KEPT))
    assert list(part_rows([part.pk, None], How.SHARED).rows) == [part]
    assert list(series_rows(series.pk, How.KEPT).rows) == [series]
    hold_to_decide(series.pk, [part.pk, part.pk])
    hold_to_decide(series.pk, [])
    with pytest.raises(Refused, match="A part has been deleted meanwhile"):
        hold_to_decide(series.pk, [part.pk, part.pk + 10**6])


class Overheard:
    """A connection of a database that holds row by row, as ``hold`` sees one; ``said`` is what it is asked."""

    vendor, in_atomic_block, ops = "postgresql", True, connection.ops

    def __init__(self) -> None:
        self.said: list[tuple[str, str]] = []

    def cursor(self) -> Any:
        return contextlib.nullcontext(self)

    def execute(self, sql: str, params: Any) -> None:
        table, how = re.fullmatch(r".* FOR (.*) OF \"(\w+)\"\) held", sql).groups()[::-1]  # type: ignore[union-attr]
        assert sql.startswith(f'SELECT count(*) FROM (SELECT "{table}"."id"')
        assert " ORDER BY 1 ASC FOR " in sql
        self.said.append((table.partition("_")[2], how))


def test_what_is_asked_of_a_database_that_holds_rows(series: Series, monkeypatch: pytest.MonkeyPatch) -> None:
    part, issue = make_part(series), make_issue(series)
    deeds: list[tuple[Callable[[], None], list[tuple[str, str]]]] = [
        (lambda: hold_to_decide(series.pk, [part.pk]), [("series", "NO KEY UPDATE"), ("part", "NO KEY UPDATE")]),
        (lambda: hold_to_decide(series.pk, []), [("series", "NO KEY UPDATE")]),
        (lambda: hold_places([issue, None]), [("issue", "NO KEY UPDATE")]),
        (lambda: hold_series(series.pk), [("series", "UPDATE")]),
        (lambda: hold_reading(series.pk), [("series", "KEY SHARE")]),
        (
            lambda: hold(part_rows([part.pk], How.SHARED), series_rows(series.pk, How.KEPT)),
            [("series", "KEY SHARE"), ("part", "SHARE")],
        ),
    ]
    for deed, asked in deeds:
        heard = Overheard()
        monkeypatch.setattr(holding, "connection", heard)
        deed()
        assert heard.said == asked


@pytest.mark.django_db(transaction=True)
def test_without_a_transaction_nothing_is_held(db: None) -> None:
    series = make_series()
    with pytest.raises(transaction.TransactionManagementError, match="until a transaction ends"):
        hold(series_rows(series.pk, How.KEPT))


def test_tables_are_as_their_migrations_make_them() -> None:
    out = io.StringIO()
    call_command("makemigrations", check=True, dry_run=True, stdout=out)
    assert "No changes detected" in out.getvalue()
