"""Issues and their pages as tables to take along."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bible.exports.tables import Table, about, person_cell
from bible.models import Issue, Series


def issues_table(series: Series, rows: Iterable[dict[str, Any]]) -> Table:
    """The page's list, newest first; ``running_order`` counts from 1, so that rows come in as they ran."""
    places = {issue.pk: place for place, issue in enumerate(series.issues.in_order(), 1)}
    lines = (
        (
            row["issue"].number, row["issue"].title, row["issue"].published, row["issue"].state.value, row["guides"],
            row["flags"], places[row["issue"].pk],
        )
        for row in rows
    )  # fmt: skip
    columns = ("issue", "title", "published", "state", "guides", "open_flags", "running_order")
    return Table("issues", columns, lines, about(series))


def pages_table(series: Series, issue: Issue, guides: Iterable[Any]) -> Table:
    rows = (
        (
            guide.page, guide.revision, person_cell(guide.colourist), guide.mark_count, guide.flag_count,
            guide.waived_count, guide.uploaded_at,
        )
        for guide in guides
    )  # fmt: skip
    columns = ("page", "revision", "colourist", "marks", "open_flags", "waived", "uploaded_at")
    return Table(f"issue-{issue.pk}-pages", columns, rows, about(series, issue=issue.number))
