"""Packs: numbered, kept, and the next one says what has changed: on the screen, on paper (read back with pypdf) and as
CSV."""

from __future__ import annotations

import csv
import io
import zipfile
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from bible.locks.services import lock_tint
from bible.locks.undoing import undo_decision
from bible.models import Issue, Series
from bible.models.naming import name_of
from guides.core.services import delete_mark, move_mark, rewrite_mark
from guides.handoff.packing import issue_pack, make_pack
from guides.models import IssueStep, Mark
from guides.signoff.services import sign_off
from tests.factories import make_edition, make_guide, make_issue, make_lock, make_mark, make_part, make_series
from tests.forms import form_of, link_of, text_of
from tests.guides.core.scans import bring_page
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


class Stage:
    """An issue of one page with four marks of one coat."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead, self.issue = series, lead, make_issue(series)
        self.coat = make_part(series)
        self.lock = make_lock(self.coat, "R2", by=lead)
        self.page = make_guide(self.issue, page="7", by=lead)
        self.marks = [make_mark(self.page, code, part=self.coat, by=lead) for code in ("R2", "R2", "R", "Y")]

    def make(self, by: Any = None, edition: Any = None) -> Any:
        return make_pack(issue=self.issue, edition=edition, by=by or self.lead).pack

    def look(self, edition: Any = None) -> Any:
        return issue_pack(Issue.objects.select_related("series").get(pk=self.issue.pk), edition).pack

    def change(self, by: Any) -> None:
        """One rewritten, one taken away, one moved, one new."""
        mark = Mark.objects.get(pk=self.marks[0].pk)
        rewrite_mark(mark=mark, written="YR", part=self.coat, role="base", by=by, seen=mark.version)
        delete_mark(mark=Mark.objects.get(pk=self.marks[1].pk), by=self.lead)
        mark = Mark.objects.get(pk=self.marks[2].pk)
        move_mark(mark=mark, x=0.9, y=0.9, by=by, seen=mark.version)
        make_mark(self.page, "B", by=by)

    @property
    def address(self) -> str:
        return reverse("hand-off", args=[self.series.slug, self.issue.pk])


@pytest.fixture
def stage(series: Series, lead: Any) -> Stage:
    return Stage(series, lead)


def unzipped(answer: Any) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(answer.getvalue())) as pack:
        return {name.split("/", 1)[1]: pack.read(name) for name in pack.namelist()}


def test_the_second_pack_says_what_has_changed_since_the_first(
    stage: Stage, lead_client: Client, fill_in: Any
) -> None:
    page = lead_client.get(stage.address)
    assert "Not handed off yet." in text_of(page)
    handed = form_of(page, action=reverse("make-pack", args=[stage.series.slug, stage.issue.pk])).press(
        lead_client, "Hand off pack 1 (zip)", follow=True
    )
    assert "-pack-1.zip" in handed["Content-Disposition"]
    assert "Pack 1: the first one" in unzipped(handed)["read-me.txt"].decode()
    assert "Pack 1: the first one. Handed off by" in " ".join(text_of(lead_client.get(stage.address)).split())

    stage.change(fill_in)
    day, by = timezone.now().strftime("%-d %B %Y"), name_of(stage.lead)
    told = f"4 changes since pack 1 of {day}, by {by}"
    page = lead_client.get(stage.address)
    words = " ".join(text_of(page).split())
    assert f"Not handed off yet: {told}." in words
    assert "7, 5 background not there" in words
    rows = list(csv.reader(io.StringIO(lead_client.get(link_of(page, "Changes (CSV)")).content.decode("utf-8-sig"))))
    names = {"part": f"{stage.coat.costume.subject.name}, {stage.coat.costume.name}: {stage.coat.name}"}
    assert [row[:6] for row in rows[1:]] == [
        ["7", "1", names["part"], "code", "R2", "YR"],
        ["7", "2", names["part"], "gone", "R2", ""],
        ["7", "3", names["part"], "place", "R", "R"],
        ["7", "5", "background", "new", "", "B"],
    ]
    assert [row[6] for row in rows[1:]] == [name_of(fill_in), by, name_of(fill_in), name_of(fill_in)]

    form = form_of(page, action=reverse("make-pack", args=[stage.series.slug, stage.issue.pk]))
    pack = unzipped(form.press(lead_client, "Hand off pack 2 (zip)", follow=True))
    assert f"Pack 2: {told}" in pack["read-me.txt"].decode()
    assert list(csv.reader(io.StringIO(pack["changes.csv"].decode("utf-8-sig")))) == rows
    first = " ".join(PdfReader(io.BytesIO(pack["hand-off.pdf"])).pages[0].extract_text().split())
    assert f"Pack 2: {told}" in first
    for said in ("R2 YR", "not there B background new", "place"):
        assert said in first, first
    assert [step.words for step in IssueStep.objects.packs().order_by("pk")] == [
        "Pack 1: the first one", f"Pack 2: {told}",
    ]  # fmt: skip


def test_handed_off_again_with_nothing_changed_it_is_the_same_pack(stage: Stage) -> None:
    assert [stage.make().number, stage.make().number] == [1, 1]
    stage.change(stage.lead)
    assert (stage.look().number, stage.look().made) == (2, None)
    made = stage.make()
    again = stage.make()
    assert (again.number, again.made, again.changes) == (2, made.made, made.changes)
    assert IssueStep.objects.packs().count() == 2


def test_another_scan_and_a_sign_off_are_no_change_of_a_mark(stage: Stage) -> None:
    stage.make()
    bring_page(stage.issue, "8", by=stage.lead)
    assert stage.make().words.startswith("Pack 2: other scans (8) since pack 1 of ")
    sign_off(issue=stage.issue, by=stage.lead, words="known")
    assert stage.make().words.startswith("Pack 3: another word beside the marks, which are the same since pack 2")


def test_an_edition_has_packs_of_its_own_in_its_own_codes(stage: Stage) -> None:
    album = make_edition(stage.series, [stage.issue], name="Album")
    assert [stage.make().number, stage.make(edition=album).number] == [1, 1]
    make_lock(stage.coat, "YR2", by=stage.lead, edition=album)
    found = stage.look(album)
    assert {one.by for one in found.changes} == {""}, "who wrote the mark may have said nothing of the edition"
    owed = "what the bible says"
    assert [(one.mark, one.was_code, one.now_code, one.what) for one in found.changes] == [
        (1, "R2", "YR2", "code"), (2, "R2", "YR2", "code"), (3, "R", "R", owed), (4, "Y", "Y", owed),
    ]  # fmt: skip
    assert stage.look().made, "the first printing's is as it was"


def test_a_pack_keeps_no_fallen_sign_off_from_standing_again(stage: Stage) -> None:
    sign_off(issue=stage.issue, by=stage.lead, words="known")
    lock = lock_tint(
        part=stage.coat, role="base", tint=stage.series.read("B"), written="B", from_position=0, by=stage.lead
    )
    assert Issue.objects.get(pk=stage.issue.pk).signed_off_at is None
    stage.make()
    undo_decision(lock=lock, by=stage.lead)
    assert Issue.objects.get(pk=stage.issue.pk).signed_off_at


def test_who_may_hand_off_and_how(stage: Stage, lead_client: Client) -> None:
    address = reverse("make-pack", args=[stage.series.slug, stage.issue.pk])
    guest = member_client(stage.series, "guest")
    assert "Hand off pack" not in text_of(guest.get(stage.address))
    assert guest.post(address).status_code == 403
    assert Client().post(address).status_code == 302
    methods_are_refused(lead_client, address, "get", "put", "delete")
    other = make_issue(make_series())
    assert lead_client.post(reverse("make-pack", args=[other.series.slug, other.pk])).status_code == 404
    assert lead_client.post(reverse("make-pack", args=[stage.series.slug, other.pk])).status_code == 404
    assert lead_client.post(f"{address}?edition=None").status_code == 404
    empty = make_issue(stage.series)
    answer: Any = lead_client.post(reverse("make-pack", args=[stage.series.slug, empty.pk]), follow=True)
    assert "there is nothing to hand off" in text_of(answer)
    assert not IssueStep.objects.exists()


def test_as_many_queries_however_many_marks_have_changed(stage: Stage, django_assert_max_num_queries: Any) -> None:
    stage.make()
    for _ in range(12):
        make_mark(stage.page, "B", part=make_part(stage.series), by=stage.lead)
    with django_assert_max_num_queries(20):
        assert len(stage.look().changes) == 12


def test_a_page_alone_says_that_it_is_in_no_pack_and_what_changed_on_it(stage: Stage) -> None:
    client, other = client_of(stage.lead), make_guide(stage.issue, page="8", by=stage.lead)
    make_mark(other, "Y", part=stage.coat, by=stage.lead)

    def said() -> str:
        address = reverse("guide-hand-off", args=[stage.series.slug, stage.page.pk])
        paper = b"".join(client.get(f"{address}.pdf").streaming_content)  # type: ignore[attr-defined]
        front = " ".join(PdfReader(io.BytesIO(paper)).pages[0].extract_text().split())
        shown = " ".join(text_of(client.get(address)).split())
        (words,) = shown.split("This page alone, in no pack: ")[1:]
        begins = words.split(".")[0].split(",")[0]
        assert f"This page alone, in no pack: {begins}" in front
        return words

    assert said().startswith("none of the issue has been handed off yet.")
    make_pack(issue=stage.issue, edition=None, by=stage.lead)
    assert said().startswith("nothing on it changed since pack 1 of")
    make_mark(other, "R", part=stage.coat, by=stage.lead)
    assert said().startswith("nothing on it changed since pack 1 of"), "what is new on another page is no change here"
    make_mark(stage.page, "R", part=stage.coat, by=stage.lead)
    assert said().startswith("1 change since pack 1 of")
