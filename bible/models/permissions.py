"""Who may do what in a series: the one table that views, templates, forms and the API ask.

To add a permission: a member with its words here, the roles in ``RIGHTS``; then ``@member(Permission.…, methods)`` on
its views and ``{% if request.may.… %}`` around what leads there. ``tests/bible/web/test_permissions.py`` fails where
a template asks for one that is not there, or where no view asks for one that is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from django.db import models


class MemberRole(models.TextChoices):
    """What a person is in a series."""

    LEAD = "lead", "lead colourist"
    FILL_IN = "fill-in", "fill-in colourist"
    EDITOR = "editor", "editor"
    GUEST = "guest", "guest reader"


class Permission(Enum):
    """What may be done, in words that go on with “may”."""

    READ = "read the series"
    DISCUSS = "read and write notes, and read proposals"
    BOOK = "have booklets made"
    MARK = "mark pages and correct marks"
    UPLOAD = "bring pages in"
    PROPOSE = "propose codes"
    SUBMIT = "submit an issue for sign-off"
    CHECK_PROOFS = "bring proofs in and decide about faults"
    ASSIGN = "give pages to colourists"
    KEEP_ISSUES = "add, change, archive and delete issues"
    SIGN_OFF = "sign issues off and reopen them"
    ORDER_ISSUES = "move issues in the running order"
    LOCK = "lock, end and undo codes, and answer proposals"
    EDIT_BIBLE = "add, change, archive and delete subjects, costumes and parts"
    SET_SCENES = "define scenes"
    WAIVE = "waive flags"
    INVITE = "invite people and say what they are"
    SET_UP = "set the title, notation, chart, roles and press"


_LEAD, _FILL_IN, _EDITOR, _GUEST = MemberRole

RIGHTS: dict[Permission, tuple[MemberRole, ...]] = {
    Permission.READ: (_LEAD, _FILL_IN, _EDITOR, _GUEST),
    # Guests read what was decided, not how people talked about it.
    Permission.DISCUSS: (_LEAD, _FILL_IN, _EDITOR),
    Permission.BOOK: (_LEAD, _FILL_IN, _EDITOR),
    Permission.SUBMIT: (_LEAD, _FILL_IN, _EDITOR),
    Permission.MARK: (_LEAD, _FILL_IN),
    Permission.UPLOAD: (_LEAD, _FILL_IN),
    Permission.PROPOSE: (_LEAD, _FILL_IN),
    Permission.CHECK_PROOFS: (_LEAD, _EDITOR),
    Permission.ASSIGN: (_LEAD, _EDITOR),
    Permission.KEEP_ISSUES: (_LEAD, _EDITOR),
    Permission.SIGN_OFF: (_LEAD, _EDITOR),
    Permission.ORDER_ISSUES: (_LEAD,),
    Permission.LOCK: (_LEAD,),
    Permission.EDIT_BIBLE: (_LEAD,),
    Permission.SET_SCENES: (_LEAD,),
    Permission.WAIVE: (_LEAD,),
    Permission.INVITE: (_LEAD,),
    Permission.SET_UP: (_LEAD,),
}


def may(role: str, permission: Permission) -> bool:
    """Whether somebody with this role may do it."""
    return role in RIGHTS[permission]


@dataclass(frozen=True, slots=True)
class Rights:
    """What one person may do in a series, for templates: ``{% if request.may.lock %}``."""

    role: str

    def __getitem__(self, name: str) -> bool:
        return may(self.role, Permission[name.upper()])
