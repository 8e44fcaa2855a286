"""Gradients that are locked: both codes of a mark, and where it runs, are held against what is locked."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bible.colour.gradients import Direction, Gradient, read_tint_or_gradient, write_tint_or_gradient
from bible.colour.notation import LETTERS_64, NotationError
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks.services import correct_lock, lock_rule, lock_tint
from bible.locks.undoing import undo_decision
from bible.models import Lock, Scene, Series
from bible.models.fields import NoTint
from bible.scenes.services import set_scene
from guides.core import impact
from guides.core.continuity import discrepancies, resolve
from guides.core.scene_areas import WHOLE_PAGE, apply_scene
from guides.core.services import point_mark, rewrite_mark
from guides.core.waivers import waive
from guides.models import FlagKind, Mark
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part

B, W, Y, YR = Tint(100), Tint(), Tint(0, 0, 100), Tint(0, 100, 100)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("B to W downwards", Gradient(B, W, Direction.DOWN)),
        ("b > w", Gradient(B, W)),
        ("B fades to W, down", Gradient(B, W, Direction.DOWN)),
        ("YR → Y to the left", Gradient(YR, Y, Direction.LEFT)),
        ("Y -> yr; rightwards.", Gradient(Y, YR, Direction.RIGHT)),
        ("C100 to Y100 upward", Gradient(B, Y, Direction.UP)),
        ("YR", YR),
    ],
)
def test_a_gradient_is_two_codes_and_maybe_where_it_runs(text: str, value: Any) -> None:
    assert read_tint_or_gradient(text, LETTERS_64.read) == value
    assert read_tint_or_gradient(write_tint_or_gradient(value, LETTERS_64.write), LETTERS_64.read) == value


@pytest.mark.parametrize("text", ["B to", "to W", "B >", "→ W", "B -> ", "B to downwards"])
def test_half_a_gradient_is_told_what_it_lacks(text: str) -> None:
    with pytest.raises(NotationError, match="two codes: write both"):
        read_tint_or_gradient(text, LETTERS_64.read)


@pytest.mark.parametrize("text", ["B to", "to W", "B to W to Y", "B to B", "B to Q", "B downwards", "R4 to W", ""])
def test_what_is_no_gradient_is_refused(text: str) -> None:
    with pytest.raises(NotationError):
        read_tint_or_gradient(text, LETTERS_64.read)


pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any) -> Any:
    return make_guide(make_issue(series), by=lead)


def lock_gradient(part: Any, written: str, by: Any, **more: Any) -> Lock:
    series = part.costume.subject.series
    said: dict[str, Any] = {"role": "base", "from_position": 0, "reason": "as drawn"} | more
    return lock_tint(part=part, tint=series.read_locked(written), written=written, by=by, **said)


def kind(mark: Mark) -> FlagKind | None:
    mark.refresh_from_db()
    flagged = Mark.objects.filter(pk=mark.pk).flagged()
    assert flagged.exists() == (mark.flag_kind is not None)
    assert mark.flag_kind is None or flagged.of_kind(mark.flag_kind).exists()
    return mark.flag_kind


def down(guide: Any, written: str, to_written: str, **more: Any) -> Mark:
    return make_mark(guide, written, to_written=to_written, to=(0.5, 0.9), **{"x": 0.5, "y": 0.5} | more)


class TestAgainstALockedGradient:
    @pytest.fixture
    def part(self, series: Series, lead: Any) -> Any:
        part = make_part(series)
        lock_gradient(part, "B to W downwards", lead)
        return part

    def test_the_same_gradient_agrees(self, series: Series, guide: Any, part: Any) -> None:
        mark = down(guide, "B", "W", part=part)
        assert kind(mark) is None
        assert (mark.expected, mark.expected_to, mark.expectation) == (B, W, Gradient(B, W))
        assert discrepancies(series) == []

    def test_what_fades_to_something_else_does_not(self, series: Series, guide: Any, part: Any) -> None:
        assert kind(down(guide, "B", "Y", part=part)) is FlagKind.FADES

    def test_a_flat_mark_does_not(self, series: Series, guide: Any, part: Any) -> None:
        assert kind(make_mark(guide, "B", part=part)) is FlagKind.FADES
        assert kind(make_mark(guide, "Y", part=part)) is FlagKind.DIFFERS

    def test_one_that_runs_the_other_way_does_not(self, series: Series, guide: Any, part: Any) -> None:
        up = make_mark(guide, "B", to_written="W", to=(0.5, 0.1), y=0.5, x=0.5, part=part)
        assert kind(up) is FlagKind.DIFFERS
        assert (up.expected, up.expected_to) == (W, B)
        assert discrepancies(series) == []

    def test_the_arrow_may_be_drawn_from_the_other_end(self, series: Series, guide: Any, part: Any) -> None:
        """White below to blue above is blue above to white below: the same print."""
        assert kind(make_mark(guide, "W", to_written="B", to=(0.5, 0.1), y=0.5, x=0.5, part=part)) is None

    def test_one_across_says_nothing_about_up_and_down(self, series: Series, guide: Any, part: Any) -> None:
        assert kind(make_mark(guide, "B", to_written="W", to=(0.9, 0.5), y=0.5, x=0.5, part=part)) is None

    def test_a_second_code_that_cannot_be_read_is_flagged_as_such(
        self, series: Series, guide: Any, part: Any
    ) -> None:
        assert kind(down(guide, "B", "Q7", part=part)) is FlagKind.UNREADABLE

    def test_pointing_the_arrow_elsewhere_asks_again(self, series: Series, guide: Any, part: Any, lead: Any) -> None:
        mark = down(guide, "B", "W", part=part)
        assert kind(point_mark(mark=mark, x=0.5, y=0.1, by=lead)) is FlagKind.DIFFERS
        mark.refresh_from_db()
        assert kind(point_mark(mark=mark, x=0.5, y=0.8, by=lead)) is None

    def test_a_scene_moves_both_ends(self, series: Series, guide: Any, part: Any, lead: Any) -> None:
        mark = down(guide, "B", "W", part=part)
        scene = Scene(series=series, name="night")
        set_scene(scene=scene, rule=Shift((Step(Op.AT_LEAST, "y", 25),)), by=lead)
        apply_scene(guide=guide, scene=scene, region=WHOLE_PAGE, by=lead)
        mark.refresh_from_db()
        assert (mark.expected, mark.expected_to) == (Tint(100, 0, 25), Tint(0, 0, 25))
        assert discrepancies(series) == []
        resolve(Mark.objects.filter(pk=mark.pk))
        assert discrepancies(series) == []


def test_a_gradient_on_a_part_that_is_flat_is_flagged(series: Series, guide: Any) -> None:
    """Skin that fades to solid cyan does not agree."""
    part = make_part(series)
    make_lock(part, "Y2R2")
    assert kind(down(guide, "Y2R2", "B", part=part)) is FlagKind.FADES
    assert kind(make_mark(guide, "Y2R2", part=part)) is None


@pytest.mark.parametrize("written", ["B to W downwards", "B to W upwards", "B to Y", "B", "W to B leftwards"])
def test_the_impact_shown_is_what_happens(series: Series, guide: Any, lead: Any, written: str) -> None:
    part = make_part(series)
    make_lock(part, "B")
    for first, second in (("B", "W"), ("B", ""), ("W", "B"), ("B", "Y"), ("Y", "")):
        make_mark(guide, first, part=part, **{"to_written": second, "to": (0.4, 0.9)} if second else {})
    waive(marks=Mark.objects.open()[:1], reason="a flashback", by=lead)
    before = set(Mark.objects.open().values_list("pk", flat=True))
    shown = impact.of_lock(part, "base", series.read_locked(written), 0, None)
    lock_gradient(part, written, lead)
    after = set(Mark.objects.open().values_list("pk", flat=True))
    assert (shown.opens, shown.closes) == (len(after - before), len(before - after))
    assert discrepancies(series) == []


def test_a_shade_by_rule_follows_both_ends(series: Series, lead: Any) -> None:
    part = make_part(series)
    lock_gradient(part, "Y to YR downwards", lead)
    rule = Shift((Step(Op.ADD, "c", 25),))
    (shade,) = lock_rule(part=part, role="shade", rule=rule, from_position=0, by=lead)
    assert shade.locked == Gradient(Tint(25, 0, 100), Tint(25, 100, 100), Direction.DOWN)
    lock_gradient(part, "Y", lead)
    assert Lock.objects.of(part.pk, "shade").standing().get().locked == Tint(25, 0, 100)


def test_correcting_and_undoing_bring_the_whole_gradient(series: Series, lead: Any) -> None:
    part = make_part(series)
    first = lock_gradient(part, "B to W downwards", lead)
    second = correct_lock(lock=first, tint=Gradient(B, Y), written="B to Y", by=lead, reason="a slip")
    assert second.locked == Gradient(B, Y)
    undo_decision(lock=second, by=lead)
    assert Lock.objects.of(part.pk, "base").standing().get().locked == Gradient(B, W, Direction.DOWN)


def test_a_waiver_dies_with_the_second_code(series: Series, guide: Any, lead: Any) -> None:
    part = make_part(series)
    make_lock(part, "B")
    mark = down(guide, "B", "W", part=part)
    waive(marks=[mark], reason="the sea at dawn", by=lead)
    mark.refresh_from_db()
    assert mark.waived
    kept = rewrite_mark(mark=mark, written="B", part=part, role="base", by=lead, to_written="W")
    assert kept.waived
    changed = rewrite_mark(mark=kept, written="B", part=part, role="base", by=lead, to_written="Y")
    assert not changed.waived


def test_flags_are_one_query_and_the_partial_index_serves_it(series: Series) -> None:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        list(Mark.objects.filter(series=series).open())
    assert len(asked) == 1
    if connection.vendor == "sqlite":
        assert "guides_mark_flagged" in Mark.objects.filter(series=series).open().in_order().explain()


def test_where_nothing_is_locked_nothing_is_to_be_faded_to(series: Series, guide: Any) -> None:
    mark = down(guide, "B", "W", part=make_part(series))
    assert kind(mark) is FlagKind.NO_LOCK
    assert mark.expected_to is NoTint.FLAT
