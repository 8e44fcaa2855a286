"""Writes to guides and marks: keyword-only and atomic. Each leaves the marks it touched resolved."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Any, NamedTuple

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from bible.models import ActivityKind, ActivityRoom, Issue, Part, Series, record
from bible.models.naming import name_of
from bible.models.roles import BASE_ROLE
from bible.series.holding import How, Rows, hold, series_rows
from bible.series.refusals import Refused
from guides.core import continuity, counts, pictures, reopening
from guides.core.given import given_to
from guides.core.gradients import moved_end, usual_end
from guides.core.holding import hold_pages
from guides.core.labels import clean_label, page_order
from guides.core.lighting import scene_of_new
from guides.core.numbering import numbers_beside
from guides.core.once import deed_of_desk
from guides.core.rules import hold_mark, refuse_archived, refuse_fixed, refuse_older
from guides.imaging.intake.take_in import Intake
from guides.models import PAGE_LABEL_LENGTH, Deed, Guide, GuideQuerySet, Mark, SceneArea

if TYPE_CHECKING:
    from django.contrib.auth.models import User


class PageTaken(Refused):
    """Somebody brought another scan of the page in meanwhile."""


def checked_label(page: str) -> str:
    """A page's label as it is kept. ``Refused`` where it is empty or too long."""
    page = clean_label(page)
    if not 0 < len(page) <= PAGE_LABEL_LENGTH:
        raise Refused(f"say which page it is, in at most {PAGE_LABEL_LENGTH} letters.")
    return page


def next_revision(issue: Issue, page: str) -> int:
    """Which revision a scan of this page would become now."""
    return (Guide.objects.filter(issue=issue, page=page).aggregate(last=Max("revision"))["last"] or 0) + 1


def add_guide(
    *,
    issue: Issue,
    page: str,
    picture: Intake,
    original: IO[bytes],
    filename: str,
    by: User,
    colourist: User | None = None,
    revision: int | None = None,
) -> Guide:
    """Store an accepted picture as the current guide of a page; an earlier revision is kept and stands down.

    Args:
        colourist: who coloured it; None: who was given the page, else who coloured its last revision (that one too
            where the page was given before it came in), else who brings it in.
        revision: the one it was said to become; ``PageTaken`` if it would be another one by now.
    """
    page = checked_label(page)
    folder = f"guides/{issue.series_id}/{issue.pk}/{uuid.uuid4().hex}"
    with pictures.stored(picture, original, folder) as names, transaction.atomic():
        return _store_guide(issue, page, picture, names, PurePath(filename).name, by, colourist, revision)


def _store_guide(
    issue: Issue,
    page: str,
    picture: Intake,
    stored: tuple[str, str, str],
    filename: str,
    by: User,
    colourist: User | None,
    revision: int | None,
) -> Guide:
    earlier = Guide.objects.filter(issue=issue, page=page)
    _hold_page(issue, earlier)
    _reopen_for(issue, page, by)
    refuse_archived(Issue.objects.get(pk=issue.pk))
    becomes = next_revision(issue, page)
    if revision not in (None, becomes):
        raise _page_taken(earlier, becomes)
    before = earlier.current().select_related("colourist").first()
    colourist = colourist or _whose(issue, page, before) or by
    stand_down(earlier)
    record(
        ActivityKind.REVISED if becomes > 1 else ActivityKind.UPLOADED,
        series=issue.series_id,
        by=by,
        person=colourist,
        issue=issue,
        page=page,
    )
    return Guide.objects.create(
        series_id=issue.series_id,
        issue=issue,
        page=page,
        page_order=page_order(page),
        revision=becomes,
        colourist=colourist,
        **dict(zip(("original", "screen", "thumb"), stored, strict=True)),
        filename=filename[-200:],
        uploaded_by=by,
        **{name: getattr(picture, name) for name in ("sha256", "byte_size", "width", "height")},
    )


def _reopen_for(issue: Issue, page: str, by: User) -> None:
    why = f"a guide of page {page} came in"
    reopening.reopen(series_id=issue.series_id, issues=[issue.pk], by=by, why=why, held=True)


def _hold_page(issue: Issue, earlier: GuideQuerySet) -> None:
    """For a new scan of a page: what stands down for it, too."""
    hold(
        series_rows(issue.series_id, How.KEPT),
        Rows(Issue.objects.filter(pk=issue.pk), How.TO_CHANGE),
        Rows(earlier, How.TO_CHANGE),
        Rows(Mark.objects.filter(guide__in=earlier), How.TO_CHANGE),
    )


def _whose(issue: Issue, page: str, before: Guide | None) -> User | None:
    """Whose a page is where nobody says: a page given after its last scan came in is not any more that scan's."""
    given = given_to(issue, page)
    if given and (before is None or before.colourist is None or given.given_at > before.uploaded_at):
        return given.colourist
    return before.colourist if before else None


def _page_taken(earlier: GuideQuerySet, becomes: int) -> PageTaken:
    newest = earlier.select_related("uploaded_by").order_by("revision").last()
    did = (
        f"{name_of(newest.uploaded_by)} brought another scan of {newest} in meanwhile"
        if newest
        else "The page is not here"
    )
    return PageTaken(f"{did}; this one would be revision {becomes}.")


@transaction.atomic
def say_colourist(*, guide: Guide, colourist: User | None, by: User) -> None:
    """Say who coloured a page; None: nobody is named. ``Refused`` where it is an older revision or archived."""
    marks = Mark.objects.filter(guide=guide)
    hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk], marks=marks)
    guide = Guide.objects.select_related("issue").get(pk=guide.pk)
    refuse_archived(guide.issue)
    if not guide.is_current:
        raise Refused("A newer revision of this page has come in: this one stays as it is.")
    guide.colourist = colourist
    with counts.kept(marks):
        guide.save(update_fields=["colourist"])
    about: dict[str, Any] = {"issue": guide.issue, "page": guide.page, "person": colourist}
    record(ActivityKind.CHANGED, room=ActivityRoom.GUIDES, series=guide.series_id, by=by, **about)


def stand_down(guides: GuideQuerySet) -> None:
    """These pages have newer revisions: their marks stand no more. To be called in the transaction of the newer."""
    # The pages before their marks: who is placing marks on one of them is waited for, and then stands down too.
    guides.current().update(is_current=False)
    replaced = Mark.objects.filter(guide__in=guides)
    with counts.kept(replaced):
        replaced.live().update(live=False)
    continuity.after_resolving(replaced)


class NewMark(NamedTuple):
    """What a new mark says. Places are fractions of the picture's width and height, from top left.

    A gradient has ``to_written``, and ``to`` where its arrow points (straight down without one). ``number`` is for
    marks that come back under the number they had; it must be free on the page. ``let_in``: nobody has looked at it.
    """

    x: float
    y: float
    written: str
    part: Part | None = None
    role: str = BASE_ROLE
    to: tuple[float, float] | None = None
    to_written: str = ""
    number: int | None = None
    let_in: bool = False


@deed_of_desk(Deed.Kind.PLACE)
def place_mark(
    *,
    guide: Guide,
    x: float,
    y: float,
    written: str,
    part: Part | None,
    role: str,
    by: User,
    to: tuple[float, float] | None = None,
    to_written: str = "",
) -> Mark:
    """Put a new mark on a guide; the arguments are those of ``NewMark``."""
    return place_marks(guide=guide, by=by, rows=[NewMark(x, y, written, part, role, to, to_written)])[0]


@contextmanager
def _parts_may_go(parts: Iterable[Part | None]) -> Iterator[None]:
    """A part that nothing stood on may be deleted between choosing it and saving its first mark; only the database
    knows, at the very end. Whoever saves is told, and keeps what they wrote."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        gone = [part for part in parts if part and not Part.objects.filter(pk=part.pk).exists()]
        if not gone:
            raise
        raise Refused(f"{gone[0].name} has been deleted meanwhile: choose another part.") from error


def place_marks(*, guide: Guide, by: User, rows: Iterable[NewMark | tuple[Any, ...]]) -> list[Mark]:
    """Put several marks on a guide, numbered in the order given unless they bring their number."""
    news = [NewMark(*row) for row in rows]
    with _parts_may_go(new.part for new in news):
        return _place(guide, by, news)


def _place(guide: Guide, by: User, news: list[NewMark]) -> list[Mark]:
    parts = [new.part.pk for new in news if new.part]
    hold_pages(series_id=guide.series_id, parts=parts, issues=[guide.issue_id], guides=[guide.pk])
    guide = Guide.objects.select_related("issue", "series").get(pk=guide.pk)
    refuse_older(guide)
    refuse_archived(guide.issue)
    numbers = numbers_beside(guide.marks.values_list("number", flat=True))
    # Whoever changes a page's scenes holds the page, so these stay what they are until the marks are there.
    areas = list(SceneArea.objects.filter(guide=guide).standing().innermost_first().with_targets())
    marks = [
        Mark(
            series=guide.series,
            guide=guide,
            position=guide.issue.position,
            page_order=guide.page_order,
            number=new.number or next(numbers),
            x=new.x,
            y=new.y,
            written=new.written,
            tint=continuity.read(guide.series, new.written),
            part=new.part,
            role=new.role,
            live=guide.stands,
            let_in=new.let_in,
            created_by=by,
            changed_by=by,
            **_arrow(guide.series, (new.x, new.y), new.to, new.to_written),
        )
        for new in news
    ]
    if not marks:
        return marks
    for mark in marks:
        mark.scene_id = scene_of_new(areas, mark)
    _reopen(guide, by, f"{len(marks)} placed" if len(marks) > 1 else f"mark {marks[0].number} placed", held=True)
    continuity.create_resolved(marks)
    counts.placed(marks, guide)
    _record(ActivityKind.MARKED, guide, by, len(marks))
    return marks


def _record(deed: ActivityKind, guide: Guide, by: User, count: int = 1) -> None:
    record(deed, series=guide.series_id, by=by, issue=guide.issue, page=guide.page, count=count)


def _reopen(guide: Guide, by: User, what: str, *, held: bool = False) -> None:
    """A deed on a page touches its issue, unless the page is a revision that does not count any more."""
    if guide.is_current:
        why = f"{what} on {guide}"
        reopening.reopen(series_id=guide.series_id, issues=[guide.issue_id], by=by, why=why, held=held)


def _arrow(
    series: Series, at: tuple[float, float], to: tuple[float, float] | None, to_written: str
) -> dict[str, Any]:
    """The four fields of a gradient's second code and arrow; all empty for a flat tint."""
    if not to_written:
        return {"to_written": "", "to_tint": None, "to_x": None, "to_y": None}
    to_x, to_y = to or usual_end(*at)
    return {"to_written": to_written, "to_tint": continuity.read(series, to_written), "to_x": to_x, "to_y": to_y}


@deed_of_desk(Deed.Kind.MOVE)
@transaction.atomic
def move_mark(*, mark: Mark, x: float, y: float, by: User, seen: int | None = None) -> Mark:
    """Put a mark elsewhere on its page; a gradient's arrow goes along."""
    mark = hold_mark(mark, seen, refuse=refuse_fixed)
    if mark.arrow_end:
        mark.to_x, mark.to_y = moved_end((mark.x, mark.y), mark.arrow_end, (x, y))
    mark.x, mark.y = x, y
    return _save(mark, by, "moved")


@deed_of_desk(Deed.Kind.POINT)
@transaction.atomic
def point_mark(*, mark: Mark, x: float, y: float, by: User, seen: int | None = None) -> Mark:
    """Let a gradient's arrow point elsewhere. ``Refused`` where the mark is no gradient."""
    mark = hold_mark(mark, seen, refuse=refuse_fixed)
    if not mark.is_gradient:
        raise Refused(f"Mark {mark.number} is no gradient any more; it has no arrow to turn.")
    mark.to_x, mark.to_y = x, y
    return _save(mark, by, "pointed elsewhere")


@deed_of_desk(Deed.Kind.REWRITE)
def rewrite_mark(
    *,
    mark: Mark,
    written: str,
    part: Part | None,
    role: str,
    by: User,
    to: tuple[float, float] | None = None,
    to_written: str = "",
    seen: int | None = None,
) -> Mark:
    """Say anew what a mark's code is and which part it belongs to; without a part it is background.

    Args:
        to: where a gradient's arrow points; None leaves it where it is.
        to_written: the code it fades to; empty makes it a flat tint again.
        seen: the version the person looked at; ``StaleMark`` if the mark has changed since.
    """
    with _parts_may_go([part]):
        mark = hold_mark(mark, seen, part.pk if part else None, refuse=refuse_fixed)
        mark.written, mark.part, mark.role = written, part, role
        mark.tint = continuity.read(mark.series, written)
        for field, value in _arrow(mark.series, (mark.x, mark.y), to or mark.arrow_end, to_written).items():
            setattr(mark, field, value)
        _record(ActivityKind.REWROTE, mark.guide, by)
        return _save(mark, by, "rewritten")


@deed_of_desk(Deed.Kind.DELETE)
@transaction.atomic
def delete_mark(*, mark: Mark, by: User, seen: int | None = None) -> Mark:
    """Take a mark off its page; it can be brought back."""
    mark = hold_mark(mark, seen, refuse=lambda held: refuse_older(held.guide))
    mark.deleted_at, mark.live = timezone.now(), False
    _record(ActivityKind.UNMARKED, mark.guide, by)
    return _save(mark, by, "taken off")


@deed_of_desk(Deed.Kind.RESTORE)
@transaction.atomic
def restore_mark(*, mark: Mark, by: User) -> Mark:
    """Bring a deleted mark back, resolved against the bible as it is now."""
    mark = hold_mark(mark)
    mark.deleted_at, mark.live = None, mark.guide.stands
    return _save(mark, by, "brought back")


@transaction.atomic
def put_back(*, mark: Mark, state: dict[str, Any] | None, by: User, seen: int) -> Mark:
    """Let a mark say again what it said once (``state_of``); None: it was not there. Its codes are read anew.

    Raises:
        StaleMark: the mark is not at version ``seen`` any more.
    """
    mark = hold_mark(mark, seen, state["part"] if state else None)
    if state is not None:
        for name in ("x", "y", "written", "role"):
            setattr(mark, name, state[name])
        mark.part_id = state["part"]
        mark.tint = continuity.read(mark.series, mark.written)
        to = None if state["to_x"] is None else (state["to_x"], state["to_y"])
        for field, value in _arrow(mark.series, (mark.x, mark.y), to, state["to_written"]).items():
            setattr(mark, field, value)
    gone = state is None or state["deleted"]
    mark.deleted_at = timezone.now() if gone else None
    mark.live = not gone and mark.guide.stands
    return _save(mark, by, "put back as it was")


def _save(mark: Mark, by: User, what: str) -> Mark:
    _reopen(mark.guide, by, f"mark {mark.number} {what}", held=True)
    mark.changed_by, mark.let_in = by, False  # whoever changes it has looked at it
    mark.version += 1
    with counts.kept(Mark.objects.filter(pk=mark.pk)):
        mark.save()
    continuity.place(Mark.objects.filter(pk=mark.pk))
    mark.refresh_from_db(fields=["lock", "expected", "expected_to", "scene", "waived"])
    return mark
