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


def title_of(thing: Thing) -> str:
    """How people call it: “Oddny, work coat: hair”, “issue 57”."""
    if isinstance(thing, Part):
        return thing.full_name
    return f"{thing.subject}, {thing.name}" if isinstance(thing, Costume) else str(thing)


def name_of(thing: Thing) -> str:
    """The same where a word before it says already what it is: “57”."""
    return thing.number if isinstance(thing, Issue) else title_of(thing)


def about(thing: Thing) -> tuple[int, ActivityRoom, dict[str, Any]]:
    """(key of its series, the room it belongs to, what a record of a deed done to it is about)."""
    if isinstance(thing, Series):
        return thing.pk, ActivityRoom.SETTINGS, {}
    if isinstance(thing, Issue):
        return thing.series_id, ActivityRoom.ISSUES, {"issue": thing}
    if isinstance(thing, Scene):
        return thing.series_id, ActivityRoom.SCENES, {"scene": thing}
    costume = thing.costume if isinstance(thing, Part) else thing
    subject = costume.subject if isinstance(costume, Costume) else costume
    return subject.series_id, ActivityRoom.SUBJECTS, {"subject": subject}


def why_archived(part: Part) -> str:
    """Who archived a part, or what it is a part of, and what to do; empty where it is offered."""
    thing = next((one for one in (part.costume.subject, part.costume, part) if one.archived_at), None)
    if thing is None:
        return ""
    series, room, pointing = about(thing)
    deeds = Activity.objects.filter(series=series, room=room, kind=ActivityKind.ARCHIVED, at__gte=thing.archived_at)
    what = str(thing._meta.verbose_name)
    said = (one for one in deeds.filter(**pointing).select_related("by").order_by("at", "id")[:20])
    by = next(
        (one.by for one in said if (one.words.get("what"), one.words.get("name")) == (what, name_of(thing))), None
    )
    when = timezone.localtime(thing.archived_at).strftime("%-d %b %Y")
    who = f"{naming.name_of(by)} archived {title_of(thing)} on {when}" if by else f"{title_of(thing)} is archived"
    return f"{who}. A lead brings it back on the page “Archived”; then send this again."


def record_of(deed: ActivityKind, thing: Thing, by: User | None, was: str = "") -> None:
    """Write down what was done to a thing. What is deleted is named, not pointed at.

    Args:
        was: the name it had before.
    """
    series, room, pointing = about(thing)
    if deed == ActivityKind.DELETED and thing in pointing.values():
        pointing = {}
    name = name_of(thing)
    words = {"what": str(thing._meta.verbose_name), "name": name, "was": was if was != name else ""}
    record(deed, series=series, by=by, room=room, words=words, **pointing)
