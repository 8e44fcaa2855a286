"""Fetches the matrix that was asked for, by as few rows as there are issues."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import BigIntegerField, Count, F, Q, QuerySet
from django.db.models.functions import Cast, Coalesce

from bible.models import Issue, Lock, Part, Series
from bible.models.fields import NoTint
from guides.core import counts
from guides.core.in_editions import marks_in, printed_in
from guides.core.runs import IssueRun
from guides.models import KIND_OF_ROLE, NOBODY, MarkQuerySet, TintUse, UseKind
from guides.palettes.forms import ChoiceForm
from guides.palettes.matrix import Matrix, build

PAIR = 2 * counts.PAIRS.itemsize
"""Bytes of one tint and its uses."""


def matrix(form: ChoiceForm, run: IssueRun | None = None) -> Matrix:
    """The matrix of what a form asks for, over its own run of issues or another."""
    run = run or form.run
    issues = list((form.edition or form.series).issues.filter(**run.lookups).in_order().defer("title"))
    if form.asked("subject") or form.edition:
        return _build(issues, {issue.position: at for at, issue in enumerate(issues)}, *_of_marks(form, run))
    uses = TintUse.objects.filter(series=form.series, **{f"issue__{name}": at for name, at in run.lookups.items()})
    if form.kinds:
        uses = uses.of_kinds(form.kinds)
    if person := form.asked("colourist"):
        uses = uses.coloured_by(person.pk)
    places = {issue.pk: at for at, issue in enumerate(issues)}
    rows = [row for row in uses.values_list("issue_id", "colourist", "packed") if row[2]]
    pairs = counts.unpack(b"".join(bytes(packed) for _, _, packed in rows)).astype(np.int64)
    lengths = [len(packed) // PAIR for _, _, packed in rows]
    place = np.repeat(np.array([places[issue] for issue, _, _ in rows], dtype=np.int64), lengths)
    person_of = np.repeat(np.array([colourist for _, colourist, _ in rows], dtype=np.int64), lengths)
    return build(issues, place, pairs[:, 0], person_of, pairs[:, 1])


def chosen_marks(form: ChoiceForm, run: IssueRun | None = None) -> MarkQuerySet:
    """The live marks that a form asks about, each with the tints it is printed in: of an edition they may be others
    than are written."""
    run = run or form.run
    marks = marks_in(form.series, form.edition).filter(**run.lookups).live()
    if form.edition:
        marks = marks.annotate(printed=printed_in(form.edition), printed_to=printed_in(form.edition, "to_tint"))
    if subjects := form.asked("subject"):
        marks = marks.filter(part__costume__subject__in=[subject.pk for subject in subjects])
    if form.kinds:
        marks = marks.filter(_of_kinds(form.kinds))
    if person := form.asked("colourist"):
        marks = marks.filter(guide__colourist=person)
    return marks


def _of_kinds(kinds: Iterable[UseKind]) -> Q:
    wanted = set(kinds)
    if wanted == {UseKind.BACKGROUND}:
        return Q(part=None)
    named = Q(role__in=[role for role, kind in KIND_OF_ROLE.items() if kind in wanted])
    own = ~Q(role__in=list(KIND_OF_ROLE)) if UseKind.OWN in wanted else Q(pk=None)
    return Q(part__isnull=False) & (named | own)


def _ends(marks: MarkQuerySet) -> tuple[str, str]:
    """The names of the tints that marks are printed in."""
    return ("printed", "printed_to") if "printed" in marks.query.annotations else ("tint", "to_tint")


def carrying(marks: MarkQuerySet, packed: int) -> MarkQuerySet:
    """Those marks that use a tint, be it as the second of a gradient."""
    tint, to_tint = _ends(marks)
    return marks.filter(Q(**{tint: packed}) | Q(**{to_tint: packed}))


def first_carrying(marks: MarkQuerySet, packed: int, uses: Iterable[tuple[Issue, int]], limit: int) -> MarkQuerySet:
    """The first of those marks, at most ``limit``, in running order.

    ``uses``: how many of them each issue has. No index leads from a tint to its marks in that order, so they are
    asked of no more issues than it takes.
    """
    positions, reached = [], 0
    for issue, number in uses:
        if reached >= limit:
            break
        positions.append(issue.position)
        reached += number
    return carrying(marks.filter(position__in=positions), packed).in_order()[:limit]


def _of_marks(form: ChoiceForm, run: IssueRun) -> Iterable[Iterable[tuple[int, str]]]:
    """Entries counted from the marks themselves: those of a few subjects, or of an edition, are few."""
    marks = chosen_marks(form, run).order_by()
    first, second = _ends(marks)
    fades = marks.filter(**{f"{second}__isnull": False}).exclude(**{second: F(first)})
    if form.edition:
        fades = fades.exclude(**{second: NoTint.FLAT})
    for some, tint in ((marks, first), (fades, second)):
        rows = some.annotate(
            place=F("position"),
            code=Cast(tint, BigIntegerField()),
            who=Coalesce("guide__colourist", NOBODY, output_field=BigIntegerField()),
        )
        yield _packed(rows, Count("id"))


def _packed(rows: QuerySet[Any, Any], total: Any) -> Iterable[tuple[int, str]]:
    """(place, “tint person total tint person total …”): one row a place, put together in the database.

    Tens of thousands of rows of three numbers took longer to hand over than to count.
    """
    grouped = rows.values_list("place", "code", "who").annotate(total=total)
    sql, values = grouped.query.sql_with_params()
    joined = "string_agg" if connection.vendor == "postgresql" else "group_concat"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT place, {joined}(code || ' ' || who || ' ' || total, ' ') FROM ({sql}) AS counted GROUP BY place",
            values,
        )
        return cursor.fetchall()


def _build(issues: list[Issue], places: dict[int, int], *packed: Iterable[tuple[int, str]]) -> Matrix:
    texts = [(places[place], text) for rows in packed for place, text in rows if place in places]
    numbers = [np.fromstring(text, dtype=np.int64, sep=" ").reshape(-1, 3) for _, text in texts]
    if not numbers:
        empty = np.zeros(0, dtype=np.int64)
        return build(issues, empty, empty, empty, empty)
    place = np.repeat(np.array([at for at, _ in texts]), [len(rows) for rows in numbers])
    entries = np.concatenate(numbers)
    return build(issues, place, entries[:, 0], entries[:, 1], entries[:, 2])


def latest_marked(series: Series, count: int) -> list[str]:
    """The numbers of the newest issues that have marks, newest first."""
    used = TintUse.objects.filter(series=series).values("issue")
    return list(series.issues.filter(pk__in=used).order_by("-position").values_list("number", flat=True)[:count])


def most_changed(series: Series) -> str:
    """The part that was locked with the most tints, by its full name; empty where none has had two."""
    locks = Lock.objects.filter(series=series).order_by()
    tints = locks.values("part").annotate(tints=Count("tint", distinct=True)).filter(tints__gt=1)
    most = tints.order_by("-tints", "part").values_list("part", flat=True).first()
    return Part.objects.with_names().get(pk=most).full_name if most else ""
