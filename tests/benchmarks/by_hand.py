"""The best statements we can write by hand for what the application asks of its database through the ORM.

Each fetches what the page needs and no more, as plain rows. The conditions of partial indexes stand word for word as
in the indexes, or SQLite does not use them.
"""

from __future__ import annotations

from typing import Any

from django.db import connection, transaction

FLAGGED = "live AND part_id IS NOT NULL AND NOT (tint = expected)"
OF_MARK = "m.live AND m.part_id IS NOT NULL AND NOT (m.tint = m.expected)"
NAMES = """
    m.id, m.number, m.written, m.tint, m.expected, m.role, m.position, m.page_order, g.page, i.number, u.username,
    p.name, c.name, s.name, l.written, l.from_position, l.to_position, l.reason
"""
NAMED = """
    guides_mark m JOIN guides_guide g ON g.id = m.guide_id JOIN bible_issue i ON i.id = g.issue_id
    LEFT JOIN auth_user u ON u.id = g.colourist_id LEFT JOIN bible_part p ON p.id = m.part_id
    LEFT JOIN bible_costume c ON c.id = p.costume_id LEFT JOIN bible_subject s ON s.id = c.subject_id
    LEFT JOIN bible_lock l ON l.id = m.lock_id
"""
PRINTED = (NAMES, NAMED)
BARE = ("m.id, m.number, m.written, m.tint, m.expected, m.role, m.part_id, m.guide_id, m.lock_id", "guides_mark m")
"""(Columns, tables): all that a list of flags prints, or of the marks alone."""

Wanted = tuple[str, str]


def rows(statement: str, *values: Any) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()


def open_flags(series: int) -> Any:
    return rows(f"SELECT COUNT(*) FROM guides_mark WHERE {FLAGGED} AND NOT waived AND series_id = %s", series)


def first_flags(series: int, wanted: Wanted = PRINTED) -> Any:
    return rows(
        f"SELECT {wanted[0]} FROM {wanted[1]} WHERE {OF_MARK} AND NOT m.waived AND m.series_id = %s"
        " ORDER BY m.position, m.page_order, m.id LIMIT 50",
        series,
    )


def flags_of_page(series: int, position: int, page_order: int, guide: int, wanted: Wanted = PRINTED) -> Any:
    return rows(
        f"SELECT {wanted[0]} FROM {wanted[1]} WHERE {OF_MARK} AND NOT m.waived AND m.series_id = %s AND m.position = %s"
        " AND m.page_order = %s AND m.guide_id = %s ORDER BY m.id",
        series, position, page_order, guide,
    )  # fmt: skip


def flags_of_issue(series: int, position: int, wanted: Wanted = PRINTED) -> Any:
    return rows(
        f"SELECT {wanted[0]} FROM {wanted[1]} WHERE {OF_MARK} AND NOT m.waived AND m.series_id = %s AND m.position = %s"
        " ORDER BY m.page_order, m.id",
        series, position,
    )  # fmt: skip


def impact(part: int, tint: int) -> Any:
    """Flags that a lock from the first issue on would open and close, issue by issue."""
    after = f"CASE WHEN expected = -3 THEN expected ELSE {int(tint)} END"
    return rows(
        f"SELECT position, SUM(CASE WHEN (tint = expected OR waived) AND tint <> {after}"
        f" AND NOT (waived AND expected = {after}) THEN 1 ELSE 0 END),"
        f" SUM(CASE WHEN tint <> expected AND NOT waived AND tint = {after} THEN 1 ELSE 0 END)"
        " FROM guides_mark WHERE part_id = %s AND part_id IS NOT NULL AND role = 'base' AND live"
        " GROUP BY position",
        part,
    )


def look_up(series: int, words: str, position: int, limit: int) -> Any:
    """Parts for which every word occurs in one of the names, with the locks in force."""
    holds = "(" + " OR ".join(f"{table}.name_upper LIKE UPPER(%s)" for table in "pcs") + ")"
    asked = words.split()
    return rows(
        f"""
        SELECT f.*, l.role, l.tint, l.written, l.from_position, l.to_position FROM (
            SELECT p.id AS part, p.name, c.name AS costume, s.name AS subject, c.rank, c.id AS costume_id, p.rank AS r
            FROM bible_part p JOIN bible_costume c ON c.id = p.costume_id JOIN bible_subject s ON s.id = c.subject_id
            WHERE s.series_id = %s AND p.archived_at IS NULL AND c.archived_at IS NULL AND s.archived_at IS NULL
            AND {" AND ".join([holds] * len(asked))} ORDER BY s.name, c.rank, c.id, p.rank, p.id LIMIT %s
        ) f LEFT JOIN bible_lock l ON l.part_id = f.part AND l.withdrawn_at IS NULL AND l.from_position <= %s
            AND (l.to_position IS NULL OR l.to_position > %s)
        ORDER BY f.subject, f.rank, f.costume_id, f.r, f.part, l.role
        """,
        series, *(f"%{word}%" for word in asked for _ in range(3)), limit, position, position,
    )  # fmt: skip


def matrix(series: int) -> Any:
    return rows("SELECT issue_id, colourist, packed FROM guides_tintuse WHERE series_id = %s", series), rows(
        "SELECT id, number, position FROM bible_issue WHERE series_id = %s ORDER BY position", series
    )


@transaction.atomic
def lock(series: int, part: int, tint: int, by: int, now: Any) -> None:
    """A lock from the first issue on that supersedes what held, and every mark of the part resolved: the bare rows,
    without counts, signatures, what has happened and whom it is told."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE bible_lock SET withdrawn_at = %s, withdrawn_by_id = %s, withdrawn_reason = 'x'"
            " WHERE part_id = %s AND role = 'base' AND withdrawn_at IS NULL",
            [now, by, part],
        )
        cursor.execute(
            "INSERT INTO bible_lock (series_id, part_id, role, tint, written, rule_data, from_position, reason,"
            " decided_by_id, decided_at, withdrawn_reason) VALUES (%s, %s, 'base', %s, 'B', '[]', 0, '', %s, %s, '')"
            " RETURNING id",
            [series, part, tint, by, now],
        )
        (pk,) = cursor.fetchone()
        cursor.execute(
            "UPDATE guides_mark SET lock_id = %s, waived = (waived AND expected = %s), expected = %s"
            " WHERE part_id = %s AND part_id IS NOT NULL AND role = 'base' AND expected <> -3",
            [pk, tint, tint, part],
        )
