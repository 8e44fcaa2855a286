"""Flags, waivers and fades as tables to take along."""

from __future__ import annotations

from collections.abc import Iterator

from bible.colour.press import PressCondition
from bible.exports.tables import Cell, Table, about, person_cell, tint_cells, tint_columns
from bible.models import Series
from guides.core.exports import CHUNK, in_chunks
from guides.core.flags import Flag, flags_of
from guides.core.gradients import fades_of
from guides.models import MarkQuerySet, Waiver

FLAG_COLUMNS = (
    "issue", "page", "mark", "flag", "waived", "subject", "costume", "part", "role", "written", *tint_columns(),
    *tint_columns("expected"), "ciede2000", "severity", "colourist",
)  # fmt: skip


def _flag_cells(series: Series, flag: Flag) -> tuple[Cell, ...]:
    role_name = series.roles.name
    mark = flag.mark
    assert mark.part is not None
    return (
        mark.guide.issue.number, mark.guide.page, mark.number, flag.kind.value, mark.waived, *mark.part.names,
        role_name(mark.role), mark.both_written, *tint_cells(series, mark.tint),
        *tint_cells(series, mark.expectation),
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
    role_name = series.roles.name
    waivers = Waiver.objects.alive().filter(series=series, mark__in=marks.order_by().values("pk")).with_people()
    named = waivers.select_related("mark__guide__issue", "part__costume__subject")
    ordered = named.order_by("mark__position", "mark__page_order", "mark_id")
    rows = (
        (
            waiver.mark.guide.issue.number, waiver.mark.guide.page, waiver.mark.number, *waiver.part.names,
            role_name(waiver.role), *tint_cells(series, waiver.says),
            *tint_cells(series, waiver.expectation), waiver.reason,
            person_cell(waiver.waived_by), waiver.waived_at,
        )
        for waiver in ordered.iterator(CHUNK)
    )  # fmt: skip
    columns = (
        "issue", "page", "mark", "subject", "costume", "part", "role", *tint_columns(), *tint_columns("expected"),
        "reason", "waived_by", "waived_at",
    )  # fmt: skip
    return Table("waivers", columns, rows, about(series))


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
