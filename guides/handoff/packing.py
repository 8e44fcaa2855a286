"""Packs: what an issue was when it was handed off is kept as a signed state is, and the next pack says what changed.

A pack has a number. What is handed off again with nothing changed is the same pack; what is looked at with something
changed is none yet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import Edition, Issue
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.web.digest import WHOLE, digest
from guides.core.kept import (
    COMPARED,
    PLACE,
    Key,
    Row,
    changes_since,
    keep,
    kept_row,
    packed_of,
    scans_changed,
)
from guides.handoff.exports import neighbours_csv, notes_csv
from guides.handoff.packs import Pack
from guides.handoff.queries import HandOff, guide_hand_off, issue_hand_off
from guides.models import Guide, IssueStep

if TYPE_CHECKING:
    from django.contrib.auth.models import User
    from django.db.models import QuerySet

WORDS = 400
"""Letters of what a step says."""


def page_hand_off(guide: Guide, edition: Edition | None = None) -> HandOff:
    """As ``guide_hand_off``, with what has changed on the page since the issue's last pack."""
    hand_off = guide_hand_off(guide, edition)
    last = _packs(guide.issue, edition).first()
    since = _since_pack(hand_off, guide, last) if last else "none of the issue has been handed off yet"
    return replace(hand_off, alone=f"This page alone, in no pack: {since}")


def _since_pack(hand_off: HandOff, guide: Guide, last: IssueStep) -> str:
    pack = _since(last.facts["pack"], last, _rows(hand_off))
    changes = tuple(change for change in pack.changes if change.page == guide.page)
    here = replace(pack, changes=changes, scans=tuple(page for page in pack.scans if page == guide.page))
    return here.changes_said if changes or here.scans else f"nothing on it changed since {here.before_said}"


def _packs(issue: Issue, edition: Edition | None) -> QuerySet[IssueStep]:
    """The issue's packs, the last one first."""
    name = edition.name if edition else ""
    return IssueStep.objects.filter(issue=issue, facts__edition=name).packs().newest_first().select_related("state")


def issue_pack(issue: Issue, edition: Edition | None = None) -> HandOff:
    """As ``issue_hand_off``, with which pack of the issue it is."""
    hand_off = issue_hand_off(issue, edition)
    last, before = (*_packs(issue, edition)[:2], None, None)[:2]
    rows = _rows(hand_off)
    pack = _since(1 + last.facts["pack"], last, rows) if last else Pack(1, None, None)
    if last and not pack.changes and not pack.scans and last.facts["besides"] == _besides(hand_off):
        pack = replace(_since(last.facts["pack"], before, rows), made=last)
    return replace(hand_off, pack=pack)


def _since(number: int, before: IssueStep | None, rows: Mapping[Key, Row]) -> Pack:
    if before is None:
        return Pack(number, None, None)
    changes = changes_since(before, before.state, rows, (*COMPARED, *PLACE))
    if before.facts["edition"]:  # whoever wrote the mark may not be who said what the edition needs
        changes = [replace(change, by="", at=None) for change in changes]
    return Pack(number, None, before, tuple(changes), tuple(scans_changed(before, before.state)))


def _rows(hand_off: HandOff) -> dict[Key, Row]:
    """The marks as the pack says them: an edition's code stands for what is written where it needs another one."""
    rows: dict[Key, Row] = {}
    for page in hand_off.pages:
        for line in page.lines:
            row = rows[page.guide.page, line.number] = kept_row(hand_off.series, line.mark)
            if line.instead:
                row |= {"written": line.code, "code": line.code, "to_written": ""}
                row |= {"tint": packed_of(line.tint), "to_tint": packed_of(line.to_tint)}
    return rows


def _besides(hand_off: HandOff) -> str:
    """Stands for what a pack says besides its marks: its state, what is missing, notes, what sinks."""
    contents = (hand_off.state, hand_off.missing_pages, notes_csv(hand_off), neighbours_csv(hand_off))
    return digest("\n".join(contents), WHOLE)


@transaction.atomic
def make_pack(*, issue: Issue, edition: Edition | None, by: User) -> HandOff:
    """Number what is handed off now, and keep what it says; with nothing changed it is the last pack again.

    Raises:
        Refused: there is no page to hand off.
    """
    hold_series(issue.series_id)
    hand_off = issue_pack(Issue.objects.select_related("series").get(pk=issue.pk), edition)
    pack = hand_off.pack
    if pack is None or not hand_off.pages:
        raise Refused("No guide has come in yet: there is nothing to hand off.")
    if pack.made:
        return hand_off
    facts = {"pack": pack.number, "edition": edition.name if edition else "", "besides": _besides(hand_off)}
    step = IssueStep(series=issue.series, issue=issue, kind=IssueStep.Kind.HANDED_OFF, by=by, facts=facts)
    step.at = timezone.now()
    made = replace(pack, made=step)
    step.words = f"{made.words}{f' (edition {edition})' if edition else ''}"[:WORDS]
    step.save(force_insert=True)
    keep(step, _rows(hand_off))
    return replace(hand_off, pack=made)
