"""Operations of migrations that leave the application at work."""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db.migrations import AddIndex


class BuildIndex(AddIndexConcurrently):
    """An index that is built while people go on writing; its migration is not atomic.

    Where the database cannot do that (SQLite has one writer, and builds it in less time than that writer waits), it
    is built as usual.
    """

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        else:
            AddIndex.database_forwards(self, app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_backwards(app_label, schema_editor, from_state, to_state)
        else:
            AddIndex.database_backwards(self, app_label, schema_editor, from_state, to_state)
