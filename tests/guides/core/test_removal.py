"""Deleting what nothing uses, archiving what is in use, bringing it back, and what that does to marks and flags."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import lock_tint
from bible.models import Activity, Costume, Issue, Part, Scene, Series, Subject
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.subjects.services import InUse, archive, delete_unused, uses_of
from guides.core import continuity
from guides.core.scene_areas import apply_scene
from guides.core.services import add_guide, move_mark, place_mark, restore_mark, rewrite_mark
from guides.models import Mark
from tests.factories import (
    make_costume,
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.pages import member_client

pytestmark = pytest.mark.django_db


def url_of(series: Series, thing: Any) -> str:
    return reverse(f"remove-{thing._meta.verbose_name}", args=[series.slug, thing.pk])


def said(error: pytest.ExceptionInfo[InUse]) -> dict[str, int]:
    return {use.name: use.count for use in error.value.uses}


def test_an_unused_subject_goes_with_its_costumes_and_parts(series: Series, lead: Any) -> None:
    part = make_part(series)
    delete_unused(row=part.costume.subject, by=lead)
    assert not Subject.objects.exists()
    assert not Costume.objects.exists()
    assert not Part.objects.exists()
    told = Activity.objects.get(kind="deleted")
    assert (told.by, told.subject, told.words["name"]) == (lead, None, part.costume.subject.name)


def test_a_subject_in_use_is_refused_with_what_uses_it(series: Series, lead: Any) -> None:
    part = make_part(series)
    make_lock(part, by=lead)
    guide = make_guide(make_issue(series), by=lead)
    make_mark(guide, part=part, by=lead)
    make_mark(guide, part=part, by=lead)
    for thing in (part, part.costume, part.costume.subject):
        with pytest.raises(InUse, match="archived instead") as error:
            delete_unused(row=thing)
        assert said(error) == {"lock": 1, "marks": 2}
    assert Part.objects.filter(pk=part.pk).exists()


def test_deleted_marks_still_use_their_part(series: Series, lead: Any) -> None:
    mark = make_mark(make_guide(make_issue(series), by=lead), part=make_part(series), by=lead)
    Mark.objects.update(live=False)
    assert [str(use) for use in uses_of(mark.part)] == ["1 mark"]  # type: ignore[arg-type]


def test_an_issue_that_something_begins_or_ends_with_is_in_use(series: Series, lead: Any) -> None:
    first, second, third, fourth = make_issues(series, 4)
    make_lock(make_part(series), from_position=second.position, to_position=fourth.position, by=lead)
    assert not uses_of(first)
    assert not uses_of(fourth)
    for named in (second, third):
        with pytest.raises(InUse) as error:
            delete_unused(row=named)
        assert said(error) == {"lock": 1}
    delete_unused(row=first)
    assert not Issue.objects.filter(pk=first.pk).exists()


def test_an_issue_with_pages_is_in_use_and_another_series_locks_are_not_asked(series: Series, lead: Any) -> None:
    issue = make_issue(series)
    make_lock(make_part(make_series()), from_position=issue.position)
    assert not uses_of(issue)
    make_guide(issue, by=lead)
    assert [str(use) for use in uses_of(issue)] == ["1 guide"]


def test_a_scene_is_deleted_with_its_rules_unless_it_was_applied(series: Series, lead: Any) -> None:
    rule = Shift((Step(Op.ADD, "c", 25),))
    used, unused = (set_scene(scene=Scene(series=series, name=n), rule=rule, by=lead) for n in ("Night", "Fog"))
    apply_scene(guide=make_guide(make_issue(series), by=lead), scene=used, by=lead)
    with pytest.raises(InUse):
        delete_unused(row=used)
    delete_unused(row=unused)
    assert list(series.scenes.all()) == [used]


def test_what_uses_a_thing_is_asked_in_queries_that_do_not_grow(series: Series, lead: Any) -> None:
    part = make_part(series)
    guide = make_guide(make_issue(series), by=lead)
    counts = []
    for _ in range(2):
        for _ in range(8):
            make_mark(guide, part=part, by=lead)
        with CaptureQueriesContext(connection) as asked:
            uses_of(part.costume.subject)
        counts.append(len(asked))
    assert counts[0] == counts[1]


@pytest.mark.django_db(transaction=True)
def test_a_part_deleted_while_somebody_chose_it_is_told(series: Series, lead: Any) -> None:
    chosen = make_part(series)
    guide = make_guide(make_issue(series), by=lead)
    mark = make_mark(guide, by=lead)
    delete_unused(row=Part.objects.get(pk=chosen.pk), by=lead)
    with pytest.raises(Refused, match="deleted meanwhile"):
        place_mark(guide=guide, x=0.1, y=0.1, written="Y", part=chosen, role="base", by=lead)
    with pytest.raises(Refused, match="deleted meanwhile"):
        rewrite_mark(mark=mark, written="Y", part=chosen, role="base", by=lead)
    with pytest.raises(Refused, match="deleted meanwhile"):
        lock_tint(part=chosen, role="base", tint=series.read("Y"), written="Y", from_position=0, by=lead)
    with pytest.raises(Refused, match="already"):
        delete_unused(row=chosen, by=lead)
    with pytest.raises(Refused, match="deleted"):
        archive(row=chosen, by=lead)
    mark.refresh_from_db()
    assert (mark.written, mark.part) == ("YR3B2", None)


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_a_mark_that_comes_while_its_part_is_deleted_saves_the_part(
    series: Series, lead: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between asking what uses the part and the end of the deletion another connection places a mark on it."""
    from concurrent.futures import Future, ThreadPoolExecutor

    from bible.subjects import services as removal

    part, guide = make_part(series), make_guide(make_issue(series), by=lead)
    ask = removal.uses_of
    pool = ThreadPoolExecutor(1)
    later: list[Future[Any]] = []

    def place() -> None:
        try:
            place_mark(guide=guide, x=0.1, y=0.1, written="Y", part=part, role="base", by=lead)
        finally:
            connection.close()

    def ask_then_be_overtaken(thing: Any) -> Any:
        found = ask(thing)
        if not later:
            later.append(pool.submit(place))
        return found

    monkeypatch.setattr(removal, "uses_of", ask_then_be_overtaken)
    try:
        delete_unused(row=part, by=lead)
        deleted = True
    except InUse:
        deleted = False
    trouble = later[0].exception(timeout=20)
    pool.shutdown()
    placed = Mark.objects.filter(guide=guide).exists()
    assert deleted != placed, "one of the two, whole"
    assert (trouble is None) == placed
    assert trouble is None or isinstance(trouble, Refused)


def test_archiving_a_subject_part_or_costume_changes_no_expectation_and_no_flag(series: Series, lead: Any) -> None:
    part = make_part(series)
    make_lock(part, "Y", by=lead)
    mark = make_mark(make_guide(make_issue(series), by=lead), "YR", part=part, by=lead)
    before = Mark.objects.values("tint", "expected", "lock", "live", "version").get(pk=mark.pk)
    for thing in (part, part.costume, part.costume.subject):
        archive(row=thing, by=lead)
        assert Mark.objects.values("tint", "expected", "lock", "live", "version").get(pk=mark.pk) == before
        assert Mark.objects.filter(series=series).open().count() == 1
        assert not Part.objects.of_series(series).exists()
        archive(row=thing, archived=False, by=lead)
        assert Part.objects.of_series(series).exists()
    assert not continuity.discrepancies(series)


def test_archiving_twice_is_once(series: Series, lead: Any) -> None:
    part = make_part(series)
    archive(row=part, by=lead)
    when = part.archived_at
    archive(row=Part.objects.get(pk=part.pk), by=lead)
    assert Part.objects.get(pk=part.pk).archived_at == when
    assert Activity.objects.filter(kind="archived").count() == 1


def test_the_flags_of_an_archived_issue_count_no_longer_until_it_is_back(series: Series, lead: Any) -> None:
    part, issue = make_part(series), make_issue(series)
    make_lock(part, "Y", by=lead)
    guide = make_guide(issue, page="1", by=lead)
    mark = make_mark(guide, "YR", part=part, by=lead)
    gone = make_mark(guide, "YR", part=part, by=lead)
    Mark.objects.filter(pk=gone.pk).update(deleted_at=issue.series.created_at, live=False)
    archive(row=issue, by=lead)
    assert not Mark.objects.filter(series=series).open().exists()
    assert not continuity.discrepancies(series)
    make_lock(part, "B", by=lead)
    archive(row=Issue.objects.get(pk=issue.pk), archived=False, by=lead)
    assert list(Mark.objects.filter(series=series).open()) == [mark]
    assert not continuity.discrepancies(series)
    mark.refresh_from_db()
    assert mark.expected == series.read("B"), "the bible went on meanwhile"


def test_nothing_on_an_archived_issue_is_changed(series: Series, lead: Any) -> None:
    issue = make_issue(series)
    guide = make_guide(issue, by=lead)
    mark = make_mark(guide, by=lead)
    archive(row=issue, by=lead)
    deeds: list[Any] = [
        lambda: place_mark(guide=guide, x=0, y=0, written="Y", part=None, role="base", by=lead),
        lambda: move_mark(mark=mark, x=0, y=0, by=lead),
        lambda: restore_mark(mark=mark, by=lead),
        lambda: rewrite_mark(mark=mark, written="Y", part=None, role="base", by=lead),
    ]
    for deed in deeds:
        with pytest.raises(Refused, match="is archived: bring it back"):
            deed()
    from io import BytesIO

    from guides.imaging.intake.take_in import take_in
    from tests.factories import picture_bytes

    scan = BytesIO(picture_bytes())
    with pytest.raises(Refused, match="is archived"):
        add_guide(issue=issue, page="2", picture=take_in(scan, "2.jpg"), original=scan, filename="2.jpg", by=lead)


@pytest.mark.parametrize("deed", ["new-mark", "rewrite-mark", "delete-mark", "move-mark"])
def test_the_pages_say_so(series: Series, lead: Any, lead_client: Client, deed: str) -> None:
    issue = make_issue(series)
    guide = make_guide(issue, by=lead)
    mark = make_mark(guide, by=lead)
    archive(row=issue, by=lead)
    key = guide.pk if deed == "new-mark" else mark.pk
    data = {"x": "0.5", "y": "0.5", "written": "Y", "role": "base"}
    response = lead_client.post(reverse(deed, args=[series.slug, key]), data, headers={"HX-Request": "true"})
    assert response.status_code == 422
    assert "bring it back" in response.content.decode()


def test_a_mark_keeps_its_archived_part_but_no_other_gets_it(series: Series, lead: Any, lead_client: Client) -> None:
    part = make_part(series)
    guide = make_guide(make_issue(series), by=lead)
    mark = make_mark(guide, "Y", part=part, by=lead)
    archive(row=part, by=lead)
    data = {"x": "0.5", "y": "0.5", "written": "YR", "role": "base", "part": part.full_name}
    response = lead_client.post(reverse("rewrite-mark", args=[series.slug, mark.pk]), data)
    assert response.status_code == 302
    mark.refresh_from_db()
    assert (mark.written, mark.part) == ("YR", part)
    response = lead_client.post(reverse("new-mark", args=[series.slug, guide.pk]), data)
    assert response.status_code == 422


def test_archived_things_leave_lists_look_up_and_type_ahead_and_are_found_under_archived(
    series: Series, lead: Any, lead_client: Client
) -> None:
    subject = make_subject(series, name="Oddny Vale")
    make_part(costume=make_costume(subject, name="oilskin"), name="sou'wester")
    make_issue(series, number="8")  # where every issue is archived, the bible speaks of the last one of them
    issue = make_issue(series, number="Annual 9")
    for thing in (subject, issue):
        archive(row=thing, by=lead)
    for name, query in [("bible", ""), ("lookup", "?q=oddny"), ("part-options", "?part=oddny"), ("issues", "")]:
        page = lead_client.get(reverse(name, args=[series.slug]) + query).content.decode()
        assert not {"Oddny Vale", "Annual 9"} & {word for word in ("Oddny Vale", "Annual 9") if word in page}, name
    page = lead_client.get(reverse("archived", args=[series.slug])).content.decode()
    assert "Oddny Vale" in page
    assert "ssue Annual 9" in page
    response = lead_client.post(url_of(series, subject), {"deed": "bring-back"})
    assert response.headers["Location"] == subject.get_absolute_url()
    assert "Oddny Vale" in lead_client.get(reverse("bible", args=[series.slug])).content.decode()


def test_an_archived_costume_or_part_leaves_the_subjects_tables(
    series: Series, lead: Any, lead_client: Client
) -> None:
    subject = make_subject(series)
    costume = make_costume(subject, name="oilskin")
    part = make_part(costume=costume, name="brim")
    archive(row=part, by=lead)
    page = lead_client.get(subject.get_absolute_url()).content.decode()
    assert "oilskin: brim" in page
    assert '<th scope="row">brim' not in page
    archive(row=costume, by=lead)
    assert "<h2>oilskin" not in lead_client.get(subject.get_absolute_url()).content.decode()


def test_a_name_taken_by_something_archived_says_so(series: Series, lead: Any, lead_client: Client) -> None:
    archive(row=make_subject(series, name="Tam"), by=lead)
    response = lead_client.post(reverse("new-subject", args=[series.slug]), {"kind": "prop", "name": "tam"})
    assert response.status_code == 422
    assert "archived: bring it back" in response.content.decode()


def test_the_page_links_what_uses_it_and_offers_no_deletion(series: Series, lead: Any, lead_client: Client) -> None:
    part = make_part(series)
    lock = make_lock(part, by=lead)
    mark = make_mark(make_guide(make_issue(series), by=lead), part=part, by=lead)
    page = lead_client.get(url_of(series, part)).content.decode()
    for link in (lock.get_absolute_url(), mark.get_absolute_url()):
        assert f'href="{link}"' in page
    assert 'value="delete"' not in page
    assert 'value="archive"' in page
    response = lead_client.post(url_of(series, part), {"deed": "delete"})
    assert response.status_code == 422
    assert "it is in use" in response.content.decode()
    assert Part.objects.filter(pk=part.pk).exists()


def test_deleting_by_the_page_leads_to_what_is_left(series: Series, lead_client: Client) -> None:
    part, issue = make_part(series), make_issue(series)
    response = lead_client.post(url_of(series, part), {"deed": "delete"})
    assert response.headers["Location"] == part.costume.subject.get_absolute_url()
    response = lead_client.post(url_of(series, issue), {"deed": "delete"})
    assert response.headers["Location"] == reverse("issues", args=[series.slug])
    response = lead_client.post(url_of(series, part.costume.subject), {"deed": "delete"})
    assert response.headers["Location"] == reverse("bible", args=[series.slug])
    assert lead_client.post(url_of(series, issue), {"deed": "delete"}).status_code == 404


def test_an_editor_may_take_issues_out_but_nothing_else(series: Series) -> None:
    issue, part = make_issue(series), make_part(series)
    editor = member_client(series, "editor")
    assert editor.post(url_of(series, issue), {"deed": "archive"}).status_code == 302
    refused = editor.post(url_of(series, part), {"deed": "archive"})
    assert refused.status_code == 403
    assert "Only a lead colourist may do this" in refused.content.decode()


def test_a_deed_nobody_knows_is_refused(series: Series, lead_client: Client) -> None:
    response = lead_client.post(url_of(series, make_part(series)), {"deed": "burn"})
    assert response.status_code == 422
