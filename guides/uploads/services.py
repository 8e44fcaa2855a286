"""Scans come in by pieces: begun, gone on with after a lost connection, looked at, stored. Writes, keyword-only.

Pieces lie in the storage under names of their own, so that any web worker can take the next one.

A page is its uploader's unless somebody else is named; a revision keeps whose it is, and the page changes it.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import tempfile
import uuid
from collections.abc import Iterable
from functools import partial
from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Literal, Protocol

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from bible.models import Issue, Series
from bible.models.naming import name_of
from bible.series.refusals import Refused
from guides.core.pictures import sharer
from guides.core.services import PageTaken, add_guide, checked_label, next_revision
from guides.found.tasks import ask_for_codes
from guides.imaging.intake.rules import MAX_BYTES, SNIFF_BYTES, IntakeError, check_name, megabytes, sniff
from guides.imaging.intake.take_in import Intake, take_in
from guides.models import KEPT_FOR, Arrival, Guide
from guides.uploads.tasks import ask_for_map

if TYPE_CHECKING:
    from django.contrib.auth.models import User

PIECE_BYTES = 4_000_000
"""What a browser sends at a time: a slow line loses a few seconds of it, a fast one is not held up."""

MOST_PIECE_BYTES = 8_000_000
"""What the server takes at a time; a piece is held in memory."""

MOST_UNFINISHED = 60
"""Files one person may have on the way in a series; more than an issue has pages."""

WORK_SECONDS = 90
"""After this the look at a file counts as broken off: longer than the intake's own queue and clock together."""

SWEPT_AT_ONCE = 50
CANCELLED = "Cancelled"
NOT_THE_FILES_FAULT = ("busy", "unavailable")


class OutOfStep(Refused):
    """A piece that does not begin where the last one ended; ``arrival`` says where it should."""

    def __init__(self, arrival: Arrival) -> None:
        self.arrival = arrival
        super().__init__(f"{arrival.received} bytes of this file are here; go on from there.")


class AtWork(Refused):
    """Another request is looking at the file just now."""


class NeedsYes(Refused):
    """Storing the file needs somebody's yes. ``to`` is what it is a yes to: the file once more, or its damage."""

    def __init__(self, words: str, to: Literal["again", "damaged"] = "again") -> None:
        self.to = to
        super().__init__(words)


class Stream(Protocol):
    def read(self, size: int, /) -> bytes: ...


def known_contents(series: Series, fingerprints: Iterable[str]) -> dict[str, Guide]:
    """Where files with these SHA-256 are in the series already; a current guide rather than an older revision."""
    wanted = {fingerprint for fingerprint in fingerprints if fingerprint}
    if not wanted:
        return {}
    guides = Guide.objects.filter(series=series, sha256__in=wanted).select_related("issue", "series")
    return {guide.sha256: guide for guide in guides.order_by("is_current", "id")}


def where(guide: Guide) -> str:
    """“issue 12, page 7 (revision 1 of an older scan)”."""
    older = "" if guide.is_current else f", older revision {guide.revision}"
    return f"issue {guide.issue.number}, {guide}{older}"


def _refuse_size(byte_size: int) -> None:
    if byte_size < 1:
        raise Refused("The file is empty (0 bytes); it may not have been copied to the end.")
    if byte_size > MAX_BYTES:
        raise Refused(f"The file ({megabytes(byte_size)}) is larger than the {megabytes(MAX_BYTES)} allowed.")


def _refuse_another(unfinished: int) -> None:
    if unfinished >= MOST_UNFINISHED:
        raise Refused(
            f"{MOST_UNFINISHED} files of yours are half-sent; finish or leave out some of them first. "
            f"They are forgotten after {KEPT_FOR.total_seconds() / 3600:.0f} hours."
        )


def start(
    *,
    issue: Issue,
    page: str,
    revision: int,
    filename: str,
    byte_size: int,
    by: User,
    sha256: str = "",
    colourist: User | None = None,
    again: bool = False,
) -> Arrival:
    """Begin a file, or go on with what this person has sent of the very same one for this issue.

    Args:
        revision: which one of the page the person was told that this becomes.
        byte_size: of the whole file.
        sha256: of the whole file, hexadecimal, if the browser can work it out.
        again: bring the file in although the series has it.

    Raises:
        Refused: no label, too large or empty, or too many half-sent files.
        NeedsYes: the series has this very file.
    """
    sweep()
    page = checked_label(page)
    _refuse_size(byte_size)
    if not again:
        _refuse_known(issue.series, sha256)
    details = {"page": page, "revision": revision, "colourist": colourist, "again": again}
    mine = Arrival.objects.filter(issue__series=issue.series, started_by=by).unfinished()
    with transaction.atomic():
        held = mine.filter(issue=issue, sha256=sha256, byte_size=byte_size).exclude(sha256="").order_by("id").last()
        if held:
            Arrival.objects.filter(pk=held.pk).update(**details, touched_at=timezone.now())
            return Arrival.objects.select_related("series", "issue").get(pk=held.pk)
        _refuse_another(mine.count())
        name = PurePath(filename.replace("\\", "/")).name[-200:]
        sent = {"filename": name, "byte_size": byte_size, "sha256": sha256, "started_by": by}
        return Arrival.objects.create(series=issue.series, issue=issue, **sent, **details)


def _refuse_known(series: Series, sha256: str) -> None:
    if guide := known_contents(series, [sha256]).get(sha256):
        raise NeedsYes(f"This very file is here already: {where(guide)}.")


def append(*, arrival: Arrival, at: int, stream: Stream) -> Arrival:
    """Take the piece that begins at byte ``at``; what came of it is kept even when the connection breaks in it.

    Raises:
        OutOfStep: the piece begins elsewhere than where the last one ended.
        IntakeError: the file's first bytes, or its name, say that it is no picture we take.
    """
    if arrival.guide_id or arrival.refused or at != arrival.received:
        raise OutOfStep(arrival)
    data = _whatever_comes(stream, min(MOST_PIECE_BYTES, arrival.byte_size - at))
    if at == 0 and (len(data) >= SNIFF_BYTES or len(data) == arrival.byte_size):
        try:
            check_name(arrival.filename, sniff(data[:SNIFF_BYTES]))
        except IntakeError as error:
            _refuse(arrival, error)
            raise
    name = default_storage.save(f"arrivals/{arrival.pk}/{uuid.uuid4().hex}", ContentFile(data))
    try:
        with transaction.atomic():
            held = Arrival.objects.select_for_update(of=("self",)).select_related("series").get(pk=arrival.pk)
            if held.received != at or held.guide_id or held.refused:
                raise OutOfStep(held)
            held.pieces = [*held.pieces, name]
            held.received += len(data)
            held.touched_at = timezone.now()
            held.save(update_fields=["pieces", "received", "touched_at"])
            return held
    except BaseException:
        default_storage.delete(name)
        raise


def _whatever_comes(stream: Stream, most: int) -> bytes:
    data = bytearray()
    with contextlib.suppress(OSError):  # Django's UnreadablePostError is one: the connection broke off
        while len(data) < most and (part := stream.read(min(1 << 18, most - len(data)))):
            data += part
    return bytes(data)


def finish(*, arrival: Arrival, again: bool = False, damaged: bool = False) -> tuple[Guide, Intake | None]:
    """Look at a file that is all here and store it as a guide; ``Intake`` is None when that was done before.

    Args:
        again, damaged: the person's yes, having been told what ``NeedsYes`` said.

    Raises:
        OutOfStep: bytes are missing, or what came is not what was sent; go on from ``arrival.received``.
        AtWork: another request is doing this just now.
        NeedsYes: the file is in the series, somebody brought another scan of the page in meanwhile, or not all of
            its pixels can be read.
        IntakeError: the picture is refused; its bytes are dropped unless it was not the file's fault.
    """
    if arrival.guide:
        return arrival.guide, None
    if not arrival.is_whole:
        raise OutOfStep(arrival)
    free = Q(working_since=None) | Q(working_since__lt=timezone.now() - dt.timedelta(seconds=WORK_SECONDS))
    now = timezone.now()
    if not Arrival.objects.filter(free, pk=arrival.pk, guide=None).update(working_since=now, touched_at=now):
        raise AtWork("The file is being looked at.")
    try:
        return _look_and_store(arrival, again, damaged)
    except IntakeError as error:
        if error.reason == "part_damaged":
            raise NeedsYes(error.message, "damaged") from error
        if error.reason not in NOT_THE_FILES_FAULT:
            _refuse(arrival, error)
        raise
    finally:
        Arrival.objects.filter(pk=arrival.pk).update(working_since=None)


def _look_and_store(arrival: Arrival, again: bool, damaged: bool) -> tuple[Guide, Intake]:
    with tempfile.TemporaryFile(prefix="arrival-") as whole:
        _join(arrival, whole)
        picture = take_in(whole, arrival.filename, who=sharer(arrival.started_by_id), damaged=damaged)
        if arrival.sha256 not in ("", picture.sha256):
            _drop_pieces(arrival)
            raise OutOfStep(arrival)
        if not (again or arrival.again):
            _refuse_known(arrival.series, picture.sha256)
        revision = next_revision(arrival.issue, arrival.page) if again else arrival.revision
        try:
            # One transaction: a worker that dies in between would leave a guide whose sender is asked whether the
            # very same file, its own, may come in once more.
            with transaction.atomic():
                if not Arrival.objects.select_for_update(of=("self",)).filter(pk=arrival.pk).unfinished().first():
                    raise Refused("The file is not wanted any more: it was left out or cancelled.")
                guide = add_guide(
                    issue=arrival.issue,
                    page=arrival.page,
                    picture=picture,
                    original=whole,
                    filename=arrival.filename,
                    by=arrival.started_by,
                    colourist=arrival.colourist,
                    revision=revision,
                )
                Arrival.objects.filter(pk=arrival.pk).update(guide=guide)
                ask_for_map(guide=guide, by=arrival.started_by)
                ask_for_codes(guide=guide, by=arrival.started_by)
        except PageTaken as taken:
            raise NeedsYes(str(taken)) from taken
    arrival.guide = guide
    _drop_pieces(arrival)
    return guide, picture


def _join(arrival: Arrival, whole: IO[bytes]) -> None:
    for name in arrival.pieces:
        with default_storage.open(name) as piece:
            for part in piece.chunks(1 << 20):
                whole.write(part)
    whole.flush()
    whole.seek(0)


def _refuse(arrival: Arrival, error: IntakeError) -> None:
    arrival.refused = error.message[:500]
    Arrival.objects.filter(pk=arrival.pk).update(refused=arrival.refused)
    _drop_pieces(arrival)


def _drop_pieces(arrival: Arrival) -> None:
    names, arrival.pieces, arrival.received = arrival.pieces, [], arrival.byte_size if arrival.guide_id else 0
    Arrival.objects.filter(pk=arrival.pk).update(pieces=[], received=arrival.received)
    for name in names:
        default_storage.delete(name)


def give_up(*, arrival: Arrival) -> None:
    """Forget a file that is not stored; a stored guide stays."""
    _drop_pieces(arrival)
    Arrival.objects.filter(pk=arrival.pk).delete()


@transaction.atomic
def cancel(*, arrival: Arrival, by: User) -> None:
    """Let somebody's file come no further, and let them know by whom; what is stored stays.

    Raises:
        Refused: it is stored already, or was refused before.
    """
    held = Arrival.objects.select_for_update(of=("self",)).filter(pk=arrival.pk).unfinished().first()
    if held is None:
        raise Refused("There is nothing left to cancel: the file is stored, refused or forgotten.")
    held.refused = f"{CANCELLED} by {name_of(by)}."[:500]
    held.touched_at = timezone.now()
    held.save(update_fields=["refused", "touched_at"])
    transaction.on_commit(partial(_drop_pieces, held))


def sweep(*, most: int | None = SWEPT_AT_ONCE) -> int:
    """Forget what has not been touched for ``KEPT_FOR``, stored or half-sent. Returns how many."""
    gone = list(Arrival.objects.expired().order_by("touched_at")[:most])
    for arrival in gone:
        give_up(arrival=arrival)
    return len(gone)
