"""Gradient marks: two codes and an arrow."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from bible.chart.services import change_reading
from bible.colour import press
from bible.colour.gradients import split_code
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.tints import Tint
from bible.models import Series
from bible.models.fields import NoTint
from bible.series.refusals import Refused
from guides.core.gradients import fade_of, moved_end, usual_end
from guides.core.services import move_mark, place_mark, point_mark, rewrite_mark
from guides.models import Mark
from tests.factories import make_guide, make_issue, make_mark

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any) -> Any:
    return make_guide(make_issue(series), by=lead)


@pytest.mark.parametrize(
    ("written", "codes"),
    [
        ("YR > Y2", ("YR", "Y2")),
        ("yr->y2", ("yr", "y2")),
        ("YR→W", ("YR", "W")),
        ("YR3B2", ("YR3B2", "")),
        ("YR >", ("YR >", "")),
        ("> Y2", ("> Y2", "")),
        ("Y > R > B", ("Y > R > B", "")),
    ],
)
def test_one_arrow_between_two_codes_makes_a_gradient(written: str, codes: tuple[str, str]) -> None:
    assert split_code(written) == codes


def test_an_arrow_nobody_drew_stays_on_the_page() -> None:
    for y in (0.0, 0.5, 0.97, 1.0):
        x, end = usual_end(0.3, y)
        assert x == 0.3
        assert 0 <= end <= 1
        assert end != y
    assert moved_end((0.5, 0.5), (0.9, 0.5), (0.8, 0.5)) == (1.0, 0.5)


def test_a_second_code_that_cannot_be_read_is_kept(series: Series, guide: Any) -> None:
    mark = make_mark(guide, "YR", to_written="Y7?")
    mark.refresh_from_db()
    assert (mark.to_written, mark.to_tint) == ("Y7?", NoTint.UNREADABLE)
    assert fade_of(mark, press.load("newsprint")) is None


def test_a_new_meaning_reaches_second_codes(series: Series, guide: Any, lead: Any) -> None:
    mark = make_mark(guide, "YR", to_written="R4")
    notation = Notation.from_dict(LETTERS_64.to_dict() | {"aliases": {"R4": 100}})
    change_reading(series=series, by=lead, notation=notation, chart_kind=series.chart_kind)
    mark.refresh_from_db()
    assert mark.to_tint == Tint(0, 100, 0)


def test_moving_takes_the_arrow_along_and_pointing_turns_it(series: Series, guide: Any, lead: Any) -> None:
    mark = place_mark(
        guide=guide, x=0.2, y=0.2, written="YR", part=None, role="base", by=lead, to=(0.4, 0.3), to_written="Y2"
    )
    moved = move_mark(mark=mark, x=0.3, y=0.5, by=lead)
    assert moved.arrow_end == pytest.approx((0.5, 0.6))
    assert point_mark(mark=moved, x=0.1, y=0.1, by=lead).arrow_end == (0.1, 0.1)
    flat = rewrite_mark(mark=moved, written="YR", part=None, role="base", by=lead)
    assert (flat.is_gradient, flat.arrow_end, flat.to_tint) == (False, None, None)
    with pytest.raises(Refused):
        point_mark(mark=flat, x=0.1, y=0.1, by=lead)


def test_rewriting_keeps_the_arrow_where_it_points(series: Series, guide: Any, lead: Any) -> None:
    mark = make_mark(guide, "YR", to_written="Y2", to=(0.9, 0.1))
    kept = rewrite_mark(mark=mark, written="YR3", part=None, role="base", by=lead, to_written="Y3")
    assert (kept.arrow_end, kept.to_tint) == ((0.9, 0.1), Tint(0, 0, 50))


@pytest.mark.parametrize("half", [{"to_x": 0.5}, {"to_written": "Y2"}, {"to_y": 0.5, "to_x": 0.5}])
def test_the_database_takes_a_whole_arrow_or_none(guide: Any, half: dict[str, Any]) -> None:
    mark = make_mark(guide, "YR")
    with pytest.raises(IntegrityError), transaction.atomic():
        Mark.objects.filter(pk=mark.pk).update(**half)


def test_dropping_one_ink_turns_the_hue_and_a_better_end_is_named(series: Series, guide: Any) -> None:
    """Dropping both inks keeps a hue, dropping one turns it (common practice, no source)."""
    newsprint = press.load("newsprint")
    turning = fade_of(make_mark(guide, "YR", to_written="Y2"), newsprint)
    holding = fade_of(make_mark(guide, "YR", to_written="Y3R3"), newsprint)
    assert turning is not None
    assert turning.turns
    assert turning.better
    assert holding is not None
    assert not holding.turns
    assert holding.better == ()


def test_the_page_takes_both_codes_in_one_field_and_draws_the_arrow(lead_client: Client, guide: Any) -> None:
    address = f"/s/slow-river/guides/{guide.pk}/new-mark"
    answer = lead_client.post(address, {"x": "0.5", "y": "0.5", "written": "YR > Y2", "role": "base"}, follow=True)
    mark = Mark.objects.get()
    assert (mark.written, mark.to_written) == ("YR", "Y2")
    page = answer.content.decode()
    assert 'class="fade-line"' in page
    assert "turns hue" in page
    answer = lead_client.post(f"/s/slow-river/marks/{mark.pk}/point", {"x": "0.1", "y": "0.2"}, follow=True)
    mark.refresh_from_db()
    assert mark.arrow_end == (0.1, 0.2)
    assert lead_client.post(f"/s/slow-river/marks/{mark.pk}/point", {"x": "7", "y": "0.2"}).status_code == 422
