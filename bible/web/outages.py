"""What is amiss with the machine and not with the request: no room on a disk, a database that is away or busy.

Told as what it is, with a status that programs understand and the seconds after which to try again (RFC 9110,
10.2.3 and 15.6.4; 507 is of RFC 4918, 11.5). What was being written is undone by its transaction.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import DatabaseError, InterfaceError


@dataclass(frozen=True, slots=True)
class Outage:
    """``words`` for the person; ``wait`` in seconds."""

    status: int
    wait: int
    title: str
    words: str


FULL = Outage(
    507,
    300,
    "No room left",
    "The server’s disk is full: nothing was saved just now, and what was saved before is untouched. Whoever runs the "
    "server has to make room.",
)
AWAY = Outage(
    503,
    10,
    "The database does not answer",
    "The database does not answer: nothing was saved just now, and what was saved before is untouched. Try again "
    "in a while.",
)
BUSY = Outage(
    503,
    2,
    "Others are saving just now",
    "The database is busy with what others save: nothing was saved just now. Try again in a moment.",
)

_DISK = (errno.ENOSPC, errno.EDQUOT)
_SQLITE = {
    "SQLITE_FULL": FULL,
    "SQLITE_BUSY": BUSY,
    "SQLITE_LOCKED": BUSY,
    "SQLITE_CANTOPEN": AWAY,
    "SQLITE_IOERR": AWAY,
    "SQLITE_READONLY": AWAY,
    "SQLITE_NOTADB": AWAY,
}
"""By the beginning of the error's name (sqlite.org/rescode.html): extended codes go on with “_” and more."""
_SQLSTATES = {"53100": FULL, "53": BUSY, "40": BUSY, "55P03": BUSY, "08": AWAY, "57P": AWAY}
"""By the beginning of SQLSTATE (PostgreSQL, appendix A): disk full, too little of something, rolled back, locked,
connections, taken down."""


def outage_of(error: BaseException | None) -> Outage | None:
    """What is amiss, where an error speaks of that; None for a fault of ours."""
    for cause in _causes(error):
        if isinstance(cause, OSError) and cause.errno in _DISK:
            return FULL
        if isinstance(cause, sqlite3.Error):
            return _named(_SQLITE, getattr(cause, "sqlite_errorname", "") or "")
        if state := getattr(cause, "sqlstate", None):
            return _named(_SQLSTATES, state)
        if type(cause).__module__.startswith("psycopg") and type(cause).__name__ == "OperationalError":
            return AWAY  # there was no server to give a state
        if isinstance(cause, InterfaceError):
            return AWAY
    return None


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    """What raised an error, innermost first: Django's own of a database hold the driver's."""
    causes: list[BaseException] = []
    while error is not None and len(causes) < 10:
        causes.append(error)
        error = error.__cause__ if isinstance(error, DatabaseError | InterfaceError) else None
    yield from reversed(causes)


def _named(table: dict[str, Outage], name: str) -> Outage | None:
    return next((trouble for begins, trouble in table.items() if name.startswith(begins)), None)
