"""Locks of an edition: they hold in it alone, and nobody meets one without asking for it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.db import IntegrityError, transaction

from bible.colour.shifts import Op, Shift, Step
from bible.editions.services import archive_edition, save_edition
from bible.locks.services import correct_lock, end_lock, lock_rule, lock_tint
from bible.locks.undoing import undo_decision
from bible.models import Activity, ActivityRoom, CollectedIssue, Edition, Lock, Part
from bible.series.edits import StaleEdit
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from guides.models import Mark
from tests.factories import (
    make_edition,
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
)

HOUSE = Path(__file__).parents[3]


class Stage:
    """A coat locked to Y from the beginning on, five issues, an album of the second to the fourth."""

    def __init__(self) -> None:
        self.series = make_series()
        self.lead = make_member(self.series)
        self.issues = make_issues(self.series, 5)
        self.part = make_part(self.series, name="coat")
        self.first = make_lock(self.part, "Y", by=self.lead)
        self.album = make_edition(self.series, self.issues[1:4], name="Album")

    def lock(self, code: str, start: int = 0, end: int | None = None, role: str = "base", **more: object) -> Lock:
        asked = {"from_position": start, "to_position": end, "role": role, "edition": self.album}
        return make_lock(self.part, code, by=self.lead, **asked | more)

    def needed(self, role: str = "base") -> list[str]:
        """Codes of the coat in the album, issue by issue."""
        found = []
        for issue in self.issues:
            there = Lock.every_printing.needed_in(self.album, issue.position).of(self.part.pk, role)
            found.append(", ".join(self.series.write(lock.tint) for lock in there) or "-")
        return found

    def standing(self, role: str = "base") -> list[str]:
        return [lock.written for lock in Lock.objects.of(self.part.pk, role).standing()]


@pytest.fixture
def stage(db: None) -> Stage:
    return Stage()


def test_it_holds_in_its_edition_and_the_rest_falls_back(stage: Stage) -> None:
    stage.lock("YR2", stage.issues[2].position, stage.issues[4].position)
    assert stage.needed() == ["Y", "Y", "YR2", "YR2", "Y"]
    assert stage.standing() == ["Y"]
    assert list(stage.part.locks.all()) == list(stage.series.locks.all()) == [stage.first]
    other = make_edition(stage.series, stage.issues, name="Reprint")
    assert {lock.written for lock in Lock.every_printing.needed_in(other, stage.issues[2].position)} == {"Y"}
    assert {lock.written for lock in Lock.every_printing.needed_in(None, stage.issues[2].position)} == {"Y"}


def test_a_mark_owes_what_the_first_printing_says(stage: Stage) -> None:
    mark = make_mark(make_guide(stage.issues[2]), "Y", part=stage.part)
    stage.lock("YR2")
    later = make_mark(make_guide(stage.issues[3]), "Y", part=stage.part)
    for one in (mark, later):
        one.refresh_from_db()
        assert (str(one.lock_id), one.expected) == (str(stage.first.pk), stage.series.read("Y"))


def test_decisions_of_two_printings_do_not_supersede_each_other(stage: Stage) -> None:
    own = stage.lock("YR2")
    make_lock(stage.part, "B", by=stage.lead, from_position=stage.issues[3].position)
    own.refresh_from_db(from_queryset=Lock.every_printing.all())
    assert own.withdrawn_at is None
    assert stage.needed() == ["YR2"] * 5
    later = stage.lock("YR", stage.issues[3].position)
    assert stage.needed() == ["YR2", "YR2", "YR2", "YR", "YR"]
    assert stage.standing() == ["Y", "B"]
    assert later.follows == own


def test_it_is_ended_corrected_and_undone_in_its_edition_alone(stage: Stage) -> None:
    own = stage.lock("YR2")
    end_lock(lock=own, at_position=stage.issues[3].position, by=stage.lead, reason="enough")
    assert stage.needed() == ["YR2", "YR2", "YR2", "Y", "Y"]
    undo_decision(lock=own, by=stage.lead)
    assert stage.needed() == ["YR2"] * 5
    now = Lock.every_printing.of_edition(stage.album).standing().get()
    right = correct_lock(lock=now, tint=stage.series.read("YR"), written="YR", by=stage.lead, reason="misread")
    assert (stage.needed(), right.edition) == (["YR"] * 5, stage.album)
    undo_decision(lock=right, by=stage.lead)
    assert stage.needed() == ["YR2"] * 5
    assert stage.standing() == ["Y"]
    assert Lock.objects.filter(part=stage.part).count() == 1, "the first printing's history knows nothing of it"


def test_a_stale_decision_of_an_edition_is_refused_by_that_edition(stage: Stage) -> None:
    own = stage.lock("YR2")
    make_lock(stage.part, "B", by=stage.lead, from_position=stage.issues[3].position)
    stage.lock("YR", stage.issues[3].position, seen=own.pk)
    with pytest.raises(Refused, match="YR here meanwhile"):
        stage.lock("B", stage.issues[2].position, seen=own.pk)


def test_a_rule_in_an_edition_follows_the_base_there(stage: Stage) -> None:
    rule = Shift((Step(Op.ADD, "c", 25),))
    lock_rule(part=stage.part, role="shade", rule=rule, from_position=0, by=stage.lead, edition=stage.album)
    assert stage.needed("shade") == ["YB2"] * 5, "the first printing's base holds there"
    own = stage.lock("YR2", stage.issues[2].position)
    assert stage.needed("shade") == ["YB2", "YB2", "YR2B2", "YR2B2", "YR2B2"]
    red = make_lock(stage.part, "R", by=stage.lead)
    assert stage.needed("shade") == ["RB2", "RB2", "YR2B2", "YR2B2", "YR2B2"]
    with pytest.raises(Refused, match="Undo the later decision first"):
        undo_decision(lock=own, by=stage.lead)
    undo_decision(lock=red, by=stage.lead)
    undo_decision(lock=own, by=stage.lead)
    assert stage.needed("shade") == ["YB2"] * 5
    assert stage.standing("shade") == []


def test_what_follows_by_rule_in_the_first_printing_does_not_follow_an_edition(stage: Stage) -> None:
    """Where an edition has no code of its own, the first printing's holds as it is."""
    rule = Shift((Step(Op.ADD, "c", 25),))
    lock_rule(part=stage.part, role="shade", rule=rule, from_position=0, by=stage.lead)
    stage.lock("YR2")
    assert stage.needed("shade") == ["YB2"] * 5


@pytest.mark.parametrize("how", ["insert", "update"])
def test_the_database_refuses_two_of_one_edition_that_overlap(stage: Stage, how: str) -> None:
    own = stage.lock("YR2", 0, stage.issues[2].position)
    kept = {f.attname: getattr(own, f.attname) for f in Lock._meta.concrete_fields if f.name != "id"}
    fresh = Lock(**kept | {"from_position": stage.issues[2].position, "to_position": None})
    fresh.save()
    overlapping = {
        "insert": lambda: Lock.every_printing.create(**kept | {"from_position": 0, "to_position": None}),
        "update": lambda: Lock.every_printing.filter(pk=fresh.pk).update(from_position=0),
    }
    with pytest.raises(IntegrityError), transaction.atomic():
        overlapping[how]()
    other = make_edition(stage.series, stage.issues, name="Reprint")
    Lock.every_printing.create(**kept | {"edition_id": other.pk})  # beside it, in another printing
    with pytest.raises(IntegrityError), transaction.atomic():
        Lock.every_printing.filter(pk=fresh.pk).update(edition=None)


EVERY_PRINTING = {
    "bible/chart/queries.py", "guides/api/changing_views.py", "guides/imports/bible_rows.py",
    "bible/locks/afresh.py", "bible/locks/forms.py", "bible/locks/models.py", "bible/locks/queries.py",
    "bible/locks/services.py", "bible/locks/stretches.py", "bible/locks/undoing.py", "bible/locks/views.py",
    "bible/series/role_views.py",
    "bible/subjects/models.py", "bible/subjects/views.py", "guides/booklets/pocket.py", "guides/core/in_editions.py",
    "guides/decisions/lock_views.py", "guides/decisions/reading_changes.py", "guides/decisions/undo_views.py",
    "guides/editions/queries.py", "guides/imports/undoing.py", "guides/regrouping/services.py", "guides/regrouping/undoing.py",
}  # fmt: skip
"""Who asks for editions' locks: it decides, undoes, regroups or counts what is in use, or it is asked for an edition.
Everybody else has the first printing from the default manager. A new name here is a decision to be made knowingly."""


def test_who_asks_for_the_locks_of_editions_is_known() -> None:
    asking = {
        str(path.relative_to(HOUSE))
        for room in ("bible", "guides")
        for path in sorted((HOUSE / room).rglob("*.py"))
        if "every_printing" in path.read_text(encoding="utf-8")
    }
    assert asking == EVERY_PRINTING


def test_no_query_reaches_locks_past_their_manager() -> None:
    """A look-up that crosses from a part, a series or a mark to its locks joins the table, whatever the managers say;
    and raw SQL does what it likes. There is none."""
    past = []
    for room in ("bible", "guides"):
        for path in sorted((HOUSE / room).rglob("*.py")):
            if "migrations" in path.parts or path.name == "guards.py":
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.keyword) and node.arg:
                    said = node.arg
                elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                    said = node.value
                else:
                    continue
                if said.startswith("locks__") or "__locks__" in said or "bible_lock " in said:
                    past.append(f"{path.relative_to(HOUSE)}: {said[:60]}")
    assert past == []


def test_a_part_with_a_code_in_an_edition_alone_is_in_use(stage: Stage) -> None:
    from bible.subjects.services import InUse, delete_unused

    hull = make_part(stage.series, costume=stage.part.costume, name="hull")
    make_lock(hull, "B", by=stage.lead, edition=stage.album)
    with pytest.raises(InUse, match="1 lock"):
        delete_unused(row=hull, by=stage.lead)
    with pytest.raises(InUse, match="1 issue in an edition"):
        delete_unused(row=stage.issues[1], by=stage.lead)


def test_an_edition_is_saved_with_its_issues_and_said_in_the_activity(stage: Stage) -> None:
    seen_before = list(stage.album.collected.values_list("issue", flat=True))
    assert seen_before == [issue.pk for issue in stage.issues[1:4]]
    stage.album.name = "Second album"
    assert save_edition(edition=stage.album, issues=stage.issues[:2], by=stage.lead)
    assert {row.issue for row in stage.album.collected.all()} == set(stage.issues[:2])
    said = Activity.objects.filter(room=ActivityRoom.EDITIONS).latest("pk")
    told = {"what": "edition", "name": "Second album", "was": "Album", "issues": "1 - 2"}
    assert (said.kind, said.words) == ("changed", told)
    assert not save_edition(edition=stage.album, issues=stage.issues[:2], by=stage.lead), "nothing is new"


def test_an_edition_saved_from_an_old_page_is_refused(stage: Stage) -> None:
    from bible.editions.services import seen_of

    seen = seen_of(stage.album)
    save_edition(edition=stage.album, issues=stage.issues[:2], by=stage.lead)
    with pytest.raises(StaleEdit):
        save_edition(edition=stage.album, issues=stage.issues, by=stage.lead, seen=seen)
    assert CollectedIssue.objects.count() == 2


def test_what_an_edition_may_not_be(stage: Stage) -> None:
    with pytest.raises(Refused, match="of this name"):
        save_edition(edition=Edition(series=stage.series, name="Album"), issues=[], by=stage.lead)
    stranger = make_issue(make_series())
    with pytest.raises(Refused, match="own series"):
        save_edition(edition=stage.album, issues=[stranger], by=stage.lead)


def test_an_edition_is_put_away_and_brought_back(stage: Stage) -> None:
    stage.lock("YR2")
    for archived, kind in ((True, "archived"), (False, "brought-back")):
        for _ in range(2):
            archive_edition(edition=stage.album, archived=archived, by=stage.lead)
        assert bool(stage.album.archived_at) is archived
        assert Activity.objects.filter(room=ActivityRoom.EDITIONS, kind=kind).count() == 1
        assert stage.needed()[2] == "YR2", "its codes stay"


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("2-4", "2 3 4"),
        ("4; 1 - 2,", "1 2 4"),
        ("Annual-2", "Annual-2"),
        ("1-Annual-2", "1 2 3 4 5 Annual-2"),
        ("annual-2 - annual-2", "Annual-2"),
        ("", ""),
    ],
)
def test_issues_are_said_in_runs(stage: Stage, text: str, numbers: str) -> None:
    make_issue(stage.series, number="Annual-2")
    order = RunningOrder.of(stage.series)
    found = order.read_runs(text)
    assert [issue.number for issue in found] == numbers.split()
    assert order.read_runs(order.runs({issue.pk for issue in found})) == found


@pytest.mark.parametrize(("text", "told"), [("7", "no issue “7”"), ("4-2", "ends before"), ("2-x", "no issue “2-x”")])
def test_issues_that_are_not_there_are_refused(stage: Stage, text: str, told: str) -> None:
    with pytest.raises(Refused, match=told):
        RunningOrder.of(stage.series).read_runs(text)


def test_marks_and_parts_know_nothing_of_it(stage: Stage) -> None:
    stage.lock("YR2")
    assert list(Part.objects.with_locks(stage.issues[2].position, stage.series.roles)[0].locks_in_force) == [  # type: ignore[attr-defined]
        stage.first
    ]
    assert not Mark.objects.exists()


def test_lock_tint_says_so_in_the_activity(stage: Stage) -> None:
    lock_tint(
        part=stage.part, role="base", tint=stage.series.read("B"), written="B", from_position=0, by=stage.lead,
        edition=stage.album, reason="coated",
    )  # fmt: skip
    said = Activity.objects.filter(room=ActivityRoom.LOCKS).latest("pk")
    assert said.words == {"reason": "coated", "edition": "Album"}
