"""The stored counts of tints against a plain recount, after every kind of write."""

from __future__ import annotations

import io
import json
import threading
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from django.db import close_old_connections, connection, transaction

from bible.chart.services import change_reading
from bible.colour.notation import LETTERS_64
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.models import Scene, Series
from bible.scenes.services import set_scene
from bible.series.services import move_issue
from bible.subjects.services import archive, delete_unused
from guides.archive.check import Archive
from guides.archive.exports import export_series
from guides.archive.restore import restore_series
from guides.core import counts, recounting, services
from guides.core.once import AtDesk, new_key
from guides.core.runs import EVERY_ISSUE
from guides.core.scene_areas import WHOLE_PAGE, apply_scene
from guides.desk.services import redo, undo
from guides.handoff.annotations import collection, read_annotations
from guides.handoff.queries import guide_hand_off
from guides.handoff.services import bring_in, fit
from guides.imaging.intake.take_in import take_in
from guides.imports.services import open_table, take
from guides.models import Guide, Mark, TintUse, UseKind
from guides.palettes.forms import ChoiceForm
from guides.palettes.queries import matrix
from tests.factories import (
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    picture_bytes,
)

pytestmark = pytest.mark.django_db


def stored(series: Series) -> dict[tuple[str, str, int], int]:
    """(code or reason, kind, issue's place) -> uses."""
    numbers = dict(series.issues.values_list("pk", "number"))
    found: Counter[tuple[str, str, int]] = Counter()
    for (_, issue, tint, kind, _), uses in counts.stored(series).items():
        found[str(tint), UseKind(kind).label, int(numbers[issue])] += uses
    return dict(found)


def proven(series: Series) -> None:
    assert recounting.discrepancies(series) == []


def test_placing_rewriting_deleting_and_bringing_back(series: Series, lead: Any) -> None:
    first, second = make_issues(series, 2)
    part = make_part(series)
    guide = make_guide(first, colourist=lead)
    mark = make_mark(guide, "Y", part=part, role="shade")
    make_mark(guide, "Y")
    make_mark(make_guide(second), "YR", to_written="Y2")
    assert stored(series) == {
        ("Y100", "shade", 1): 1,
        ("Y100", "background", 1): 1,
        ("M100 Y100", "background", 2): 1,
        ("Y25", "background", 2): 1,
    }
    assert set(TintUse.objects.values_list("colourist", flat=True)) == {0, lead.pk}
    proven(series)
    mark = services.rewrite_mark(mark=mark, written="scrawl", part=None, role="base", by=lead)
    assert stored(series)[("-2", "background", 1)] == 1
    proven(series)
    mark = services.delete_mark(mark=mark, by=lead)
    assert ("-2", "background", 1) not in stored(series)
    services.restore_mark(mark=mark, by=lead)
    assert stored(series)[("-2", "background", 1)] == 1
    proven(series)


def test_moving_a_mark_or_its_issue_changes_no_count(series: Series, lead: Any) -> None:
    first, second = make_issues(series, 2)
    mark = make_mark(make_guide(first), "Y")
    before = list(TintUse.objects.values_list())
    services.move_mark(mark=mark, x=0.1, y=0.1, by=lead)
    move_issue(issue=first, after=second)
    assert list(TintUse.objects.values_list()) == before
    proven(series)


def test_a_new_revision_takes_the_old_ones_marks_off(series: Series, lead: Any) -> None:
    (issue,) = make_issues(series, 1)
    make_mark(make_guide(issue, page="1"), "Y")
    data = picture_bytes()
    services.add_guide(
        issue=issue,
        page="1",
        picture=take_in(io.BytesIO(data), "a.jpg"),
        original=io.BytesIO(data),
        filename="a.jpg",
        by=lead,
    )
    assert stored(series) == {}
    proven(series)


def test_a_text_that_reads_differently_is_counted_anew(series: Series) -> None:
    (issue,) = make_issues(series, 1)
    make_mark(make_guide(issue), "YR4", to_written="Y")
    assert ("-2", "background", 1) in stored(series)
    notation = replace(LETTERS_64, aliases=(("R4", 75),))
    change_reading(series=series, notation=notation, chart_kind=series.chart_kind)
    proven(Series.objects.get(pk=series.pk))


def test_recount_repairs_and_verify_finds_what_was_tampered_with(series: Series) -> None:
    (issue,) = make_issues(series, 1)
    make_mark(make_guide(issue), "Y")
    TintUse.objects.update(packed=counts.pack({Tint(y=100).packed: 7}))
    ((_, said, counted),) = recounting.discrepancies(series)
    assert (said, counted) == (7, 1)
    counts.recount(series)
    proven(series)


def test_steps_back_and_again_are_counted(series: Series, lead: Any) -> None:
    (issue,) = make_issues(series, 1)
    guide = make_guide(issue)
    new: dict[str, Any] = {"x": 0.5, "y": 0.5, "written": "Y", "to_written": "R", "part": None, "role": "base"}
    services.place_mark.once(AtDesk(guide, lead, new_key()), guide=guide, by=lead, **new)
    both = {("Y100", "background", 1): 1, ("M100", "background", 1): 1}
    assert stored(series) == both
    undo(guide=guide, by=lead, key=new_key())
    assert stored(series) == {}
    redo(guide=guide, by=lead, key=new_key())
    assert stored(series) == both
    proven(series)


def test_an_archived_issue_counts_for_nothing_until_it_is_back(series: Series, lead: Any) -> None:
    first, second = make_issues(series, 2)
    mark = make_mark(make_guide(first), "Y")
    make_mark(make_guide(second), "R")
    services.delete_mark(mark=make_mark(mark.guide, "B"), by=lead)
    archive(row=first, by=lead)
    assert stored(series) == {("M100", "background", 2): 1}
    proven(series)
    archive(row=first, archived=False, by=lead)
    assert stored(series) == {("Y100", "background", 1): 1, ("M100", "background", 2): 1}
    proven(series)


def test_an_issue_that_never_had_a_page_takes_nothing_along(series: Series, lead: Any) -> None:
    first, second = make_issues(series, 2)
    make_mark(make_guide(first), "Y")
    delete_unused(row=second, by=lead)
    assert stored(series) == {("Y100", "background", 1): 1}
    proven(series)


def test_marks_that_come_in_by_a_table_or_as_annotations_are_counted(series: Series, lead: Any) -> None:
    first, second = make_issues(series, 2)
    part = make_part(series, name="coat")
    guide = make_guide(first, page="1")
    make_mark(guide, "Y", part=part, to_written="R")
    told = collection(guide_hand_off(guide), "https://example.org/")
    empty = make_guide(second, page="1")
    bring_in(guide=empty, brought=fit(empty, *read_annotations(json.dumps(told), empty)), by=lead)
    assert stored(series) == {(code, "base", at): 1 for code in ("Y100", "M100") for at in (1, 2)}
    rows = f"issue,page,x,y,code,subject,costume,part\n2,1,0.1,0.1,B,,,\n2,1,0.2,0.2,Y,{','.join(part.names)}\n"
    opened = open_table(rows.encode(), "rows.csv", "marks")
    fates = take(series=series, kind="marks", opened=opened, columns=opened.headings.guess, by=lead)
    assert fates.taken == 2, fates.rows
    assert stored(series)["C100", "background", 2] == 1
    assert stored(series)["Y100", "base", 2] == 2
    proven(series)


def test_scenes_and_locks_change_what_is_owed_and_no_count(series: Series, lead: Any) -> None:
    (issue,) = make_issues(series, 1)
    part = make_part(series)
    guide = make_guide(issue)
    make_mark(guide, "Y", part=part)
    before = list(TintUse.objects.values_list())
    scene = Scene(series=series, name="night")
    set_scene(scene=scene, rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    apply_scene(guide=guide, scene=scene, region=WHOLE_PAGE, by=lead)
    make_lock(part, "R", by=lead)
    assert list(TintUse.objects.values_list()) == before
    proven(series)


def test_a_restored_series_is_counted(series: Series, tmp_path: Path) -> None:
    (issue,) = make_issues(series, 1)
    make_mark(make_guide(issue), "Y", part=make_part(series), to_written="scrawl")
    export_series(series, tmp_path / "a.zip")
    restore_series(Archive.open(tmp_path / "a.zip"), slug="brought-back")
    again = Series.objects.get(slug="brought-back")
    assert stored(again) == stored(series) != {}
    proven(again)


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_two_people_marking_one_issue_lose_nothing() -> None:
    series = make_series()
    people = [make_member(series, "lead"), make_member(series, "fill-in")]
    (issue,) = make_issues(series, 1)
    guides = [make_guide(issue), make_guide(issue)]
    started = threading.Barrier(2)

    def work(guide: Guide, by: Any) -> None:
        started.wait()
        for n in range(10):
            with transaction.atomic():
                services.place_mark(
                    guide=guide, x=0.5, y=0.5, written=("Y", "YR")[n % 2], part=None, role="base", by=by
                )
        close_old_connections()
        connection.close()

    threads = [threading.Thread(target=work, args=pair) for pair in zip(guides, people, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert Mark.objects.filter(series=series).count() == 20
    assert sum(stored(series).values()) == 20
    proven(series)


def test_rows_of_one_key_add_up_and_what_adds_up_to_nothing_is_not_there(series: Series, lead: Any) -> None:
    (issue,) = make_issues(series, 1)
    make_mark(make_guide(issue), "Y")
    row = TintUse.objects.get()
    packed = counts.pack({Tint(y=100).packed: -1, Tint(m=100).packed: 3})
    TintUse.objects.create(series=series, issue=issue, kind=row.kind, colourist=row.colourist, packed=packed)
    assert stored(series) == {(str(Tint(m=100)), "background", 1): 3}
    form = ChoiceForm(series, {})
    assert form.is_valid()
    shown = matrix(form, EVERY_ISSUE)
    assert (shown.tints, shown.total) == ((Tint(m=100),), 3)
