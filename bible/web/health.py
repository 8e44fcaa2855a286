"""Whether this worker lives, and whether it can work: for a supervisor or a load balancer, in one word a part."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable
from functools import cache

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from bible.models import UNSERVED, Job
from bible.web.access import everybody

log = logging.getLogger(__name__)


class NotReady(Exception):
    """What is missing, in words that may be shown to anybody."""


@never_cache
@require_safe
@everybody
def live(request: HttpRequest) -> HttpResponse:
    """The process answers. Nothing else is touched: a database that is away is no reason to kill workers."""
    return HttpResponse("live\n", content_type="text/plain")


@never_cache
@require_safe
@everybody
def ready(request: HttpRequest) -> HttpResponse:
    """503 while the database is away, not migrated for this code, or pictures cannot be stored. Work that nobody does
    is told, and no reason to take web workers out of service."""
    needed = {name: _asked(name, part) for name, part in PARTS.items()}
    states = needed | {name: _asked(name, part) for name, part in TOLD.items()}
    lines = "".join(f"{name}: {words}\n" for name, words in states.items())
    fine = all(words == "ok" for words in needed.values())
    return HttpResponse(lines, content_type="text/plain", status=200 if fine else 503)


def _asked(name: str, part: Callable[[], None]) -> str:
    try:
        part()
    except NotReady as trouble:
        return str(trouble)
    except Exception as trouble:
        # Whatever a database or a store throws: its words may hold addresses and names, so they go to the log alone.
        log.error("not ready: %s: %s", name, type(trouble).__name__)
        return "does not answer"
    return "ok"


def _database() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()


def _migrations() -> None:
    if missing := _ours() - set(MigrationRecorder(connection).applied_migrations()):
        raise NotReady(f"{len(missing)} to be applied")


@cache
def _ours() -> frozenset[tuple[str, str]]:
    return frozenset(MigrationLoader(None).disk_migrations or ())


def _pictures() -> None:
    name = default_storage.save(f"health/{uuid.uuid4().hex}", ContentFile(b"."))
    default_storage.delete(name)


PARTS: dict[str, Callable[[], None]] = {"database": _database, "migrations": _migrations, "pictures": _pictures}


def _work() -> None:
    if Job.objects.unserved():
        raise NotReady(UNSERVED)


TOLD: dict[str, Callable[[], None]] = {"work": _work}
"""What somebody should look at, though this worker can do its own part."""
