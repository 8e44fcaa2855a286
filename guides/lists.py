"""The lists of the guides' pages as tables to take along; see ``bible.tables_out``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from django.db.models import QuerySet

from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import Issue, Series, Subject
from bible.tables_out import Cell, Table, about, person_cell, tint_cells, tint_columns
from guides.flags import Flag, flags_of
from guides.forgetting import Habits
from guides.gradients import fades_of
from guides.models import (
    FlagKind,
    Guide,
    IssueStep,
    Mark,
    MarkQuerySet,
    PaintReading,
    Proof,
    ProofReading,
    SinkingPair,
)
from guides.models.waivers import Waiver
from guides.paint import told as told_by_paint
from guides.report.counting import Report
from guides.signoff.points import Points
from guides.timeline import Band, Timeline

CHUNK = 1_000
"""Marks held at a time."""

FLAG_COLUMNS = (
    "issue", "page", "mark", "flag", "waived", "subject", "costume", "part", "role", "written", *tint_columns(),
    *tint_columns("expected"), "ciede2000", "severity", "colourist",
)  # fmt: skip

NOT_LIKELY = (None,) * 6


def in_chunks(marks: MarkQuerySet) -> Iterator[list[Mark]]:
    rows = marks.iterator(CHUNK)
    while chunk := list(islice(rows, CHUNK)):
        yield chunk


def _flag_cells(series: Series, flag: Flag) -> tuple[Cell, ...]:
    mark = flag.mark
    assert mark.part is not None
    return (
        mark.guide.issue.number, mark.guide.page, mark.number, flag.kind.value, mark.waived, *mark.part.names,
        mark.role, mark.both_written, *tint_cells(series, mark.tint), *tint_cells(series, mark.expected),
        None if flag.delta_e is None else round(flag.delta_e, 2), flag.severity.word if flag.severity else None,
        person_cell(mark.guide.colourist),
    )  # fmt: skip


def flags_table(series: Series, marks: MarkQuerySet, press: PressCondition) -> Table:
    """Flags in running order. Waived ones say who allowed them and why."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for chunk in in_chunks(marks.in_order().with_names()):
            for flag in flags_of(chunk, press):
                yield _flag_cells(series, flag)

    return Table("flags", FLAG_COLUMNS, rows(), about(series, press))


def waivers_table(series: Series, marks: MarkQuerySet) -> Table:
    """The living waivers of some marks."""
    waivers = Waiver.objects.alive().filter(series=series, mark__in=marks.order_by().values("pk")).with_people()
    named = waivers.select_related("mark__guide__issue", "part__costume__subject")
    ordered = named.order_by("mark__position", "mark__page_order", "mark_id")
    rows = (
        (
            one.mark.guide.issue.number, one.mark.guide.page, one.mark.number, *one.part.names, one.role,
            *tint_cells(series, one.tint), *tint_cells(series, one.expected), one.reason,
            person_cell(one.waived_by), one.waived_at,
        )
        for one in ordered.iterator(CHUNK)
    )  # fmt: skip
    columns = (
        "issue", "page", "mark", "subject", "costume", "part", "role", *tint_columns(), *tint_columns("expected"),
        "reason", "waived_by", "waived_at",
    )  # fmt: skip
    return Table("waivers", columns, rows, about(series))


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


def marks_table(series: Series, guide: Guide, rows: Iterable[Any], press: PressCondition) -> Table:
    """The list of marks beneath a page guide. What can be brought back is the hand-off's own file of marks."""

    def lines() -> Iterator[tuple[Cell, ...]]:
        for row in rows:
            mark, flag = row.mark, row.flag
            against = flag.kind.value if flag else "agrees" if mark.part and guide.is_current else None
            yield (
                mark.number, mark.both_written, *tint_cells(series, mark.tint), *tint_cells(series, mark.to_tint),
                *(mark.part.names if mark.part else (None, None, None)), mark.role if mark.part else None, against,
                mark.waived, *tint_cells(series, mark.expected if flag else None),
                round(flag.delta_e, 2) if flag and flag.delta_e is not None else None,
                flag.severity.word if flag and flag.severity else None, row.paint_odd,
            )  # fmt: skip

    columns = (
        "mark", "written", *tint_columns(), *tint_columns("fades_to"), "subject", "costume", "part", "role",
        "against_the_bible", "waived", *tint_columns("expected"), "ciede2000", "severity", "paint_disagrees",
    )  # fmt: skip
    told = about(series, press, issue=guide.issue.number, page=guide.page, revision=guide.revision)
    return Table(f"page-{guide.pk}-marks", columns, lines(), told)


def fades_table(series: Series, marks: MarkQuerySet, press: PressCondition) -> Table:
    """Fades that turn their hue, with better ends: those that hold it first, each nearest to the wanted end first."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for fade in fades_of(marks.in_order().with_names(), press):
            mark, path = fade.mark, fade.gradient
            yield (
                mark.guide.issue.number, mark.guide.page, mark.number, mark.both_written,
                *tint_cells(series, mark.tint), *tint_cells(series, mark.to_tint),
                *(mark.part.names if mark.part else (None, None, None)),
                path.towards, round(path.turn, 2), "; ".join(fade.better) or None, person_cell(mark.guide.colourist),
            )  # fmt: skip

    columns = (
        "issue", "page", "mark", "written", *tint_columns(), *tint_columns("fades_to"), "subject", "costume", "part",
        "turns_towards", "ciede2000_hue_part", "better_ends", "colourist",
    )  # fmt: skip
    return Table("fades-that-turn-hue", columns, rows(), about(series, press))


def sinking_table(
    series: Series, pairs: QuerySet[SinkingPair], waiting: Iterable[Guide], press: PressCondition
) -> Table:
    """Marked areas that touch and print look-alike; x and y, fractions of the page, lie on their common border."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for pair in pairs.in_order().with_names().iterator(CHUNK):  # type: ignore[attr-defined]
            guide = pair.first.guide
            sides = [
                (mark.number, *tint_cells(series, mark.tint), *(mark.part.names if mark.part else (None,) * 3))
                for mark in pair.sides
            ]
            yield (
                guide.issue.number, guide.page, *sides[0], *sides[1], pair.word, pair.risk, pair.difference, pair.x,
                pair.y, pair.border, person_cell(pair.waived_by), pair.waived_at, pair.reason or None,
                person_cell(guide.colourist),
            )  # fmt: skip

    named = ("subject", "costume", "part")
    columns = (
        "issue", "page", "mark", *tint_columns(), *named, "beside_mark", *tint_columns("beside"),
        *(f"beside_{name}" for name in named), "likeness", "risk", "ciede2000", "x", "y", "border", "waived_by",
        "waived_at", "reason", "colourist",
    )  # fmt: skip
    told = about(series, press, pages_not_looked_at=not_read(waiting))
    return Table("sinks-into-its-neighbour", columns, rows(), told)


def not_read(waiting: Iterable[Guide]) -> list[dict[str, str]]:
    """Pages of which a file cannot speak yet."""
    return [{"issue": page.issue.number, "page": page.page} for page in waiting]


def differing_table(series: Series, marks: MarkQuerySet) -> Table:
    """Marks behind a number of the continuity report."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for mark in marks.in_order().with_names().iterator(CHUNK):
            assert mark.part is not None
            yield (
                mark.guide.issue.number, mark.guide.page, mark.number, *mark.part.names, mark.role,
                *tint_cells(series, mark.tint), *tint_cells(series, mark.expected), person_cell(mark.guide.colourist),
            )  # fmt: skip

    columns = (
        "issue", "page", "mark", "subject", "costume", "part", "role", *tint_columns(), *tint_columns("expected"),
        "colourist",
    )  # fmt: skip
    return Table("differing-marks", columns, rows(), about(series))


def carrying_table(series: Series, marks: MarkQuerySet, tint: Tint) -> Table:
    """Marks that carry a tint, in running order; a background has no part."""
    rows = (
        (
            mark.guide.issue.number, mark.guide.page, mark.number, mark.both_written,
            *(mark.part.names if mark.part else (None, None, None)), mark.role if mark.part else None,
            person_cell(mark.guide.colourist),
        )
        for mark in marks.in_order().with_names().iterator(CHUNK)
    )  # fmt: skip
    columns = ("issue", "page", "mark", "written", "subject", "costume", "part", "role", "colourist")
    return Table("marks-of-a-tint", columns, rows, about(series, code=series.write(tint)))


def report_table(report: Report, which: str) -> Table:
    """One of the continuity report's lists: ``colourists``, ``confusions``, else ``subjects`` (a row a drift)."""
    which = which if which in ("colourists", "confusions") else "subjects"
    series, told = report.series, about(report.series, report.press, issues=str(report.run), list=which)
    if which == "colourists":
        people = ((one.name, one.marks, one.differing, round(one.share, 2)) for one in report.colourists)
        return Table("report-colourists", ("colourist", "marks", "differing", "share_percent"), people, told)
    if which == "confusions":
        pairs = (
            (
                *tint_cells(series, one.wrote), *tint_cells(series, one.locked), one.marks, round(one.delta_e, 2),
                one.severity.word,
            )
            for one in report.pairs
        )  # fmt: skip
        columns: tuple[str, ...] = (
            *tint_columns("wrote"), *tint_columns("locked"), "marks", "ciede2000", "severity",
        )  # fmt: skip
        return Table("report-confusions", columns, pairs, told)

    def drifts() -> Iterator[tuple[Cell, ...]]:
        for line in report.subjects:
            said = (line.subject.name, line.marks, line.differing, line.allowed, line.parts, line.parts_held)
            for one in line.drifts:
                yield (
                    *said, one.part.costume.name, one.part.name, one.role, *tint_cells(series, one.wrote),
                    *tint_cells(series, one.locked), one.marks, one.first.number, one.last.number, one.goes_on,
                )  # fmt: skip
        for subject in report.held:
            yield (subject.name, None, 0, None, None, None, *((None,) * 17))

    columns = (
        "subject", "marks", "differing", "allowed", "parts", "parts_held", "costume", "part", "role",
        *tint_columns("wrote"), *tint_columns("locked"), "drift_marks", "first_issue", "last_issue", "goes_on",
    )  # fmt: skip
    return Table("report-subjects", columns, drifts(), told)


def proofs_table(series: Series, proofs: Iterable[Any]) -> Table:
    rows = (
        (
            proof.guide.issue.number, proof.guide.page, proof.number, proof.is_current, proof.state,
            proof.undecided_count, proof.fault_count, proof.unsure_count, proof.mark_count,
            person_cell(proof.uploaded_by), proof.uploaded_at,
        )
        for proof in proofs
    )  # fmt: skip
    columns = (
        "issue", "page", "proof", "is_current", "state", "undecided", "faults", "not_read", "marks", "uploaded_by",
        "uploaded_at",
    )  # fmt: skip
    return Table("proofs", columns, rows, about(series))


def readings_table(proof: Proof, readings: Iterable[ProofReading]) -> Table:
    """What a proof says of each mark, worst first, and what was decided."""
    series = proof.series
    rows = (
        (
            one.mark.number, *(one.mark.part.names if one.mark.part else (None, None, None)), one.verdict, one.said,
            *tint_cells(series, one.called), *tint_cells(series, one.called_to), *tint_cells(series, one.printed),
            one.why, None if one.delta_e is None else round(one.delta_e, 2), round(one.p, 3), one.decision or None,
            one.note, person_cell(one.decided_by), one.decided_at,
        )
        for one in readings
    )  # fmt: skip
    columns = (
        "mark", "subject", "costume", "part", "verdict", "said", *tint_columns("called"),
        *tint_columns("called_fade_to"), *tint_columns("printed"), "why", "ciede2000", "confidence", "decision",
        "note", "decided_by", "decided_at",
    )  # fmt: skip
    told = about(series, issue=proof.guide.issue.number, page=proof.guide.page, proof=proof.number)
    told["caution"] = "What a scan shows is a reason to look at the proof, not a measurement."
    return Table(f"proof-{proof.pk}-readings", columns, rows, told)


def habits_table(series: Series, habits: Habits) -> Table:
    rows = (
        (
            what, series.write(one.key) if isinstance(one.key, Tint) else one.thing, one.wrong, one.read,
            round(one.percent, 2), round(one.lowest, 2), one.kinds, one.is_habit,
        )
        for what, found in (("part", habits.parts), ("tint", habits.tints), ("page", habits.pages))
        for one in found
    )  # fmt: skip
    columns = ("what", "thing", "wrong", "read", "share_percent", "at_least_percent", "kinds", "hand_off_warns")
    return Table("forgotten", columns, rows, about(series))


def points_table(series: Series, rows: Iterable[Points]) -> Table:
    """The issues in check, with what is open in each; every kind of flag has a column of its own."""
    lines = (
        (
            one.issue.number, one.issue.title, one.issue.in_check_at, one.guides, one.pages_expected, one.marks,
            one.open, *(one.flags[kind] for kind in FlagKind), one.waived, one.unread_elsewhere,
            one.missing_pages or None, one.pages_beyond or None, "; ".join(page.page for page in one.bare) or None,
            "; ".join(known.subject.name for known in one.unmarked) or None, one.undecided, len(one.proposals),
        )
        for one in rows
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
    rows = ((one.issue.number, one.kind, person_cell(one.by), one.at, one.words) for one in steps)
    return Table("going-out-steps", ("issue", "step", "by", "at", "words"), rows, about(series))


def opens_table(series: Series, issues: Iterable[Issue]) -> Table:
    rows = ((one.number, one.title, one.published) for one in issues)
    return Table("still-open", ("issue", "title", "published"), rows, about(series))


def paint_table(
    series: Series, readings: QuerySet[PaintReading], waiting: Iterable[Guide], issue: Issue | None
) -> Table:
    """Marks whose paint disagrees with their code, and the two likeliest codes of the paint; chances are 0 to 1."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for one in readings.iterator(CHUNK):
            mark, voice = one.mark, told_by_paint(one)
            likely = [(*tint_cells(series, code.tint), round(code.p, 3)) for code in voice.likely[:2]]
            first, second = [*likely, NOT_LIKELY, NOT_LIKELY][:2]
            yield (
                mark.guide.issue.number, mark.guide.page, mark.number,
                *(mark.part.names if mark.part else (None, None, None)), mark.role if mark.part else None,
                mark.both_written, *tint_cells(series, mark.tint), *first, *second, round(voice.wrong, 3),
            )  # fmt: skip

    columns = (
        "issue", "page", "mark", "subject", "costume", "part", "role", "written", *tint_columns(),
        *tint_columns("paint"), "paint_chance", *tint_columns("or_paint"), "or_paint_chance", "chance_wrong",
    )  # fmt: skip
    told = about(series, issue=issue.number if issue else None, pages_not_read=not_read(waiting))
    told["caution"] = "The code counts, the paint only asks for a second look."
    return Table(f"issue-{issue.pk}-paint" if issue else "paint", columns, rows(), told)


def timeline_table(series: Series, subject: Subject, timeline: Timeline) -> Table:
    """What the marks of each issue said of each part, beside what is locked; a lock that no mark met too."""

    def locked(band: Band | None) -> tuple[Cell, ...]:
        return (*tint_cells(series, band.lock.tint), band.span) if band else (None,) * 6

    def rows() -> Iterator[tuple[Cell, ...]]:
        for lane in timeline.lanes:
            named = (lane.part.costume.name, lane.part.name, lane.role.value)
            met = set()
            for column in lane.columns:
                band = lane.band_at(column.issue)
                met.add(band)
                for one in column.said:
                    standing = one.kind.value if one.kind else "agrees"
                    yield (
                        *named, column.issue.number, *locked(band), *tint_cells(series, one.tint),
                        *tint_cells(series, one.expected), standing, one.waived, one.count,
                    )  # fmt: skip
            for band in lane.bands:
                if band not in met:
                    yield (*named, None, *locked(band), *((None,) * 12), 0)

    columns = (
        "costume", "part", "role", "issue", *tint_columns("locked"), "locked_issues", *tint_columns(),
        *tint_columns("expected"), "standing", "waived", "marks",
    )  # fmt: skip
    return Table(f"subject-{subject.pk}-timeline", columns, rows(), about(series, subject=subject.name))
