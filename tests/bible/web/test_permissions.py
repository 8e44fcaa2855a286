"""The one table of permissions: nothing asks for one that is not there, and none is there that nobody asks for."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bible.models.permissions import RIGHTS, MemberRole, Permission, Rights, may
from tests.world import IN_SERIES

HOUSE = Path(__file__).parents[3]
ASKED = re.compile(r"request\.may\.([a-z_]+)")


def test_every_permission_has_its_roles_and_a_lead_has_them_all() -> None:
    assert set(RIGHTS) == set(Permission)
    assert all(MemberRole.LEAD in roles for roles in RIGHTS.values())


def test_what_a_guest_may_do_everybody_may() -> None:
    assert [permission for permission in Permission if may(MemberRole.GUEST, permission)] == [Permission.READ]
    assert RIGHTS[Permission.READ] == tuple(MemberRole)


def test_templates_ask_for_permissions_by_their_names_and_never_for_a_role() -> None:
    for path in sorted((HOUSE / "templates").rglob("*.html")):
        text = path.read_text(encoding="utf-8")
        asked = set(ASKED.findall(text))
        assert {name for name in asked if name.upper() not in Permission.__members__} == set(), path
        assert "membership.role" not in text, path


def test_every_permission_opens_a_view() -> None:
    assert {address.view.permission for address in IN_SERIES} == set(Permission)  # type: ignore[attr-defined]


def test_every_view_of_a_series_says_its_methods() -> None:
    """A view that answers any method at all would be asked with some nobody thought of (RFC 9110, 15.5.6)."""
    for address in IN_SERIES:
        assert address.view.permission in Permission, address  # type: ignore[attr-defined]


def test_templates_are_told_what_a_person_may() -> None:
    assert Rights(MemberRole.FILL_IN)["mark"]
    assert not Rights(MemberRole.FILL_IN)["lock"]
    with pytest.raises(KeyError):
        Rights(MemberRole.LEAD)["fly"]
