"""Every address × every role × own and other series, taken from the URLconf itself.

A view that names no rule fails here, and so does an address whose ``<int:…>`` nobody has told this file about.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.models.permissions import RIGHTS, MemberRole, Permission
from bible.web.access import who_may
from tests.built_once import Visitor, built_once, own_files
from tests.world import ADDRESSES, IN_SERIES, OUTSIDE, SERIES_PREFIX, Address, World, full_name, url

SAVES_FOR_FEWER: dict[str, tuple[MemberRole, ...]] = {
    "page-scenes": RIGHTS[Permission.MARK],
    "issue-assignments": RIGHTS[Permission.ASSIGN],
}
"""Addresses that more people may look at than may save there."""
OWN_ONLY = {"withdraw-token", "stop-job", "arrival", "cancel-arrival"}
"""Addresses of things that belong to one person; the world's are the lead's, and for others they are not there."""
DJANGOS_OWN = {"login", "logout"}
"""Views of Django's, tested there."""


class Matrix:
    """Two series with one of everything, and everybody in them signed in: built once, since asking changes nothing."""

    def __init__(self) -> None:
        self.world, self.elsewhere = World(), World()
        self.members = {role: Visitor(person) for role, person in self.world.people.items()}
        self.strangers = {role: Visitor(person) for role, person in self.elsewhere.people.items()}
        self.nobody = Visitor(None)


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: Any, built_files: Path) -> Iterator[Matrix]:
    yield from built_once(Matrix, django_db_blocker, built_files)


@pytest.fixture
def matrix(built: Matrix, db: None, settings: Any, built_files: Path) -> Matrix:
    own_files(built_files, settings.MEDIA_ROOT)
    return built


def answers(visitor: Visitor, path: str) -> list[Any]:
    """What GET and an empty POST bring, each undone again; 405 (not this verb, for anybody) left out."""
    found = [visitor.ask(method, path) for method in ("get", "post")]
    return [response for response in found if response.status_code != 405]


WRITES = re.compile(r"(?:INSERT INTO|UPDATE|DELETE FROM) \"?(\w+)")
ONES_OWN = {"bible_allowance", "bible_accountsession"}
"""Tables in which asking leaves a trace of whoever asks: how much they may still do, and that they are here."""
NOTES_A_VISIT = {"activity": {"bible_membership"}}
"""Opening it says up to when one has read: one's own line, which nobody else sees."""


def written(statements: Iterable[str]) -> set[str]:
    """The tables that statements wrote to; what was rehearsed and taken back to its savepoint was not written."""
    kept: list[set[str]] = [set()]
    for sql in statements:
        if sql.startswith("SAVEPOINT"):
            kept.append(set())
        elif sql.startswith("ROLLBACK TO SAVEPOINT"):
            kept[-1].clear()
        elif sql.startswith("RELEASE SAVEPOINT"):
            inside = kept.pop()
            kept[-1] |= inside
        elif found := WRITES.match(sql):
            kept[-1].add(found[1])
    return set().union(*kept)


@pytest.mark.parametrize("address", IN_SERIES, ids=str)
def test_who_looks_writes_nothing(matrix: Matrix, address: Address) -> None:
    """A GET or HEAD is safe (RFC 9110, section 9.2.1): no row of the series changes, whoever asks."""
    path = url(address, matrix.world.series, matrix.world.arguments(address))
    for role, member in matrix.members.items():
        for method in ("get", "head"):
            with CaptureQueriesContext(connection) as asked:
                member.ask(method, path)
            tables = written(query["sql"] for query in asked.captured_queries)
            assert tables - ONES_OWN - NOTES_A_VISIT.get(address.name, set()) == set(), (role, method, path)


@pytest.mark.parametrize("address", ADDRESSES, ids=str)
def test_every_view_names_its_rule(address: Address) -> None:
    if address.name in DJANGOS_OWN:
        return
    inside = address.route.startswith(SERIES_PREFIX)
    rule = "permission" if inside else "open_to"
    assert getattr(address.view, rule, None), f"{address.route} has no rule: decorate it from bible.web.access"


@pytest.mark.parametrize("address", IN_SERIES, ids=str)
def test_roles_and_series(matrix: Matrix, address: Address) -> None:
    world = matrix.world
    path = url(address, world.series, world.arguments(address))
    allowed = RIGHTS[address.view.permission]  # type: ignore[attr-defined]
    saving = SAVES_FOR_FEWER.get(address.name, allowed)
    for role, member in matrix.members.items():
        found = answers(member, path)
        assert found, f"{path} answers neither GET nor POST"
        for response in found:
            if address.name in OWN_ONLY and role in allowed and role != MemberRole.LEAD:
                assert response.status_code == 404, (role, path)
            elif role in allowed and not (response.request["REQUEST_METHOD"] == "POST" and role not in saving):
                assert response.status_code in (200, 302, 422), (role, response.status_code, path)
            else:
                assert response.status_code == 403, (role, response.status_code, path)
                assert who_may(saving if role in allowed else allowed) in response.content.decode()
    for role, stranger in matrix.strangers.items():
        for response in answers(stranger, path):
            assert response.status_code == 404, (f"another series' {role}", path)
            assert world.series.title not in response.content.decode()
    for response in answers(matrix.nobody, path):
        assert response.status_code == 302
        assert response.headers["Location"].startswith(reverse("login"))


@pytest.mark.parametrize("address", [a for a in IN_SERIES if "pk>" in a.route], ids=str)
def test_another_series_rows_are_not_reached_through_ones_own(matrix: Matrix, address: Address) -> None:
    world = matrix.world
    path = url(address, world.series, matrix.elsewhere.arguments(address))
    member = matrix.members[RIGHTS[address.view.permission][0]]  # type: ignore[attr-defined]
    for response in answers(member, path):
        assert response.status_code == 404, path


@pytest.mark.parametrize("address", [a for a in OUTSIDE if a.name not in DJANGOS_OWN], ids=str)
def test_addresses_outside_a_series(matrix: Matrix, address: Address) -> None:
    path = reverse(full_name(address), kwargs=matrix.world.arguments(address))
    signed_in = answers(matrix.members[MemberRole.GUEST], path)
    nobody = answers(matrix.nobody, path)
    if address.view.open_to == "token":  # type: ignore[attr-defined]
        for response in [*signed_in, *nobody]:
            assert response.status_code == 404, "a token that was never given"
    elif address.view.open_to == "bearer":  # type: ignore[attr-defined]
        for response in [*signed_in, *nobody]:
            assert response.status_code == 401, "signing in opens nothing that a token has to"
    elif address.view.open_to == "everybody":  # type: ignore[attr-defined]
        for response in [*signed_in, *nobody]:
            assert response.status_code in (200, 302, 422)
            assert not response.headers.get("Location", "").startswith(reverse("login"))
    else:
        for response in nobody:
            assert response.headers["Location"].startswith(reverse("login"))
        for response in signed_in:
            assert response.status_code in (200, 302, 422)
