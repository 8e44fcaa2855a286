"""Saving what two people may have open at once: the second is shown what the first has made of it.

Forms carry what was seen (``seen``: the newest lock of the part and role, a mark's version). A stale save is
refused, shows the newer state, keeps what was typed, and goes through when sent again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, models, transaction

from bible.models import Activity, ActivityKind, ActivityRoom, Costume, Issue, Part, Series, Subject, naming, record
from bible.series.holding import How, Rows, hold, hold_places, hold_to_decide, series_rows
from bible.series.refusals import Refused
from bible.series.things import about, name_of, record_of
from bible.web.digest import digest

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Editable = Subject | Costume | Part | Issue | Series


class StaleEdit(Refused):
    """Somebody else saved the same thing meanwhile; ``stored`` is how it is now."""

    def __init__(self, stored: Any, by: Any) -> None:
        self.stored = stored
        super().__init__(f"{naming.name_of(by) if by else 'Somebody'} changed this meanwhile.")


def fingerprint(row: models.Model, fields: Iterable[str]) -> str:
    """Stands for what some fields of a row say, to be shown with a form and handed back."""
    content = "\x1f".join(f"{name}={getattr(row, name)!r}" for name in sorted(fields))
    return digest(content)


@contextmanager
def _taken(what: str) -> Iterator[None]:
    """Two people gave the same name at the same moment: the database keeps one of them, the other is told."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        raise Refused(f"Somebody has saved {what} of this name meanwhile.") from error


@transaction.atomic
def add(*, row: Subject | Costume | Part, by: User | None, places: Iterable[Issue | None] = ()) -> None:
    """Save a new subject, costume or part. ``places``: the issues its time was said by, for ``hold_places``."""
    hold(series_rows(about(row)[0], How.KEPT))
    hold_places(places)
    with _taken(f"a {row._meta.verbose_name}"):
        row.save(force_insert=True)
    record_of(ActivityKind.ADDED, row, by)


@transaction.atomic
def save_edit(
    *, row: Editable, fields: Iterable[str], by: User | None, seen: str = "", places: Iterable[Issue | None] = ()
) -> bool:
    """Save some fields of a row that a form has filled. Returns whether any of them said something else before.

    Args:
        seen: ``fingerprint`` of these fields when the form was shown; empty does not ask.
        places: the issues that positions among the fields were said by, as ``hold_places`` has them.

    Raises:
        StaleEdit: the fields say something else by now.
        Refused: the row has been deleted, its new name is taken, or one of the places has moved.
    """
    fields = list(fields)
    _hold(row)
    hold_places(places)
    stored = type(row)._base_manager.select_for_update(no_key=True).filter(pk=row.pk).first()
    if stored is None:
        raise Refused("Somebody has deleted this meanwhile; what you wrote is not saved.")
    if seen and seen != fingerprint(stored, fields):
        raise StaleEdit(stored, _last_editor(stored))
    changed = [name for name in fields if getattr(stored, name) != getattr(row, name)]
    if not changed:
        return False
    with _taken(f"a {row._meta.verbose_name}"):
        row.save(update_fields=changed)
    if isinstance(row, Series) and changed == ["press"]:
        record(ActivityKind.PRESS_CHOSEN, series=row, by=by, words={"what": "series", "name": row.press})
    elif isinstance(row, Series) and set(changed) <= {"roles_data", "kinds_data"}:
        lists = " and ".join({"roles_data": "roles", "kinds_data": "kinds of subject"}[name] for name in changed)
        record(ActivityKind.CHANGED, series=row, by=by, room=ActivityRoom.SETTINGS, words={"what": lists})
    elif isinstance(row, Series) and changed == ["leads_need_second_factor"]:
        words = {"what": "sign-in of lead colourists"}
        record(ActivityKind.CHANGED, series=row, by=by, room=ActivityRoom.SETTINGS, words=words)
    else:
        record_of(ActivityKind.CHANGED, row, by, was=name_of(stored))
    return True


def _hold(row: Editable) -> None:
    """The series and, where what their marks owe may follow from it, the parts; the row itself where it has a place
    in the order."""
    series_id = about(row)[0]
    if isinstance(row, Costume):
        hold_to_decide(series_id, row.parts.values_list("pk", flat=True))
    elif isinstance(row, Series):
        hold(series_rows(series_id, How.TO_CHANGE))
    else:
        rows = (
            [Rows(type(row)._base_manager.filter(pk=row.pk), How.TO_CHANGE)] if isinstance(row, Part | Issue) else []
        )
        hold(series_rows(series_id, How.KEPT), *rows)


def _last_editor(stored: Editable) -> User | None:
    series, room, pointing = about(stored)
    changes = Activity.objects.filter(series=series, room=room, **pointing)
    newest = (
        changes.filter(kind__in=(ActivityKind.CHANGED, ActivityKind.PRESS_CHOSEN)).newest_first().select_related("by")
    )
    what, name = str(stored._meta.verbose_name), name_of(stored)
    if isinstance(stored, Series):
        return next((deed.by for deed in newest[:1]), None)
    deeds = (deed for deed in newest[:20] if (deed.words.get("what"), deed.words.get("name")) == (what, name))
    return next((deed.by for deed in deeds), None)
