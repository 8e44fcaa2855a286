"""The booklet: asked for, made, stopped, cleared away; the PDF read back with pypdf (github.com/py-pdf/pypdf)."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from pypdf import PdfReader

from bible.models import Job, Series
from bible.series.running_order import AsOf
from bible.tasks.services import stop
from bible.tasks.worker import work_off
from guides.booklets import tasks as making
from guides.booklets.booklet_pdf import COLUMNS, LINES, steps, write_booklet
from guides.booklets.queries import make_book
from guides.booklets.tasks import KEPT, ask_for_booklet
from guides.models import Booklet
from guides.paper.sizes import SIZES
from tests.factories import (
    make_costume,
    make_edition,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.forms import form_of
from tests.pages import client_of, member_client, methods_are_refused
from tests.pdfs import filled_rectangles, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def story(series: Series, lead: Any) -> Series:
    issues = make_issues(series, 3)
    for name, code in (("Ada Penn", "YR3B2"), ("Barge", "Y2R2"), ("Cato <Rill>", "R")):
        part = make_part(costume=make_costume(make_subject(series, name=name)), name="coat")
        make_lock(part, code, by=lead)
        make_lock(part, "B", by=lead, from_position=issues[2].position)
    return series


def ask(series: Series, by: Any, issue: str = "") -> Booklet:
    return ask_for_booklet(series=series, issue=AsOf.of(series, issue).issue, by=by)[0]


def test_a_booklet_holds_every_subject_as_of_its_issue(story: Series, lead: Any) -> None:
    booklet = ask(story, lead, "2")
    assert work_off() == 1
    booklet.refresh_from_db()
    assert (booklet.state, booklet.done, booklet.total) == ("ready", 3, 3)
    answer = member_client(story, "guest").get(reverse("booklet-file", args=[story.slug, booklet.pk]))
    assert answer["Content-Type"] == "application/pdf"
    assert 'filename="slow-river-bible-as-of-issue-2.pdf"' in answer["Content-Disposition"]
    reader = PdfReader(io.BytesIO(answer.getvalue()))
    fills = filled_rectangles(reader)
    assert {fill[0] for fill in fills} == {"k"}
    codes = [story.read(code).percentages for code in ("YR3B2", "Y2R2", "R")]
    assert [tuple(round(value * 100, 6) for value in fill[1:]) for fill in fills] == codes
    said = words_of(reader)
    for words in ("Colour bible as of issue 2", "3 subjects", "Coldset newsprint (TR 002)", "No screen is a proof"):
        assert words.lower() in said.lower(), words
    assert said.count("the house’s own proof decides") == len(reader.pages)
    assert "Contents Ada Penn 3 Barge 4 Cato <Rill> 5" in " ".join(reader.pages[1].extract_text().split())


def test_the_contents_name_the_pages_where_subjects_stand(story: Series, lead: Any) -> None:
    for number in range(LINES * COLUMNS):
        make_subject(story, name=f"Extra {number:03}")
    out = io.BytesIO()
    heard: list[int] = []
    book = make_book(story, AsOf.at(story), story.subjects.all())
    write_booklet(book, timezone.now(), out, heard.append, SIZES["letter"])
    reader = PdfReader(out)
    first = [" ".join(page.extract_text().split()) for page in reader.pages]
    assert sum("Contents" in text for text in first) == 2, "more subjects than a page of contents holds"
    for name in ("Ada Penn", "Cato <Rill>", "Extra 000", f"Extra {LINES * COLUMNS - 1:03}"):
        page = next(at for at, text in enumerate(first) if text.count(name) and "Contents" not in text)
        told = next(text for text in first if "Contents" in text and name in text)
        assert f"{name} {page + 1}" in told, name
    assert [entry.title for entry in reader.outline][:2] == ["Ada Penn", "Barge"]  # type: ignore[union-attr]
    assert heard == list(range(LINES * COLUMNS + 3))


def test_pictures_and_subjects_are_the_steps_of_the_bar(story: Series, lead: Any) -> None:
    guide = make_guide(story.issues.in_order()[0], by=lead)
    for subject in story.subjects.exclude(name="Barge"):
        make_mark(guide, "Y", part=subject.costumes.get().parts.get())
    book = make_book(story, AsOf.at(story), story.subjects.all())
    heard: list[int] = []
    out = io.BytesIO()
    write_booklet(book, timezone.now(), out, heard.append)
    assert heard == list(range(steps(book))) == [0, 1, 2, 3, 4]
    assert [len(page.images) for page in PdfReader(out).pages] == [0, 0, 1, 0, 1]


def test_a_series_without_subjects_still_has_a_booklet(series: Series, lead: Any) -> None:
    made = ask(series, lead)
    work_off()
    made.refresh_from_db()
    with made.file.open() as file:
        assert "0 subjects" in words_of(PdfReader(file))


def test_asking_leads_to_its_page_and_is_done_in_the_background(story: Series) -> None:
    client = member_client(story, "fill-in")
    answer = client.post(reverse("new-booklet", args=[story.slug]), {"issue": "2"})
    booklet = Booklet.objects.get()
    assert answer.headers["Location"] == booklet.get_absolute_url()
    assert booklet.job
    assert booklet.job.is_waiting
    assert "Booklet as of issue 2: waiting for its turn" in client.get(booklet.get_absolute_url()).content.decode()


def test_an_edition_has_a_booklet_of_its_own(story: Series, lead: Any) -> None:
    album = make_edition(story, [story.issues.in_order()[0]], name="Album")
    barge = story.subjects.get(name="Barge").costumes.get().parts.get()
    make_lock(barge, "RB3", by=lead, edition=album)
    client = member_client(story, "fill-in")
    form = form_of(client.get(reverse("booklets", args=[story.slug])), says="Make it").fill(edition="Album")
    form.press(client)
    booklet = Booklet.objects.get()
    assert str(booklet) == "booklet as of issue 1 in the edition Album"
    work_off()
    booklet.refresh_from_db()
    with booklet.file.open() as file:
        words = words_of(PdfReader(file))
    assert "RB3" in words
    assert "in the edition Album" in words
    new = reverse("new-booklet", args=[story.slug])
    assert client.post(new, {"edition": "Nobody's"}).status_code == 404


def test_one_at_a_time_and_made_once(story: Series, lead: Any) -> None:
    first = ask(story, lead)
    again, is_new = ask_for_booklet(series=story, issue=None, by=lead)
    assert (again, is_new) == (first, False)
    other = ask(make_series(), lead)
    assert other != first, "another series does not wait for it"
    assert (work_off(), work_off()) == (2, 0)
    assert ask(story, lead) != first, "what is made is in nobody's way"


def test_progress_is_shown_and_asked_for_until_it_is_there(story: Series, lead: Any) -> None:
    booklet = ask(story, lead)
    assert booklet.job
    Job.objects.update(done=120, total=400)
    client = member_client(story, "guest")
    page = client.get(booklet.get_absolute_url()).content.decode()
    for words in ('max="400" value="120"', "every 1s", f'hx-get="{booklet.job.get_absolute_url()}"'):
        assert words in page
    assert ">Stop<" not in page, "a guest stops nobody's work"
    stop_at = reverse("stop-job", args=[story.slug, booklet.job.pk])
    assert stop_at in client_of(lead).get(booklet.get_absolute_url()).content.decode()
    work_off()
    page = client.get(booklet.get_absolute_url()).content.decode()
    assert reverse("booklet-file", args=[story.slug, booklet.pk]) in page
    assert "every 1s" not in page


def test_stopped_before_it_began(story: Series, lead: Any) -> None:
    booklet = ask(story, lead)
    assert booklet.job
    assert stop(job=booklet.job, why="Somebody stopped it.")
    assert work_off() == 0
    page = client_of(lead).get(booklet.get_absolute_url()).content.decode()
    assert "stopped: Somebody stopped it." in page
    assert "Ask again" in page
    assert ask(story, lead) != booklet


def test_a_stop_in_the_middle_leaves_nothing(story: Series, lead: Any, monkeypatch: Any) -> None:
    booklet = ask(story, lead)
    written = making.write_booklet

    def stopped_while_writing(*arguments: Any) -> None:
        written(*arguments)
        assert booklet.job
        stop(job=booklet.job)

    monkeypatch.setattr(making, "write_booklet", stopped_while_writing)
    work_off()
    booklet = Booklet.objects.get(pk=booklet.pk)
    assert (booklet.state_words, booklet.file.name) == ("stopped", "")
    assert default_storage.listdir(f"booklets/{story.pk}")[1] == []


def test_what_goes_wrong_is_said(story: Series, lead: Any, monkeypatch: Any, caplog: Any) -> None:
    def broken(*_: Any) -> None:
        raise ValueError("bad luck")

    monkeypatch.setattr(making, "write_booklet", broken)
    booklet = ask(story, lead)
    for _ in range(3):
        DBTaskResult.objects.update(run_after=timezone.now())
        assert work_off() == 1
    page = client_of(lead).get(booklet.get_absolute_url()).content.decode()
    assert "broke off: It broke off. Try again." in page
    assert "Ask again" in page


def test_one_of_an_earlier_release_that_was_never_finished_has_broken_off(story: Series, lead: Any) -> None:
    booklet = Booklet.objects.create(series=story, asked_by=lead, state=Booklet.State.MAKING)
    assert "broke off" in client_of(lead).get(booklet.get_absolute_url()).content.decode()
    assert ask(story, lead) != booklet


def test_old_ones_are_cleared_with_their_files(
    story: Series, lead: Any, django_capture_on_commit_callbacks: Any
) -> None:
    names = []
    for _ in range(KEPT + 1):
        with django_capture_on_commit_callbacks(execute=True):
            booklet = ask(story, lead)
        work_off()
        booklet.refresh_from_db()
        names.append(booklet.file.name)
    assert list(Booklet.objects.newest_first().values_list("file", flat=True)) == names[:0:-1]
    storage = booklet.file.storage
    assert [storage.exists(str(name)) for name in names] == [False, True, True, True]


def test_refusals(story: Series, lead: Any) -> None:
    booklet = ask(story, lead)
    client, guest = member_client(story, "lead"), member_client(story, "guest")
    stranger = member_client(make_series(), "lead")
    read = [
        reverse("booklets", args=[story.slug]),
        *(reverse(name, args=[story.slug, booklet.pk]) for name in ("booklet", "booklet-file")),
    ]
    write = [reverse("new-booklet", args=[story.slug])]
    for path in read:
        methods_are_refused(client, path, "post", "put", "delete")
        assert stranger.get(path).status_code == 404
        assert Client().get(path).headers["Location"].startswith(reverse("login"))
    for path in write:
        methods_are_refused(client, path, "get", "put", "delete")
        assert guest.post(path).status_code == 403
        assert stranger.post(path).status_code == 404
        assert Client().post(path).headers["Location"].startswith(reverse("login"))
    assert client.get(read[2]).status_code == 404, "not ready"
    refused = client.post(write[0], {"issue": "99"})
    assert refused.status_code == 422
    assert "There is no issue 99" in refused.content.decode()
    other = ask(make_series(), lead)
    assert client.get(reverse("booklet", args=[story.slug, other.pk])).status_code == 404
    work_off()
    booklet.refresh_from_db()
    booklet.file.storage.delete(str(booklet.file.name))
    assert client.get(read[2]).status_code == 404, "its file is gone"


def test_the_way_there(story: Series) -> None:
    page = member_client(story, "guest").get(reverse("bible", args=[story.slug])).content.decode()
    assert reverse("booklets", args=[story.slug]) in page
    assert "Make it" not in member_client(story, "guest").get(reverse("booklets", args=[story.slug])).content.decode()
