"""Found codes: kept, answered, asked again, let in; nothing is a mark before a yes."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from bible.models import Series
from bible.series.refusals import Refused
from bible.tasks.worker import work_off
from guides.archive.check import Archive
from guides.archive.exports import export_series
from guides.archive.restore import restore_series
from guides.core.services import place_mark, rewrite_mark
from guides.found import searching, services
from guides.found.asking_again import PageLayout
from guides.found.searching import PageSearch
from guides.found.services import CodeAnswer
from guides.found.tasks import ask_for_codes
from guides.imaging.writing import WritingModelError
from guides.models import CodeSearch, FoundCode, Guide, Mark
from tests.factories import (
    make_costume,
    make_found,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_part,
    make_search,
    make_subject,
)

pytestmark = pytest.mark.django_db
Outcome = FoundCode.Outcome


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


def take(found: FoundCode, by: Any, **said: Any) -> Mark:
    answer = CodeAnswer.as_read(FoundCode.objects.select_related("guide__series", "part").get(pk=found.pk))
    told = {name: getattr(answer, name) for name in ("found", "x", "y", "written", "part", "role")} | said
    return services.take_codes(guide=found.guide, answers=[CodeAnswer(**told)], by=by)[0]


def test_what_is_found_is_no_mark_before_somebody_said_yes(guide: Guide, lead: Any) -> None:
    part = make_part(guide.series)
    make_lock(part, "YR3B2")
    found = make_found(guide, part=part)
    assert Mark.objects.count() == 0
    mark = take(found, lead)
    assert (mark.written, mark.part, mark.created_by, mark.let_in) == ("YR3B2", part, lead, False)
    found.refresh_from_db()
    assert (found.outcome, found.decided_by, found.mark, found.code_right) == (Outcome.TAKEN, lead, mark, True)


def test_what_is_written_is_kept_where_it_means_the_same(guide: Guide, lead: Any) -> None:
    """Cyan before yellow: the page's own order stays on the mark."""
    assert take(make_found(guide, "YB3", text="B3Y"), lead).written == "B3Y"
    assert take(make_found(guide, "YB3", text="8?", y=0.2), lead).written == "YB3"


@pytest.mark.parametrize(
    ("said", "outcome"),
    [({"written": "Y2"}, Outcome.CORRECTED), ({"x": 0.7}, Outcome.MOVED), ({"x": 0.501}, Outcome.TAKEN)],
)
def test_what_became_of_it_is_kept(guide: Guide, lead: Any, said: dict[str, Any], outcome: str) -> None:
    found = make_found(guide)
    take(found, lead, **said)
    found.refresh_from_db()
    assert found.outcome == outcome
    assert found.code_right is ("written" not in said)


def test_another_part_is_a_correction(guide: Guide, lead: Any) -> None:
    found = make_found(guide, part=make_part(guide.series))
    take(found, lead, part=make_part(guide.series))
    found.refresh_from_db()
    assert (found.outcome, found.code_right) == (Outcome.CORRECTED, True)


def test_nothing_is_answered_twice(guide: Guide, lead: Any) -> None:
    found = make_found(guide)
    take(found, lead)
    with pytest.raises(Refused, match="meanwhile"):
        take(found, lead)
    with pytest.raises(Refused, match="meanwhile"):
        services.set_aside(found_code=found, by=lead)
    assert Mark.objects.count() == 1


def test_a_code_that_is_gone_is_refused(guide: Guide, lead: Any) -> None:
    found = make_found(guide)
    answer = CodeAnswer.as_read(found)
    FoundCode.objects.all().delete()
    with pytest.raises(Refused, match="anew"):
        services.take_codes(guide=guide, answers=[answer], by=lead)


def test_set_aside_leaves_no_mark_and_can_be_turned_back(guide: Guide, lead: Any) -> None:
    found = services.set_aside(found_code=make_found(guide), by=lead)
    assert not Mark.objects.exists()
    assert not FoundCode.objects.waiting().exists()
    services.turn_back(guide=guide, codes=[found], back=True)
    assert list(FoundCode.objects.waiting()) == [found]


@pytest.mark.parametrize(
    "unsure",
    [{"p": 0.9}, {"p_part": 0.8}, {"p_place": 0.3}, {"differs": True}, {"unreadable": True}, {"crossed_out": True}],
)
def test_sure_is_what_leaves_no_doubt(guide: Guide, unsure: dict[str, Any]) -> None:
    sure, other = make_found(guide), make_found(guide, y=0.2, **unsure)
    assert list(FoundCode.objects.sure()) == [sure]
    assert (sure.is_sure, other.is_sure) == (True, False)


def test_a_mark_placed_by_hand_is_the_answer_to_its_code(guide: Guide, lead: Any) -> None:
    found, far = make_found(guide), make_found(guide, y=0.2)
    mark = place_mark(guide=guide, x=0.51, y=0.5, written="YR3B2", part=None, role="base", by=lead)
    services.answer_by_hand(mark=mark, by=lead)
    assert list(FoundCode.objects.waiting()) == [far]
    found.refresh_from_db()
    assert found.mark == mark


def test_looking_again_keeps_answers_and_leaves_out_what_is_marked(guide: Guide, lead: Any) -> None:
    answered = make_found(guide, "Y")
    take(answered, lead)
    make_found(guide, "R", y=0.8)
    make_mark(guide, "B", x=0.2, y=0.2)
    fresh = [
        FoundCode(series=guide.series, guide=guide, number=n, left=x - 0.02, right=x + 0.02, top=y - 0.01,
                  bottom=y + 0.01, x=x, y=y, area=area, code=code, text=code, p=0.9, readings=[[code, 0.9]])
        for n, (code, x, y, area) in enumerate([("Y", 0.5, 0.5, 1), ("B", 0.2, 0.2, 2), ("YB", 0.7, 0.7, 3)], 1)
    ]  # fmt: skip
    layout = PageLayout([[0, 0, 1, 1]], [])
    services.keep_search(guide=guide, page_search=PageSearch(tuple(fresh), layout, ("said",)))
    assert list(FoundCode.objects.waiting().values_list("code", flat=True)) == ["YB"]
    assert CodeSearch.objects.get(guide=guide).notes == ["said"]


def test_an_answer_speaks_for_the_figures_other_codes(guide: Guide, lead: Any) -> None:
    """Two people carry the same two codes: once somebody says whose the coat is, the boots beside it are theirs."""
    people = [make_costume(make_subject(guide.series)) for _ in range(2)]
    coats = [make_part(costume=costume, name="coat") for costume in people]
    boots = [make_part(costume=costume, name="boots") for costume in people]
    for coat, boot in zip(coats, boots, strict=True):
        make_lock(coat, "YR3B2")
        make_lock(boot, "RB3")
    make_search(guide)
    clue = {"area": 1, "panel": 0, "paint": [], "size": 60.0}
    tints = [guide.series.read(code).packed for code in ("YR3B2", "RB3")]
    first = make_found(guide, part=coats[0], clue=clue | {"x": 200, "y": 250, "readings": [[tints[0], 0.99]]})
    second = make_found(
        guide,
        "RB3",
        y=0.8,
        part=boots[0],
        clue=clue | {"x": 200, "y": 480, "area": 2, "readings": [[tints[1], 0.99]]},
    )
    for owner in (1, 0):
        take(first, lead, part=coats[owner])
        second.refresh_from_db()
        assert second.part == boots[owner]
        assert second.p_part > 0.6
        Mark.objects.update(deleted_at="2001-01-01T00:00Z", live=False)
        FoundCode.objects.filter(pk=first.pk).update(decided_at=None, mark=None)


def test_a_house_may_let_sure_ones_in(guide: Guide, lead: Any) -> None:
    sure, other = make_found(guide), make_found(guide, y=0.2, p=0.5)
    rows = [FoundCode.objects.get(pk=one.pk) for one in (sure, other)]
    FoundCode.objects.all().delete()
    found = PageSearch(tuple(rows), PageLayout([[0, 0, 1, 1]], []))
    services.keep_search(guide=guide, page_search=found)
    assert not Mark.objects.exists()
    Series.objects.update(lets_codes_in=True)
    for row in rows:
        row.pk = None
    services.keep_search(guide=guide, page_search=found)
    mark = Mark.objects.get()
    assert mark.let_in
    let_in = FoundCode.objects.get(mark=mark)
    assert (let_in.outcome, let_in.decided_by) == (Outcome.LET_IN, None)
    assert not rewrite_mark(mark=mark, written="YR3B2", part=None, role="base", by=lead).let_in


def test_without_the_networks_the_page_says_so(guide: Guide, monkeypatch: pytest.MonkeyPatch) -> None:
    def damaged(*_: Any, **__: Any) -> None:
        raise WritingModelError("the file reader.onnx.xz of the reader of codes is damaged")

    reads = searching.read_page
    monkeypatch.setattr(searching, "read_page", damaged)
    assert "damaged" in services.read_guide_page(guide).problem
    out, err = io.StringIO(), io.StringIO()
    call_command("propose_marks", guide.series.slug, "--again", "--json", stdout=out, stderr=err)
    told = json.loads(out.getvalue())
    assert told["read"] == []
    assert "damaged" in told["failed"][0]["problem"]
    monkeypatch.setattr(searching, "read_page", reads)
    call_command("propose_marks", guide.series.slug, stdout=out)
    assert CodeSearch.objects.get().problem == "", "as soon as they are there again, it is looked through"


def test_codes_that_wait_outlast_networks_that_are_gone(guide: Guide, lead: Any) -> None:
    row, answered = make_found(guide), make_found(guide, y=0.5)
    take(answered, lead)
    CodeSearch.objects.filter(guide=guide).update(panels=[[0.0, 0.0, 9.0, 9.0]], bordering=[[1, 2]])
    services.keep_search(guide=guide, page_search=PageSearch(problem="Codes can't be read.", unable=True))
    assert list(FoundCode.objects.filter(guide=guide).waiting()) == [row]
    search = CodeSearch.objects.get()
    assert (search.problem, search.panels, search.bordering) == ("Codes can't be read.", [[0, 0, 9, 9]], [[1, 2]])


def test_the_command_looks_pages_through_once(guide: Guide) -> None:
    for read in (1, 0):
        out = io.StringIO()
        call_command("propose_marks", guide.series.slug, "--json", stdout=out)
        assert len(json.loads(out.getvalue())["read"]) == read
    with pytest.raises(CommandError, match="no issue 99"):
        call_command("propose_marks", guide.series.slug, "--issue", "99", stdout=io.StringIO(), stderr=io.StringIO())


def test_an_archive_brings_answers_along(guide: Guide, lead: Any, tmp_path: Path) -> None:
    mark = take(make_found(guide), lead)
    make_found(guide, y=0.2)
    export_series(guide.series, tmp_path / "series.zip")
    restored = restore_series(Archive.open(tmp_path / "series.zip"), slug="again")
    row = FoundCode.objects.get(series__slug="again")
    assert (row.outcome, row.mark.written if row.mark else "") == (Outcome.TAKEN, mark.written)
    assert restored


def test_a_page_that_comes_in_is_looked_through_in_the_background(guide: Guide, lead: Any) -> None:
    ask_for_codes(guide=guide, by=lead)
    ask_for_codes(guide=guide, by=lead)
    assert not CodeSearch.objects.exists()
    work_off()
    assert CodeSearch.objects.get().guide == guide
