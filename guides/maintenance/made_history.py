"""A long series made by machine: decades of issues, a large bible, and marks as many as wanted.

For trying how the application holds at a size that no demo reaches. Nothing is drawn: its pages have no pictures.
What is written is consistent with itself, so ``check --verify`` agrees with every row, and it is the same on every
machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from django.contrib.auth.models import User
from django.db import connection, transaction

from bible.colour.tints import Tint
from bible.models import POSITION_GAP, Costume, Issue, Lock, Part, Series, Subject
from bible.models.bulk import gather_statistics, write_rows
from bible.models.fields import NoTint
from bible.models.roles import BASE_ROLE
from guides.core import counts
from guides.core.labels import page_order
from guides.models import Guide, Mark

SEED = 1
NO_LOCK = NoTint.NO_LOCK.value
PAGES = 28
SKEW = 1.3
"""Parts are used unevenly: the most used one carries about a four-hundredth of all marks."""

WRITTEN_AT = datetime(2026, 1, 1, tzinfo=UTC)
"""One moment for everything, so that two series made on two days are the same."""


@dataclass(frozen=True, slots=True)
class Size:
    """How large a series is; ``slips``, ``shades`` and ``background`` are shares (0-1) of its marks.

    ``changed``: every so manieth part changes its code in the middle of the running order (0: none does).
    """

    marks: int = 1_000_000
    issues: int = 600
    pages: int = PAGES
    subjects: int = 400
    parts_each: int = 6
    slips: float = 0.03
    shades: float = 0.0
    background: float = 0.0
    changed: int = 4

    @classmethod
    def of_marks(cls, marks: int, a_page: int = 60) -> Size:
        """50 years × 12 issues × 28 pages × 60 marks are about a million; fewer marks are fewer years.

        The bible does not shrink with them: a young series knows its cast from the beginning.
        """
        return cls(marks, issues=max(1, -(-marks // (PAGES * a_page))), pages=PAGES, shades=0.1, background=0.2)


@transaction.atomic
def make_history(*, series: Series, size: Size, by: User, colourists: list[User] | None = None) -> list[Part]:
    """Fill an empty series. ``colourists`` take the pages in turn, and nobody is named where there are none.

    Returns:
        The parts, the most used first.
    """
    _make_pages(series, size, by, colourists or [])
    parts = _make_bible(series, size, by)
    write_rows(Mark, MARK_COLUMNS, _marks(series, size, parts, by))
    counts.recount(series)
    return parts


def finish() -> None:
    """Outside any transaction, once the rows are in."""
    if not connection.in_atomic_block:
        gather_statistics()


def _make_pages(series: Series, size: Size, by: User, colourists: list[User]) -> None:
    issues = Issue.objects.bulk_create(
        [Issue(series=series, number=str(n), position=n * POSITION_GAP) for n in range(1, size.issues + 1)], 1000
    )
    labels = [str(n) for n in range(1, size.pages + 1)]
    Guide.objects.bulk_create(
        (
            Guide(
                series=series, issue=issue, page=label, page_order=page_order(label), filename="none",
                sha256="0" * 64, byte_size=1, width=2000, height=3000, uploaded_by=by,
                colourist=colourists[at % len(colourists)] if colourists else None,
            )
            for issue in issues
            for at, label in enumerate(labels)
        ),
        batch_size=1000,
    )  # fmt: skip


def _make_bible(series: Series, size: Size, by: User) -> list[Part]:
    subjects = Subject.objects.bulk_create(
        Subject(series=series, name=f"Figure {n:04}") for n in range(1, size.subjects + 1)
    )
    costumes = Costume.objects.bulk_create(Costume(subject=subject, name="as drawn") for subject in subjects)
    parts = Part.objects.bulk_create(
        [
            Part(costume=costume, name=f"part {n}", rank=n)
            for costume in costumes
            for n in range(1, size.parts_each + 1)
        ],
        1000,
    )
    tints, middle = series.chart.tints, (size.issues // 2 + 1) * POSITION_GAP
    locks = []
    for n, part in enumerate(parts):
        changes = bool(size.changed) and size.issues > 1 and n % size.changed == 0
        stretches = (
            [(BASE_ROLE, 0, middle, 0), (BASE_ROLE, middle, None, 7)] if changes else [(BASE_ROLE, 0, None, 0)]
        )
        if size.shades:
            stretches.append(("shade", 0, None, 16))
        for role, begins, ends, step in stretches:
            tint = tints[(n + step) % len(tints)]
            locks.append(
                Lock(
                    series=series, part=part, role=role, tint=tint, written=series.write(tint), from_position=begins,
                    to_position=ends, decided_by=by, decided_at=WRITTEN_AT, reason="as made",
                )
            )  # fmt: skip
    Lock.objects.bulk_create(locks, 1000)
    return parts


MARK_COLUMNS = (
    "series_id", "guide_id", "position", "page_order", "number", "x", "y", "part_id", "role", "written", "tint",
    "to_written", "lock_id", "expected", "waived", "live", "version", "created_by_id", "created_at", "changed_by_id",
    "changed_at",
)  # fmt: skip


def _marks(series: Series, size: Size, parts: list[Part], by: User) -> Iterator[tuple[object, ...]]:
    """Rows of marks, page by page in turn. A slip carries a tint that is not locked there."""
    rng = np.random.default_rng(SEED)
    guides = list(
        Guide.objects.filter(series=series).order_by("pk").values_list("pk", "issue__position", "page_order")
    )
    held: dict[tuple[int, str], list[tuple[int | None, int, int]]] = {}
    locks = Lock.objects.filter(series=series).order_by("from_position")
    for part, role, until, lock, tint in locks.values_list("part", "role", "to_position", "pk", "tint"):
        held.setdefault((part, role), []).append((until, lock, tint.packed))
    keys = [part.pk for part in parts]
    wanted = size.marks
    chosen = (len(parts) * rng.random(wanted) ** SKEW).astype(int).tolist()
    place = rng.random((wanted, 2)).round(4).tolist()
    slips = (rng.random(wanted) < size.slips).tolist()
    sort = rng.random(wanted).tolist()
    codes = {tint.packed: series.write(tint) for tint in series.chart.tints}
    wrong, wrong_too = (tint.packed for tint in (Tint(c=50, m=25), Tint(c=25, m=50)))
    moment = WRITTEN_AT if connection.vendor == "postgresql" else WRITTEN_AT.replace(tzinfo=None).isoformat(" ")
    for n in range(wanted):
        guide, position, page = guides[n % len(guides)]
        role = "shade" if sort[n] < size.shades else BASE_ROLE
        part = keys[chosen[n]]
        until, lock, expected = held[part, role][0]
        if until is not None and position >= until:
            _, lock, expected = held[part, role][1]
        tint = expected if not slips[n] else wrong if expected != wrong else wrong_too
        of: tuple[object, ...] = (part, role, codes[tint], tint, "", lock, expected)
        if sort[n] >= 1 - size.background:
            of = (None, role, codes[tint], tint, "", None, NO_LOCK)
        yield (
            series.pk, guide, position, page, n // len(guides) + 1, *place[n], *of, False, True, 1, by.pk, moment,
            by.pk, moment,
        )  # fmt: skip
