"""Bringing guides in: good scans are stored, bad ones refused with the reason, nothing half-stored stays."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from bible.models import Issue, Series
from guides.core import recounting, services
from guides.models import Guide, Mark
from tests.factories import make_issue, make_lock, make_mark, make_member, make_part, make_user, picture_bytes
from tests.forms import form_of, text_of
from tests.pages import methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def issue(series: Series) -> Issue:
    return make_issue(series)


def scan(name: str = "p07.jpg", data: bytes | None = None) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, picture_bytes(120, 180) if data is None else data)


def send(client: Client, issue: Issue, *files: SimpleUploadedFile, **fields: Any) -> Any:
    url = reverse("upload", args=[issue.series.slug, issue.pk])
    return client.post(url, {"scans": list(files), "page": "", "colourist": ""} | fields)


def stored_files() -> list[str]:
    root = Path(settings.MEDIA_ROOT)
    return sorted(path.name for path in root.rglob("*") if path.is_file())


THREE = ["original.jpg", "screen.jpg", "thumb.jpg"]


def test_one_scan_becomes_the_page_its_name_says(fill_in_client: Client, issue: Issue, fill_in: Any) -> None:
    answer = send(fill_in_client, issue, scan("Series-12_p07a.jpg"), colourist=fill_in.pk)
    guide = Guide.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == guide.get_absolute_url()
    assert (guide.page, guide.revision, guide.is_current) == ("7a", 1, True)
    assert (guide.width, guide.height) == (120, 180)
    assert (guide.uploaded_by, guide.colourist, guide.filename) == (fill_in, fill_in, "Series-12_p07a.jpg")
    assert stored_files() == THREE


def test_a_page_that_is_said_goes_before_the_name(fill_in_client: Client, issue: Issue) -> None:
    send(fill_in_client, issue, scan("p07.jpg"), page="  Page 012 ")
    assert Guide.objects.get().page == "12"


@pytest.mark.parametrize(
    ("form", "name", "kept"),
    [("PNG", "1.png", ".png"), ("TIFF", "1.tiff", ".tif"), ("WEBP", "1.webp", ".webp"), ("JPEG", "1.jpeg", ".jpg")],
)
def test_every_accepted_format_is_kept_as_it_came(
    fill_in_client: Client, issue: Issue, form: str, name: str, kept: str
) -> None:
    data = picture_bytes(110, 160, form=form)
    assert send(fill_in_client, issue, scan(name, data)).status_code == 302
    original = Guide.objects.get().original
    assert str(original.name).endswith(f"original{kept}")
    assert original.read() == data


def test_a_sideways_scan_stands_upright(fill_in_client: Client, issue: Issue) -> None:
    """Orientation 6 (EXIF 2.3, tag 0x0112): turned a quarter clockwise to be seen."""
    exif = Image.Exif()
    exif[0x0112] = 6
    out = io.BytesIO()
    Image.new("RGB", (180, 120), "#336699").save(out, "JPEG", exif=exif)
    send(fill_in_client, issue, scan("3.jpg", out.getvalue()))
    guide = Guide.objects.get()
    assert (guide.width, guide.height) == (120, 180)
    screen = Image.open(guide.screen)
    assert screen.width < screen.height
    assert not screen.getexif(), "metadata is stripped from what is shown"


BAD = {
    "empty": b"",
    "truncated": picture_bytes(200, 300)[:700],
    "no picture": b"%PDF-1.7 this is something else altogether",
    "lying": b"GIF89a" + bytes(400),
}


@pytest.mark.parametrize("bad", BAD)
def test_a_bad_one_among_several_is_refused_and_the_rest_go_on(
    fill_in_client: Client, issue: Issue, bad: str, fill_in: Any
) -> None:
    files = scan("p01.jpg"), scan("p02.jpg", BAD[bad]), scan("p03.jpg")
    answer = send(fill_in_client, issue, *files, colourist=fill_in.pk)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "p02.jpg: " in text
    assert "Stored: page 1, page 3." in text
    assert f'<option value="{fill_in.pk}" selected>' in text
    assert list(Guide.objects.in_order().values_list("page", flat=True)) == ["1", "3"]
    assert stored_files() == sorted(THREE * 2)


@pytest.mark.parametrize("bad", BAD)
def test_a_bad_one_alone_leaves_nothing_behind(fill_in_client: Client, issue: Issue, bad: str) -> None:
    answer = send(fill_in_client, issue, scan("p02.jpg", BAD[bad]), page="14a")
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "p02.jpg: " in text
    assert 'value="14a"' in text
    assert "Stored" not in text
    assert Guide.objects.count() == 0
    assert stored_files() == []


def test_rows_that_cannot_be_written_take_their_files_along(
    fill_in_client: Client, issue: Issue, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*args: Any, **kwargs: Any) -> Guide:
        raise RuntimeError("the disk of the database is full")

    monkeypatch.setattr(services, "_store_guide", fails)
    with pytest.raises(RuntimeError):
        send(fill_in_client, issue, scan())
    assert stored_files() == []


@pytest.mark.parametrize("fields", [{}, {"page": "3"}])
def test_nothing_chosen_is_said(fill_in_client: Client, issue: Issue, fields: dict[str, str]) -> None:
    answer = send(fill_in_client, issue, **fields)
    assert answer.status_code == 422
    assert "Choose at least one file." in answer.content.decode()


def test_a_request_with_nothing_in_it_is_a_refused_form_too(fill_in_client: Client, issue: Issue) -> None:
    assert fill_in_client.post(reverse("upload", args=[issue.series.slug, issue.pk])).status_code == 422


def test_one_page_cannot_be_two_files(fill_in_client: Client, issue: Issue) -> None:
    answer = send(fill_in_client, issue, scan("a.jpg"), scan("b.jpg"), page="3")
    assert answer.status_code == 422
    assert "One page cannot be several files" in answer.content.decode()
    assert stored_files() == []


def test_two_files_named_like_one_page_do_not_bury_each_other(fill_in_client: Client, issue: Issue) -> None:
    answer = send(fill_in_client, issue, scan("p07.jpg"), scan("page 7.png", picture_bytes(110, 160, form="PNG")))
    assert answer.status_code == 422
    assert "page 7.png: page 7 came with another file already" in answer.content.decode()
    assert Guide.objects.get().revision == 1
    assert stored_files() == THREE


def test_a_name_that_is_no_page_is_refused_with_the_reason(fill_in_client: Client, issue: Issue) -> None:
    answer = send(fill_in_client, issue, scan("the-scan-of-a-page-nobody-has-numbered-yet.jpg"))
    assert answer.status_code == 422
    assert "say which page it is, in at most 30 letters" in answer.content.decode()
    assert stored_files() == []


def test_only_this_series_colourists_can_have_coloured_it(fill_in_client: Client, issue: Issue) -> None:
    stranger = make_member(None, "fill-in")
    answer = send(fill_in_client, issue, scan(), colourist=stranger.pk)
    assert answer.status_code == 422
    assert stranger.username not in answer.content.decode()


def test_a_new_scan_of_a_page_is_its_next_revision_and_the_old_marks_stand_down(
    fill_in_client: Client, issue: Issue, series: Series
) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    send(fill_in_client, issue, scan("Cover.jpg"))
    first = Guide.objects.get()
    mark = make_mark(first, "YRB2", part=part)
    assert Mark.objects.flagged().count() == 1
    send(fill_in_client, issue, scan("scan2.jpg", picture_bytes(130, 190)), page="COVER")
    first.refresh_from_db()
    mark.refresh_from_db()
    second = Guide.objects.current().get()
    assert (first.is_current, second.revision, second.page) == (False, 2, first.page)
    assert (mark.live, mark.written) == (False, "YRB2")
    assert Mark.objects.flagged().count() == 0
    assert stored_files() == sorted(THREE * 2), "the old pictures are kept"
    text = fill_in_client.get(second.get_absolute_url()).content.decode()
    assert first.get_absolute_url() in text
    text = fill_in_client.get(first.get_absolute_url()).content.decode()
    assert "an older one: it cannot be marked" in text
    assert "data-new-mark" not in text
    assert "data-move" not in text


def test_pages_stand_in_reading_order(fill_in_client: Client, issue: Issue) -> None:
    names = ["p10.jpg", "back-cover.jpg", "p2.jpg", "front cover.jpg", "p2a.jpg"]
    send(fill_in_client, issue, *map(scan, names))
    pages = Guide.objects.filter(issue=issue).in_order().values_list("page", flat=True)
    assert list(pages) == ["front cover", "2", "2a", "10", "back cover"]


def test_wrong_methods(fill_in_client: Client, issue: Issue) -> None:
    methods_are_refused(fill_in_client, reverse("upload", args=[issue.series.slug, issue.pk]), "put", "delete")


def test_a_page_belongs_to_who_brings_it_in(fill_in_client: Client, issue: Issue, fill_in: Any) -> None:
    page = fill_in_client.get(reverse("upload", args=[issue.series.slug, issue.pk]))
    form_of(page, has="scans").attach(scans=[scan()]).press(fill_in_client)
    guide = Guide.objects.get()
    assert guide.colourist == fill_in
    today = fill_in_client.get(reverse("series", args=[issue.series.slug]))
    assert guide.get_absolute_url() in today.content.decode()


def test_a_revision_stays_with_who_coloured_the_page(
    fill_in_client: Client, lead_client: Client, issue: Issue, fill_in: Any
) -> None:
    send(fill_in_client, issue, scan())
    page = lead_client.get(reverse("upload", args=[issue.series.slug, issue.pk]))
    newer = scan(data=picture_bytes(120, 180, colour="#123456"))
    form_of(page, has="scans").attach(scans=[newer]).press(lead_client)
    assert [guide.colourist for guide in Guide.objects.order_by("revision")] == [fill_in, fill_in]


def test_who_coloured_a_page_is_said_on_it(
    fill_in_client: Client, issue: Issue, fill_in: Any, lead: Any, series: Any
) -> None:
    send(fill_in_client, issue, scan())
    guide = Guide.objects.get()
    make_mark(guide, "YR", by=fill_in)
    form = form_of(fill_in_client.get(guide.get_absolute_url()), action="/coloured-by")
    assert form.value("colourist") == str(fill_in.pk)
    assert form.choices("colourist") == ["", str(fill_in.pk), str(lead.pk)]
    said = form.fill(colourist=str(lead.pk)).press(fill_in_client, follow=True)
    assert "Coloured by lead." in text_of(said)
    guide.refresh_from_db()
    assert guide.colourist == lead
    assert recounting.discrepancies(series) == [], "tints are counted for who coloured them"
    form_of(said, action="/coloured-by").fill(colourist="").press(fill_in_client)
    guide.refresh_from_db()
    assert guide.colourist is None


def test_who_coloured_a_page_is_somebody_of_the_series(fill_in_client: Client, issue: Issue, fill_in: Any) -> None:
    send(fill_in_client, issue, scan())
    guide = Guide.objects.get()
    address = reverse("coloured-by", args=[issue.series.slug, guide.pk])
    for nobody in (make_user().pk, "²"):
        refused = fill_in_client.post(address, {"colourist": nobody}, follow=True)
        assert "Choose a colourist of this series." in text_of(refused)
    send(fill_in_client, issue, scan(data=picture_bytes(120, 180, colour="#123456")))
    refused = fill_in_client.post(address, {"colourist": ""}, follow=True)
    assert "A newer revision of this page has come in" in text_of(refused)
    guide.refresh_from_db()
    assert guide.colourist == fill_in
