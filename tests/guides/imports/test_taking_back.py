"""A table that was brought in is taken back as one deed: with all its pages, or not at all where somebody built on it."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.locks.services import correct_lock, lock_tint
from bible.models import Costume, Issue, Lock, Part, Series, Subject
from bible.models.stretches import Stretch
from bible.subjects.wearing import set_worn
from guides.core import continuity
from guides.core.services import delete_mark, rewrite_mark
from guides.desk.services import redo, undo
from guides.models import BroughtTable, Deed, Guide, Mark
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part
from tests.forms import form_of, text_of

pytestmark = pytest.mark.django_db

MARKS = "issue,page,x,y,code\n1,1,0.1,0.1,Y\n1,1,0.2,0.2,R\n2,1,0.1,0.1,Y\n"
BIBLE = "subject,costume,part,code,from issue\nAda,coat,collar,Y,\nAda,coat,belt,R,2\nAda,coat,cap,B2,\n"


def take(client: Client, series: Series, kind: str, text: str, **answers: str) -> BroughtTable:
    """Bring a table in as one does: choose the file, look, answer what is asked, say yes."""
    name = {"marks": "bring-marks-table"}.get(kind, f"bring-{kind}")
    page = client.get(reverse(name, args=[series.slug]))
    file = SimpleUploadedFile("table.csv", text.encode())
    looked = form_of(page, has="file").attach(file=file).press(client, follow=True)
    if answers:
        told = {f"answer-{key}": value for key, value in answers.items()}
        looked = form_of(looked, has="shape").fill(**told).press(client, "Look again")
    said = form_of(looked, has="yes").press(client, follow=True)
    assert said.status_code == 200, text_of(said)
    return BroughtTable.objects.taken()[0]


def look(client: Client, table: BroughtTable) -> Any:
    """Press the button of a table that was brought in: what that would do."""
    page = client.get(table.get_absolute_url())
    return form_of(page, says="Undo this import").press(client)


def take_back(client: Client, table: BroughtTable) -> str:
    """What the page says once the table is taken back, after exactly one question."""
    asked = look(client, table)
    assert asked.status_code == 422
    return text_of(form_of(asked, says="Take it all back").press(client, follow=True))


def refused(client: Client, table: BroughtTable) -> str:
    answer = look(client, table)
    assert answer.status_code == 422
    assert "Take it all back" not in text_of(answer)
    assert BroughtTable.objects.get(pk=table.pk).undone_at is None
    return text_of(answer)


@pytest.fixture
def pages(series: Series, lead: Any) -> list[Guide]:
    return [make_guide(issue, page="1", by=lead) for issue in make_issues(series, 2)]


class TestMarks:
    def test_all_pages_at_once(self, series: Series, pages: list[Guide], fill_in_client: Client) -> None:
        kept = make_mark(pages[0], "B2")
        table = take(fill_in_client, series, "marks", MARKS)
        assert Mark.objects.live().count() == 4
        assert "What table.csv brought in is taken back." in take_back(fill_in_client, table)
        assert list(Mark.objects.live()) == [kept]
        assert continuity.discrepancies(series) == []
        page = fill_in_client.get(table.get_absolute_url())
        assert "Undone by" in text_of(page)
        assert "Undo this" not in text_of(page)

    def test_the_sign_off_that_falls_is_named_first(
        self, series: Series, pages: list[Guide], fill_in_client: Client, lead: Any
    ) -> None:
        table = take(fill_in_client, series, "marks", MARKS)
        sign_off(issue=pages[0].issue, by=lead, words="as it is")
        assert "Saving opens 1 signed-off issue again" in text_of(look(fill_in_client, table))
        assert Issue.objects.signed_off().exists()
        take_back(fill_in_client, table)
        assert not Issue.objects.signed_off().exists()

    def test_what_stands_at_the_desks_goes_with_it(
        self, series: Series, pages: list[Guide], fill_in: Any, fill_in_client: Client
    ) -> None:
        """One page was taken back at its desk before; the other is done again there afterwards."""
        table = take(fill_in_client, series, "marks", MARKS)
        undo(guide=pages[0], by=fill_in, key="")
        take_back(fill_in_client, table)
        assert not Mark.objects.live().exists()
        assert not Deed.objects.filter(undone=False).exists()
        assert str(redo(guide=pages[1], by=fill_in, key="")) == "bringing in 1 mark"
        assert Mark.objects.live().get().guide == pages[1]
        assert continuity.discrepancies(series) == []

    def test_done_again_at_the_desk_is_no_change(
        self, series: Series, pages: list[Guide], fill_in: Any, fill_in_client: Client
    ) -> None:
        table = take(fill_in_client, series, "marks", MARKS)
        for step in (undo, redo):
            step(guide=pages[0], by=fill_in, key="")
        take_back(fill_in_client, table)
        assert not Mark.objects.live().exists()

    def test_a_mark_that_was_rewritten_since(
        self, series: Series, pages: list[Guide], fill_in_client: Client, lead: Any
    ) -> None:
        table = take(fill_in_client, series, "marks", MARKS)
        first, second, _ = Mark.objects.order_by("pk")
        delete_mark(mark=second, by=lead)
        assert look(fill_in_client, table).status_code == 422, "one that is off already stands in nobody's way"
        rewrite_mark(mark=first, written="B2", part=None, role="base", by=lead)
        assert f"has changed mark {first.number} of issue 1" in refused(fill_in_client, table)
        assert Mark.objects.live().count() == 2

    def test_a_newer_revision(self, series: Series, pages: list[Guide], fill_in_client: Client) -> None:
        table = take(fill_in_client, series, "marks", MARKS)
        Guide.objects.filter(pk=pages[0].pk).update(is_current=False)
        assert "A newer revision has come in" in refused(fill_in_client, table)

    def test_twice_is_once(self, series: Series, pages: list[Guide], fill_in_client: Client) -> None:
        table = take(fill_in_client, series, "marks", MARKS)
        form = form_of(look(fill_in_client, table), says="Take it all back")
        assert form.press(fill_in_client).status_code == 302
        again = form.press(fill_in_client)
        assert again.status_code == 422
        assert "has taken this table back already" in text_of(again)

    def test_what_moved_between_look_and_yes_is_shown_again(
        self, series: Series, pages: list[Guide], fill_in_client: Client, lead: Any
    ) -> None:
        table = take(fill_in_client, series, "marks", MARKS)
        form = form_of(look(fill_in_client, table), says="Take it all back")
        sign_off(issue=pages[0].issue, by=lead, words="as it is")
        answer = form.press(fill_in_client)
        assert answer.status_code == 422
        assert "It has moved meanwhile" in text_of(answer)
        assert Mark.objects.live().count() == 3


class TestIssues:
    TABLE = "issue,title\n7,Fog\n8,Rain\n"

    def test_they_go(self, series: Series, lead_client: Client) -> None:
        table = take(lead_client, series, "issues", self.TABLE)
        take_back(lead_client, table)
        assert not Issue.objects.exists()
        take(lead_client, series, "issues", self.TABLE)
        assert Issue.objects.count() == 2

    def test_one_with_a_page_stays_and_so_do_the_others(self, series: Series, lead_client: Client) -> None:
        table = take(lead_client, series, "issues", self.TABLE)
        make_guide(Issue.objects.get(number="7"))
        assert "is in use by now: 1 guide" in refused(lead_client, table)
        assert Issue.objects.count() == 2

    def test_one_that_was_renamed(self, series: Series, lead_client: Client) -> None:
        table = take(lead_client, series, "issues", self.TABLE)
        Issue.objects.filter(number="8").update(title="Snow")
        assert "Issue 8 has been changed since" in refused(lead_client, table)

    def test_one_that_went_already(self, series: Series, lead_client: Client) -> None:
        table = take(lead_client, series, "issues", self.TABLE)
        Issue.objects.get(number="8").delete()
        take_back(lead_client, table)
        assert not Issue.objects.exists()


class TestBible:
    @pytest.fixture
    def collar(self, series: Series, lead: Any, pages: list[Guide]) -> Part:
        subject = Subject.objects.create(series=series, name="Ada")
        part = make_part(costume=Costume.objects.create(subject=subject, name="coat"), name="collar")
        make_lock(part, "YR", by=lead)
        make_mark(pages[1], "YR", part=part, by=lead)
        return part

    def take(self, client: Client, series: Series) -> BroughtTable:
        return take(client, series, "bible", BIBLE.replace("Y,\n", "Y,2\n", 1))

    def test_what_held_before_holds_again(self, series: Series, collar: Part, lead_client: Client) -> None:
        table = self.take(lead_client, series)
        assert Mark.objects.open().count() == 1
        assert "0 flags would open, 1 would close" in text_of(look(lead_client, table))
        take_back(lead_client, table)
        assert [lock.written for lock in Lock.objects.standing()] == ["YR"]
        assert not Mark.objects.open().exists()
        assert list(Part.objects.filter(archived_at=None)) == [collar]
        assert continuity.discrepancies(series) == []

    def test_the_mended_table_comes_in_afterwards(self, series: Series, collar: Part, lead_client: Client) -> None:
        """What was archived with its history comes back by its name, and goes once more with that table."""
        for _ in range(2):
            table = self.take(lead_client, series)
            assert sorted(Part.objects.filter(archived_at=None).values_list("name", flat=True)) == [
                "belt",
                "cap",
                "collar",
            ]
            take_back(lead_client, table)
            assert Part.objects.filter(archived_at=None).count() == 1

    def test_what_was_only_named_is_deleted(self, series: Series, lead_client: Client) -> None:
        table = take(lead_client, series, "bible", "subject,costume,part\nBo,as drawn,hat\n", codes="names")
        take_back(lead_client, table)
        assert not Subject.objects.exists()

    def test_a_part_with_a_mark(
        self, series: Series, collar: Part, pages: list[Guide], lead_client: Client, lead: Any
    ) -> None:
        table = self.take(lead_client, series)
        make_mark(pages[0], "R", part=Part.objects.get(name="belt"), by=lead)
        assert "is in use by now: 1 mark" in refused(lead_client, table)
        assert Lock.objects.standing().count() == 4

    def test_a_decision_on_top(self, series: Series, collar: Part, lead_client: Client, lead: Any) -> None:
        table = self.take(lead_client, series)
        lock = Lock.objects.standing().get(part__name="belt")
        correct_lock(lock=lock, tint=series.read("B2"), written="B2", by=lead, reason="misread")
        assert "Undo the later decision first" in refused(lead_client, table)

    def test_a_new_role_of_its_part(self, series: Series, collar: Part, lead_client: Client, lead: Any) -> None:
        """Another question than the table's: it would be left without the part it was decided for."""
        table = self.take(lead_client, series)
        tint = series.read("B2")
        belt = Part.objects.get(name="belt")
        lock_tint(part=belt, role="shade", tint=tint, written="B2", from_position=0, by=lead)
        assert "a code has been locked" in refused(lead_client, table)

    def test_a_part_that_came_since(self, series: Series, lead_client: Client) -> None:
        table = take(lead_client, series, "bible", BIBLE.replace(",2\n", ",\n"))
        make_part(costume=Costume.objects.get(), name="boots")
        assert "boots" in refused(lead_client, table)

    def test_a_time_that_was_said_since(self, series: Series, pages: list[Guide], lead_client: Client) -> None:
        table = take(lead_client, series, "bible", BIBLE)
        set_worn(costume=Costume.objects.get(), worn=[Stretch(0, pages[1].issue.position)])
        assert "it was said when" in refused(lead_client, table)


def test_a_table_of_before_says_why_it_stays(series: Series, pages: list[Guide], fill_in_client: Client) -> None:
    table = take(fill_in_client, series, "marks", MARKS)
    BroughtTable.objects.update(made=None)
    assert "Undo this" not in text_of(fill_in_client.get(table.get_absolute_url()))
    answer = fill_in_client.post(reverse("undo-marks-table", args=[series.slug, table.pk]))
    assert "not noted down" in text_of(answer)


def test_a_table_that_nobody_took(series: Series, pages: list[Guide], fill_in_client: Client) -> None:
    file = SimpleUploadedFile("table.csv", MARKS.encode())
    page = fill_in_client.get(reverse("bring-marks-table", args=[series.slug]))
    form_of(page, has="file").attach(file=file).press(fill_in_client)
    address = reverse("undo-marks-table", args=[series.slug, BroughtTable.objects.get().pk])
    assert "Nothing of this table has been taken yet" in text_of(fill_in_client.post(address, follow=True))
