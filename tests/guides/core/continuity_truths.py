"""What must hold of a series after every write, whatever it was; the machine of random edits asks after each step."""

from __future__ import annotations

from hypothesis.stateful import RuleBasedStateMachine, invariant

from bible.colour.gradients import shifted
from bible.colour.tints import Tint
from bible.models import Lock, Series
from bible.models.fields import NoTint
from guides.core import continuity, recounting
from guides.core.fingerprint import broken
from guides.models import FlagKind, Mark, Waiver


class Truths(RuleBasedStateMachine):
    """A machine's invariants: what is stored is what follows from scratch. Its rules are in whoever extends it."""

    series: Series

    @invariant()
    def stored_is_what_follows_from_scratch(self) -> None:
        if not hasattr(self, "series"):
            return
        assert continuity.discrepancies(self.series) == []

    @invariant()
    def flags_are_what_the_rules_say(self) -> None:
        if not hasattr(self, "series"):
            return
        marks = Mark.objects.filter(series=self.series)
        derived = {d.mark_id: d for d in continuity.derive(self.series)}
        with_part = dict(marks.values_list("pk", "part_id"))
        ends = dict(marks.values_list("pk", "to_written"))
        wanted = {
            pk
            for pk, d in derived.items()
            if d.live and with_part[pk] is not None and (d.tint, self._end(ends[pk])) != (d.expected, d.expected_to)
        }
        assert set(marks.flagged().values_list("pk", flat=True)) == wanted
        waived = {pk for pk in wanted if derived[pk].waived}
        assert set(marks.waived().values_list("pk", flat=True)) == waived
        assert set(marks.open().values_list("pk", flat=True)) == wanted - waived
        kinds = [mark.flag_kind for mark in marks if mark.flag_kind]
        assert {kind: kinds.count(kind) for kind in FlagKind} == marks.flagged().kind_counts()

    def _end(self, to_written: str) -> Tint | NoTint:
        return continuity.read(self.series, to_written) if to_written else NoTint.FLAT

    @invariant()
    def what_is_signed_off_is_what_was_signed(self) -> None:
        if hasattr(self, "series"):
            assert broken(self.series) == []

    @invariant()
    def scene_tables_and_rule_locks_follow(self) -> None:
        if not hasattr(self, "series"):
            return
        for scene in self.series.scenes.all():
            moved = {tint: to for tint, to in scene.rule.table(self.series.chart).items() if tint != to}
            assert dict(scene.tints.values_list("tint", "shifted")) == moved
        standing = Lock.objects.filter(series=self.series).standing()
        for lock in standing:
            if lock.rule_data:
                bases = standing.filter(part=lock.part, role="base").overlapping(lock.from_position, lock.to_position)
                made = {shifted(base.locked, lock.rule, self.series.chart) for base in bases}
                assert made == {lock.locked}

    @invariant()
    def a_living_waiver_stands_for_what_its_mark_says(self) -> None:
        if hasattr(self, "series"):
            assert not Waiver.objects.filter(series=self.series).outlived().exists()
            alive = set(Waiver.objects.filter(series=self.series).alive().values_list("mark_id", flat=True))
            assert alive == set(Mark.objects.filter(series=self.series, waived=True).values_list("pk", flat=True))

    @invariant()
    def tints_are_counted_as_a_plain_recount_counts_them(self) -> None:
        if hasattr(self, "series"):
            assert recounting.discrepancies(self.series) == []

    @invariant()
    def no_two_standing_locks_overlap(self) -> None:
        if not hasattr(self, "series"):
            return
        for lock in Lock.objects.filter(series=self.series).standing():
            rivals = Lock.objects.of(lock.part_id, lock.role).overlapping(lock.from_position, lock.to_position)
            assert list(rivals) == [lock]
