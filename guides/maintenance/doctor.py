"""What faults may leave behind: files without a row, rows without their file, work that nobody goes on with.

The store is listed before the rows are read, so that a file whose row is written in between is known.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import PurePosixPath

from django.apps import apps
from django.core.files.storage import default_storage
from django.db import models
from django.utils import timezone

from bible.models import UNSERVED, Job
from guides.imaging.writing.models import WEIGHTS, WritingModelError, read
from guides.models import Arrival, Guide
from guides.paper.fonts import DEBIAN, unset_scripts
from guides.uploads.services import give_up

GRACE = dt.timedelta(hours=48)
"""A file younger than this may belong to somebody at work: pictures are stored before their rows, and the slowest
such work, restoring a long series, is done within hours. Twice what half-sent files are kept for."""

DRAWN_AGAIN = ("printed", "plates", "maps")
"""Folders ``NAME/series/guide/…`` of what is drawn or worked out anew when it is asked for; no row names them."""

OUR_APPS = ("bible", "guides")


class Kind(StrEnum):
    ORPHAN = "orphan"
    LEFT_OVER = "left-over"
    MISSING = "missing"
    PIECES_LOST = "pieces-lost"
    HALF_SENT = "half-sent"
    NO_WORKER = "no-worker"
    READER = "reader"
    FONTS = "fonts"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something amiss; ``mend`` puts it right, where a program can (a lost picture comes from the backup)."""

    kind: Kind
    what: str
    words: str
    mend: Callable[[], object] | None = None


def examine(now: dt.datetime | None = None) -> Iterator[Finding]:
    """Everything that is amiss, files first. Reads only; nothing is mended by looking."""
    before = (now or timezone.now()) - GRACE
    files = set(_files())
    named = dict(_named())
    arrivals = list(Arrival.objects.unfinished().select_related("issue", "series"))
    pieces = {piece for arrival in arrivals for piece in arrival.pieces}
    yield from _unnamed(files - named.keys() - pieces, before)
    for name in sorted(named.keys() - files):
        if not default_storage.exists(name):  # stored since the store was listed?
            yield Finding(Kind.MISSING, name, f"{named[name]} has lost its file: take it from the backup")
    yield from _unfinished(arrivals, files)
    if Job.objects.unserved():
        yield Finding(Kind.NO_WORKER, "work in the background", f"{UNSERVED}: see that `manage.py worker` runs")
    yield from _reader()
    yield from _fonts()


def _reader() -> Iterator[Finding]:
    """The networks that read codes: without them pages propose nothing, and the desk works as ever."""
    try:
        read(WEIGHTS)
    except WritingModelError as error:
        words = f"{error}: pages propose no marks until this program is installed anew"
        yield Finding(Kind.READER, "reader of codes", words)


def _fonts() -> Iterator[Finding]:
    """Fonts that PDFs borrow letters from: without them names of those scripts are boxes on paper, and it says so."""
    if scripts := unset_scripts():
        words = f"names in {', '.join(scripts)} are not set in PDFs: install fonts that have them (Debian: {DEBIAN})"
        yield Finding(Kind.FONTS, "fonts", words)


def _files(folder: str = "") -> Iterator[str]:
    try:
        folders, files = default_storage.listdir(folder)
    except FileNotFoundError:  # nothing was ever stored, or somebody else has just tidied up
        return
    for name in files:
        yield str(PurePosixPath(folder, name))
    for name in folders:
        yield from _files(str(PurePosixPath(folder, name)))


def _named() -> Iterator[tuple[str, str]]:
    """(name in the store, whose it is) for every file that any row of ours names."""
    for model in apps.get_models():
        if model._meta.app_label not in OUR_APPS:
            continue
        for field in (field for field in model._meta.get_fields() if isinstance(field, models.FileField)):
            rows = model._base_manager.exclude(**{field.name: ""}).values_list("pk", field.name)
            for pk, name in rows.iterator():
                yield name, f"{model._meta.verbose_name} {pk} ({field.name})"


def _unnamed(files: set[str], before: dt.datetime) -> Iterator[Finding]:
    guides = {str(pk) for pk in Guide.objects.values_list("pk", flat=True)}
    for name in sorted(files):
        parts = PurePosixPath(name).parts
        drawn = len(parts) == 4 and parts[0] in DRAWN_AGAIN
        if (drawn and parts[2] in guides) or not _older(name, before):
            continue
        mend = _deletion(name)
        if drawn:
            yield Finding(Kind.LEFT_OVER, name, "drawn for a guide that is no more", mend)
        else:
            yield Finding(Kind.ORPHAN, name, "no row names this file", mend)


def _older(name: str, before: dt.datetime) -> bool:
    try:
        return default_storage.get_modified_time(name) < before
    except FileNotFoundError:
        return False


def _deletion(name: str) -> Callable[[], object]:
    return lambda: default_storage.delete(name)


def _unfinished(arrivals: list[Arrival], files: set[str]) -> Iterator[Finding]:
    expired = set(Arrival.objects.unfinished().expired().values_list("pk", flat=True))
    for arrival in arrivals:
        whose = f"“{arrival.filename}” for issue {arrival.issue.number} of {arrival.series.slug}"
        if arrival.pk in expired:
            yield Finding(Kind.HALF_SENT, whose, "nobody goes on sending it", _giving_up(arrival))
        elif any(piece not in files and not default_storage.exists(piece) for piece in arrival.pieces):
            words = "pieces of it are lost: it has to be sent again"
            yield Finding(Kind.PIECES_LOST, whose, words, _giving_up(arrival))


def _giving_up(arrival: Arrival) -> Callable[[], object]:
    return lambda: give_up(arrival=arrival)
