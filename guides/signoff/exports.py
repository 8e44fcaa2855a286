"""Issues on their way out, as tables to take along."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from bible.exports.tables import Table, about, person_cell
from bible.models import Issue, Series
from guides.core.kept import COLUMNS, MarkChange
from guides.models import FlagKind, IssueStep
from guides.signoff.queries import Points

SIGNED_COLUMNS = tuple(name for name in COLUMNS if name not in ("tint", "to_tint", "expected", "expected_to"))


def points_table(series: Series, rows: Iterable[Points]) -> Table:
    """The issues in check, with what is open in each; every kind of flag has a column of its own."""
    lines = (
        (
            points.issue.number, points.issue.title, points.issue.in_check_at, points.guides, points.pages_expected,
            points.marks, points.open, *(points.flags[kind] for kind in FlagKind), points.waived,
            points.unread_elsewhere, points.missing_pages or None, points.pages_beyond or None,
            "; ".join(page.page for page in points.bare) or None,
            "; ".join(known.subject.name for known in points.unmarked) or None, points.undecided,
            len(points.proposals),
        )
        for points in rows
    )  # fmt: skip
    columns = (
        "issue", "title", "in_check_at", "guides", "pages_expected", "marks", "open",
        *(f"flags_{kind.value.replace('-', '_')}" for kind in FlagKind), "waived", "unreadable_besides",
        "pages_missing", "pages_not_expected", "pages_without_mark", "subjects_not_marked", "undecided_on_proofs",
        "proposals_waiting",
    )  # fmt: skip
    return Table("in-check", columns, lines, about(series))


def steps_table(series: Series, steps: Iterable[IssueStep]) -> Table:
    """Every step of every issue on its way out, newest first."""
    rows = ((step.issue.number, step.kind, person_cell(step.by), step.at, step.words) for step in steps)
    return Table("going-out-steps", ("issue", "step", "by", "at", "words"), rows, about(series))


def opens_table(series: Series, issues: Iterable[Issue]) -> Table:
    rows = ((issue.number, issue.title, issue.published) for issue in issues)
    return Table("still-open", ("issue", "title", "published"), rows, about(series))


def signed_table(series: Series, step: IssueStep, rows: Iterable[Mapping[str, Any]]) -> Table:
    """All that was signed, as it was then."""
    lines = (tuple(row.get(name) for name in SIGNED_COLUMNS) for row in rows)
    facts = about(series, issue=step.issue.number, signed_at=step.at.isoformat())
    return Table(f"signed-{step.pk}", SIGNED_COLUMNS, lines, facts)


def signed_changes_table(series: Series, step: IssueStep, changes: Iterable[MarkChange]) -> Table:
    """What was signed against what it is now, one row a mark."""
    rows = (
        (
            change.page, change.mark, change.part, change.what, change.was_code or None, change.now_code or None,
            change.was["expected_code"] if change.was else None, change.now["expected_code"] if change.now else None,
            change.by or None, change.at,
        )
        for change in changes
    )  # fmt: skip
    columns = (
        "page", "mark", "part", "what", "signed_as", "now", "bible_said", "bible_says", "by", "at",
    )  # fmt: skip
    facts = about(series, issue=step.issue.number, signed_at=step.at.isoformat())
    return Table(f"since-signed-{step.pk}", columns, rows, facts)
