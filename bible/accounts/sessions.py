"""Django's sessions in the database, each knowing whose it is and when it was last used: ``SESSION_ENGINE``."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends import db
from django.utils import timezone

from bible.models import AccountSession

NOTED_EVERY = dt.timedelta(minutes=10)
"""How exactly “last used” is known: one write in ten minutes of work, and a page that is only read writes no more."""


class SessionStore(db.SessionStore):
    """The library's, with its own table."""

    @classmethod
    def get_model_class(cls) -> Any:
        return AccountSession

    def create_model_instance(self, data: dict[str, Any]) -> Any:
        row: Any = super().create_model_instance(data)
        row.user_id = int(data[SESSION_KEY]) if SESSION_KEY in data else None
        row.used_at = timezone.now()
        return row

    def load(self) -> dict[str, Any]:
        row = self._get_session_from_db()  # type: ignore[attr-defined]
        if row is None:
            return {}
        now = timezone.now()
        if row.user_id and (row.used_at is None or now - row.used_at > NOTED_EVERY):
            AccountSession.objects.filter(pk=row.pk).update(used_at=now)
        return self.decode(row.session_data)
