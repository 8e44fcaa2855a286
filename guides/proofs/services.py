"""Writes to proofs: taking a scan in, reading it, deciding. Keyword-only and atomic.

The reading works on the screen pictures of guide and scan: sRGB, upright and bounded, so that its time and memory are
too. A page 10 inches high has 240 dots an inch there.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from bible.colour.condition import PressCondition
from bible.colour.tints import Tint
from bible.models.naming import name_of
from bible.series.presses import condition, printed_on
from bible.series.refusals import Refused
from bible.tasks.progress import ByHand, Reporter
from guides.core import pictures
from guides.core.holding import hold_pages
from guides.core.page_maps import map_of, screen_pixels
from guides.imaging.intake.take_in import Intake
from guides.imaging.proof.pictures import jpeg, laid_over
from guides.imaging.proof.proofing import MarkGradient, MarkVerdict, ProofMark, ProofReport, judge
from guides.imaging.proof.registration import MIN_SIDE, NotRegistered, Picture, Refusal, Registration, register
from guides.models import ChartScan, Guide, Mark, Proof, ProofDecision, ProofReading

if TYPE_CHECKING:
    from django.contrib.auth.models import User

MOST_MARKS = 600
"""Marks read on one page: far beyond what a page holds, so that no upload keeps a process busy for minutes."""

HOPELESS = (Refusal.TOO_SMALL, Refusal.BLANK, Refusal.NO_COLOUR)
"""Refusals that four points set by hand cannot mend."""

NEAREST_KEPT = 3
STEPS = 3
BY_HAND = ByHand()

State = Proof.State
Point = tuple[float, float, float, float]
"""Guide x, guide y, scan x, scan y, in fractions."""


class StaleReading(Refused):
    """Somebody else decided meanwhile; ``reading`` is how it stands now."""

    def __init__(self, reading: ProofReading) -> None:
        self.reading = reading
        by = name_of(reading.decided_by) if reading.decided_by else "Somebody"  # who took it back is not kept
        super().__init__(f"{by} decided on this meanwhile; look at it, then send yours again if need be.")


def press_of(proof: Proof) -> PressCondition:
    """What a proof was printed on: its run as the house's chart shows it, else the issue's condition."""
    run = proof.run
    if run is None:
        return printed_on(proof.guide.issue)
    return (condition(proof.series, run.press.name) if run.press else run.condition) or printed_on(proof.guide.issue)


def add_proof(
    *, guide: Guide, picture: Intake, original: IO[bytes], filename: str, run: ChartScan | None = None, by: User
) -> Proof:
    """Store an accepted scan as a proof of a guide's page, waiting to be read.

    Raises:
        Refused: it is too small to be read.
    """
    if min(picture.screen_size) < MIN_SIDE:
        raise Refused(
            f"the scan is {picture.width} x {picture.height} px; at least {MIN_SIDE} a side are needed. "
            "Scan the whole page at 200 dpi or more."
        )
    folder = f"proofs/{guide.series_id}/{guide.issue_id}/{uuid.uuid4().hex}"
    with pictures.stored(picture, original, folder) as (kept, screen, thumb), transaction.atomic():
        hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk])
        last = Proof.objects.of_page(guide).aggregate(last=Max("number"))["last"] or 0
        return Proof.objects.create(
            series_id=guide.series_id,
            guide=guide,
            run=run,
            number=last + 1,
            original=kept,
            screen=screen,
            thumb=thumb,
            filename=PurePath(filename).name[-200:],
            sha256=picture.sha256,
            byte_size=picture.byte_size,
            width=picture.width,
            height=picture.height,
            uploaded_by=by,
        )


def set_points(*, proof: Proof, points: Iterable[Point] | None) -> Proof:
    """Keep four places that a person set on guide and scan (None: forget them); the next reading starts there."""
    proof.hand_points = [list(point) for point in points] if points is not None else None
    proof.save(update_fields=["hand_points", "changed_at"])
    return proof


def set_run(*, proof: Proof, run: ChartScan | None) -> None:
    """Say which run a proof was printed in (None: nobody knows); the next reading is against that."""
    proof.run = run
    proof.save(update_fields=["run", "changed_at"])


def read_proof(*, proof: Proof, progress: Reporter = BY_HAND) -> Proof:
    """Lay a proof over its guide, read every mark, keep what people decided where nothing changed.

    ``progress`` hears how far it is. What cannot be laid over its guide is ``REFUSED`` with the reason; nothing is
    decided on it then.
    """
    try:
        _read(proof, progress)
    except NotRegistered as refusal:
        _refuse(proof, str(refusal.reason), str(refusal), progress)
    except FileNotFoundError:
        _refuse(proof, "no_file", "A picture’s file is missing: send the scan again.", progress)
    proof.refresh_from_db()
    return proof


def _refuse(proof: Proof, reason: str, words: str, progress: Reporter) -> None:
    """Nothing is decided on a scan that cannot be laid over its guide; what an earlier reading said goes, unless
    somebody has decided on it."""
    with progress.finishing(refused=words):
        proof.readings.filter(decision="").delete()
        proof.readings.update(open=False)
        Proof.objects.filter(pk=proof.pk).update(
            state=State.REFUSED, refusal=reason, refusal_said=words, is_current=False, changed_at=timezone.now()
        )


def _read(proof: Proof, progress: Reporter) -> None:
    from guides.imaging.proof.reading import Reader

    guide = proof.guide
    progress.say("being laid over its guide", 0, STEPS)
    painted, scan = screen_pixels(guide), _picture(proof.screen)
    registration = register(painted, scan, _points_in_px(proof.hand_points, painted, scan))
    progress.say("being read, mark by mark", 1, STEPS)
    marks = list(Mark.objects.filter(guide=guide, deleted_at=None).order_by("number")[:MOST_MARKS])
    asked = [proof_mark(mark, painted.shape[1], painted.shape[0]) for mark in marks]
    report = judge(Reader(painted, scan, registration, map_of(guide, painted)), asked, press_of(proof))
    progress.say("being drawn on the guide’s pixels", 2, STEPS)
    laid = jpeg(laid_over((painted.shape[1], painted.shape[0]), scan, registration))
    folder = str(proof.screen.name).rsplit("/", 1)[0]
    earlier = str(proof.laid.name or "")
    stored = default_storage.save(f"{folder}/laid-{uuid.uuid4().hex[:8]}.jpg", ContentFile(laid))
    try:
        with progress.finishing():
            _store(proof, marks, report, stored, _in_fractions(registration, painted, scan))
    except BaseException:
        default_storage.delete(stored)
        raise
    if earlier:
        default_storage.delete(earlier)


def _picture(file: Any) -> Picture:
    import numpy as np
    from PIL import Image

    with file.open("rb") as stream, Image.open(stream) as opened:
        return np.asarray(opened.convert("RGB"))


def proof_mark(mark: Mark, width: int, height: int) -> ProofMark:
    """A mark as the engine takes it, on a picture of (width, height) px."""

    def px(x: float, y: float) -> tuple[float, float]:
        return (x * width - 0.5, y * height - 0.5)

    tint = mark.tint if isinstance(mark.tint, Tint) else None
    fade, why = None, "" if tint else "its code cannot be read"
    if mark.is_gradient and mark.arrow_end:
        if isinstance(mark.to_tint, Tint):
            fade = MarkGradient(mark.to_tint, px(mark.x, mark.y), px(*mark.arrow_end))
        else:
            tint, why = None, "the second code of its fade cannot be read"
    return ProofMark(mark.pk, *px(mark.x, mark.y), tint, fade, why)


def _points_in_px(points: list[Point] | None, painted: Picture, scan: Picture) -> Any:
    if not points:
        return None
    import numpy as np

    (guide_h, guide_w), (scan_h, scan_w) = painted.shape[:2], scan.shape[:2]
    px = np.array(points, dtype=np.float64) * [guide_w, guide_h, scan_w, scan_h] - 0.5
    return px[:, :2], px[:, 2:]


def _in_fractions(registration: Registration, painted: Picture, scan: Picture) -> list[float]:
    import numpy as np

    def px_from_fractions(picture: Picture) -> Any:
        height, width = picture.shape[:2]
        return np.array([[width, 0, -0.5], [0, height, -0.5], [0, 0, 1.0]])

    matrix = np.linalg.inv(px_from_fractions(scan)) @ registration.matrix @ px_from_fractions(painted)
    return [round(float(value), 9) for value in (matrix / matrix[2, 2]).ravel()]


@transaction.atomic
def _store(proof: Proof, marks: list[Mark], report: ProofReport, laid: str, matrix: list[float]) -> None:
    hold_pages(series_id=proof.series_id, issues=[], guides=[proof.guide_id])
    guide = Guide.objects.get(pk=proof.guide_id)
    others = Proof.objects.of_page(guide).exclude(pk=proof.pk)
    newest = not others.were_read().filter(number__gt=proof.number).exists()
    if newest:
        others.filter(is_current=True).update(is_current=False, changed_at=timezone.now())
        ProofReading.objects.filter(proof__in=others, open=True).update(open=False)
    fit = report.registration
    Proof.objects.filter(pk=proof.pk).update(
        is_current=newest,
        changed_at=timezone.now(),
        state=State.READ,
        refusal="",
        refusal_said="",
        laid=laid,
        matrix=matrix,
        error_px=fit.error_px,
        agreeing=fit.agreeing,
        turned=fit.turned,
        press=report.press,
        shift={ink: [round(shift.share, 4), round(shift.error, 4)] for ink, shift in report.shift.items()},
        shift_said=report.shift_said[:300],
    )
    earlier = {reading.mark_id: reading for reading in proof.readings.all()}
    keys = {mark.pk for mark in marks}
    proof.readings.exclude(mark__in=keys).filter(decision="").delete()
    proof.readings.exclude(mark__in=keys).update(open=False)
    fresh = [_reading(proof, mark, verdict) for mark, verdict in zip(marks, report.marks, strict=True)]
    for reading in fresh:
        before = earlier.get(reading.mark_id)
        if before and before.decision and _same(before, reading):
            reading.decision, reading.note = before.decision, before.note
            reading.decided_by_id, reading.decided_at = before.decided_by_id, before.decided_at
        reading.version = before.version + 1 if before else 1
        reading.open = newest and reading.is_named and not reading.decision
    proof.readings.filter(mark__in=keys).delete()
    ProofReading.objects.bulk_create(fresh)


def _same(before: ProofReading, after: ProofReading) -> bool:
    """Whether a decision still speaks of what is read now."""
    fields = ("verdict", "ink", "called", "called_to", "printed")
    return all(getattr(before, name) == getattr(after, name) for name in fields)


def _reading(proof: Proof, mark: Mark, verdict: MarkVerdict) -> ProofReading:
    printed = verdict.nearest[0] if verdict.nearest else None
    ink = verdict.ink or ""
    return ProofReading(
        series_id=proof.series_id,
        proof=proof,
        mark=mark,
        x=mark.x,
        y=mark.y,
        called=mark.tint,
        called_to=mark.to_tint,
        verdict=str(verdict.verdict),
        ink=ink,
        amount=getattr(printed, ink) if printed and ink else None,
        printed=printed,
        nearest=[tint.packed for tint in verdict.nearest[:NEAREST_KEPT]],
        p=round(verdict.p, 4),
        delta_e=None if verdict.delta_e is None else round(verdict.delta_e, 2),
        weight=round(verdict.p * (verdict.delta_e or 0.0), 4),
        why=verdict.why[:300],
    )


@transaction.atomic
def decide(
    *, reading: ProofReading, decision: str, note: str = "", by: User, seen: int | None = None
) -> ProofReading:
    """Say that a mark is a fault, printed fine, or undecided again (“”). The separator is told of faults and notes.

    What was noted stays whatever is decided: it is there when somebody decides anew.

    Raises:
        StaleReading: somebody else has decided since version ``seen``.
        Refused: there is no such decision.
    """
    if decision not in ("", *ProofDecision):
        raise Refused("say fault, printed fine, or undecided.")
    reading = (
        ProofReading.objects.select_for_update(of=("self",)).select_related("proof", "decided_by").get(pk=reading.pk)
    )
    if seen is not None and seen != reading.version:
        raise StaleReading(reading)
    reading.decision = decision
    if decision:
        reading.note = note
    reading.decided_by = by if decision else None
    reading.decided_at = timezone.now() if decision else None
    reading.open = not decision and reading.is_named and reading.proof.is_current
    reading.version += 1
    reading.save()
    Proof.objects.filter(pk=reading.proof_id).update(changed_at=timezone.now())
    return reading


def changed_since(proof: Proof, readings: Iterable[ProofReading]) -> int:
    """How many of the guide's marks do not say any more what was read, or came or went since."""
    now = {
        mark.pk: (mark.tint, mark.to_tint, mark.x, mark.y)
        for mark in Mark.objects.filter(guide=proof.guide_id, deleted_at=None)
    }
    then = {reading.mark_id: (reading.called, reading.called_to, reading.x, reading.y) for reading in readings}
    return sum(now.get(key) != then.get(key) for key in now.keys() | then.keys())
