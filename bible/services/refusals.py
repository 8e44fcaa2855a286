"""Why a write is not done; the message is for the person who asked."""

from __future__ import annotations

from bible.models import Lock
from bible.names import name_of


class Refused(Exception):
    """A write that may not be done as asked; the message says why, for the person who asked."""


class StaleDecision(Refused):
    """Somebody else decided the same thing meanwhile; ``newest`` is that decision."""

    def __init__(self, newest: Lock) -> None:
        self.newest = newest
        super().__init__(
            f"{name_of(newest.decided_by)} locked {newest.written} here meanwhile"
            f" ({newest.reason or 'no reason given'}). Look at it, then save again if yours should still hold."
        )
