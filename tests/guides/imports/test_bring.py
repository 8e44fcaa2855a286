"""What becomes of each row, and that the same file twice changes nothing."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bible.models import Activity, ActivityKind, Lock, Part, Series, Subject
from bible.series.refusals import Refused
from bible.series.services import add_issue
from guides.imports.fates import Fates, State
from guides.imports.services import TableMoved, keep, open_table, take, take_kept, try_out
from guides.models import BroughtTable, Mark
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db

HEAD = "subject,costume,part,role,code,from,to,reason\n"


def bring(series: Series, by: User, text: str, kind: str = "bible", **answers: str) -> Fates:
    opened = open_table(text.encode(), "rows.csv", kind, answers)
    return take(series=series, kind=kind, opened=opened, columns=opened.headings.guess, by=by, answers=answers)


def states(fates: Fates) -> list[tuple[int, str]]:
    return [(fate.line, fate.state.value) for fate in fates.rows]


def held(series: Series) -> list[tuple[str, str, int, int | None]]:
    """What stands: part, code, first and end position."""
    locks = Lock.objects.filter(series=series).standing().order_by("part__name", "role", "from_position")
    return [(lock.part.name, lock.written, lock.from_position, lock.to_position) for lock in locks]


def test_subjects_parts_and_locks_from_nothing(series: Series, lead: User) -> None:
    one, two, three = make_issues(series, 3)
    fates = bring(
        series,
        lead,
        HEAD + "Åse,work coat,coat,,YR3B2,,,from the model sheet\nÅse,work coat,coat,shade,R,,,\n"
        "Åse,work coat,coat,base,Y,2,,new coat\nHull,,boards,,B2,2,2,\nÅse,,,,,,,\n",
    )
    assert states(fates) == [(2, "added"), (3, "added"), (4, "added"), (5, "added"), (6, "same")]
    assert held(series) == [
        ("boards", "B2", two.position, three.position),
        ("coat", "YR3B2", 0, two.position),
        ("coat", "Y", two.position, None),
        ("coat", "R", 0, None),
    ]
    assert Lock.objects.get(written="Y").reason == "new coat"
    assert Part.objects.get(name="boards").costume.name == "as drawn"
    assert one.position < two.position


def test_what_is_new_is_told_in_the_activity_in_one_line(series: Series, lead: User) -> None:
    text = HEAD + "Åse,work coat,coat,,,,,\nÅse,work coat,collar,,,,,\n"
    bring(series, lead, text, codes="names")
    told = Activity.objects.get(series=series, kind=ActivityKind.BROUGHT_IN)
    assert (told.count, told.by) == (4, lead)
    bring(series, lead, text, codes="names")
    assert Activity.objects.filter(kind=ActivityKind.BROUGHT_IN).count() == 1


def test_the_same_file_twice_changes_nothing(series: Series, lead: User) -> None:
    make_issues(series, 5)
    text = HEAD + "Åse,,coat,,Y,,,\nÅse,,coat,,R,2,3,\nÅse,,coat,,B,5,,\nÅse,,hair,,YR3B2,3,,\n"
    bring(series, lead, text)
    before = list(Lock.objects.order_by("pk").values_list("pk", "withdrawn_at"))
    again = bring(series, lead, text)
    assert {fate.state for fate in again.rows} == {State.SAME}
    assert list(Lock.objects.order_by("pk").values_list("pk", "withdrawn_at")) == before


def test_a_decision_that_stands_is_superseded_and_said(series: Series, lead: User) -> None:
    make_issues(series, 3)
    part = make_part(series, name="coat")
    make_lock(part, "Y", by=lead)
    names = f"{part.costume.subject.name},{part.costume.name}"
    fates = bring(series, lead, HEAD + f"{names.upper()},COAT,,R,2,,new\n")
    assert states(fates) == [(2, "changed")]
    assert f"over Y locked by {lead}" in fates.rows[0].words
    second = series.issues.get(number="2").position
    assert held(series) == [("coat", "Y", 0, second), ("coat", "R", second, None)]


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (",,coat,,Y,,,", "names no subject"),
        ("Åse,,,,Y,,,", "no part"),
        ("Åse,,coat,,QQ,,,", "QQ"),
        ("Åse,,coat,lining,Y,,,", "no role"),
        ("Åse,,coat,,Y,99,,", "no issue 99"),
        ("Åse,,coat,,Y,3,2,", "before it begins"),
        ("Å" * 81 + ",,coat,,Y,,,", "80 signs"),
    ],
)
def test_bad_rows_are_told_by_line_and_the_good_ones_taken(series: Series, lead: User, row: str, why: str) -> None:
    make_issues(series, 3)
    fates = bring(series, lead, HEAD + f"{row}\nHull,,boards,,B2,,,\n")
    assert states(fates) == [(2, "wrong"), (3, "added")]
    assert why in fates.rows[0].words
    assert held(series) == [("boards", "B2", 0, None)]
    assert not Subject.objects.filter(name__startswith="Å").exists()


def test_rows_that_contradict_each_other_are_both_left_out(series: Series, lead: User) -> None:
    make_issues(series, 5)
    fates = bring(series, lead, HEAD + "Åse,,coat,,Y,1,4,\nåse,,Coat,,R,3,,\nÅse,,hat,,Y,,,\nÅse,,hat,,Y,,,\n")
    assert states(fates) == [(2, "wrong"), (3, "wrong"), (4, "added"), (5, "same")]
    assert "Line 3 says R" in fates.rows[0].words


def test_what_is_archived_is_not_touched(series: Series, lead: User) -> None:
    from django.utils import timezone

    part = make_part(series)
    Part.objects.update(archived_at=timezone.now())
    fates = bring(series, lead, HEAD + f"{part.costume.subject},{part.costume},{part.name},,Y,,,\n")
    assert "archived" in fates.rows[0].words
    assert not Lock.objects.exists()


def test_trying_out_saves_nothing_and_foretells_everything(series: Series, lead: User) -> None:
    (issue,) = make_issues(series, 1)
    part = make_part(series)
    make_mark(make_guide(issue), "R", part=part)
    text = HEAD + f"{part.costume.subject},{part.costume},{part.name},,R,,,\nNew,,thing,,Y,,,\n"
    opened = open_table(text.encode(), "rows.csv", "bible")
    trial = try_out(series, "bible", opened, opened.headings.guess, lead)
    assert (trial.impact.opens, trial.impact.closes) == (0, 1)
    assert not Lock.objects.exists()
    assert not Subject.objects.filter(name="New").exists()
    done = bring(series, lead, text)
    assert done.token == trial.fates.token
    assert not Mark.objects.flagged().exists()


def test_a_yes_to_what_has_moved_meanwhile_takes_nothing(series: Series, lead: User) -> None:
    part = make_part(series)
    text = HEAD + f"{part.costume.subject},{part.costume},{part.name},,R,,,\nNew,,thing,,Y,,,\n"
    table = keep(series=series, kind="bible", data=text.encode(), filename="C:\\lists\\rows.csv", by=lead)
    assert table.filename == "rows.csv"
    opened = open_table(text.encode(), "rows.csv", "bible")
    shown = try_out(series, "bible", opened, table.columns, lead).fates.token
    make_lock(part, "Y", by=lead)
    with pytest.raises(TableMoved) as moved:
        take_kept(table=table, columns=table.columns, by=lead, token=shown)
    assert states(moved.value.fates) == [(2, "changed"), (3, "added")]
    assert not Subject.objects.filter(name="New").exists()
    take_kept(table=table, columns=table.columns, by=lead, token=moved.value.fates.token)
    table.refresh_from_db()
    assert table.data is None
    assert table.outcome == {"added": 1, "changed": 1, "same": 0, "wrong": 0}
    with pytest.raises(Refused, match="already"):
        take_kept(table=table, columns=table.columns, by=lead, token=moved.value.fates.token)


def test_tables_that_nobody_took_are_thrown_away(series: Series, lead: User) -> None:
    import datetime as dt

    from django.utils import timezone

    old = keep(series=series, kind="bible", data=HEAD.encode() + b"Thea,,,,,,,\n", filename="a.csv", by=lead)
    BroughtTable.objects.update(brought_at=timezone.now() - dt.timedelta(days=3))
    new = keep(series=series, kind="bible", data=HEAD.encode() + b"Thea,,,,,,,\n", filename="b.csv", by=lead)
    assert list(BroughtTable.objects.all()) == [new]
    assert old != new


def test_formulas_in_a_mapped_column_are_refused_row_by_row(series: Series, lead: User) -> None:
    from tests.guides.imports.test_grid import saved, workbook

    data = saved(
        workbook(["Subject", "Part", "Code", "Sum"], ["Thea", "coat", "=A1", 1], ["Ruben", "cap", "Y", "=B2"])
    )
    opened = open_table(data, "rows.xlsx", "bible")
    fates = take(series=series, kind="bible", opened=opened, columns=opened.headings.guess, by=lead)
    assert states(fates) == [(2, "wrong"), (3, "added")]
    assert "C2 holds a formula" in fates.rows[0].words


def test_issues_come_behind_the_last_one(series: Series, lead: User) -> None:
    make_issues(series, 2)
    text = "Issue,Title,Cover date\n2,again,\nAnnual 1,The long night,2026-07-01\n4,,yesterday\n,x,\nannual 1,,\n"
    fates = bring(series, lead, text, "issues")
    assert states(fates) == [(2, "changed"), (3, "added"), (4, "added"), (5, "wrong"), (6, "same")]
    assert [issue.number for issue in series.issues.in_order()] == ["1", "2", "Annual 1", "4"]
    assert "“yesterday” is no date that can be read" in fates.rows[2].words
    assert series.issues.get(number="4").published is None


def test_marks_go_on_their_pages(series: Series, lead: User) -> None:
    (issue,) = make_issues(series, 1)
    guide = make_guide(issue, page="7")
    part = make_part(series)
    make_lock(part, "Y", by=lead)
    names = f"{part.costume.subject},{part.costume},{part.name}"
    text = (
        "issue,page,number,x,y,code,role,subject,costume,part\n"
        f"1,p. 07,4,0.25,0.5,R,,{names}\n"
        "1,7,,0.5,0.5,scribble,,,,\n"
        "1,8,,0.5,0.5,Y,,,,\n"
        "1,7,,1.5,0.5,Y,,,,\n"
        "1,7,,0.1,0.1,Y,,Nobody,,nose\n"
        "1,7,,0.5,0.5,scribble,,,,\n"
        "1,7,,0.5,0.5,other,,,,\n"
        "1,7,,0.9,0.1,Y,,,,nose\n"
    )
    fates = bring(series, lead, text, "marks")
    told = ["added", "added", "wrong", "wrong", "wrong", "same", "wrong", "wrong"]
    assert [state for _, state in states(fates)] == told
    assert fates.rows[-1].words == "It names the part nose, and not whose it is."
    marks = Mark.objects.filter(guide=guide).order_by("number")
    assert [(mark.number, mark.written, mark.part) for mark in marks] == [(4, "R", part), (5, "scribble", None)]
    assert list(Mark.objects.flagged()) == [marks[0]]
    again = bring(series, lead, text, "marks")
    assert again.taken == 0
    assert "rewrite it on the desk" in again.rows[-2].words


def test_queries_do_not_grow_with_rows(series: Series, lead: User) -> None:
    """Locks from nothing: each part takes its INSERT, and locking the same few for all.

    A few parts are resolved one by one, which is quicker for them; what counts is what many cost.
    """
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from guides.core.continuity import PARTS_ONE_BY_ONE

    def count(parts: int, costume: str) -> int:
        rows = "".join(f"Åse,{costume},part {n},,Y,,,\n" for n in range(parts))
        with CaptureQueriesContext(connection) as captured:
            bring(series, lead, HEAD + rows)
        return len(captured)

    many = PARTS_ONE_BY_ONE + 1
    count(1, "hat")  # makes the subject
    more, fewer = count(many + 20, "coat"), count(many, "cape")
    batches = more - fewer - 20
    assert 0 <= batches <= 1, "twenty INSERTs, and at most one more batch of locks"


CODES = ("Y", "R", "B2", "YR3B2")


@st.composite
def tables(draw: st.DrawFn) -> str:
    row = st.tuples(
        st.sampled_from(["coat", "hat"]),
        st.sampled_from(["base", "shade"]),
        st.sampled_from(CODES),
        st.sampled_from(["", "1", "2", "3", "4"]),
        st.sampled_from(["", "2", "3", "4", "5"]),
    )
    rows = draw(st.lists(row, min_size=1, max_size=7))
    return HEAD + "".join(f"Åse,,{part},{role},{code},{a},{b},\n" for part, role, code, a, b in rows)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(first=tables(), second=tables())
def test_any_table_twice_changes_nothing(series: Series, lead: User, first: str, second: str) -> None:
    """Whatever stood before: after a table has been taken, taking it again finds everything so already."""
    from django.db import transaction

    with transaction.atomic():
        if not series.issues.exists():
            for number in "12345":
                add_issue(series=series, number=number)
        bring(series, lead, first)
        once = bring(series, lead, second)
        stands = held(series)
        again = bring(series, lead, second)
        assert held(series) == stands
        assert again.taken == 0
        assert again.count(State.WRONG) == once.count(State.WRONG)
        transaction.set_rollback(True)


def test_a_code_may_be_a_gradient(series: Series, lead: User) -> None:
    make_issues(series, 2)
    text = HEAD + "Harbour,,sky,,B to W downwards,,,at dawn\n"
    assert states(bring(series, lead, text)) == [(2, "added")]
    assert series.write(Lock.objects.get().locked) == "B to W downwards"
    assert states(bring(series, lead, text)) == [(2, "same")]
    assert states(bring(series, lead, HEAD + "Harbour,,tide,,B to R4,,,\n")) == [(2, "wrong")]
