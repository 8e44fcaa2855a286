"""Booklets: asked for in the browser, made by a process of their own, so that no web worker is held up or lost.

The row in the database is all that web workers and the maker share: it is claimed once, carries how far the work is,
and a stop is a state that the maker finds at its next report.

One that falls silent for a minute has broken off. A series makes one at a time and keeps three.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial

from django.conf import settings
from django.contrib.auth.models import User
from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from bible.models import Issue, Series
from bible.series.holding import hold_series
from bible.series.running_order import AsOf
from guides.booklets.booklet_pdf import steps, write_booklet
from guides.booklets.queries import make_book
from guides.models import Booklet, BookletQuerySet

KEPT = 3
"""Booklets of a series that are kept, the one asked for included: a booklet is made anew in seconds."""

REPORT_EVERY = 0.5
"""Seconds between two reports: a bar that moves, and few writes."""

IN_MEMORY = 16_000_000


class Stopped(Exception):
    """Somebody stopped the booklet, or it was cleared away."""


@transaction.atomic
def ask_for_booklet(*, series: Series, issue: Issue | None, by: User) -> tuple[Booklet, bool]:
    """The booklet to wait for, and whether it is a new one: a series makes one at a time, whoever asks.

    Older ones are cleared away with their files. The maker starts when this is committed.
    """
    hold_series(series.pk)
    running = Booklet.objects.filter(series=series).busy().first()
    if running:
        return running, False
    for old in Booklet.objects.filter(series=series).newest_first()[KEPT - 1 :]:
        _clear(old)
    made = Booklet.objects.create(series=series, issue=issue, asked_by=by)
    transaction.on_commit(partial(launch, made.pk))
    return made, True


def _clear(booklet: Booklet) -> None:
    storage, name = booklet.file.storage, booklet.file.name
    booklet.delete()
    if name:
        transaction.on_commit(partial(storage.delete, name))


def launch(pk: int) -> None:
    """Start the maker as a process of its own session: it outlives the request, and a restart of the worker too."""
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "build_booklet", str(pk)]
    quiet = subprocess.DEVNULL
    try:
        subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True)
    except OSError:
        Booklet.objects.filter(pk=pk).update(state=Booklet.State.FAILED)


def stop_booklet(*, booklet: Booklet) -> bool:
    """Stop it; False where there was nothing left to stop."""
    running = Booklet.objects.filter(pk=booklet.pk).busy()
    return bool(running.update(state=Booklet.State.STOPPED, touched_at=timezone.now()))


def build_booklet(pk: int) -> Booklet | None:
    """Make a booklet that waits; None where another process has it, or it was stopped before.

    What goes wrong leaves the booklet broken off and is raised for the log.
    """
    waiting = Booklet.objects.filter(pk=pk, state=Booklet.State.WAITING)
    if not waiting.update(state=Booklet.State.MAKING, touched_at=timezone.now()):
        return None
    booklet = Booklet.objects.with_names().get(pk=pk)
    try:
        _make(booklet)
    except Stopped:
        return None
    except BaseException:
        _still_making(pk).update(state=Booklet.State.FAILED)
        raise
    return booklet


def _make(booklet: Booklet) -> None:
    series = booklet.series
    book = make_book(series, AsOf.at(series, booklet.issue), series.subjects.active())
    report = reporter(booklet.pk, steps(book))
    report(0)
    with tempfile.SpooledTemporaryFile(IN_MEMORY) as out:
        write_booklet(book, timezone.now(), out, report)
        out.seek(0)
        name = f"booklets/{series.pk}/{booklet.pk}.pdf"
        stored = booklet.file.storage.save(name, File(out))
    subjects = len(book.sheets)
    ready = {"state": Booklet.State.READY, "file": stored, "done": subjects, "total": subjects}
    if not _still_making(booklet.pk).update(**ready, touched_at=timezone.now()):
        booklet.file.storage.delete(stored)
        raise Stopped


def _still_making(pk: int) -> BookletQuerySet:
    return Booklet.objects.filter(pk=pk, state=Booklet.State.MAKING)


def reporter(pk: int, total: int) -> Callable[[int], None]:
    """Tell the row how many steps are done, not too often. The report raises ``Stopped`` once it is not wanted."""
    last = [-REPORT_EVERY]

    def report(done: int) -> None:
        now = time.monotonic()
        if done and now - last[0] < REPORT_EVERY:
            return
        last[0] = now
        if not _still_making(pk).update(done=done, total=total, touched_at=timezone.now()):
            raise Stopped

    return report
