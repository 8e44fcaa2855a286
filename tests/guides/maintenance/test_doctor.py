"""What faults leave behind is found, each kind by itself, and nothing else is touched."""

from __future__ import annotations

import datetime as dt
import io
import json
import os
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.management import call_command
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from bible.models import UNHEARD, Job, Series
from guides.maintenance import doctor
from guides.maintenance.doctor import GRACE, Kind, examine
from guides.models import KEPT_FOR, Arrival, Booklet, Guide
from guides.uploads import services as arrivals
from tests.background import ask
from tests.factories import make_guide, make_issue, make_proof

pytestmark = pytest.mark.django_db

LONG_AGO = timezone.now() - GRACE - dt.timedelta(hours=1)


def lay(name: str, at: dt.datetime | None = LONG_AGO) -> str:
    """A file in the store, as old as said."""
    stored = str(default_storage.save(name, ContentFile(b"left here")))
    if at:
        os.utime(default_storage.path(stored), (at.timestamp(), at.timestamp()))
    return stored


def found() -> list[tuple[str, str]]:
    return [(finding.kind.value, finding.what) for finding in examine()]


def run(*words: str) -> tuple[int, Any]:
    """(exit status, what was told) of ``doctor --json``."""
    out = io.StringIO()
    try:
        call_command("doctor", "--json", *words, stdout=out)
    except SystemExit as stop:
        return int(str(stop.code)), json.loads(out.getvalue())
    return 0, json.loads(out.getvalue())


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    """A guide and a proof with their files, all of them old."""
    made = make_guide(make_issue(series), by=lead)
    make_proof(made)
    for name in doctor._files():
        os.utime(default_storage.path(name), (LONG_AGO.timestamp(),) * 2)
    return made


def half_sent(guide: Guide, touched: dt.datetime | None = None) -> Arrival:
    begun = arrivals.start(
        issue=guide.issue, page="99", revision=1, filename="p99.png", byte_size=9, by=guide.uploaded_by
    )
    arrival = arrivals.append(arrival=begun, at=0, stream=io.BytesIO(b"half"))
    Arrival.objects.filter(pk=arrival.pk).update(touched_at=touched or timezone.now())
    return arrival


def test_a_healthy_house_has_nothing_amiss(guide: Guide) -> None:
    half_sent(guide)
    lay(f"printed/{guide.series_id}/{guide.pk}/key.jpg")
    lay(f"plates/{guide.series_id}/{guide.pk}/key-c.jpg")
    lay(f"maps/{guide.series_id}/{guide.pk}/key.npz")
    assert found() == []
    assert run() == (0, {"findings": [], "by_kind": {}, "left": 0})


def test_where_nothing_was_ever_stored_nothing_is_amiss() -> None:
    assert found() == []


def test_a_file_without_a_row_is_found_and_taken_away(guide: Guide) -> None:
    orphan, young = lay("guides/7/lost.jpg"), lay("guides/7/just-now.jpg", None)
    assert found() == [("orphan", orphan)]
    assert run()[0] == 1
    assert default_storage.exists(orphan), "looking mends nothing"
    status, told = run("--mend")
    assert (status, told["left"], told["findings"][0]["mended"]) == (0, 0, True)
    assert not default_storage.exists(orphan)
    assert default_storage.exists(young), "somebody may be about to write its row"
    for name in (guide.original.name, guide.screen.name, guide.thumb.name):
        assert default_storage.exists(str(name))


def test_a_file_whose_row_is_written_meanwhile_is_no_orphan(guide: Guide, monkeypatch: pytest.MonkeyPatch) -> None:
    """The store is listed first: what a slow upload's row names by then is known."""
    slow, listed = lay("tests/slow.jpg"), doctor._files

    def and_then_its_row_comes(*args: Any) -> Any:
        names = list(listed(*args))
        Guide.objects.filter(pk=guide.pk).update(thumb=slow)
        return names

    thumb = str(guide.thumb.name)
    monkeypatch.setattr(doctor, "_files", and_then_its_row_comes)
    assert found() == [("orphan", thumb)]


def test_drawings_of_a_guide_that_is_gone_are_left_over(guide: Guide) -> None:
    name = lay(f"plates/{guide.series_id}/{guide.pk + 1}/key.npz")
    stranger = lay(f"plates/{guide.pk}.npz")
    assert set(found()) == {("orphan", stranger), ("left-over", name)}
    assert run("--mend")[0] == 0
    assert not default_storage.exists(name)


@pytest.mark.parametrize("field", ["original", "screen", "thumb"])
def test_a_row_that_has_lost_its_file_is_told_and_kept(guide: Guide, field: str) -> None:
    name = str(getattr(guide, field).name)
    default_storage.delete(name)
    status, told = run("--mend")
    assert (status, told["left"], told["by_kind"]) == (1, 1, {"missing": 1})
    assert f"guide {guide.pk} ({field})" in told["findings"][0]["words"]
    assert Guide.objects.filter(pk=guide.pk).exists()


def test_every_file_field_of_ours_is_looked_at(guide: Guide) -> None:
    booklet = Booklet(series=guide.series, state=Booklet.State.READY, asked_by=guide.uploaded_by)
    booklet.file.save("booklets/1.pdf", ContentFile(b"%PDF-"))
    whose = {words.rsplit(" ", 2)[0] + words.rsplit(" ", 1)[1] for _, words in doctor._named()}
    pictures = {f"{what}({field})" for what in ("guide", "proof") for field in ("original", "screen", "thumb")}
    assert whose - {"proof(laid)"} == pictures | {"booklet(file)"}


def test_what_nobody_goes_on_sending_is_given_up(guide: Guide) -> None:
    arrival = half_sent(guide, timezone.now() - KEPT_FOR - dt.timedelta(minutes=1))
    [(kind, what)] = found()
    assert (kind, what) == ("half-sent", f"“p99.png” for issue {guide.issue.number} of {guide.series.slug}")
    assert run("--mend")[0] == 0
    assert not Arrival.objects.filter(pk=arrival.pk).exists()
    assert not default_storage.exists(arrival.pieces[0])


def test_a_file_on_its_way_whose_pieces_are_lost_has_to_be_sent_again(guide: Guide) -> None:
    arrival = half_sent(guide)
    default_storage.delete(arrival.pieces[0])
    assert [kind for kind, _ in found()] == ["pieces-lost"]
    assert run("--mend")[0] == 0
    assert not Arrival.objects.exists()


def test_work_that_waits_for_no_worker_is_told(guide: Guide) -> None:
    job = ask()
    assert found() == []
    DBTaskResult.objects.update(enqueued_at=timezone.now() - 2 * UNHEARD)
    assert found() == [("no-worker", "work in the background")]
    Job.objects.update(beat_at=timezone.now())
    assert found() == [], "somebody was at it a moment ago"
    Job.objects.update(beat_at=None)
    DBTaskResult.objects.filter(pk=job.run_id).update(run_after=timezone.now() + UNHEARD)
    assert found() == [], "it is to wait"


def test_a_store_that_lets_nothing_go_is_told(guide: Guide, monkeypatch: pytest.MonkeyPatch) -> None:
    lay("guides/7/lost.jpg")

    def refuse(store: FileSystemStorage, name: str) -> None:
        raise PermissionError(13, "read only")

    monkeypatch.setattr(FileSystemStorage, "delete", refuse)
    err = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("doctor", "--mend", stdout=io.StringIO(), stderr=err)
    assert stop.value.code == 1
    assert "read only" in err.getvalue()


def test_in_words(guide: Guide) -> None:
    out = io.StringIO()
    lay("guides/7/lost.jpg")
    call_command("doctor", "--mend", stdout=out)
    assert out.getvalue() == "guides/7/lost.jpg: no row names this file; mended\n1 found, 0 left.\n"
    assert Kind.ORPHAN == "orphan"


def test_names_that_paper_cannot_set_are_told_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "unset_scripts", lambda: ["Japanese"])
    (finding,) = examine()
    assert (finding.kind, finding.mend) == (Kind.FONTS, None)
    assert "names in Japanese are not set" in finding.words
    assert "fonts-ipafont-gothic" in finding.words
