"""What the database itself refuses: two locks of one part and role in one printing, or two times of one costume, that
overlap in running order.

PostgreSQL has an exclusion constraint for it (made once, in a migration). SQLite has none, so triggers do the
same; because Django rebuilds an SQLite table on some migrations, and a rebuilt table has lost its triggers, they are
put back after every migrate.
"""

from __future__ import annotations

from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

OVERLAP_CONSTRAINT = "bible_lock_no_overlap"
COSTUME_CONSTRAINT = "bible_costume_no_overlap"

POSTGRES_OVERLAP = f"""
    ALTER TABLE bible_lock ADD CONSTRAINT {OVERLAP_CONSTRAINT}
    EXCLUDE USING gist (
        part_id WITH =, role WITH =, int4range(from_position, to_position) WITH &&
    ) WHERE (withdrawn_at IS NULL)
"""

POSTGRES_OVERLAP_IN_EDITION = f"""
    ALTER TABLE bible_lock DROP CONSTRAINT {OVERLAP_CONSTRAINT};
    ALTER TABLE bible_lock ADD CONSTRAINT {OVERLAP_CONSTRAINT}
    EXCLUDE USING gist (
        part_id WITH =, role WITH =, (coalesce(edition_id, 0)) WITH =, int4range(from_position, to_position) WITH &&
    ) WHERE (withdrawn_at IS NULL)
"""
"""Two printings may say two things; none has the key 0, which is the first printing here."""

POSTGRES_COSTUMES = f"""
    ALTER TABLE bible_costumestretch ADD CONSTRAINT {COSTUME_CONSTRAINT}
    EXCLUDE USING gist (
        costume_id WITH =, int4range(from_position, to_position) WITH &&
    ) WHERE (withdrawn_at IS NULL)
"""

OWNER_CONSTRAINT = "bible_owner_no_overlap"

POSTGRES_OWNERS = f"""
    ALTER TABLE bible_ownership ADD CONSTRAINT {OWNER_CONSTRAINT}
    EXCLUDE USING gist (
        subject_id WITH =, int4range(from_position, to_position) WITH &&
    ) WHERE (withdrawn_at IS NULL)
"""

GUARDED = {
    OVERLAP_CONSTRAINT: ("bible_lock", ("part_id", "role", "edition_id")),
    OWNER_CONSTRAINT: ("bible_ownership", ("subject_id",)),
    COSTUME_CONSTRAINT: ("bible_costumestretch", ("costume_id",)),
}
"""By the guard's name the table, and in which columns its rows are alike that may not overlap."""

_SQLITE_OVERLAP = """
    CREATE TRIGGER {name}_{event} BEFORE {event} ON {table}
    WHEN NEW.withdrawn_at IS NULL
    BEGIN
        SELECT RAISE(ABORT, '{name}')
        WHERE EXISTS (
            SELECT 1 FROM {table} other
            WHERE {rivals} AND other.id <> NEW.id
              AND other.withdrawn_at IS NULL
              AND (NEW.to_position IS NULL OR other.from_position < NEW.to_position)
              AND (other.to_position IS NULL OR NEW.from_position < other.to_position)
        );
    END
"""


def install_triggers(connection: BaseDatabaseWrapper) -> None:
    """(Re)create the SQLite triggers; does nothing on other databases or before a table exists."""
    if connection.vendor != "sqlite":
        return
    there = connection.introspection.table_names()
    with connection.cursor() as cursor:
        for name, (table, alike) in GUARDED.items():
            if table not in there:
                continue
            # On the way through the migrations a column may not be there yet.
            columns = {column.name for column in connection.introspection.get_table_description(cursor, table)}
            rivals = " AND ".join(f"other.{column} IS NEW.{column}" for column in alike if column in columns)
            for event in ("INSERT", "UPDATE"):
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}_{event}")
                cursor.execute(_SQLITE_OVERLAP.format(name=name, event=event, table=table, rivals=rivals))


def reinstall(*, using: str = "default", **kwargs: Any) -> None:
    install_triggers(connections[using])


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the guards that ought to be in this database and are not."""
    if connection.vendor == "postgresql":
        query = "SELECT conname FROM pg_constraint WHERE conname LIKE %s"
        wanted = set(GUARDED)
    else:
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE %s"
        wanted = {f"{name}_{event}" for name in GUARDED for event in ("INSERT", "UPDATE")}
    with connection.cursor() as cursor:
        cursor.execute(query, ["%_no_overlap%"])
        return sorted(wanted - {name for (name,) in cursor.fetchall()})
