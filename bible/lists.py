"""The lists of the bible's pages as tables to take along, with a row for whatever a page shows or leaves out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from bible.chart_pages.look_alikes import Ranking
from bible.chart_pages.sheets import Layout
from bible.colour.chart_audit import ChartAudit
from bible.colour.chart_table import ChartTable
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, Tint
from bible.lookup import Found
from bible.models import Activity, Lock, Membership, Proposal, Scene, Series, Subject
from bible.models.people import ReadToken
from bible.models.scenes import SceneRule
from bible.running_order import AsOf, RunningOrder
from bible.tables_out import Cell, Table, about, person_cell, tint_cells, tint_columns

CHUNK = 500

NO_LOCK = (None,) * 7


def _lock_cells(series: Series, lock: Lock) -> tuple[Cell, ...]:
    return (lock.role, *tint_cells(series, lock.tint), lock.written)


LOCK_COLUMNS = ("role", *tint_columns(), "written")


def bible_table(series: Series, subjects: Iterable[Subject], as_of: AsOf) -> Table:
    """Every lock in force of every part; parts, costumes and subjects that have none stand there without."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for subject in subjects:
            named = (subject.name, subject.kind)
            costumes = list(subject.costumes.all())
            for costume in costumes:
                parts = list(costume.parts.all())
                for part in parts:
                    for cells in [_lock_cells(series, lock) for lock in part.locks_in_force] or [NO_LOCK]:  # type: ignore[attr-defined]
                        yield (*named, costume.name, part.name, *cells)
                if not parts:
                    yield (*named, costume.name, None, *NO_LOCK)
            if not costumes:
                yield (*named, None, None, *NO_LOCK)

    columns = ("subject", "kind", "costume", "part", *LOCK_COLUMNS)
    return Table("bible", columns, rows(), about(series, as_of_issue=as_of.number or None))


def history_table(
    series: Series, subject: Subject, history: Iterable[Lock], order: RunningOrder, as_of: AsOf, *, with_notes: bool
) -> Table:
    """Every lock a subject ever had; ``in_force`` as of the issue that was asked for."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for lock in history:
            ends = lock.to_position
            holds = lock.withdrawn_at is None and lock.from_position <= as_of.position
            cells = (
                lock.part.costume.name, lock.part.name, *_lock_cells(series, lock), order.span(lock),
                holds and (ends is None or as_of.position < ends), person_cell(lock.decided_by), lock.decided_at,
                lock.reason, lock.withdrawn_at, person_cell(lock.withdrawn_by), lock.withdrawn_reason,
            )  # fmt: skip
            yield (*cells, "; ".join(note.text for note in lock.notes.all())) if with_notes else cells

    columns: tuple[str, ...] = (
        "costume", "part", *LOCK_COLUMNS, "issues", "in_force", "decided_by", "decided_at", "reason", "withdrawn_at",
        "withdrawn_by", "withdrawn_reason",
    )  # fmt: skip
    told = about(series, subject=subject.name, as_of_issue=as_of.number or None)
    return Table(f"subject-{subject.pk}", (*columns, "notes") if with_notes else columns, rows(), told)


def lookup_table(series: Series, found: Iterable[Found], as_of: AsOf, words: str) -> Table:
    rows = (
        (*one.part.names, one.in_use, *cells)
        for one in found
        for cells in ([_lock_cells(series, lock) for lock in one.locks] or [NO_LOCK])
    )
    told = about(series, words=words, as_of_issue=as_of.number or None)
    return Table("look-up", ("subject", "costume", "part", "in_use", *LOCK_COLUMNS), rows, told)


def proposals_table(series: Series, proposals: Iterable[Proposal], order: RunningOrder) -> Table:
    rows = (
        (
            *one.part.names, one.role, *tint_cells(series, one.tint), one.written, order.span(one),  # type: ignore[arg-type]
            person_cell(one.proposed_by), one.proposed_at, one.note, one.seen_at, one.state,
            person_cell(one.answered_by), one.answered_at, one.answer,
            series.write(one.lock.tint) if one.lock else None,
        )
        for one in proposals
    )  # fmt: skip
    columns = (
        "subject", "costume", "part", *LOCK_COLUMNS, "issues", "proposed_by", "proposed_at", "note", "seen_at",
        "state", "answered_by", "answered_at", "answer", "locked_code",
    )  # fmt: skip
    return Table("proposals", columns, rows, about(series))


def activity_table(series: Series, deeds: Iterable[Activity]) -> Table:
    """One row a deed, newest first; ``words`` are the names and reasons that were kept with it."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for deed in deeds:
            part = deed.lock.part if deed.lock else deed.proposal.part if deed.proposal else None
            asked = deed.lock or deed.proposal
            yield (
                deed.at, person_cell(deed.by), deed.room, deed.kind, deed.count,
                deed.subject.name if deed.subject else part.costume.subject.name if part else None,
                part.full_name if part else None, asked.role if asked else None,
                series.write(asked.tint) if asked else None, deed.scene.name if deed.scene else None,
                deed.issue.number if deed.issue else None, deed.page or None, deed.mark_number,
                person_cell(deed.person), "; ".join(f"{key}: {value}" for key, value in sorted(deed.words.items())),
            )  # fmt: skip

    columns = (
        "at", "by", "room", "deed", "count", "subject", "part", "role", "code", "scene", "issue", "page", "mark",
        "concerning", "words",
    )  # fmt: skip
    return Table("activity", columns, rows(), about(series))


def scenes_table(series: Series, scenes: Iterable[Scene]) -> Table:
    rows = ((scene.name, str(scene.rule), scene.note) for scene in scenes)
    return Table("scenes", ("scene", "rule", "note"), rows, about(series))


def shifted_chart_table(series: Series, scene: Scene, tints: Iterable[tuple[Tint, Tint]]) -> Table:
    """Every tint of the chart and what it is under a scene."""
    rows = ((*tint_cells(series, tint), *tint_cells(series, shifted)) for tint, shifted in tints)
    columns = (*tint_columns(), *tint_columns("shifted"))
    return Table(f"scene-{scene.pk}-chart", columns, rows, _about_scene(series, scene))


def shifted_locks_table(series: Series, scene: Scene, subject: Subject, locks: Iterable[tuple[Lock, Tint]]) -> Table:
    """A subject's locks and what they are under a scene."""
    rows = (
        (lock.part.costume.name, lock.part.name, *_lock_cells(series, lock), *tint_cells(series, shifted))
        for lock, shifted in locks
    )
    columns = ("costume", "part", *LOCK_COLUMNS, *tint_columns("shifted"))
    told = _about_scene(series, scene, subject=subject.name)
    return Table(f"scene-{scene.pk}-subject-{subject.pk}", columns, rows, told)


def scene_rules_table(series: Series, scene: Scene, rules: Iterable[SceneRule]) -> Table:
    """How a scene came about, newest rule first."""
    rows = ((str(one.rule), person_cell(one.decided_by), one.decided_at, one.reason) for one in rules)
    columns = ("rule", "decided_by", "decided_at", "reason")
    return Table(f"scene-{scene.pk}-rules", columns, rows, _about_scene(series, scene))


def _about_scene(series: Series, scene: Scene, **more: Any) -> dict[str, Any]:
    return about(series, scene=scene.name, rule=str(scene.rule), **more)


def archived_table(series: Series, things: Iterable[tuple[str, str, Any]]) -> Table:
    """Sort, name and row of each archived thing."""
    rows = ((what, name, thing.archived_at) for what, name, thing in things)
    return Table("archived", ("what", "name", "archived_at"), rows, about(series))


def tokens_table(series: Series, tokens: Iterable[ReadToken]) -> Table:
    """One's own tokens by name and time: neither a token nor its hash goes into a file."""
    rows = ((one.name, one.made_at, one.used_on, one.state, one.expires_at, one.withdrawn_at) for one in tokens)
    columns = ("name", "made_at", "last_used_on", "state", "expires_at", "withdrawn_at")
    return Table("tokens", columns, rows, about(series))


def audit_table(series: Series, read: ChartTable, audit: ChartAudit) -> Table:
    """All findings of an audit, behind the rows that could not be read and were left out of it."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for error in read.errors:
            yield (error.line, None, "row_unreadable", error.message, *((None,) * 12))
        for one in audit.findings:
            yield (
                one.line, one.label or None, one.kind.value, one.message, *tint_cells(series, one.tint),
                *tint_cells(series, one.says), one.other_line, "; ".join(one.suggestions) or None,
            )  # fmt: skip

    columns = (
        "line", "label", "finding", "message", *tint_columns("swatch"), *tint_columns("label"), "other_line",
        "perhaps",
    )  # fmt: skip
    steps = {INK_NAMES[ink]: levels for ink, levels in audit.steps.items()}
    told = about(series, swatches=audit.swatch_count, rows_left_out=read.error_count, steps=steps)
    return Table("chart-audit", columns, rows(), told)


def people_table(series: Series, people: Iterable[Membership]) -> Table:
    rows = ((person_cell(one.user), one.user.get_username(), one.role) for one in people)
    return Table("people", ("name", "user_name", "role"), rows, about(series))


def chart_table(series: Series, layout: Layout, press: PressCondition, vision: str) -> Table:
    """A row a tint in the order of the sheets, with its look-alikes as the page ties them."""
    families = {id(cell): family.name for family in layout.families for cell in family.cells}
    cells = [cell for sheet in layout.sheets for _, line in sheet.rows for cell in line if cell]
    cells += [cell for family in layout.families for cell in family.cells]
    rows = (
        (
            *tint_cells(series, cell.tint), families.get(id(cell)), cell.fill, cell.who_in_full or None,
            cell.more + 1 if cell.who else 0,
            series.write(cell.nearest.tint) if cell.nearest else None,
            round(float(cell.nearest.difference), 2) if cell.nearest else None,
            cell.nearest.word if cell.nearest else None,
            cell.right or None, cell.below or None, cell.before or None,
        )
        for cell in cells
    )  # fmt: skip
    columns = (
        *tint_columns(), "family", "srgb", "carried_by", "carried_count", "nearest_code", "nearest_ciede2000",
        "nearest_word", "tint_to_the_right", "tint_below", "sheet_before",
    )  # fmt: skip
    return Table("chart", columns, rows, about(series, press, vision=vision, chart=series.chart.title))


def look_alikes_table(
    series: Series, ranking: Ranking, press: PressCondition, vision: str, subject: Subject | None
) -> Table:
    """Every pair, the most easily mistaken first, behind the codes that both sides share."""

    def side(one: Any) -> tuple[Cell, ...]:
        return (*tint_cells(series, one.tint), "; ".join(one.parts), one.more)

    def rows() -> Iterator[Sequence[Cell]]:
        for ours, theirs in ranking.shared:
            yield (None, *side(ours), *side(theirs), "the same code", 0.0)
        for row in ranking.rows:
            yield (row.rank, *side(row.first), *side(row.second), row.word, round(row.difference, 2))

    sides = tuple(f"{which}_{name}" for which in ("first", "second") for name in (*tint_columns(), "parts", "more"))
    told = about(series, press, vision=vision, subject=subject.name if subject else None)
    return Table("look-alikes", ("rank", *sides, "in_print", "ciede2000"), rows(), told)
