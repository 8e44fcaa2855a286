"""What the random machine does to issues, pages and marks."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import Any

import pytest
from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import (
    precondition,
    rule,
)

from bible.series.refusals import Refused
from bible.series.services import add_issue, move_issue
from bible.subjects.services import archive, delete_unused
from guides.core.once import new_key
from guides.core.reopening import reopen
from guides.core.scene_areas import WHOLE_PAGE, Region, apply_scene, remove_scene
from guides.core.services import delete_mark, move_mark, place_mark, restore_mark, rewrite_mark, stand_down
from guides.core.waivers import remove_waiver, waive
from guides.desk.services import redo, undo
from guides.models import Carry, Guide, Mark, SceneArea, Waiver
from guides.signoff.services import put_in_check, sign_off
from guides.uploads.carrying import carry_marks, foresee, source_of, undo_carry
from tests.factories import make_guide
from tests.guides.core.machine_ground import FADES, PAGES, ROLES, WRITTEN, Ground, places, which


class PageDeeds(Ground):
    """Everything that moves what marks say, where they are and whether they stand."""

    @rule(number=which)
    def new_issue(self, number: int) -> None:
        after = self._issue(number) if number % 2 else None
        self.issues_made += 1
        add_issue(series=self.series, number=f"n{self.issues_made}", after=after)

    @rule(number=which, behind=st.none() | which)
    def move_an_issue(self, number: int, behind: int | None) -> None:
        issue = self._issue(number)
        after = None if behind is None else self._issue(behind)
        if after != issue:
            move_issue(issue=issue, after=after)

    @rule(number=which)
    def sign(self, number: int) -> None:
        issue = self._issue(number)
        if not issue.signed_off_at:
            if not issue.in_check_at:
                put_in_check(issue=issue, by=self.lead)
            sign_off(issue=issue, by=self.lead, words="as it is")

    @rule(number=which, at=which, half=st.sampled_from([WHOLE_PAGE, Region(right=0.5), Region(top=0.5)]))
    def apply_a_scene(self, number: int, at: int, half: Region) -> None:
        scene = self._one(self.series.scenes, number)
        guide = self._one(Guide.objects.filter(series=self.series), at)
        if not scene or not guide:
            return
        edges = {"left": half.left, "top": half.top, "right": half.right, "bottom": half.bottom}
        if SceneArea.objects.filter(guide=guide, scene=scene, **edges).standing().exists():
            with pytest.raises(Refused, match="holds there already"):
                apply_scene(guide=guide, scene=scene, region=half, by=self.lead)
        else:
            apply_scene(guide=guide, scene=scene, region=half, by=self.lead)

    @rule(number=which)
    def remove_a_scene(self, number: int) -> None:
        area = self._one(SceneArea.objects.filter(series=self.series).standing(), number)
        if area:
            remove_scene(area=area, by=self.lead)

    @rule(number=which)
    def waive_a_flag(self, number: int) -> None:
        mark = self._one(Mark.objects.filter(series=self.series).open(), number)
        if mark:
            waive(marks=[mark], reason="in disguise", by=self.lead)

    @rule(number=which)
    def take_a_waiver_back(self, number: int) -> None:
        waiver = self._one(Waiver.objects.filter(series=self.series).alive(), number)
        if waiver:
            remove_waiver(waiver=waiver, by=self.lead)

    @rule(number=which, page=st.sampled_from(PAGES))
    def a_new_revision(self, number: int, page: str) -> None:
        """As ``add_guide`` stores it, without drawing a picture each time."""
        issue = self._issue(number)
        with transaction.atomic():
            earlier = Guide.objects.filter(issue=issue, page=page)
            revision = earlier.count() + 1
            reopen(series_id=self.series.pk, issues=[issue.pk], by=self.lead, why="a new revision")
            stand_down(earlier)
            make_guide(issue, page=page, revision=revision, by=self.lead, colourist=self.lead if number % 2 else None)

    @rule(number=which, edge=st.booleans(), x=places)
    def carry_marks_over(self, number: int, edge: bool, x: float) -> None:
        """At the same part of the page, the first mark anywhere, on its edge or outside it."""
        later = Guide.objects.filter(series=self.series, is_current=True, revision__gt=1)
        guide = self._one(later, number)
        source = source_of(guide) if guide else None
        if guide and source:
            plan = foresee(guide, source, Carry.Way.FRACTIONS)
            first = replace(plan.moved[0], x=x, inside=number % 3 > 0)
            plan = replace(plan, moved=(first, *plan.moved[1:]))
            with suppress(Refused):
                carry_marks(guide=guide, plan=plan, by=self.lead, edge=edge)

    @rule(number=which)
    def take_a_carry_back(self, number: int) -> None:
        carry = self._one(Carry.objects.filter(series=self.series), number)
        if carry:
            with suppress(Refused):
                undo_carry(carry=carry, by=self.lead)

    @precondition(lambda self: Guide.objects.filter(series=self.series, is_current=True).exists())
    @rule(
        number=which,
        part=st.none() | which,
        role=st.sampled_from(ROLES),
        written=st.sampled_from(WRITTEN),
        to_written=st.sampled_from(FADES),
        x=places,
        y=places,
    )
    def place(
        self, number: int, part: int | None, role: str, written: str, to_written: str, x: float, y: float
    ) -> None:
        guide = self._one(Guide.objects.filter(series=self.series, is_current=True), number)
        chosen = None if part is None else self._part(part)
        new: dict[str, Any] = {
            "x": x,
            "y": y,
            "written": written,
            "part": chosen,
            "role": role,
            "to_written": to_written,
        }
        with self._refused_exactly_if(guide.issue.archived_at):
            place_mark.once(self._at(guide), guide=guide, by=self.lead, **new)

    @rule(number=which, back=st.booleans())
    def take_a_step_back_or_again(self, number: int, back: bool) -> None:
        guide = self._one(Guide.objects.filter(series=self.series), number)
        if guide:
            with suppress(Refused):
                (undo if back else redo)(guide=guide, by=self.lead, key=new_key())

    @rule(number=which)
    def archive_an_issue_or_bring_it_back(self, number: int) -> None:
        issue = self._issue(number)
        archive(row=issue, archived=issue.archived_at is None, by=self.lead)

    @rule(number=which)
    def delete_an_issue(self, number: int) -> None:
        if self.series.issues.count() < 3:
            return
        with suppress(Refused):
            delete_unused(row=self._issue(number), by=self.lead)

    @rule(
        number=which,
        part=st.none() | which,
        role=st.sampled_from(ROLES),
        written=st.sampled_from(WRITTEN),
        to_written=st.sampled_from(FADES),
    )
    def rewrite(self, number: int, part: int | None, role: str, written: str, to_written: str) -> None:
        if mark := self._mark(number):
            chosen = None if part is None else self._part(part)
            new: dict[str, Any] = {"written": written, "part": chosen, "role": role, "to_written": to_written}
            with self._refused_exactly_if(self._fixed(mark) or mark.deleted_at):
                rewrite_mark.once(self._at(mark.guide), mark=mark, by=self.lead, **new)

    @rule(number=which, x=places, y=places)
    def move(self, number: int, x: float, y: float) -> None:
        if mark := self._mark(number):
            with self._refused_exactly_if(self._fixed(mark) or mark.deleted_at):
                move_mark(mark=mark, x=x, y=y, by=self.lead)

    @rule(number=which)
    def delete_or_restore(self, number: int) -> None:
        if mark := self._mark(number):
            if mark.deleted_at:
                with self._refused_exactly_if(mark.guide.issue.archived_at):
                    restore_mark(mark=mark, by=self.lead)
            else:
                with self._refused_exactly_if(self._fixed(mark)):
                    delete_mark.once(self._at(mark.guide), mark=mark, by=self.lead)
