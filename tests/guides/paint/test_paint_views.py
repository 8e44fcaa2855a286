"""What the paint says, kept per mark: read on demand, told beside the mark and in lists, never a decision."""

from __future__ import annotations

import datetime as dt
import io
import json
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from PIL import Image

from bible.models import Job
from bible.tasks.worker import work_off
from guides.core.services import place_marks, rewrite_mark
from guides.models import Deed, Guide, Mark, PaintReading
from guides.paint import services as paint
from guides.paint.tasks import ask_for_paint
from tests.factories import make_guide, make_issue, make_member
from tests.guides.imaging.paint.guide_generator import EASY_PAGE, GuidePage, make_page
from tests.guides.imaging.paint.paint_hands import EASY

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def drawn() -> GuidePage:
    return make_page("additive", 5, EASY_PAGE, EASY)


def letters(code: str) -> str:
    """The same code with a letter an ink: C25 is B2."""
    names = {"C": "B", "M": "R", "Y": "Y"}
    figures = {"25": "2", "50": "3", "100": ""}
    return "".join(names[piece[0]] + figures[piece[1:]] for piece in reversed(code.split())) if code != "W" else "W"


@pytest.fixture
def guide(series: Any, lead: Any, drawn: GuidePage) -> Guide:
    """A painted page with thirty marks as they are; the first carries a code that was not painted."""
    out = io.BytesIO()
    Image.fromarray(drawn.image).save(out, "JPEG", quality=92)
    height, width = drawn.image.shape[:2]
    made = make_guide(make_issue(series), width=width, height=height, colourist=lead)
    made.screen.save("tests/paint.jpg", ContentFile(out.getvalue()))
    steady = [mark for mark in drawn.marks if not mark["gradient"]][:30]
    rows = [(mark["x"] / width, mark["y"] / height, letters(mark["code"])) for mark in steady]
    wrong = "YRB" if rows[0][2] != "YRB" else "Y2"
    rows[0] = (*rows[0][:2], wrong)
    place_marks(guide=made, by=lead, rows=rows)
    return made


def first(guide: Guide) -> Mark:
    return Mark.objects.filter(guide=guide).order_by("number")[0]


def test_a_wrong_code_disagrees_and_what_was_painted_is_suggested(guide: Guide, drawn: GuidePage) -> None:
    assert paint.unread(guide.series) == {guide.pk}
    assert paint.read_guide(guide) >= 1
    assert paint.unread(guide.series) == set()
    reading = PaintReading.objects.get(mark=first(guide))
    assert reading.odd
    assert reading.wrong > 0.5
    voice = paint.told(reading)
    steady = [mark for mark in drawn.marks if not mark["gradient"]]
    assert guide.series.write(voice.likely[0].tint) == letters(steady[0]["code"])
    assert first(guide).written == ("YRB" if letters(steady[0]["code"]) != "YRB" else "Y2"), "no code is changed"


def test_a_changed_mark_makes_its_page_wait_and_leaves_the_list(guide: Guide, lead: Any) -> None:
    paint.read_guide(guide)
    mark = first(guide)
    assert PaintReading.objects.disagreeing().filter(mark=mark).exists()
    rewrite_mark(mark=mark, written="Y2", part=None, role="base", by=lead)
    assert not PaintReading.objects.disagreeing().filter(mark=mark).exists()
    assert paint.unread(guide.series) == {guide.pk}


def test_a_look_stays_until_the_mark_changes(guide: Guide, lead: Any) -> None:
    paint.read_guide(guide)
    mark = first(guide)
    assert paint.look_at(mark=mark, by=lead)
    assert not paint.look_at(mark=mark, by=lead), "there is nothing left to look at"
    paint.read_guide(guide)
    assert PaintReading.objects.get(mark=mark).looked_by == lead
    rewrite_mark(mark=mark, written="YRB3", part=None, role="base", by=lead)
    paint.read_guide(guide)
    assert PaintReading.objects.get(mark=mark).looked_at is None


def test_only_confirmed_marks_teach_other_pages(guide: Guide, lead: Any) -> None:
    paint.read_guide(guide)
    assert not PaintReading.objects.teaching().exists(), "background marks that nobody looked at confirm nothing"
    paint.look_at(mark=first(guide), by=lead)
    assert [reading.mark_id for reading in PaintReading.objects.teaching()] == [first(guide).pk]


def test_the_screens(guide: Guide, lead_client: Client, django_assert_max_num_queries: Any) -> None:
    mark, slug = first(guide), guide.series.slug
    at_mark = reverse("mark-paint", args=[slug, mark.pk])
    whole = lead_client.get(at_mark).content.decode()
    assert "Paint disagrees" in whole
    assert not PaintReading.objects.exists(), "a page that is looked at writes nothing"
    paint.read_guide(guide)
    assert "<html" in whole
    small = lead_client.get(at_mark, headers={"HX-Request": "true"}).content.decode()
    assert "data-paint-code" in small
    assert "<html" not in small
    place = reverse("place-paint", args=[slug, guide.pk])
    assert "The paint here is" in lead_client.get(place, {"x": str(mark.x), "y": str(mark.y)}).content.decode()
    assert "as soon as the mark has a place" in lead_client.get(place, {"x": "far"}).content.decode()
    listed = reverse("issue-paint", args=[slug, guide.issue_id])
    with django_assert_max_num_queries(16):
        page = lead_client.get(listed).content.decode()
    assert f"mark {mark.number}</a>" in page
    assert "no flags" in page
    assert "pin-drop" in lead_client.get(guide.get_absolute_url()).content.decode()
    assert "whose paint disagree" in lead_client.get(guide.issue.get_absolute_url()).content.decode()
    assert lead_client.post(reverse("paint-looked-at", args=[slug, mark.pk])).status_code == 302
    disagreeing, _, looked_at = (
        lead_client.get(listed).content.decode().partition("Looked at, and the code is as meant")
    )
    assert f"mark {mark.number}</a>" not in disagreeing
    assert f"mark {mark.number}</a>" in looked_at


def test_as_meant_is_taken_back_where_it_stands_and_by_a_step_at_the_desk(guide: Guide, lead_client: Client) -> None:
    paint.read_guide(guide)
    mark, slug = first(guide), guide.series.slug
    version = mark.version
    address = reverse("paint-looked-at", args=[slug, mark.pk])
    disagreeing = PaintReading.objects.disagreeing().filter(mark=mark)

    def post(name: str, pk: int, **said: str) -> str:
        page = lead_client.post(reverse(name, args=[slug, pk]), said, headers={"HX-Request": "true"})
        return page.content.decode()

    said = post("paint-looked-at", mark.pk, key="0123456789")
    assert "Ask again" in said
    assert "saying “as meant” of mark 1" in said, "the buttons of the desk name it"
    assert not disagreeing.exists()
    assert "Undone: saying “as meant” of mark 1." in post("undo", guide.pk)
    assert disagreeing.exists()
    post("redo", guide.pk)
    assert not disagreeing.exists()
    assert lead_client.post(address, {"deed": "ask-again"}).status_code == 302
    assert disagreeing.exists()
    post("undo", guide.pk)
    assert not disagreeing.exists()
    mark.refresh_from_db()
    assert mark.version == version, "the mark itself is never touched"


def test_what_does_not_disagree_is_not_called_meant(guide: Guide, lead_client: Client) -> None:
    paint.read_guide(guide)
    mark = Mark.objects.filter(guide=guide, paint__odd=False)[0]
    address = reverse("paint-looked-at", args=[guide.series.slug, mark.pk])
    page = lead_client.post(address, follow=True).content.decode()
    assert "does not disagree any more" in page
    assert not Deed.objects.exists()


def test_as_meant_holds_where_the_paint_was_shown_and_not_kept_yet(guide: Guide, lead_client: Client) -> None:
    mark = first(guide)
    lead_client.post(reverse("paint-looked-at", args=[guide.series.slug, mark.pk]))
    assert PaintReading.objects.called_meant().get().mark == mark


def test_reading_an_issue_on_request(guide: Guide, lead_client: Client) -> None:
    address = reverse("read-issue-paint", args=[guide.series.slug, guide.issue_id])
    assert lead_client.get(address).status_code == 405
    assert lead_client.post(address).status_code == 302
    assert paint.unread(guide.series) == {guide.pk}
    assert work_off() == 1
    assert paint.unread(guide.series) == set()


def test_marks_that_change_have_their_page_read_once_for_all_of_them(guide: Guide, lead_client: Client) -> None:
    mark = first(guide)
    for _ in range(3):
        mark.refresh_from_db()
        where = {"x": str(mark.x), "y": str(mark.y), "version": str(mark.version)}
        lead_client.post(reverse("move-mark", args=[guide.series.slug, mark.pk]), where)
    job = Job.objects.get()
    assert job.key == f"paint-{guide.pk}"
    assert work_off() == 0, "the hand is still at it"
    DBTaskResult.objects.update(run_after=timezone.now())
    assert work_off() == 1
    assert paint.unread(guide.series) == set()


def test_a_page_without_its_picture_is_not_read_and_that_is_said(guide: Guide, lead: Any) -> None:
    ask_for_paint(guide=guide, by=lead, after=dt.timedelta())
    guide.screen.storage.delete(str(guide.screen.name))
    work_off()
    assert Job.objects.get().said == "The page’s picture is missing or damaged."


def test_guests_may_look_but_not_say_so(guide: Guide, client: Client) -> None:
    client.force_login(make_member(guide.series, "guest"))
    page = client.get(reverse("mark-paint", args=[guide.series.slug, first(guide).pk]))
    assert page.status_code == 200
    assert "The code is as meant" not in page.content.decode()
    assert client.post(reverse("paint-looked-at", args=[guide.series.slug, first(guide).pk])).status_code == 403


def test_the_night_command(guide: Guide, capsys: Any) -> None:
    call_command("read_paint", guide.series.slug, "--json")
    told = json.loads(capsys.readouterr().out)
    assert [page["page"] for page in told["read"]] == [guide.page]
    assert told["disagree"] >= 1
    call_command("read_paint", guide.series.slug, "--json")
    assert json.loads(capsys.readouterr().out)["read"] == []
    guide.screen.storage.delete(str(guide.screen.name))
    call_command("read_paint", guide.series.slug, "--again", "--json")
    assert json.loads(capsys.readouterr().out)["failed"][0]["page"] == guide.page


def test_a_lock_weighs_in_but_does_not_drown_the_paint(guide: Guide) -> None:
    from bible.colour.tints import Tint
    from guides.imaging.paint.reading import weigh_lock

    one, other = Tint(0, 0, 50, 0), Tint(0, 0, 25, 0)
    assert weigh_lock([(one, 0.6), (other, 0.3)], other)[0][0] == other
    assert weigh_lock([(one, 0.98), (other, 0.01)], other)[0][0] == one
