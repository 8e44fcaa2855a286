"""Areas that sink into their neighbours, as a list of the series: found on a picture, kept, waived, taken along."""

from __future__ import annotations

import csv
import io
import zipfile
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from bible.models import Activity, Job, Series
from bible.series.refusals import Refused
from bible.tasks.worker import see_through, work_off
from guides.core.services import delete_mark, rewrite_mark
from guides.handoff.pdf import write_pdf
from guides.handoff.queries import issue_hand_off
from guides.handoff.zipped import write_zip
from guides.models import Carry, Guide, Mark, SinkingPair
from guides.preview.services import look_at, pairs_of, remove_pair_waiver, waiting, waive_pair
from guides.preview.tasks import ask_for_look
from guides.uploads.carrying import carry_marks, foresee
from tests.factories import (
    make_guide,
    make_issue,
    make_issues,
    make_mark,
    make_member,
    make_part,
    make_revision,
    make_series,
    make_sinking_pair,
)
from tests.guides.imaging.press.test_printed import PAINTS
from tests.pages import client_of, member_client, methods_are_refused
from tests.taken import FORMULA, as_json, both_files_say_the_same, none_asks_more, shown, the_page_leads_to_its_files

pytestmark = pytest.mark.django_db

ROW = "//li[contains(@class, 'flag')]"


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


@pytest.fixture
def painted(series: Series, lead: Any) -> Guide:
    """A page with two painted boxes side by side and a third that stands alone."""
    image = np.full((600, 400, 3), 246, np.uint8)
    image[80:400, 40:200], image[80:400, 200:360], image[450:560, 100:300] = PAINTS[0], PAINTS[1], PAINTS[2]
    out = io.BytesIO()
    Image.fromarray(image).save(out, "JPEG", quality=95)
    made = make_guide(make_issue(series), by=lead)
    made.screen.save("tests/neighbours.jpg", ContentFile(out.getvalue()))
    return made


def mark_boxes(guide: Guide, left: str, right: str) -> list[Mark]:
    return [
        make_mark(guide, code, x=x, y=y) for code, x, y in ((left, 0.3, 0.4), (right, 0.7, 0.4), ("B", 0.5, 0.85))
    ]


def address(series: Series, query: str = "") -> str:
    return reverse("sinking", args=[series.slug]) + query


def named(client: Client, series: Series, query: str = "") -> list[tuple[int, int]]:
    return [(row["mark"], row["beside_mark"]) for row in as_json(client, address(series, query))["rows"]]


def test_a_look_finds_what_sinks_and_where_it_touches(series: Series, painted: Guide) -> None:
    """Solid and 50 % yellow are 5.3 CIEDE2000 apart on newsprint (measured in TR 002): easily mistaken."""
    mark_boxes(painted, "Y", "Y3")
    assert waiting(series) == [painted]
    assert look_at(painted) == 1
    assert waiting(series) == []
    pair = pairs_of(series).get()
    assert [mark.number for mark in pair.sides] == [1, 2]
    assert (pair.x, pair.y) == (pytest.approx(0.5, abs=0.02), pytest.approx(0.4, abs=0.05))
    assert pair.border == pytest.approx(320 / 600, rel=0.1)
    assert pair.difference == pytest.approx(5.3, abs=0.4), "relative to paper, by the model"


def test_colours_that_print_apart_are_not_named(series: Series, painted: Guide) -> None:
    mark_boxes(painted, "YR", "B")
    assert look_at(painted) == 0
    assert waiting(series) == []


def test_a_pair_goes_and_its_page_waits_when_a_mark_changes(series: Series, painted: Guide, lead: Any) -> None:
    mark, other, _ = mark_boxes(painted, "Y", "Y3")
    look_at(painted)
    rewrite_mark(mark=Mark.objects.get(pk=mark.pk), written="R", part=None, role="base", by=lead)
    assert (pairs_of(series).count(), waiting(series)) == (0, [painted])
    look_at(painted)
    assert (SinkingPair.objects.count(), waiting(series)) == (0, [])
    rewrite_mark(mark=Mark.objects.get(pk=mark.pk), written="Y", part=None, role="base", by=lead)
    look_at(painted)
    assert pairs_of(series).count() == 1
    delete_mark(mark=Mark.objects.get(pk=other.pk), by=lead)
    assert (pairs_of(series).count(), waiting(series)) == (0, [painted])


def test_a_new_mark_and_another_press_let_a_page_wait(series: Series, painted: Guide) -> None:
    mark_boxes(painted, "Y", "Y3")
    look_at(painted)
    make_mark(painted, "W", x=0.02, y=0.02)
    assert waiting(series) == [painted]
    look_at(painted)
    Series.objects.filter(pk=series.pk).update(press="coated-fogra39")
    series.refresh_from_db()
    assert (pairs_of(series).count(), waiting(series)) == (0, [painted])
    look_at(Guide.objects.select_related("series").get(pk=painted.pk))
    assert waiting(series) == []


def test_a_code_that_comes_to_mean_another_tint_lets_a_pair_go(series: Series, guide: Guide) -> None:
    """Such a change leaves the mark's version alone."""
    pair = make_sinking_pair(guide)
    Mark.objects.filter(pk=pair.first_id).update(tint=series.read("R"))
    assert (pairs_of(series).count(), waiting(series)) == (0, [guide])


def test_pages_that_stand_down_neither_wait_nor_speak(series: Series, guide: Guide) -> None:
    make_sinking_pair(guide)
    make_revision(guide)
    assert (pairs_of(series).count(), waiting(series)) == (0, [])
    assert look_at(Guide.objects.get(pk=guide.pk)) == 0


def test_a_waiver_stays_with_a_pair_as_it_is_and_ends_with_it(series: Series, painted: Guide, lead: Any) -> None:
    mark, *_ = mark_boxes(painted, "Y", "Y3")
    look_at(painted)
    waive_pair(pair=pairs_of(series).get(), reason="fog", by=lead)
    told = Activity.objects.newest_first()[0]
    assert (told.kind, told.mark_number, told.words) == ("waived", 1, {"reason": "fog"})
    make_mark(painted, "W", x=0.02, y=0.02)
    look_at(painted)
    pair = pairs_of(series).get()
    assert (pair.reason, pair.waived_by) == ("fog", lead)
    with pytest.raises(Refused, match="already: fog"):
        waive_pair(pair=pair, reason="again", by=lead)
    rewrite_mark(mark=Mark.objects.get(pk=mark.pk), written="Y3", part=None, role="base", by=lead)
    remove_pair_waiver(pair=pair, by=lead)
    with pytest.raises(Refused, match="changed since"):
        waive_pair(pair=pair, reason="again", by=lead)
    look_at(painted)
    assert [(one.word, one.waived_at) for one in pairs_of(series)] == [("the same tint", None)]


def test_a_waiver_comes_along_to_a_new_scan_and_ends_where_the_pair_does(
    series: Series, painted: Guide, lead: Any
) -> None:
    mark_boxes(painted, "Y", "Y3")
    look_at(painted)
    waive_pair(pair=pairs_of(series).get(), reason="fog", by=lead)
    new = make_revision(painted)
    with painted.screen.open() as file:
        new.screen.save("tests/neighbours-again.jpg", ContentFile(file.read()))
    carry_marks(guide=new, plan=foresee(new, painted, Carry.Way.FRACTIONS), by=lead)
    assert waiting(series) == [new]
    look_at(new)
    pair = pairs_of(series).get()
    assert (pair.first.guide, pair.reason, pair.waived_by) == (new, "fog", lead)
    plain = io.BytesIO()
    Image.new("RGB", (400, 600), (246, 246, 246)).save(plain, "JPEG")
    new.screen.save("tests/neighbours-plain.jpg", ContentFile(plain.getvalue()))
    make_mark(new, "W", x=0.02, y=0.02)
    look_at(new)
    assert not SinkingPair.objects.filter(look__guide=new).exists()


def test_the_lead_waives_and_takes_back(series: Series, guide: Guide, lead_client: Client) -> None:
    pair = make_sinking_pair(guide)
    waive = reverse("waive-sinking", args=[series.slug, pair.pk])
    assert lead_client.get(waive).status_code == 200
    assert lead_client.post(waive, {"reason": " "}).status_code == 422
    assert lead_client.post(waive, {"reason": FORMULA}).status_code == 302
    assert lead_client.post(waive, {"reason": "again"}).status_code == 422
    assert (named(lead_client, series), named(lead_client, series, "?waived=1")) == ([], [(1, 2)])
    [row] = as_json(lead_client, address(series, "?waived=1"))["rows"]
    assert (row["waived_by"], row["reason"]) == ("lead", FORMULA)
    assert FORMULA in shown(lead_client, address(series, "?waived=1"), ROW, ".")[0][0]
    back = reverse("remove-sinking-waiver", args=[series.slug, pair.pk])
    for _ in range(2):
        assert lead_client.post(back).status_code == 302
    assert named(lead_client, series) == [(1, 2)]


def test_looking_from_the_page_and_from_the_night(
    series: Series, painted: Guide, lead: Any, lead_client: Client
) -> None:
    mark_boxes(painted, "Y", "Y3")
    [unseen] = as_json(lead_client, address(series))["pages_not_looked_at"]
    assert unseen == {"issue": painted.issue.number, "page": painted.page}
    look = reverse("look-for-sinking", args=[series.slug])
    assert "1 page will be looked at" in lead_client.post(look, follow=True).content.decode()
    assert (work_off(), Job.objects.get().asked_by) == (1, lead)
    assert named(lead_client, series) == [(1, 2)]
    SinkingPair.objects.all().delete()
    make_mark(painted, "W", x=0.02, y=0.02)
    out = io.StringIO()
    call_command("read_paint", series.slug, stdout=out)
    assert "1 pairs" not in out.getvalue()
    assert "1 pair of areas sinks" in out.getvalue()
    assert named(lead_client, series) == [(1, 2)]


def test_who_reads_the_printed_page_writes_nothing(series: Series, painted: Guide, lead_client: Client) -> None:
    mark_boxes(painted, "Y", "Y3")
    with CaptureQueriesContext(connection) as asked:
        page = lead_client.get(reverse("as-printed", args=[series.slug, painted.pk])).content.decode()
    assert reverse("sinking", args=[series.slug]) in page
    assert [said["sql"] for said in asked if not said["sql"].startswith("SELECT")] == []
    assert waiting(series) == [painted]


def test_a_page_whose_picture_is_gone_is_not_looked_at(series: Series, painted: Guide, lead: Any) -> None:
    mark_boxes(painted, "Y", "Y3")
    painted.screen.storage.delete(str(painted.screen.name))
    job = see_through(ask_for_look(guide=painted, by=lead))
    assert job.state_words == "refused: The page’s picture is missing or damaged."


def test_the_crop_is_the_place_where_they_touch(series: Series, painted: Guide, lead_client: Client) -> None:
    mark_boxes(painted, "Y", "Y3")
    look_at(painted)
    answer = lead_client.get(reverse("sinking-crop", args=[series.slug, pairs_of(series).get().pk]))
    assert (answer["Content-Type"], answer["X-Content-Type-Options"]) == ("image/jpeg", "nosniff")
    crop = np.asarray(Image.open(io.BytesIO(answer.content))).astype(int)
    middle = crop.shape[0] // 2
    assert np.abs(crop[middle, 4] - PAINTS[0]).max() < 12
    assert np.abs(crop[middle, -5] - PAINTS[1]).max() < 12


def test_a_crop_without_its_picture_is_not_there(series: Series, guide: Guide, lead_client: Client) -> None:
    pair = make_sinking_pair(guide)
    guide.screen.storage.delete(str(guide.screen.name))
    assert lead_client.get(reverse("sinking-crop", args=[series.slug, pair.pk])).status_code == 404


def test_long_lists_go_on_and_files_are_whole(
    series: Series, guide: Guide, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("guides.preview.views.PAIRS_A_PAGE", 2)
    for page in (guide, make_guide(make_issue(series)), guide):
        for _ in range(2):
            make_sinking_pair(page)
    seen, here = [], address(series)
    while here:
        seen += [row[0] for row in shown(lead_client, here, ROW, "./a")]
        more = lead_client.get(here).context["more"]
        here = address(series, f"?after={more}") if more else ""
    assert [words.rsplit(" ", 1)[1] for words in seen] == ["1", "3", "5", "7", "1", "3"]
    both_files_say_the_same(lead_client, address(series), 6)
    the_page_leads_to_its_files(lead_client, address(series))


@pytest.mark.parametrize("query", ["?after=x", "?after=1-2-3", "?after=1-2-3-4-5", "?after=%00", "?waived=2"])
def test_an_address_that_no_page_gave_begins_at_the_beginning(
    series: Series, guide: Guide, lead_client: Client, query: str
) -> None:
    make_sinking_pair(guide)
    assert len(shown(lead_client, address(series, query), ROW)) == 1


def test_more_pairs_ask_no_more(series: Series, guide: Guide, lead_client: Client) -> None:
    make_sinking_pair(guide)

    def grow() -> None:
        for _ in range(3):
            make_sinking_pair(make_guide(make_issue(series), colourist=make_member(series, "fill-in")))
        make_mark(make_guide(make_issue(series)), "YR", part=make_part(series))

    make_mark(make_guide(make_issue(series)), "YR")
    assert none_asks_more(lead_client, [address(series)], grow)


def test_who_may_do_what(series: Series, guide: Guide, lead_client: Client) -> None:
    pair = make_sinking_pair(guide)
    guest, fill_in = member_client(series, "guest"), member_client(series, "fill-in")
    look, waive, back, crop = (
        reverse(name, args=[series.slug, *keys])
        for name, keys in (
            ("look-for-sinking", []),
            ("waive-sinking", [pair.pk]),
            ("remove-sinking-waiver", [pair.pk]),
            ("sinking-crop", [pair.pk]),
        )
    )
    assert named(guest, series) == [(1, 2)]
    assert "Waive" not in guest.get(address(series)).content.decode()
    assert guest.post(look).status_code == 403
    assert fill_in.post(look).status_code == 302
    assert fill_in.post(waive, {"reason": "so"}).status_code == 403
    assert fill_in.post(back).status_code == 403
    stranger = client_of(make_member(make_series(), "lead"))
    for path in (address(series), waive, crop):
        assert stranger.get(path).status_code == 404
        assert Client().get(path).status_code == 302
    methods_are_refused(lead_client, address(series), "post", "put", "delete")
    methods_are_refused(lead_client, crop, "post")
    for path in (look, back):
        methods_are_refused(lead_client, path, "get")


def test_a_pair_of_another_series_is_not_reached(series: Series, lead_client: Client) -> None:
    pair = make_sinking_pair(make_guide(make_issue(make_series())))
    for name in ("sinking-crop", "waive-sinking"):
        assert lead_client.get(reverse(name, args=[series.slug, pair.pk])).status_code == 404
    assert lead_client.post(reverse("remove-sinking-waiver", args=[series.slug, pair.pk])).status_code == 404


def test_the_hand_off_says_what_sinks_what_may_and_what_nobody_looked_at(
    series: Series, guide: Guide, lead: Any, lead_client: Client
) -> None:
    make_sinking_pair(guide)
    waive_pair(pair=make_sinking_pair(guide), reason="=fog", by=lead)
    make_mark(make_guide(guide.issue, page="99"), "B")
    pdf, zipped = io.BytesIO(), io.BytesIO()
    write_pdf(issue_hand_off(guide.issue), pdf)
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
    assert "Mark 1 (background, Y) beside mark 2 (background, Y3)" in text
    assert "waived by lead: =fog" in text
    assert "Nobody has looked" in text
    write_zip(issue_hand_off(guide.issue), "https://bible.example/", zipped)
    pack = zipfile.ZipFile(zipped)
    [name] = [name for name in pack.namelist() if name.endswith("neighbours.csv")]
    rows = [
        (row["mark"], row["beside"], row["reason"]) for row in csv.DictReader(io.StringIO(pack.read(name).decode()))
    ]
    assert sorted(rows) == [("", "", ""), ("1", "2", ""), ("3", "4", "'=fog")]
    page = lead_client.get(reverse("hand-off", args=[series.slug, guide.issue_id])).content.decode()
    assert page.count("Sinks into its neighbour in print") == 2


def test_none_is_said(series: Series, lead_client: Client) -> None:
    assert "No two marked areas that touch print look-alike." in lead_client.get(address(series)).content.decode()


@pytest.mark.parametrize(("name", "room"), [("sinking", "preview"), ("series-paint", "paint")])
def test_in_a_long_series_the_newest_issues_are_asked_for_pages_that_wait(
    lead_client: Client, series: Series, name: str, room: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    issues = make_issues(series, 3)
    for issue in issues:
        make_mark(make_guide(issue))
    url = reverse(name, args=[series.slug])
    assert "3 pages not " in lead_client.get(url).content.decode()
    monkeypatch.setattr(f"guides.{room}.views.NEWEST", 2)
    shown_now = lead_client.get(url).content.decode()
    assert "2 pages not " in shown_now
    assert "of the newest 2 issues" in shown_now
    assert [series.issues.newest_from(count) for count in (1, 2, 3, 4)] == [
        issues[2].position, issues[1].position, 0, 0
    ]  # fmt: skip
