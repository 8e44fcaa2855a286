"""Scenes that come along with the marks to a new scan, and go again with them."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from bible.colour.shifts import Op, Shift, Step
from bible.models import Scene, Series
from bible.scenes.services import set_scene
from guides.core.scene_areas import Region, apply_scene
from guides.core.services import delete_mark
from guides.models import Carry, Guide, Mark, SceneArea
from guides.uploads.carrying import carry_marks, foresee, undo_carry
from tests.factories import make_guide, make_issue, make_mark, make_revision
from tests.guides.uploads.rescanned import carried
from tests.guides.uploads.test_carrying import is_true

pytestmark = pytest.mark.django_db

FRACTIONS = Carry.Way.FRACTIONS


@pytest.fixture
def old(series: Series, lead: User) -> Guide:
    return make_guide(make_issue(series), page="7", by=lead)


def test_scenes_that_came_along_go_with_it_and_those_applied_here_stay(old: Guide, lead: User, fill_in: User) -> None:
    make_mark(old, "Y", x=0.25, y=0.25, by=lead)
    night, lamp = (
        set_scene(scene=Scene(series=old.series, name=name), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
        for name in ("Night", "Lamp")
    )
    for region in (Region(0.0, 0.0, 0.5, 0.5), Region(0.5, 0.5, 1.0, 1.0)):
        apply_scene(guide=old, scene=night, region=region, by=lead)
    guide, carry = carried(old, lead)
    own = apply_scene(guide=guide, scene=lamp, by=fill_in)
    same = apply_scene(guide=guide, scene=night, region=Region(0.5, 0.0, 1.0, 0.5), by=lead)
    later = make_mark(guide, "R", x=0.2, y=0.2, by=lead)
    assert Mark.objects.get(pk=later.pk).scene == night
    undo_carry(carry=carry, by=fill_in)
    assert set(SceneArea.objects.filter(guide=guide).standing()) == {own, same}
    gone = SceneArea.objects.filter(guide=guide, removed_by=fill_in, removed_at__isnull=False)
    assert gone.count() == 2
    assert Mark.objects.get(pk=later.pk).scene == lamp, "what held underneath holds again"
    assert SceneArea.objects.filter(guide=old).standing().count() == 2, "the old revision keeps its own"
    is_true(old.series)
    delete_mark(mark=Mark.objects.get(pk=later.pk), by=lead)
    carry_marks(guide=guide, plan=foresee(guide, old, FRACTIONS), by=lead)
    assert SceneArea.objects.filter(guide=guide).standing().count() == 4
    is_true(old.series)


def test_a_scene_that_comes_along_holds_for_marks_that_were_here_before(old: Guide, lead: User) -> None:
    make_mark(old, "Y", x=0.9, y=0.9, by=lead)
    night = set_scene(scene=Scene(series=old.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    apply_scene(guide=old, scene=night, region=Region(0.0, 0.0, 0.5, 0.5), by=lead)
    guide = make_revision(old)
    here = make_mark(guide, "R", x=0.2, y=0.2, by=lead)
    carry_marks(guide=guide, plan=foresee(guide, old, FRACTIONS), by=lead)
    assert Mark.objects.get(pk=here.pk).scene == night
    is_true(old.series)
