"""Saving what two people may have open at once: the second is shown what the first has made of it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, models, transaction

from bible import signals
from bible.models import Activity, Costume, Deed, Issue, Lock, Part, Room, Series, Subject
from bible.services.activity import record
from bible.services.refusals import Refused

if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.contrib.auth.models import User

Editable = Subject | Costume | Part | Issue | Series


class StaleEdit(Refused):
    """Somebody else saved the same thing meanwhile; ``stored`` is how it is now."""

    def __init__(self, stored: Any, by: Any) -> None:
        self.stored = stored
        super().__init__(f"{by or 'Somebody'} changed this meanwhile.")


def fingerprint(row: models.Model, fields: Iterable[str]) -> str:
    """Stands for what some fields of a row say, to be shown with a form and handed back."""
    said = "\x1f".join(f"{name}={getattr(row, name)!r}" for name in sorted(fields))
    return hashlib.sha256(said.encode()).hexdigest()[:32]


def _taken(what: str) -> AbstractContextManager[None]:
    """Two people gave the same name at the same moment: the database keeps one of them, the other is told."""

    @contextmanager
    def told() -> Iterator[None]:
        try:
            with transaction.atomic():
                yield
        except IntegrityError as error:
            raise Refused(f"Somebody has saved {what} of this name meanwhile.") from error

    return told()


@transaction.atomic
def add(*, row: Subject | Costume | Part, by: User | None) -> None:
    """Save a new subject, costume or part."""
    with _taken(f"a {row._meta.verbose_name}"):
        row.save(force_insert=True)
    _record(Deed.ADDED, row, by)


@transaction.atomic
def save_edit(*, row: Editable, fields: Iterable[str], by: User | None, seen: str = "") -> None:
    """Save some fields of a row that a form has filled.

    Args:
        seen: ``fingerprint`` of these fields when the form was shown; empty does not ask.

    Raises:
        StaleEdit: the fields say something else by now.
        Refused: the row has been deleted, or its new name is taken.
    """
    fields = list(fields)
    stored = type(row)._base_manager.select_for_update().filter(pk=row.pk).first()
    if stored is None:
        raise Refused("Somebody has deleted this meanwhile; what you wrote is not saved.")
    if seen and seen != fingerprint(stored, fields):
        raise StaleEdit(stored, _last_editor(stored))
    changed = [name for name in fields if getattr(stored, name) != getattr(row, name)]
    if not changed:
        return
    with _taken(f"a {row._meta.verbose_name}"):
        row.save(update_fields=changed)
    if isinstance(row, Series) and changed == ["press"]:
        record(Deed.PRESS_CHOSEN, series=row, by=by, words={"what": "series", "name": row.press})
    else:
        _record(Deed.CHANGED, row, by, was=_name(stored))
    if isinstance(row, Costume) and {"from_position", "to_position"} & set(changed):
        parts = list(row.parts.values_list("pk", flat=True))
        signals.expectation_changed.send(sender=Lock, series=row.subject.series, part_ids=parts)


def _name(row: Editable) -> str:
    if isinstance(row, Issue):
        return row.number
    if isinstance(row, Part):
        return row.full_name
    return f"{row.subject}, {row.name}" if isinstance(row, Costume) else str(row)


def _about(row: Editable) -> tuple[Series, Room, dict[str, Any]]:
    if isinstance(row, Series):
        return row, Room.SETTINGS, {}
    if isinstance(row, Issue):
        return row.series, Room.ISSUES, {"issue": row}
    subject = row if isinstance(row, Subject) else row.subject if isinstance(row, Costume) else row.costume.subject
    return subject.series, Room.SUBJECTS, {"subject": subject}


def _record(deed: Deed, row: Editable, by: User | None, was: str = "") -> None:
    series, room, about = _about(row)
    name = _name(row)
    words = {"what": str(row._meta.verbose_name), "name": name, "was": was if was != name else ""}
    record(deed, series=series, by=by, room=room, words=words, **about)


def _last_editor(stored: Editable) -> User | None:
    series, room, about = _about(stored)
    changes = Activity.objects.filter(series=series, room=room, **about)
    newest = changes.filter(kind__in=(Deed.CHANGED, Deed.PRESS_CHOSEN)).newest_first().select_related("by")
    what, name = str(stored._meta.verbose_name), _name(stored)
    if isinstance(stored, Series):
        return next((one.by for one in newest[:1]), None)
    said = (one for one in newest[:20] if (one.words.get("what"), one.words.get("name")) == (what, name))
    return next((one.by for one in said), None)
