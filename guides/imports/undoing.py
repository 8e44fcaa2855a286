"""Taking back what a table brought in: all of it as one deed, or nothing where somebody has built on it since."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from bible.locks.undoing import undo_moments
from bible.models import ActivityKind, ActivityRoom, Costume, Issue, Lock, Part, Series, Subject, record
from bible.models.naming import name_of
from bible.series.edits import save_edit
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.things import title_of
from bible.subjects.services import delete_unused, uses_of
from bible.web.names import counted
from guides.core import continuity, counts
from guides.core.holding import hold_pages
from guides.core.reopening import reopen
from guides.imports.noted import Noted, moved, noted, take_noted_back
from guides.models import BroughtTable, Deed, Guide, Mark

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Thing = Subject | Costume | Part
IN_SERIES: dict[type[Any], str] = {
    Subject: "series",
    Costume: "subject__series",
    Part: "costume__subject__series",
    Lock: "series",
    Issue: "series",
    Mark: "series",
}
"""What a table can bring in, and how it is found by its series."""


def _rows(model: type[Any], series: Series) -> Any:
    return model._base_manager.filter(**{IN_SERIES[model]: series.pk}).order_by("pk")


@dataclass(frozen=True, slots=True)
class BeforeTable:
    """The newest key of every table and what was archived, before something is done."""

    newest: dict[type[Any], int]
    archived: dict[type[Any], frozenset[int]]
    issues: dict[int, list[str]]
    kind: str
    noted: Noted


def as_it_is(series: Series, kind: str) -> BeforeTable:
    """To be asked while the series is held: what has a higher key later is then what was made since."""
    newest = {model: _rows(model, series).aggregate(key=Max("pk"))["key"] or 0 for model in IN_SERIES}
    archived = {model: frozenset(_archived(model, series)) for model in (Subject, Costume, Part)}
    issues = {issue.pk: _said(issue) for issue in _rows(Issue, series)}
    return BeforeTable(newest, archived, issues, kind, noted(kind, series))


def _archived(model: type[Any], series: Series) -> Any:
    return _rows(model, series).exclude(archived_at=None).values_list("pk", flat=True)


def made_since(series: Series, before: BeforeTable) -> dict[str, list[Any]]:
    """What was made, or brought back from the archive, since ``before``, as JSON takes it: keys; of marks with their
    versions, of issues with what they say; of locks the moments of the decisions."""
    made = {model: _rows(model, series).filter(pk__gt=key) for model, key in before.newest.items()}
    locks = made[Lock].select_related("follows")
    moments = {lock.follows.withdrawn_at if lock.follows else lock.decided_at for lock in locks}
    here = {
        model: sorted({*made[model].values_list("pk", flat=True), *(keys - {*_archived(model, series)})})
        for model, keys in before.archived.items()
    }
    return {
        "subjects": here[Subject],
        "costumes": here[Costume],
        "parts": here[Part],
        "decisions": sorted(at.isoformat() for at in moments if at),
        "issues": [[issue.pk, *_said(issue)] for issue in made[Issue]],
        "edited": [
            [issue.pk, before.issues[issue.pk], _said(issue)]
            for issue in _rows(Issue, series)
            if _said(issue) != before.issues.get(issue.pk, _said(issue))
        ],
        "marks": [list(pair) for pair in made[Mark].values_list("pk", "version")],
        "noted": moved(before.noted, noted(before.kind, series)),
    }


def _said(issue: Issue) -> list[str]:
    return [issue.number, issue.title, issue.published.isoformat() if issue.published else ""]


@transaction.atomic
def undo_table(*, table: BroughtTable, by: User) -> None:
    """Take back all that a table brought in.

    Raises:
        Refused: it was taken back before, or something was built on what it brought in.
    """
    hold_series(table.series_id)
    table = BroughtTable.objects.select_for_update().select_related("series").get(pk=table.pk)
    if refusal := why_not_undone(table):
        raise Refused(refusal)
    now = timezone.now()
    {
        BroughtTable.Kind.MARKS: _undo_marks,
        BroughtTable.Kind.ISSUES: _undo_issues,
        BroughtTable.Kind.BIBLE: _undo_bible,
    }.get(BroughtTable.Kind(table.kind), _undo_noted)(table, by, now)
    BroughtTable.objects.filter(pk=table.pk).update(undone_at=now, undone_by=by)


def why_not_undone(table: BroughtTable) -> str:
    """Why a table cannot be taken back whatever was done since; empty where it can be tried."""
    if not table.taken_at:
        return "Nothing of this table has been taken yet."
    if table.undone_at:
        return f"{name_of(table.undone_by)} has taken this table back already."
    if table.made is None:
        return "What this table brought in was not noted down, so it cannot be taken back as one."
    return ""


def _undo_marks(table: BroughtTable, by: User, now: dt.datetime) -> None:
    versions = {pk: {version} for pk, version in (table.made or {})["marks"]}
    brought = Deed.objects.filter(mark__in=versions, kind=Deed.Kind.BRING)
    for pk, version in brought.values_list("mark", "to_version"):
        versions[pk].add(version)  # taken back and done again at the desk it has another one
    asked = Mark.objects.filter(pk__in=versions)
    pages = Guide.objects.filter(marks__in=asked).distinct()
    issues, guides = pages.values_list("issue", flat=True), pages.values_list("pk", flat=True)
    hold_pages(series_id=table.series_id, issues=list(issues), guides=list(guides), marks=asked)
    marks = list(asked.filter(deleted_at=None).select_related("guide__issue", "changed_by").order_by("pk"))
    for mark in marks:
        where = f"mark {mark.number} of issue {mark.guide.issue.number}, {mark.guide}"
        if mark.version not in versions[mark.pk]:
            raise Refused(f"{name_of(mark.changed_by)} has changed {where} since. Nothing is undone.")
        if not mark.guide.stands:
            raise Refused(f"A newer revision has come in, or the issue is archived, with {where}. Nothing is undone.")
    going = Mark.objects.filter(pk__in=[mark.pk for mark in marks])
    for guide in {mark.guide for mark in marks}:
        number = sum(mark.guide_id == guide.pk for mark in marks)
        why = f"{counted(number, 'mark')} taken off on {guide}"
        reopen(series_id=table.series_id, issues=[guide.issue_id], by=by, why=why)
        record(ActivityKind.UNMARKED, series=table.series_id, by=by, issue=guide.issue, page=guide.page, count=number)
    with counts.kept(going):
        going.update(deleted_at=now, live=False, changed_by=by, version=F("version") + 1)
    continuity.place(going)
    # At the desks they are deeds taken back, to be done again page by page.
    standing = brought.filter(mark__in=[mark.pk for mark in marks], undone=False)
    standing.update(undone=True, from_version=F("to_version") + 1)


def _undo_noted(table: BroughtTable, by: User, now: dt.datetime) -> None:
    take_noted_back(table, (table.made or {})["noted"], by)


def _undo_issues(table: BroughtTable, by: User, now: dt.datetime) -> None:
    for pk, *after in reversed((table.made or {})["issues"]):
        issue = Issue.objects.filter(pk=pk).select_related("series").first()
        if issue and _said(issue) != after:
            raise Refused(f"Issue {issue.number} has been changed since. Nothing is undone.")
        if issue:
            _delete(issue, by)
    for pk, was, after in (table.made or {}).get("edited", ()):
        issue = Issue.objects.filter(pk=pk).select_related("series").first()
        if issue is None or _said(issue) != after:
            raise Refused(f"Issue {after[0]} has been changed since. Nothing is undone.")
        _, issue.title, published = was
        issue.published = dt.date.fromisoformat(published) if published else None
        save_edit(row=issue, fields=["title", "published"], by=by)


def _delete(row: Issue | Thing, by: User) -> None:
    try:
        delete_unused(row=row, by=by)
    except Refused as refusal:
        uses = ", ".join(map(str, getattr(refusal, "uses", ())))
        raise Refused(f"{title_of(row)} is in use by now: {uses}. Nothing is undone.") from refusal


def _undo_bible(table: BroughtTable, by: User, now: dt.datetime) -> None:
    """Its decisions are undone. What it named is deleted where nothing was ever decided for it, else archived: the
    history of a part is kept. A table that names it again brings it back."""
    made = table.made or {}
    moments = map(dt.datetime.fromisoformat, made["decisions"])
    undo_moments(series=table.series, moments=moments, by=by, reason=f"table {table.filename} taken back")
    rows: list[Thing] = [
        *Part.objects.filter(pk__in=made["parts"]).with_names().order_by("-pk"),
        *Costume.objects.filter(pk__in=made["costumes"]).select_related("subject__series").order_by("-pk"),
        *Subject.objects.filter(pk__in=made["subjects"]).select_related("series").order_by("-pk"),
    ]
    for row in rows:
        _refuse_built_on(row, made)
    standing = (
        Lock.every_printing.standing().filter(part__in=made["parts"]).select_related("part__costume__subject").first()
    )
    if standing:
        raise Refused(f"Since then a code has been locked for {standing.part.full_name}. Nothing is undone.")
    for row in rows:
        if _decided_for(row):
            type(row)._base_manager.filter(pk=row.pk, archived_at=None).update(archived_at=now)
        else:
            type(row)._base_manager.filter(pk=row.pk).delete()
    if rows:
        words = {"name": table.filename}
        record(
            ActivityKind.UNDONE,
            room=ActivityRoom.SUBJECTS,
            series=table.series_id,
            by=by,
            count=len(rows),
            words=words,
        )


def _decided_for(row: Thing) -> bool:
    where = {Part: "part", Costume: "part__costume", Subject: "part__costume__subject"}[type(row)]
    return Lock.every_printing.filter(**{where: row}).exists()


def _refuse_built_on(row: Thing, made: dict[str, list[int]]) -> None:
    """Marks, proposals and what else stands on it; costumes and parts that came to it since; a time that was said."""
    uses = [use for use in uses_of(row) if not isinstance(use.examples[0], Lock)]
    added: list[Costume | Part] = []
    if isinstance(row, Subject):
        added += row.costumes.exclude(pk__in=made["costumes"])
    if isinstance(row, Costume):
        added += row.parts.exclude(pk__in=made["parts"])
        if row.time_said_at:
            raise Refused(f"Since then it was said when {title_of(row)} is worn. Nothing is undone.")
    if uses or added:
        named = ", ".join([*map(str, uses), *(title_of(addition) for addition in added)])
        raise Refused(f"{title_of(row)} is in use by now: {named}. Nothing is undone.")
