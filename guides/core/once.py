"""What is done at a page's desk: exactly once for each key, with before and after, so that it can be taken back.

A service that somebody can do at a desk is made one by ``deed_of_desk``. Called plainly it does its work, as imports
need it; ``service.once(desk, …)`` does it at a desk, where a request that comes again is answered with what it did
the first time.

The browser makes a key for each thing to be done and keeps the request until the server has answered; ``Deed`` is
unique by person and key, and the key carries a digest of what was said. A lost answer, a second window or a double
click find the deed done, while a form somebody went back to and changed is another deed. No service worker: the
page itself is not kept, only work is.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import update_wrapper
from typing import TYPE_CHECKING, Any, Generic, ParamSpec, TypeVar

from django.db import IntegrityError, transaction
from django.utils import timezone

from guides.models import Deed, FoundCode, Guide, Mark, PageNote, SceneArea

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from bible.web.access import MemberRequest

Thing = Mark | SceneArea | PageNote | FoundCode
P = ParamSpec("P")
T = TypeVar("T", bound=Thing)

KEPT = dt.timedelta(days=30)
"""How long a deed is remembered. Longer than any page stays open and any browser stays offline with work in it."""

FORGET_EVERY = 16
"""Deeds between two looks for such as are to be forgotten: often enough that they do not pile up."""

_KEY = re.compile(r"[A-Za-z0-9-]{8,64}")
_BESIDE_THE_POINT = frozenset({"key", "seen", "csrfmiddlewaretoken", "shown"})


def new_key() -> str:
    return str(uuid.uuid4())


def key_of(path: str, posted: Mapping[str, str]) -> str:
    """The key of a request: what the browser sent as ``key``, with a digest of what was to be done.

    So a form that comes again unchanged (a lost answer, a double click) is the same deed, while one that somebody
    went back to and changed is another. A request without a usable key gets one of its own.
    """
    sent = posted.get("key", "")
    if not _KEY.fullmatch(sent):
        return new_key()
    rest = sorted((name, posted[name]) for name in posted if name not in _BESIDE_THE_POINT)
    return f"{sent}:{hashlib.sha256(repr((path, rest)).encode()).hexdigest()[:24]}"


def state_of(mark: Mark) -> dict[str, Any]:
    """What a mark says and where, as JSON takes it and ``put_back`` gives it back."""
    state = {name: getattr(mark, name) for name in ("x", "y", "written", "to_written", "to_x", "to_y", "role")}
    return state | {"part": mark.part_id, "deleted": mark.deleted_at is not None}


@dataclass(frozen=True, slots=True)
class AtDesk:
    """Whose request it is, at which page's desk, and the request's key."""

    guide: Guide
    by: User
    key: str

    @classmethod
    def of(cls, request: MemberRequest, guide: Guide) -> AtDesk:
        return cls(guide, request.user, key_of(request.path, request.POST.dict()))

    def known(self) -> Deed | None:
        """The deed that this person's key has led to already."""
        return Deed.objects.filter(by=self.by, key=self.key).select_related("mark").first()


@dataclass(frozen=True, slots=True)
class Done:
    """A deed, and whether it had been done before this request came."""

    deed: Deed
    again: bool

    @property
    def mark(self) -> Mark:
        assert self.deed.mark is not None
        return self.deed.mark


class DeskService(Generic[P, T]):
    """A service that may be done at a desk; see ``deed_of_desk``."""

    def __init__(self, service: Callable[P, T], kind: Deed.Kind) -> None:
        self.kind = kind
        self.service = service
        update_wrapper(self, service)

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> T:
        return self.service(*args, **kwargs)

    def once(self, desk: AtDesk, /, *args: P.args, **kwargs: P.kwargs) -> Done:
        """Do it unless this person's key has been used; what refuses it comes through."""
        if known := desk.known():
            return Done(known, again=True)
        try:
            with transaction.atomic():
                return Done(_keep(desk, self.kind, self.service(*args, **kwargs)), again=False)
        except IntegrityError:
            # Two requests with one key at once: the other one has won, and what this one did is rolled back.
            if known := desk.known():
                return Done(known, again=True)
            raise


def deed_of_desk(kind: Deed.Kind) -> Callable[[Callable[P, T]], DeskService[P, T]]:
    """Let a service be done at a desk (``.once``).

    It returns the mark, area, note or found code it concerned. A mark that was there before says how it was
    (``Mark.before``): whatever holds it knows, and nothing is held before the service holds what it needs.
    """
    return lambda service: DeskService(service, kind)


def _keep(desk: AtDesk, kind: Deed.Kind, outcome: Thing) -> Deed:
    row = Deed(series_id=desk.guide.series_id, guide=desk.guide, by=desk.by, key=desk.key, kind=kind)
    if isinstance(outcome, Mark):
        if outcome.before:
            row.before, row.from_version = outcome.before.state, outcome.before.version
        row.mark, row.after, row.to_version = outcome, state_of(outcome), outcome.version
    elif isinstance(outcome, SceneArea):
        row.area = outcome
    elif isinstance(outcome, FoundCode):
        row.found = outcome
        row.after = {"codes": [code.pk for code in outcome.beside]} if outcome.beside else None
    else:
        row.note = outcome
    row.save(force_insert=True)
    if row.pk % FORGET_EVERY == 0:
        Deed.objects.filter(guide=desk.guide, by=desk.by, at__lt=timezone.now() - KEPT).delete()
    return row
