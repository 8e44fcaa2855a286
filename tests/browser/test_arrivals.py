"""Scans dropped in a browser: one bad, one here already, a label corrected, the line lost in the middle."""

from __future__ import annotations

import base64
import errno
import hashlib
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.storage import FileSystemStorage
from django.urls import reverse

from guides.models import Arrival, Guide, Mark
from guides.uploads import views as pages
from guides.uploads.services import start
from tests.factories import (
    damaged_picture,
    make_guide,
    make_issue,
    make_mark,
    make_member,
    make_series,
    picture_bytes,
)

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]

DROP = """
(files) => {
  const carried = new DataTransfer();
  for (const [name, text] of files) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    carried.items.add(new File([bytes], name));
  }
  document.getElementById("drop").dispatchEvent(
    new DragEvent("drop", { dataTransfer: carried, bubbles: true, cancelable: true }));
}
"""
FOCUSED = "() => document.activeElement.id"


def scan(colour: str) -> bytes:
    return picture_bytes(300, 450, colour)


@pytest.fixture
def issue(db: None, monkeypatch: pytest.MonkeyPatch) -> Any:
    # One at a time: on SQLite the live server's threads share one connection, and so one transaction.
    monkeypatch.setattr(pages, "AT_ONCE", 1)
    monkeypatch.setattr(pages.arrivals, "PIECE_BYTES", 500)
    return make_issue(make_series(title="The Slow River", slug="slow-river"))


def test_a_folder_with_a_bad_file_and_a_copy_and_a_line_that_breaks(visit: Visit, issue: Any) -> None:
    wim = make_member(issue.series, "fill-in", username="wim")
    make_guide(issue, page="2", sha256=hashlib.sha256(scan("#a05030")).hexdigest(), by=wim)
    page = visit(wim, reverse("upload", args=[issue.series.slug, issue.pk]))
    files = {
        "river p01.jpg": scan("#3050a0"),
        "river p02.jpg": scan("#a05030"),
        "river p03.jpg": scan("#50a030")[:300],
        "river page 1.jpg": scan("#102030"),
    }
    page.evaluate(DROP, [[name, base64.b64encode(data).decode()] for name, data in files.items()])
    row = {name: page.locator(".arrival", has=page.locator(".arrival-name", has_text=name)) for name in files}
    row["river p02.jpg"].get_by_text("already here: issue 1, page 2").wait_for()
    row["river p01.jpg"].get_by_text("Also page 1: river page 1.jpg").wait_for()
    assert page.locator("#arrivals-title").inner_text() == "4 files, 1 ready to come in"
    assert Arrival.objects.count() == 0

    row["river page 1.jpg"].locator("[name=page]").fill("inside front")
    page.keyboard.press("Tab")
    page.get_by_text("4 files, 3 ready to come in").wait_for()

    # The line breaks at the third piece of the first file and comes back.
    tries = []

    def breaks(route: Any) -> None:
        tries.append(route.request.headers.get("content-range", ""))
        if 3 <= len(tries) <= 4:
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/arrivals/*/", lambda route: breaks(route) if route.request.method != "POST" else route.continue_())
    page.get_by_role("button", name="Bring 3 files in").click()
    page.get_by_text("connection lost; it goes on by itself").wait_for()
    page.get_by_role("button", name="Go on now").click()
    page.get_by_text("2 of 3 stored, 1 not brought in. That is all.").wait_for()
    row["river p03.jpg"].get_by_text("Not brought in: The JPEG breaks off before its end").wait_for()
    row["river page 1.jpg"].get_by_role("link", name="inside front").wait_for()
    assert sorted(Guide.objects.values_list("page", flat=True)) == ["1", "2", "inside front"]
    stored = Guide.objects.get(page="1")
    assert stored.original.read() == files["river p01.jpg"]
    assert "" in tries[4:5] or "" in tries[3:4], "after the break it asks how much is there"
    assert tries.count("bytes 0-499/" + str(len(files["river p01.jpg"]))) == 1, "nothing that came is sent again"

    page.unroute_all()
    expected = ("ERR_CONNECTION_RESET", "422")
    page.complaints[:] = [said for said in page.complaints if not any(word in said for word in expected)]


def test_the_same_page_without_a_drop_and_a_copy_by_a_yes(visit: Visit, issue: Any) -> None:
    wim = make_member(issue.series, "fill-in", username="wim")
    make_guide(issue, page="2", sha256=hashlib.sha256(scan("#a05030")).hexdigest(), by=wim)
    page = visit(wim, reverse("upload", args=[issue.series.slug, issue.pk]))
    page.locator("#choose-files").set_input_files(
        {"name": "p02.jpg", "mimeType": "image/jpeg", "buffer": scan("#a05030")}
    )
    page.get_by_label("upload it all the same").check()
    page.get_by_role("button", name="Bring 1 file in").click()
    page.get_by_role("link", name="page 2, revision 2").wait_for()
    assert page.evaluate(FOCUSED) == "arrivals-title", "the button that was pressed is gone"
    page.get_by_role("link", name="page 2, revision 2").click()
    page.get_by_role("heading", name="page 2").wait_for()
    assert Guide.objects.current().get().revision == 2


def test_what_was_half_sent_is_not_said_to_be_once_it_is_in(visit: Visit, issue: Any) -> None:
    wim, data = make_member(issue.series, "fill-in", username="wim"), scan("#3050a0")
    for page_label in ("2", "3"):
        start(issue=issue, page=page_label, revision=1, filename=f"p0{page_label}.jpg", byte_size=len(data), by=wim)
    page = visit(wim, reverse("upload", args=[issue.series.slug, issue.pk]))
    half_sent = page.locator("#half-sent li")
    assert half_sent.count() == 2
    scans = [{"name": "p02.jpg", "mimeType": "image/jpeg", "buffer": data}]
    page.locator("#choose-files").set_input_files(scans)
    page.get_by_role("button", name="Bring 1 file in").click()
    page.get_by_text("1 of 1 stored").wait_for()
    assert [one.split(",")[0] for one in half_sent.all_inner_texts()] == ["p03.jpg"]


def test_a_damaged_scan_comes_in_on_a_yes_that_knows_where(visit: Visit, issue: Any) -> None:
    page = visit(make_member(issue.series, "fill-in"), reverse("upload", args=[issue.series.slug, issue.pk]))
    files = [
        ["p03.jpg", base64.b64encode(damaged_picture()).decode()],
        ["p04.jpg", base64.b64encode(scan("#a05030")).decode()],
    ]
    page.evaluate(DROP, files)
    page.get_by_role("button", name="Bring 2 files in").click()
    page.get_by_text("1 of 2 stored, 1 not brought in. That is all.").wait_for()
    asked = page.locator(".arrival", has_text="p03.jpg")
    asked.get_by_text("The JPEG is damaged: the lower third, from row").wait_for()
    asked.get_by_role("button", name="Bring it in all the same").press("Enter")
    page.get_by_text("2 of 2 stored").wait_for()
    asked.get_by_role("link", name="page 3").wait_for()
    assert "The JPEG is damaged: the lower third" in asked.inner_text(), "and it stays said"
    page.complaints[:] = [said for said in page.complaints if "409" not in said]


def test_a_new_scan_in_a_folder_leads_to_the_marks_of_the_older_one(visit: Visit, issue: Any) -> None:
    wim = make_member(issue.series, "fill-in", username="wim")
    make_mark(make_guide(issue, page="2", by=wim), "YR3B2", x=0.25, y=0.75)
    page = visit(wim, reverse("upload", args=[issue.series.slug, issue.pk]))
    files = {"p02.jpg": scan("#a05030"), "p03.jpg": scan("#50a030"), "p04.jpg": scan("#102030")}
    page.evaluate(DROP, [[name, base64.b64encode(data).decode()] for name, data in files.items()])
    page.get_by_role("button", name="Leave p04.jpg out").click()
    page.get_by_text("2 files, 2 ready to come in").wait_for()
    assert page.evaluate(FOCUSED) == "arrivals-title"
    page.get_by_role("button", name="Bring 2 files in").click()
    page.get_by_text("2 of 2 stored").wait_for()
    ways = page.get_by_role("link", name="See its marks on the new scan, and carry them over")
    assert ways.count() == 1, "page 3 has no older scan"
    ways.click()
    page.get_by_text("The scans do not fit each other").wait_for()  # flat pictures have no lines to go by
    page.get_by_role("link", name="Show them at the same part of the page").click()
    page.get_by_role("button", name="Carry them over").click()
    page.get_by_role("heading", name="page 2").wait_for()
    new = Guide.objects.get(page="2", is_current=True)
    told = Mark.objects.live().values_list("guide", "written", "x", "y")
    assert list(told) == [(new.pk, "YR3B2", 0.25, 0.75)]


def test_a_server_without_room_is_tried_again(visit: Visit, issue: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    wim = make_member(issue.series, "fill-in", username="wim")
    page = visit(wim, reverse("upload", args=[issue.series.slug, issue.pk]))
    true, tries = FileSystemStorage.save, []

    def full_at_first(store: FileSystemStorage, name: str, content: Any, max_length: int | None = None) -> str:
        tries.append(name)
        if len(tries) == 1:
            raise OSError(errno.ENOSPC, "No space left on device")
        return true(store, name, content, max_length)

    monkeypatch.setattr(FileSystemStorage, "save", full_at_first)
    scanned = {"name": "p02.jpg", "mimeType": "image/jpeg", "buffer": scan("#a05030")}
    page.locator("#choose-files").set_input_files(scanned)
    page.get_by_role("button", name="Bring 1 file in").click()
    page.get_by_text("disk is full").wait_for()
    page.get_by_role("link", name="page 2").click()
    page.get_by_role("heading", name="page 2").wait_for()
    page.complaints[:] = [said for said in page.complaints if "507" not in said]


def test_the_plain_form_serves_without_script(visit: Visit, issue: Any) -> None:
    wim = make_member(issue.series, "fill-in", username="wim")
    page = visit(wim, reverse("upload", args=[issue.series.slug, issue.pk]), java_script_enabled=False)
    page.locator(".plain-form [name=scans]").set_input_files(
        [{"name": f"p0{n}.jpg", "mimeType": "image/jpeg", "buffer": scan(f"#a0503{n}")} for n in (1, 2)]
    )
    page.locator(".plain-form button.main").click()
    page.get_by_text("Stored: page 1, page 2.").wait_for()
