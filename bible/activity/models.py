"""What has happened in a series: one row a deed, written in the transaction of the deed itself."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any, Self

from django.conf import settings
from django.db import IntegrityError, models, transaction
from django.db.models import F, Q
from django.utils import timezone

from bible.locks.models import Lock
from bible.models.permissions import Permission
from bible.proposals.models import Proposal
from bible.scenes.models import Scene
from bible.series.models import Issue, Membership, Series
from bible.subjects.models import Subject

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Key = tuple[dt.datetime, int]
"""(when, primary key): where a page of the list goes on."""


class ActivityRoom(models.TextChoices):
    """What a deed is about, to filter by."""

    LOCKS = "locks", "locks"
    PROPOSALS = "proposals", "proposals"
    WAIVERS = "waivers", "waivers"
    NOTES = "notes", "notes"
    GUIDES = "guides", "page guides"
    MARKS = "marks", "marks"
    SCENES = "scenes", "scenes"
    SUBJECTS = "subjects", "subjects, costumes, parts"
    ISSUES = "issues", "issues"
    PEOPLE = "people", "people"
    PAGES_GIVEN = "given", "who does which page"
    EDITIONS = "editions", "editions"
    SETTINGS = "settings", "notation, chart, roles, press"


class ActivityKind(models.TextChoices):
    """What was done."""

    LOCKED = "locked", "locked"
    SUPERSEDED = "superseded", "superseded"
    CORRECTED = "corrected", "corrected"
    ENDED = "ended", "ended"
    SETTLED = "settled", "locked many at once"
    UNDONE = "undone", "undid a decision"
    PROPOSED = "proposed", "proposed"
    ACCEPTED = "accepted", "accepted a proposal"
    DECLINED = "declined", "declined a proposal"
    TOOK_BACK = "took-back", "took a proposal back"
    WAIVED = "waived", "waived"
    WAIVER_BACK = "waiver-back", "took a waiver back"
    WAIVED_AGAIN = "waived-again", "let waivers hold again"
    NOTED = "noted", "wrote a note"
    UPLOADED = "uploaded", "brought a guide in"
    REVISED = "revised", "brought a new revision in"
    MARKED = "marked", "marked"
    REWROTE = "rewrote", "rewrote marks"
    UNMARKED = "unmarked", "took marks off"
    SCENE_MADE = "scene-made", "made a scene"
    SCENE_CHANGED = "scene-changed", "changed a scene"
    SCENE_APPLIED = "scene-applied", "let a scene hold"
    SCENE_REMOVED = "scene-removed", "took a scene off"
    ADDED = "added", "added"
    BROUGHT_IN = "brought-in", "brought in by a table"
    CHANGED = "changed", "changed"
    MOVED = "moved", "moved"
    REGROUPED = "regrouped", "merged, moved or re-assigned"
    ARCHIVED = "archived", "archived"
    BROUGHT_BACK = "brought-back", "brought back"
    DELETED = "deleted", "deleted"
    PUT_IN_CHECK = "in-check", "put in check"
    OUT_OF_CHECK = "out-of-check", "took out of check"
    SIGNED_OFF = "signed-off", "signed off"
    REOPENED = "reopened", "opened again"
    STANDS_AGAIN = "stands-again", "signed off again by itself"
    PAGES_GIVEN = "pages-given", "gave pages"
    PAGES_CHANGED = "pages-changed", "changed when pages are to be in"
    PAGES_BACK = "pages-back", "took pages back"
    INVITED = "invited", "invited"
    JOINED = "joined", "joined"
    ROLE_CHANGED = "role-changed", "changed a role"
    LEFT = "left", "left"
    STARTED = "started", "started the series"
    READING_CHANGED = "reading", "changed how codes read"
    PRESS_CHOSEN = "press", "chose a press condition"


BUNDLED = (ActivityKind.MARKED, ActivityKind.REWROTE, ActivityKind.UNMARKED)
"""Deeds done by the dozen: one row a page, person and day, which counts them. A million marks are then some tens of
thousands of rows, and a list of what happened says what people did instead of repeating itself."""

CREW_ROOMS = (ActivityRoom.NOTES, ActivityRoom.PROPOSALS, ActivityRoom.PAGES_GIVEN)
"""The workshop's own talk: a guest reader sees what was decided, not how people argued about it."""

LEAD_DEEDS = (ActivityKind.INVITED,)
"""Links that are out are the leads' business, as on the page of people."""


class ActivityQuerySet(models.QuerySet["Activity"]):
    def visible_to(self, membership: Membership) -> Self:
        """What this member may read, in the member's own series."""
        visible = self.filter(series=membership.series_id)
        if not membership.may(Permission.DISCUSS):
            visible = visible.exclude(room__in=CREW_ROOMS)
        return visible if membership.may(Permission.LOCK) else visible.exclude(kind__in=LEAD_DEEDS)

    def newest_first(self) -> Self:
        return self.order_by("-at", "-id")

    def before(self, key: Key) -> Self:
        """Rows that come after a row in the list, newest first: keyset paging costs the same on every page."""
        at, pk = key
        return self.filter(Q(at__lt=at) | Q(at=at, id__lt=pk), at__lte=at)

    def since(self, moment: dt.datetime) -> Self:
        return self.filter(at__gt=moment)

    def about_subject(self, subject_id: int) -> Self:
        """What was done to a subject, its costumes, parts and codes, or proposed for them."""
        parts = "part__costume__subject"
        return self.filter(
            Q(subject=subject_id) | Q(**{f"lock__{parts}": subject_id}) | Q(**{f"proposal__{parts}": subject_id})
        )

    def between(self, first: int | None, last: int | None) -> Self:
        """What was done in issues from one place of the running order to another, and what was decided to hold from
        one of them on; None is an open end."""
        within = Q()
        for place in ("issue__position", "lock__from_position", "proposal__from_position"):
            bounds = {f"{place}__gte": first, f"{place}__lte": last}
            within |= Q(**{name: value for name, value in bounds.items() if value is not None})
        return self.filter(within)

    def on_days(self, first: dt.date | None, last: dt.date | None) -> Self:
        """From one day to another, both included."""
        bounds = {"day__gte": first, "day__lte": last}
        return self.filter(**{name: value for name, value in bounds.items() if value is not None})

    def with_names(self) -> Self:
        """Everything that a list of deeds prints, in one query."""
        return self.select_related(
            "by",
            "person",
            "subject",
            "issue",
            "scene",
            "lock__part__costume__subject",
            "lock__follows",
            "proposal__part__costume__subject",
            "proposal__lock",
        )


class Activity(models.Model):
    """One deed, or a day's deeds of one kind on one page by one person.

    Keys lead to what it is about while that exists; ``words`` keeps, as plain texts, what it was called and why it
    was done. Sentences are made when it is shown.
    """

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="activity", db_index=False)
    room = models.CharField(max_length=10, choices=ActivityRoom)
    kind = models.CharField(max_length=16, choices=ActivityKind)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
        help_text="Whom else it concerns: the proposer of what is answered, the member whose role changed.",
    )
    at = models.DateTimeField()
    day = models.DateField()
    count = models.PositiveIntegerField(default=1)
    subject = models.ForeignKey(Subject, on_delete=models.SET_NULL, null=True, related_name="+", db_index=False)
    issue = models.ForeignKey(Issue, on_delete=models.SET_NULL, null=True, related_name="+", db_index=False)
    scene = models.ForeignKey(Scene, on_delete=models.SET_NULL, null=True, related_name="+", db_index=False)
    lock = models.ForeignKey(Lock, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    proposal = models.ForeignKey(Proposal, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    page = models.CharField(max_length=30, blank=True)
    mark_number = models.PositiveIntegerField(null=True)
    words = models.JSONField(default=dict)

    objects = ActivityQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        verbose_name_plural = "activity"
        indexes = [
            models.Index(fields=["series", "-at", "-id"], name="bible_activity_when"),
            models.Index(fields=["series", "room", "-at", "-id"], name="bible_activity_room"),
            models.Index(fields=["series", "by", "-at", "-id"], name="bible_activity_by"),
            models.Index(
                fields=["series", "person", "-at", "-id"],
                condition=Q(person__isnull=False),
                name="bible_activity_person",
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["series", "by", "issue", "page", "day", "kind"],
                condition=Q(kind__in=[deed.value for deed in BUNDLED]),
                name="bible_activity_bundled",
            )
        ]

    def __str__(self) -> str:
        return f"{self.by or 'somebody'} {self.get_kind_display()}"

    @property
    def key(self) -> Key:
        return (self.at, self.pk)


EXCERPT = 200
"""Letters of a reason or a note that a list of deeds repeats."""

_ROOM_OF = {
    ActivityRoom.LOCKS: (
        ActivityKind.LOCKED,
        ActivityKind.SUPERSEDED,
        ActivityKind.CORRECTED,
        ActivityKind.ENDED,
        ActivityKind.SETTLED,
        ActivityKind.UNDONE,
    ),
    ActivityRoom.PROPOSALS: (
        ActivityKind.PROPOSED,
        ActivityKind.ACCEPTED,
        ActivityKind.DECLINED,
        ActivityKind.TOOK_BACK,
    ),
    ActivityRoom.WAIVERS: (ActivityKind.WAIVED, ActivityKind.WAIVER_BACK, ActivityKind.WAIVED_AGAIN),
    ActivityRoom.NOTES: (ActivityKind.NOTED,),
    ActivityRoom.GUIDES: (ActivityKind.UPLOADED, ActivityKind.REVISED),
    ActivityRoom.MARKS: BUNDLED,
    ActivityRoom.SCENES: (
        ActivityKind.SCENE_MADE,
        ActivityKind.SCENE_CHANGED,
        ActivityKind.SCENE_APPLIED,
        ActivityKind.SCENE_REMOVED,
    ),
    ActivityRoom.ISSUES: (
        ActivityKind.MOVED,
        ActivityKind.PUT_IN_CHECK,
        ActivityKind.OUT_OF_CHECK,
        ActivityKind.SIGNED_OFF,
        ActivityKind.REOPENED,
        ActivityKind.STANDS_AGAIN,
    ),
    ActivityRoom.PAGES_GIVEN: (ActivityKind.PAGES_GIVEN, ActivityKind.PAGES_CHANGED, ActivityKind.PAGES_BACK),
    ActivityRoom.PEOPLE: (ActivityKind.INVITED, ActivityKind.JOINED, ActivityKind.ROLE_CHANGED, ActivityKind.LEFT),
    ActivityRoom.SETTINGS: (ActivityKind.STARTED, ActivityKind.READING_CHANGED, ActivityKind.PRESS_CHOSEN),
}
ROOMS = {deed: room for room, deeds in _ROOM_OF.items() for deed in deeds}
"""The room a deed belongs to; adding, changing, archiving and deleting go with what they are done to."""


def record(
    deed: ActivityKind,
    *,
    series: Series | int,
    by: User | None,
    room: ActivityRoom | None = None,
    count: int = 1,
    words: dict[str, str] | None = None,
    **about: Any,
) -> None:
    """Write a deed down, in the transaction that does it.

    Args:
        by: who did it; None where no person did.
        room: needed for deeds that say nothing of what they are about (``ActivityKind.ADDED``, …).
        count: how many at once.
        words: plain texts that a sentence needs: names, reasons, notes. Long ones are cut.
        about: ``subject``, ``issue``, ``scene``, ``lock``, ``proposal``, ``person``, ``page``, ``mark_number``.
    """
    now = timezone.now()
    about["series_id"] = series if isinstance(series, int) else series.pk
    if about.get("person") == by:
        about.pop("person", None)
    fresh = Activity(
        room=room or ROOMS[deed],
        kind=deed,
        by=by,
        at=now,
        day=now.date(),
        count=count,
        words={name: text[:EXCERPT] for name, text in (words or {}).items() if text},
        **about,
    )
    if deed not in BUNDLED:
        fresh.save(force_insert=True)
    elif not _add_to_bundle(fresh):
        _begin_bundle(fresh)


def _add_to_bundle(fresh: Activity) -> bool:
    same = {name: getattr(fresh, name) for name in ("series_id", "kind", "by", "issue", "page", "day")}
    return bool(Activity.objects.filter(**same).update(count=F("count") + fresh.count, at=fresh.at))


def _begin_bundle(fresh: Activity) -> None:
    """The first of a day; somebody's second window may begin it at the same moment, then theirs is added to."""
    try:
        with transaction.atomic():
            fresh.save(force_insert=True)
    except IntegrityError:
        if not _add_to_bundle(fresh):
            raise
