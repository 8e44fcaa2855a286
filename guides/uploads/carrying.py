"""Marks that come along to a new scan of their page: foreseen, shown for a yes, carried, and taken back.

They are copied, since a revision that has stood down stays readable as it was. With a mark come its waiver, its notes
and the look somebody took at its paint; scenes come as areas of the new scan. Notes for pages hold by the page's
label and need nothing. What can be taken back step by step does not come along: the places were on another picture.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from django.core import signing
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from bible.models import ActivityKind, Issue, record
from bible.models.naming import name_of
from bible.series.refusals import Refused
from bible.web.names import counted
from guides.core import continuity, counts, reopening
from guides.core.holding import hold_pages
from guides.core.numbering import numbers_beside
from guides.core.page_maps import screen_pixels
from guides.imaging.proof.registration import NotRegistered
from guides.imaging.proof.rescans import lay
from guides.models import Carry, Guide, Mark, MarkNote, MarkQuerySet, PaintReading, SceneArea, Waiver
from guides.preview.services import bring_waivers
from guides.uploads.carried_areas import bring_areas, corners_of, region_on

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Way = Carry.Way
SALT = "guides.uploads.carrying"
LONGEST_WAIT = 24 * 3600
"""Seconds for which a plan that was shown may be answered: marks of an old revision hardly ever change."""

STALE = 0
"""Of ``PaintReading.model_version``: never today's, so that the new scan's paint is read, and the look is kept."""


@dataclass(frozen=True, slots=True)
class CarriedMark:
    """A mark of the older revision and its place on the new scan, in fractions; ``why`` says what is to be looked at.

    A place outside the scan is given as the nearest one on its edge.
    """

    mark: int
    version: int
    number: int
    x: float
    y: float
    to: tuple[float, float] | None
    inside: bool
    why: str = ""

    @property
    def sure(self) -> bool:
        return not self.why


@dataclass(frozen=True, slots=True)
class Plan:
    """What a yes would do. ``areas`` are (scene area, its ``Region.columns`` on the new scan); ``words`` say how
    well the scans fit each other."""

    guide: int
    source: int
    way: str
    moved: tuple[CarriedMark, ...]
    areas: tuple[tuple[int, dict[str, Any]], ...] = ()
    words: str = ""

    @property
    def outside(self) -> tuple[CarriedMark, ...]:
        return tuple(carried for carried in self.moved if not carried.inside)

    @property
    def unsure(self) -> tuple[CarriedMark, ...]:
        return tuple(carried for carried in self.moved if carried.inside and not carried.sure)

    def sealed(self) -> str:
        """The plan as a form carries it, so that what was shown is what is saved."""
        return signing.dumps(asdict(self), salt=SALT, compress=True)

    @classmethod
    def opened(cls, sealed: str, guide: Guide) -> Plan:
        """``Refused`` where it is none of ours, of another page, or too old."""
        try:
            shown = signing.loads(sealed, salt=SALT, max_age=LONGEST_WAIT)
        except signing.BadSignature as error:
            raise Refused("What was shown cannot be read any more: look at it again.") from error
        if shown["guide"] != guide.pk:
            raise Refused("What was shown was another page: look at this one.")
        shown["moved"] = tuple(
            CarriedMark(**mark | {"to": tuple(mark["to"]) if mark["to"] else None}) for mark in shown["moved"]
        )
        shown["areas"] = tuple(tuple(area) for area in shown["areas"])
        return cls(**shown)


def source_of(guide: Guide) -> Guide | None:
    """The newest older revision of a page that has marks."""
    older = Guide.objects.filter(issue=guide.issue_id, page=guide.page, revision__lt=guide.revision)
    marked = older.filter(marks__deleted_at=None, marks__isnull=False).distinct()
    return marked.select_related("series", "issue").order_by("-revision").first()


def foresee(guide: Guide, source: Guide, way: str = Way.REGISTERED) -> Plan:
    """Where the marks of ``source`` would lie on ``guide``. A registration takes a second or two.

    Raises:
        NotRegistered: the scans cannot be laid over each other; the reason in words.
        FileNotFoundError: a picture's file is missing.
    """
    marks = list(Mark.objects.filter(guide=source, deleted_at=None).order_by("number"))
    areas = list(SceneArea.objects.filter(guide=source).standing())
    if way == Way.EMPTY:
        return Plan(guide.pk, source.pk, way, ())
    starts = [(mark.x, mark.y) for mark in marks]
    ends = [mark.arrow_end or (mark.x, mark.y) for mark in marks]
    corners = [corners_of(area) for area in areas]
    places = np.array([*starts, *ends, *itertools.chain(*corners)], dtype=np.float64).reshape(-1, 2)
    sure, words = np.ones(len(places), dtype=bool), ""
    if way == Way.REGISTERED:
        laid = lay(screen_pixels(source), screen_pixels(guide), places)
        places, sure, fit = laid.points, laid.sure, laid.registration
        words = f"{100 * fit.agreeing:.0f} % of the older scan’s lines were found again"
        if abs(fit.turned) >= 1:
            words += (
                f"; the new scan lies {abs(fit.turned):.0f}° {'clockwise' if fit.turned > 0 else 'anticlockwise'}"
            )
    n = len(marks)
    moved = tuple(
        _moved(mark, places[i], places[n + i], bool(sure[i]), bool(sure[n + i])) for i, mark in enumerate(marks)
    )
    after = np.split(places[2 * n :], np.cumsum([len(some) for some in corners])[:-1]) if areas else []
    regions = [(area.pk, region_on(area, moved_to)) for area, moved_to in zip(areas, after, strict=True)]
    held = tuple((pk, region.columns) for pk, region in regions if region)
    return Plan(guide.pk, source.pk, way, moved, held, words)


def _moved(mark: Mark, at: Any, end: Any, sure: bool, end_sure: bool) -> CarriedMark:
    inside = bool(((at >= 0) & (at <= 1)).all())
    end_inside = bool(((end >= 0) & (end <= 1)).all())
    why = ""
    if not inside:
        why = "falls outside the new scan"
    elif not sure:
        why = "the lines around it were not found again"
    elif mark.is_gradient and not end_inside:
        why = "its arrow’s point falls outside the new scan and stands at its edge"
    elif mark.is_gradient and not end_sure:
        why = "the lines around its arrow’s point were not found again"
    (x, y), (to_x, to_y) = np.clip(at, 0, 1).round(6), np.clip(end, 0, 1).round(6)
    to = (float(to_x), float(to_y)) if mark.is_gradient else None
    return CarriedMark(mark.pk, mark.version, mark.number, float(x), float(y), to, inside, why)


@transaction.atomic
def carry_marks(*, guide: Guide, plan: Plan, by: User, edge: bool = False) -> Carry:
    """Put the marks of a plan on the new scan, with all that stands on them.

    Args:
        edge: also those that fall outside, at the nearest place on the edge; else they stay behind.

    Raises:
        Refused: the page has a newer scan or its issue is archived, somebody has answered before, or the older
            revision's marks are not as they were shown.
    """
    _hold(guide, plan)
    guide = Guide.objects.select_related("issue", "series").get(pk=guide.pk)
    source = _checked_source(guide, plan)
    old = {mark.pk: mark for mark in Mark.objects.filter(guide=source, deleted_at=None)}
    _refuse_stale_plan(plan, old.values())
    wanted = [carried for carried in plan.moved if edge or carried.inside]
    pairs = _copies(guide, [(old[carried.mark], carried) for carried in wanted], by)
    carry = Carry(
        series_id=guide.series_id,
        guide=guide,
        source=source,
        way=plan.way,
        numbers=[new.number for new, _ in pairs],
        unsure=[new.number for new, carried in pairs if not carried.sure],
        left=[carried.number for carried in plan.moved if not (edge or carried.inside)],
        by=by,
    )
    _save_once(carry)
    bring_areas(guide, plan.areas)
    marks = Mark.objects.bulk_create(new for new, _ in pairs)
    new_of = {carried.mark: new for new, (_, carried) in zip(marks, pairs, strict=True)}
    _bring_along(new_of)
    bring_waivers(guide, source, new_of)
    continuity.place(Mark.objects.filter(guide=guide))
    if marks:
        _tell_of(marks, guide, by)
    return carry


def _hold(guide: Guide, plan: Plan) -> None:
    there = Mark.objects.filter(guide__in=[plan.source, guide.pk])  # scenes hold for marks that were here before, too
    hold_pages(
        series_id=guide.series_id,
        parts=there.values_list("part", flat=True),
        issues=[guide.issue_id],
        guides=[guide.pk],
        marks=there,
    )


def _refuse_stale_plan(plan: Plan, old: Iterable[Mark]) -> None:
    shown = {(carried.mark, carried.version) for carried in plan.moved}
    if plan.way != Way.EMPTY and {(mark.pk, mark.version) for mark in old} != shown:
        raise Refused("The older scan’s marks have changed since this was shown: look at it again.")


def _tell_of(marks: list[Mark], guide: Guide, by: User) -> None:
    why = f"{counted(len(marks), 'mark')} carried over to the new scan of {guide}"
    reopening.reopen(series_id=guide.series_id, issues=[guide.issue_id], by=by, why=why)
    counts.placed(marks, guide)
    record(ActivityKind.MARKED, series=guide.series_id, by=by, issue=guide.issue, page=guide.page, count=len(marks))


def _checked_source(guide: Guide, plan: Plan) -> Guide:
    if not guide.stands:
        raise Refused("The page has a newer scan, or its issue is archived: no marks come here any more.")
    if answered := Carry.objects.standing().filter(guide=guide).with_names().first():
        raise Refused(f"{name_of(answered.by)} has answered already: {answered.get_way_display()}.")
    older = Guide.objects.filter(issue=guide.issue_id, page=guide.page, revision__lt=guide.revision)
    source = older.filter(pk=plan.source).first()
    if source is None:
        raise Refused("That is no older scan of this page.")
    return source


def _save_once(carry: Carry) -> None:
    try:
        with transaction.atomic():
            carry.save(force_insert=True)
    except IntegrityError as error:
        raise Refused("Somebody has answered at the same moment: look at the page.") from error


def _copies(guide: Guide, pairs: list[tuple[Mark, CarriedMark]], by: User) -> list[tuple[Mark, CarriedMark]]:
    """Marks of the new scan, unsaved, under the numbers they had where those are free."""
    taken = set(guide.marks.values_list("number", flat=True))
    free = numbers_beside(taken | {mark.number for mark, _ in pairs})
    copies = []
    for mark, carried in pairs:
        number = next(free) if mark.number in taken else mark.number
        new = Mark(
            series_id=guide.series_id,
            guide=guide,
            position=guide.issue.position,
            page_order=guide.page_order,
            number=number,
            x=carried.x,
            y=carried.y,
            part_id=mark.part_id,
            role=mark.role,
            written=mark.written,
            tint=continuity.read(guide.series, mark.written),
            to_written=mark.to_written,
            to_tint=continuity.read(guide.series, mark.to_written) if mark.to_written else None,
            to_x=carried.to[0] if carried.to else None,
            to_y=carried.to[1] if carried.to else None,
            live=True,
            created_by_id=mark.created_by_id,
            changed_by=by,
        )
        copies.append((new, carried))
    return copies


def _bring_along(new_of: dict[int, Mark]) -> None:
    """Living waivers, notes and looks at the paint, each by whom and when it was."""
    waivers = [
        _copy(waiver, mark=new_of[waiver.mark_id])
        for waiver in Waiver.objects.filter(mark__in=new_of).alive().order_by("pk")
    ]
    Waiver.objects.bulk_create(waivers)
    Mark.objects.filter(pk__in=[waiver.mark_id for waiver in waivers]).update(waived=True)
    for note in MarkNote.objects.filter(mark__in=new_of).order_by("pk"):
        written_at = note.written_at
        copy = _copy(note, mark=new_of[note.mark_id])
        copy.save(force_insert=True)
        MarkNote.objects.filter(pk=copy.pk).update(written_at=written_at)
    looked = PaintReading.objects.filter(mark__in=new_of, looked_at__isnull=False, version=F("mark__version"))
    PaintReading.objects.bulk_create(
        PaintReading(
            series_id=look.series_id,
            mark=new_of[look.mark_id],
            version=1,
            model_version=STALE,
            looked_at=look.looked_at,
            looked_by_id=look.looked_by_id,
        )
        for look in looked
    )


def _copy(row: Any, **other: Any) -> Any:
    row.pk = None
    row._state.adding = True
    for name, value in other.items():
        setattr(row, name, value)
    return row


@transaction.atomic
def undo_carry(*, carry: Carry, by: User) -> Carry:
    """Take the carried marks and scenes off again, so that they can come along in another way.

    Raises:
        Refused: it was taken back before, the page has a newer scan, or a carried mark has been changed since.
    """
    there = Mark.objects.filter(guide=carry.guide_id)
    hold_pages(series_id=carry.series_id, issues=[carry.guide.issue_id], guides=[carry.guide_id], marks=there)
    carry = Carry.objects.select_for_update(of=("self",)).with_names().get(pk=carry.pk)
    if carry.taken_back_at:
        raise Refused("Somebody has taken that back already.")
    issue = Issue.objects.get(pk=carry.guide.issue_id)
    if not carry.guide.is_current or issue.archived_at:
        raise Refused("The page has a newer scan, or its issue is archived: this one stays as it is.")
    marks = Mark.objects.filter(guide=carry.guide_id, number__in=carry.numbers)
    _refuse_changed(marks)
    why = f"carried marks taken off {carry.guide} again"
    reopening.reopen(series_id=carry.series_id, issues=[carry.guide.issue_id], by=by, why=why)
    off = Mark.objects.filter(pk__in=list(marks.values_list("pk", flat=True)))
    with counts.kept(off):
        off.update(deleted_at=timezone.now(), live=False, version=F("version") + 1, changed_by=by)
    continuity.after_resolving(off)
    _take_areas_off(carry, by)
    if carry.numbers:
        about: dict[str, Any] = {"issue": issue, "page": carry.guide.page, "count": len(carry.numbers)}
        record(ActivityKind.UNMARKED, series=carry.series_id, by=by, **about)
    carry.taken_back_at = timezone.now()
    carry.save(update_fields=["taken_back_at"])
    return carry


def _refuse_changed(marks: MarkQuerySet) -> None:
    changed = list(marks.exclude(version=1, deleted_at=None).order_by("number").values_list("number", flat=True))
    if changed:
        some = ", ".join(map(str, changed[:8]))
        raise Refused(f"Changed since they were carried over: {some}. Taking all back would lose that.")


def _take_areas_off(carry: Carry, by: User) -> None:
    """The scenes that came along, told by when they were applied on the older scan; those applied here stay."""
    came = SceneArea.objects.filter(guide=carry.source_id).values_list("scene", "applied_by", "applied_at")
    known = set(came)
    standing = list(SceneArea.objects.filter(guide=carry.guide_id).standing().select_for_update().order_by("pk"))
    off = [area.pk for area in standing if (area.scene_id, area.applied_by_id, area.applied_at) in known]
    if off:
        SceneArea.objects.filter(pk__in=off).update(removed_at=timezone.now(), removed_by=by)
        continuity.place(Mark.objects.filter(guide=carry.guide_id))


def to_look_at(carry: Carry) -> list[Mark]:
    """The carried marks that were unsure and that nobody has touched since."""
    marks = Mark.objects.filter(guide=carry.guide_id, number__in=carry.unsure, version=1, deleted_at=None)
    return list(marks.order_by("number"))


__all__ = ["NotRegistered", "Plan", "carry_marks", "foresee", "source_of", "to_look_at", "undo_carry"]
