"""The database refuses overlapping locks: a constraint on PostgreSQL, triggers on SQLite."""

from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations

from bible.locks.guards import OVERLAP_CONSTRAINT, POSTGRES_OVERLAP, install_triggers


def install(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(POSTGRES_OVERLAP)
    else:
        install_triggers(schema_editor.connection)


def remove(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"ALTER TABLE bible_lock DROP CONSTRAINT {OVERLAP_CONSTRAINT}")
    else:
        for event in ("INSERT", "UPDATE"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {OVERLAP_CONSTRAINT}_{event}")


class Migration(migrations.Migration):
    dependencies = [("bible", "0001_initial")]
    operations = [BtreeGistExtension(), migrations.RunPython(install, remove)]
