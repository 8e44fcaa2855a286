"""What people call the things of a bible, and writing down what was done to one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils import timezone

from bible.models import (
    Activity,
    ActivityKind,
    ActivityRoom,
    Costume,
    Issue,
    Part,
    Scene,
    Series,
    Subject,
    naming,
    record,
)

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Thing = Subject | Costume | Part | Issue | Scene | Series


def title_of(row: Thing) -> str:
    """How people call it: “Oddny, work coat: hair”, “issue 57”."""
    if isinstance(row, Part):
        return row.full_name
    return f"{row.subject}, {row.name}" if isinstance(row, Costume) else str(row)


def name_of(row: Thing) -> str:
    """The same where a word before it says already what it is: “57”."""
    return row.number if isinstance(row, Issue) else title_of(row)


def about(row: Thing) -> tuple[int, ActivityRoom, dict[str, Any]]:
    """(key of its series, the room it belongs to, what a record of a deed done to it is about)."""
    if isinstance(row, Series):
        return row.pk, ActivityRoom.SETTINGS, {}
    if isinstance(row, Issue):
        return row.series_id, ActivityRoom.ISSUES, {"issue": row}
    if isinstance(row, Scene):
        return row.series_id, ActivityRoom.SCENES, {"scene": row}
    costume = row.costume if isinstance(row, Part) else row
    subject = costume.subject if isinstance(costume, Costume) else costume
    return subject.series_id, ActivityRoom.SUBJECTS, {"subject": subject}


def why_archived(part: Part) -> str:
    """Who archived a part, or what it is a part of, and what to do; empty where it is offered."""
    row = next((row for row in (part.costume.subject, part.costume, part) if row.archived_at), None)
    if row is None:
        return ""
    series, room, pointing = about(row)
    deeds = Activity.objects.filter(series=series, room=room, kind=ActivityKind.ARCHIVED, at__gte=row.archived_at)
    what = str(row._meta.verbose_name)
    archivings = (deed for deed in deeds.filter(**pointing).select_related("by").order_by("at", "id")[:20])
    by = next(
        (deed.by for deed in archivings if (deed.words.get("what"), deed.words.get("name")) == (what, name_of(row))),
        None,
    )
    when = timezone.localtime(row.archived_at).strftime("%-d %b %Y")
    who = f"{naming.name_of(by)} archived {title_of(row)} on {when}" if by else f"{title_of(row)} is archived"
    return f"{who}. A lead brings it back on the page “Archived”; then send this again."


def record_of(deed: ActivityKind, row: Thing, by: User | None, was: str = "") -> None:
    """Write down what was done to a thing. What is deleted is named, not pointed at.

    Args:
        was: the name it had before.
    """
    series, room, pointing = about(row)
    if deed == ActivityKind.DELETED and row in pointing.values():
        pointing = {}
    name = name_of(row)
    words = {"what": str(row._meta.verbose_name), "name": name, "was": was if was != name else ""}
    record(deed, series=series, by=by, room=room, words=words, **pointing)
