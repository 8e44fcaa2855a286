"""Taking back what was done at the desk, and doing it again, step by step.

Taking back is a write like any other: it goes through the services, the mark is resolved anew, and it is refused in
words where somebody else has changed the thing meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction

from bible.models import Scene
from bible.models.naming import name_of
from bible.series.refusals import Refused
from guides.core.holding import hold_pages
from guides.core.once import state_of
from guides.core.rules import StaleMark
from guides.core.scene_areas import Region, apply_scene, remove_scene
from guides.core.services import put_back
from guides.desk.page_notes import bring_page_note_back, remove_page_note
from guides.found.services import turn_back
from guides.models import TOGETHER, Deed, FoundCode, Guide, Mark, PageNote, SceneArea
from guides.paint.services import ask_again, say_as_meant

if TYPE_CHECKING:
    from django.contrib.auth.models import User

LOOKS = frozenset({Deed.Kind.AS_MEANT, Deed.Kind.ASK_AGAIN})
"""Deeds that change what is said of a mark's paint and leave the mark itself as it is."""


def do_together(
    *, guide: Guide, by: User, key: str, deed: Callable[[], list[Mark]], kind: Deed.Kind = Deed.Kind.BRING
) -> tuple[list[Deed], bool]:
    """Place several marks as one deed, unless this person's key has been used.

    Args:
        deed: places the marks and returns them.

    Returns:
        The deeds, one a mark, and whether that had been done before this request came.
    """
    if known := brought_before(guide=guide, by=by, key=key, kind=kind):
        return known, True
    try:
        with transaction.atomic():
            marks = deed()
            shared = {"guide": guide, "series_id": guide.series_id, "by": by, "kind": kind}
            deeds = [
                Deed(
                    key=f"{key}/{place}",
                    mark=mark,
                    after=state_of(mark) | {"together": len(marks)},
                    to_version=mark.version,
                    **shared,
                )
                for place, mark in enumerate(marks, 1)
            ]
            return Deed.objects.bulk_create(deeds), False
    except IntegrityError:
        if known := brought_before(guide=guide, by=by, key=key, kind=kind):
            return known, True
        raise


def brought_before(*, guide: Guide, by: User, key: str, kind: Deed.Kind = Deed.Kind.BRING) -> list[Deed]:
    """The deeds of ``do_together`` that this person's key has led to."""
    return list(Deed.objects.filter(guide=guide, by=by, kind=kind, key__startswith=f"{key}/"))


def undo(*, guide: Guide, by: User, key: str, agreed: Deed | None = None) -> Deed:
    """Take back what this person did last at this guide. Sent again with the same key it does nothing more.

    Args:
        agreed: the step whose consequences were looked at (``next_step``). One that moves what is expected is not
            taken without.

    Raises:
        Refused: nothing is left to take back, or somebody has changed the thing since.
    """
    return _step(guide, by, key, agreed, back=True)


def redo(*, guide: Guide, by: User, key: str, agreed: Deed | None = None) -> Deed:
    """Do again what was taken back last, if nothing was done since; what is agreed and refused as of ``undo``."""
    return _step(guide, by, key, agreed, back=False)


def next_step(*, guide: Guide, by: User, key: str, back: bool) -> Deed | None:
    """What ``undo`` or ``redo`` would turn; None where nothing is left, or where the key has turned something."""
    own = Deed.objects.filter(guide=guide, by=by).with_things()
    if key and own.filter(last_step=key).exists():
        return None
    return own.next_to_undo() if back else own.next_to_redo()


def _refuse_unseen(step: Deed | None, agreed: Deed | None) -> None:
    """A second window may have drawn a scene, or taken one back, since this one looked at what comes next."""
    if step != agreed and (agreed or (step and step.moves_what_is_expected)):
        raise Refused("Another step is the last one by now. Nothing is changed; try again to see what it would do.")


def _step(guide: Guide, by: User, key: str, agreed: Deed | None, *, back: bool) -> Deed:
    own = Deed.objects.filter(guide=guide, by=by).with_things()
    while True:
        asked = own.next_to_undo() if back else own.next_to_redo()
        if not key or not own.filter(last_step=key).exists():
            _refuse_unseen(asked, agreed)
        with transaction.atomic():
            guide = _hold(guide, asked, back)
            if not guide.stands:
                raise Refused("A newer revision of this page has come in: this one stays as it is.")
            if key and (known := own.filter(last_step=key).first()):
                return known
            current = own.next_to_undo() if back else own.next_to_redo()
            if current == asked:
                return _turn(current, by, key, back=back)
            # Somebody's second window took that step at the same moment: what is next needs other rows.


def _hold(guide: Guide, deed: Deed | None, back: bool) -> Guide:
    together = Deed.objects.together_with(deed) if deed else []
    states = [member.before if back else member.after for member in together]
    keys = [member.mark_id for member in together if member.mark_id]
    marks = Mark.objects.filter(pk__in=keys) if keys else Mark.objects.filter(guide=guide)
    hold_pages(
        series_id=guide.series_id,
        parts=[state.get("part") for state in states if state],
        issues=[guide.issue_id],
        guides=[guide.pk],
        marks=marks,
    )
    return Guide.objects.get(pk=guide.pk)


def _turn(deed: Deed | None, by: User, key: str, *, back: bool) -> Deed:
    if deed is None:
        raise Refused("Nothing is left to undo." if back else "Nothing is left to redo.")
    if deed.kind in TOGETHER:
        return _turn_together(deed, by, key, back=back)
    if deed.kind in LOOKS and deed.mark:
        _turn_look(deed, deed.mark, by, back=back)
    elif deed.mark:
        _turn_mark(deed, deed.mark, by, back=back)
        if deed.kind == Deed.Kind.PLACE:
            turn_back(guide=deed.guide, codes=FoundCode.objects.filter(mark=deed.mark), back=back)
    elif deed.area:
        _turn_area(deed, deed.area, by, back=back)
    elif deed.note:
        _turn_note(deed, deed.note, by, back=back)
    elif deed.found:
        codes = FoundCode.objects.filter(guide=deed.guide, pk__in=[deed.found.pk, *deed.codes_beside])
        turn_back(guide=deed.guide, codes=codes, back=back)
    deed.undone, deed.last_step = back, key
    deed.save(update_fields=["undone", "last_step"])
    return deed


def _turn_together(deed: Deed, by: User, key: str, *, back: bool) -> Deed:
    for member in Deed.objects.together_with(deed):
        if member.mark and member.undone != back:
            _turn_mark(member, member.mark, by, back=back)
        member.undone, member.last_step = back, key
        member.save(update_fields=["undone", "last_step"])
    if deed.kind == Deed.Kind.TAKE:
        marks = [member.mark_id for member in Deed.objects.together_with(deed) if member.mark_id]
        turn_back(guide=deed.guide, codes=FoundCode.objects.filter(mark__in=marks), back=back)
    deed.mark = None  # of many marks none is the one to look at
    return deed


def _turn_mark(deed: Deed, mark: Mark, by: User, *, back: bool) -> None:
    is_at, was_at = (deed.to_version, deed.from_version) if back else (deed.from_version, deed.to_version)
    try:
        now = put_back(mark=mark, state=deed.before if back else deed.after, by=by, seen=is_at)
    except StaleMark as stale:
        raise Refused(
            f"{name_of(stale.mark.changed_by)} changed mark {mark.number} after that: "
            f"{f'taking back “{deed}”' if back else f'doing “{deed}” again'} would lose it. Nothing is changed; "
            "open the mark to see how it is."
        ) from stale
    # The mark says again what it said at an earlier version: deeds that led there or on from there now mean this one.
    for name in ("from_version", "to_version"):
        Deed.objects.filter(mark=mark, **{name: was_at}).update(**{name: now.version})
    deed.mark = now


def _turn_look(deed: Deed, mark: Mark, by: User, *, back: bool) -> None:
    if (deed.kind == Deed.Kind.AS_MEANT) == back:
        ask_again(mark=mark)
    else:
        say_as_meant(mark=mark, by=by)


def _turn_area(deed: Deed, area: SceneArea, by: User, *, back: bool) -> None:
    if (deed.kind == Deed.Kind.SCENE) == back:
        remove_scene(area=area, by=by)
        return
    if not SceneArea.objects.filter(pk=area.pk, removed_at__isnull=False).exists():
        raise Refused(f"{area.scene.name} holds there already.")
    scene = Scene.objects.get(pk=area.scene_id)
    again = apply_scene(guide=deed.guide, scene=scene, region=Region.of(area), by=by)
    Deed.objects.filter(area=area).update(area=again)


def _turn_note(deed: Deed, note: PageNote, by: User, *, back: bool) -> None:
    if (deed.kind == Deed.Kind.NOTE) == back:
        remove_page_note(note=note, by=by)
        return
    again = bring_page_note_back(note=note, by=by)
    Deed.objects.filter(note=note).update(note=again)


def steps(guide: Guide, by: Any) -> dict[str, Deed | None]:
    """What this person could take back and do again at a guide, for the two buttons."""
    own = Deed.objects.filter(guide=guide, by=by)
    last = own.with_things().next_to_undo()
    # Seldom is there one to do again: its mark is looked up then, not joined each time.
    return {"to_undo": last, "to_redo": own.taken_back_since(last.pk if last else 0)}
