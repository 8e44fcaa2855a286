"""Doing things at the desk exactly once: a request that comes again is answered with what it did the first time."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils import timezone

from guides.core.services import state_of
from guides.models import Deed, Guide, Mark, PageNote, SceneArea

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Thing = Mark | SceneArea | PageNote

KEPT = dt.timedelta(days=30)
"""How long a deed is remembered. Longer than any page stays open and any browser stays offline with work in it."""

FORGET_EVERY = 16
"""Deeds between two looks for such as are to be forgotten: often enough that they do not pile up."""

_KEY = re.compile(r"[A-Za-z0-9-]{8,64}")
_BESIDE_THE_POINT = frozenset({"key", "seen", "csrfmiddlewaretoken", "shown"})


def new_key() -> str:
    return str(uuid.uuid4())


def key_of(path: str, said: Mapping[str, str]) -> str:
    """The key of a request: what the browser sent as ``key``, with a digest of what was to be done.

    So a form that comes again unchanged (a lost answer, a double click) is the same deed, while one that somebody
    went back to and changed is another. A request without a usable key gets one of its own.
    """
    told = said.get("key", "")
    if not _KEY.fullmatch(told):
        return new_key()
    rest = sorted((name, said[name]) for name in said if name not in _BESIDE_THE_POINT)
    return f"{told}:{hashlib.sha256(repr((path, rest)).encode()).hexdigest()[:24]}"


@dataclass(frozen=True, slots=True)
class Done:
    """A deed, and whether it had been done before this request came."""

    deed: Deed
    again: bool

    @property
    def mark(self) -> Mark:
        assert self.deed.mark is not None
        return self.deed.mark


def do_once(*, guide: Guide, by: User, key: str, kind: Deed.Kind, deed: Callable[[], Thing]) -> Done:
    """Carry out a deed of the desk unless this person's key has been used; what refuses it comes through.

    Args:
        deed: does it and returns the mark, area or note it concerned. A mark that was there before says how it was
            (``Mark.before``): whatever holds it knows, and nothing is held before the deed holds what it needs.
    """
    known = Deed.objects.filter(by=by, key=key).select_related("mark").first()
    if known:
        return Done(known, again=True)
    try:
        return _do(guide, by, key, kind, deed)
    except IntegrityError:
        # Two requests with one key at once: the other one has won, and what this one did is rolled back.
        known = Deed.objects.filter(by=by, key=key).select_related("mark").first()
        if known is None:
            raise
        return Done(known, again=True)


@transaction.atomic
def _do(guide: Guide, by: User, key: str, kind: Deed.Kind, deed: Callable[[], Thing]) -> Done:
    thing = deed()
    row = Deed(series_id=guide.series_id, guide=guide, by=by, key=key, kind=kind)
    if isinstance(thing, Mark):
        if thing.before:
            row.before, row.from_version = thing.before.state, thing.before.version
        row.mark, row.after, row.to_version = thing, state_of(thing), thing.version
    elif isinstance(thing, SceneArea):
        row.area = thing
    else:
        row.note = thing
    row.save(force_insert=True)
    if row.pk % FORGET_EVERY == 0:
        Deed.objects.filter(guide=guide, by=by, at__lt=timezone.now() - KEPT).delete()
    return Done(row, again=False)
