"""Booklets are set in the background: one at a time for a series, and its last ones kept."""

from __future__ import annotations

import tempfile
from functools import partial
from typing import TYPE_CHECKING

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from bible.models import Edition, Issue, Series
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.running_order import AsOf
from bible.tasks.backend import background
from bible.tasks.progress import Reporter
from bible.tasks.services import enqueue
from bible.web.preferences import PaperSize
from guides.booklets.booklet_pdf import steps, write_booklet
from guides.booklets.queries import make_book
from guides.models import Booklet
from guides.paper.sizes import SIZES

if TYPE_CHECKING:
    from django.contrib.auth.models import User

KEPT = 3
"""Booklets of a series that are kept, the one asked for included: a booklet is made anew in seconds."""

SECONDS = 600
"""A bible of 400 subjects with pictures is set in 20; ten times as many may be, on a busy machine."""

IN_MEMORY = 16_000_000


@transaction.atomic
def ask_for_booklet(
    *, series: Series, issue: Issue | None, by: User, edition: Edition | None = None, paper: str = PaperSize.A4
) -> tuple[Booklet, bool]:
    """The booklet to wait for, and whether it is a new one: a series makes one at a time, whoever asks.

    Older ones are cleared away with their files.
    """
    hold_series(series.pk)
    earlier = list(Booklet.objects.filter(series=series).newest_first())
    if running := next((booklet for booklet in earlier if booklet.is_busy), None):
        return running, False
    for old in earlier[KEPT - 1 :]:
        _clear(old)
    made = Booklet.objects.create(series=series, issue=issue, edition=edition, asked_by=by)
    enqueue(
        make,
        key=made.job_key,
        by=by,
        series=series,
        about=f"{made}",
        page=made.get_absolute_url(),
        booklet=made.pk,
        paper=str(paper),
    )
    return made, True


def _clear(booklet: Booklet) -> None:
    storage, name = booklet.file.storage, booklet.file.name
    booklet.delete()
    if name:
        transaction.on_commit(partial(storage.delete, name))


@background(words="being set", kind="booklet", seconds=SECONDS, priority=5)
def make(context: Reporter, *, booklet: int, paper: str = PaperSize.A4) -> None:
    """Set a booklet and store it."""
    wanted = Booklet.objects.with_names().filter(pk=booklet).first()
    if wanted is None:
        raise Refused("The booklet is not wanted any more.")
    series = wanted.series
    book = make_book(series, AsOf.at(series, wanted.issue, edition=wanted.edition), series.subjects.active())
    total = steps(book)
    with tempfile.SpooledTemporaryFile(IN_MEMORY) as out:
        write_booklet(book, timezone.now(), out, lambda done: context.say("being set", done, total), SIZES[paper])
        out.seek(0)
        stored = wanted.file.storage.save(f"booklets/{series.pk}/{wanted.pk}.pdf", File(out))
    subjects = len(book.sheets)
    ready = {"state": Booklet.State.READY, "file": stored, "done": subjects, "total": subjects}
    try:
        with context.finishing():
            Booklet.objects.filter(pk=wanted.pk).update(**ready, touched_at=timezone.now())
    except BaseException:
        wanted.file.storage.delete(stored)
        raise
