"""What the database itself refuses: two locks of one part and role that overlap in running order.

PostgreSQL has an exclusion constraint for it (made once, in a migration). SQLite has none, so triggers do the
same; because Django rebuilds an SQLite table on some migrations, and a rebuilt table has lost its triggers, they are
put back after every migrate.
"""

from __future__ import annotations

from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

OVERLAP_CONSTRAINT = "bible_lock_no_overlap"

POSTGRES_OVERLAP = f"""
    ALTER TABLE bible_lock ADD CONSTRAINT {OVERLAP_CONSTRAINT}
    EXCLUDE USING gist (
        part_id WITH =, role WITH =, int4range(from_position, to_position) WITH &&
    ) WHERE (withdrawn_at IS NULL)
"""

_SQLITE_OVERLAP = """
    CREATE TRIGGER {name}_{event} BEFORE {event} ON bible_lock
    WHEN NEW.withdrawn_at IS NULL
    BEGIN
        SELECT RAISE(ABORT, '{name}')
        WHERE EXISTS (
            SELECT 1 FROM bible_lock other
            WHERE other.part_id = NEW.part_id AND other.role = NEW.role AND other.id <> NEW.id
              AND other.withdrawn_at IS NULL
              AND (NEW.to_position IS NULL OR other.from_position < NEW.to_position)
              AND (other.to_position IS NULL OR NEW.from_position < other.to_position)
        );
    END
"""


def install_triggers(connection: BaseDatabaseWrapper) -> None:
    """(Re)create the SQLite triggers; does nothing on other databases or before the table exists."""
    if connection.vendor != "sqlite" or "bible_lock" not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:
        for event in ("INSERT", "UPDATE"):
            cursor.execute(f"DROP TRIGGER IF EXISTS {OVERLAP_CONSTRAINT}_{event}")
            cursor.execute(_SQLITE_OVERLAP.format(name=OVERLAP_CONSTRAINT, event=event))


def reinstall(*, using: str = "default", **kwargs: Any) -> None:
    install_triggers(connections[using])


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the guards that ought to be in this database and are not."""
    if connection.vendor == "postgresql":
        query = "SELECT conname FROM pg_constraint WHERE conname LIKE %s"
        wanted = {OVERLAP_CONSTRAINT}
    else:
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE %s"
        wanted = {f"{OVERLAP_CONSTRAINT}_{event}" for event in ("INSERT", "UPDATE")}
    with connection.cursor() as cursor:
        cursor.execute(query, [OVERLAP_CONSTRAINT + "%"])
        return sorted(wanted - {name for (name,) in cursor.fetchall()})
