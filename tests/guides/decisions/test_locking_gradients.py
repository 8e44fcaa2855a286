"""A gradient locked by the form, and where it is then said: lists, look-up, sheet, programs, table out and in."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.test import Client

from bible.colour.gradients import Direction, Gradient
from bible.colour.tints import Tint
from bible.models import Lock, Part, Proposal, Series
from bible.series.running_order import AsOf, RunningOrder
from guides.api.answers import lock_shape, mark_shape
from guides.booklets.queries import make_book
from guides.decisions.settle import settle
from guides.models import FlagKind, Mark
from tests.factories import make_guide, make_issue, make_mark, make_part
from tests.forms import form_of, link_of

pytestmark = pytest.mark.django_db

B, W = Tint(100), Tint()
SKY = Gradient(B, W, Direction.DOWN)


@pytest.fixture
def guide(series: Series, lead: Any) -> Any:
    return make_guide(make_issue(series), by=lead)


@pytest.fixture
def sky(series: Series) -> Part:
    return make_part(series, name="sky")


def locked(client: Client, part: Part, code: str = "B to W, downwards") -> Any:
    """By the form behind “Lock a code”: shown what it would do where marks are there, then saved as shown."""
    subject = client.get(part.costume.subject.get_absolute_url())
    form = form_of(client.get(link_of(subject, "Lock a code")), has="code")
    answer = form.fill(code=code, reason="the harbour at dawn").press(client, "Lock", follow=True)
    if answer.status_code == 422:
        answer = form_of(answer, has="code").press(client, follow=True)
    return answer


def test_the_form_locks_a_gradient_and_a_mark_that_fades_wrongly_is_flagged(
    lead_client: Client, guide: Any, sky: Part
) -> None:
    right = make_mark(guide, "B", to_written="W", to=(0.5, 0.9), part=sky)
    wrong = make_mark(guide, "B", to_written="Y", to=(0.5, 0.9), part=sky)
    flat = make_mark(guide, "B", part=sky)
    locked(lead_client, sky)
    lock = Lock.objects.get()
    assert (lock.locked, lock.written) == (SKY, "B to W, downwards")
    flags = {mark.pk: mark.flag_kind for mark in Mark.objects.filter(pk__in=[right.pk, wrong.pk, flat.pk])}
    assert flags == {right.pk: None, wrong.pk: FlagKind.FADES, flat.pk: FlagKind.FADES}
    page = lead_client.get("/s/slow-river/flags/").content.decode()
    assert "fades otherwise" in page
    assert "B to Y" in page  # what the page says
    assert "B to W" in page  # what the bible says
    subject = lead_client.get(sky.costume.subject.get_absolute_url()).content.decode()
    assert "B to W downwards" in subject
    desk = lead_client.get(wrong.get_absolute_url()).content.decode()
    assert "does not fade as it says" in desk


def test_what_is_no_gradient_is_said_beside_the_field(lead_client: Client, sky: Part) -> None:
    answer = locked(lead_client, sky, "B to R4")
    assert answer.status_code == 422
    assert "R4" in answer.content.decode()
    assert not Lock.objects.exists()


def test_look_up_sheet_list_and_programs_say_it_whole(
    lead_client: Client, series: Series, guide: Any, sky: Part
) -> None:
    locked(lead_client, sky)
    assert "B to W downwards" in lead_client.get("/s/slow-river/look-up/?q=sky").content.decode()
    assert "B to W downwards" in lead_client.get("/s/slow-river/look-up/?q=W").content.decode()
    (code,) = make_book(series, AsOf.at(series), series.subjects.all(), crops=False).sheets[0].codes
    assert (code.locked, code.written) == (SKY, "B to W downwards")
    table = lead_client.get("/s/slow-river/bible/?as=csv")
    rows = list(csv.DictReader(io.StringIO(b"".join(table).decode("utf-8-sig"))))
    assert [(row["code"], row["written"]) for row in rows] == [("B to W downwards", "B to W, downwards")]


def test_marks_speak_for_a_gradient_as_one_value(series: Series, guide: Any, sky: Part) -> None:
    for x in (0.2, 0.4, 0.6):
        make_mark(guide, "B", to_written="W", to=(x, 0.9), x=x, part=sky)
    (found,) = settle(series, Part.objects.filter(pk=sky.pk))
    assert [lock.tint for lock in found.locks] == [Gradient(B, W)]


def test_a_gradient_is_proposed_and_accepted(lead_client: Client, series: Series, guide: Any, sky: Part) -> None:
    page = lead_client.get(f"/s/slow-river/parts/{sky.pk}/propose")
    form_of(page, has="code").fill(code="B > W", note="as on page 3").press(lead_client)
    proposal = Proposal.objects.get()
    assert proposal.locked == Gradient(B, W)
    assert "B to W" in lead_client.get("/s/slow-river/proposals/").content.decode()


def test_programs_read_both_ends(series: Series, lead_client: Client, guide: Any, sky: Part) -> None:
    locked(lead_client, sky)
    shape = lock_shape(series, Lock.objects.get(), RunningOrder.of(series)).dict()
    assert (shape["tint"]["code"], shape["fades_to"]["code"], shape["direction"]) == ("B", "W", "down")
    mark = make_mark(guide, "B", part=sky)
    mark = Mark.objects.with_names().get(pk=mark.pk)
    told = mark_shape(series, mark).dict()
    assert (told["flag"], told["expected"]["code"], told["expected_to"]["code"]) == ("fades", "B", "W")
