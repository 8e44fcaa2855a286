"""The demo's fire falls on skin alone, and its sky is held together."""

from __future__ import annotations

from typing import Any

import pytest

from bible.colour.tints import Tint
from bible.models import Part, Scene, Series, Within
from guides.core.continuity import discrepancies
from guides.demo.lights import light_a_page
from guides.models import FlagKind, Mark, SceneArea
from tests.factories import make_costume, make_guide, make_issue, make_lock, make_mark, make_part, make_subject

pytestmark = pytest.mark.django_db


def test_a_page_is_lit_once(series: Series, lead: Any) -> None:
    maren = make_costume(make_subject(series, name="Maren"))
    skin, coat = make_part(costume=maren, name="skin"), make_part(costume=maren, name="coat")
    for part in (skin, coat):
        make_lock(part, "Y2R2", by=lead)
    page = make_guide(make_issue(series), by=lead)
    lit = make_mark(page, "Y2R2", part=skin, x=0.5, y=0.5)
    beside = make_mark(page, "Y2R2", part=coat, x=0.51, y=0.5)
    for x, code in ((0.1, "B2"), (0.5, "B2"), (0.9, "B3")):
        make_mark(page, code, x=x, y=0.1)
    low = make_mark(page, "B", x=0.5, y=0.9)
    for _ in range(2):
        light_a_page(series, lead)
    fire, evening = Scene.objects.get(name="Firelight"), Scene.objects.get(name="Evening")
    assert sorted(SceneArea.objects.values_list("scene", flat=True)) == sorted([fire.pk, evening.pk])
    assert dict(Mark.objects.filter(pk__in=[lit.pk, beside.pk]).values_list("pk", "scene")) == {
        lit.pk: fire.pk,
        beside.pk: evening.pk,
    }
    assert Mark.objects.get(pk=lit.pk).written == "Y2R3"
    assert Part.objects.get(name="sky").held_within == Within.SCENE
    low.refresh_from_db()
    assert low.part
    assert low.part.locks.get().written == "B2 to B3 downwards"
    assert (low.tint, low.to_tint) == (low.expected, low.expected_to) == (Tint(c=25), Tint(c=50))
    assert [mark.flag_kind for mark in Mark.objects.open()] == [FlagKind.NOT_THE_SAME]
    assert discrepancies(series) == []


def test_where_there_is_no_skin_nothing_is_lit(series: Series, lead: Any) -> None:
    light_a_page(series, lead)
    assert not series.scenes.exists()
