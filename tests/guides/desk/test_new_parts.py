"""A part that is not there yet: made where it is marked by who may, asked for by who may not."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Part, Series, Subject, Within
from guides.core import continuity
from guides.models import FlagKind, Guide, Mark, MarkNote
from tests.factories import (
    PASSWORD,
    make_costume,
    make_guide,
    make_issue,
    make_mark,
    make_member,
    make_part,
    make_subject,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series), page="7")


def as_a(series: Series, role: str) -> Client:
    client = Client()
    assert client.login(username=make_member(series, role).username, password=PASSWORD)
    return client


def place(client: Client, guide: Guide, **said: str) -> int:
    url = reverse("new-mark", args=[guide.series.slug, guide.pk])
    return client.post(url, {"x": "0.5", "y": "0.5", "written": "B2", "role": "base", **said}).status_code


def test_a_lead_makes_it_with_the_mark(series: Series, guide: Guide) -> None:
    lead = as_a(series, "lead")
    assert place(lead, guide, part="sky") == 422
    answer = lead.post(
        reverse("new-mark", args=[series.slug, guide.pk]),
        {"x": "0.5", "y": "0.5", "written": "B2", "role": "base", "part": "sky"},
    )
    assert "Make “sky”" in answer.content.decode()
    assert place(lead, guide, part="sky", make="sky") == 302
    sky = Part.objects.get()
    assert (sky.full_name, sky.held_within, sky.costume.subject.kind) == (
        "Backgrounds, as drawn: sky",
        "scene",
        "place",
    )
    assert Mark.objects.get().part == sky
    assert place(lead, guide, part="grass", make="grass", make_in=str(sky.costume_id), make_within="issue") == 302
    assert Part.objects.get(name="grass").held_within == Within.ISSUE
    assert Subject.objects.count() == 1


def test_what_is_usual_stands_chosen(series: Series, guide: Guide) -> None:
    """The scene, and the place that was marked last on the page: a browser sends what it shows as chosen."""
    lead = as_a(series, "lead")
    places = [make_costume(make_subject(series, name=name, kind="place"), name="day") for name in ("Attic", "Yard")]
    make_mark(guide, "B2", part=make_part(costume=places[1], name="wall"))
    told = {"x": "0.5", "y": "0.5", "written": "B2", "role": "base", "part": "sky"}
    url = reverse("new-mark", args=[series.slug, guide.pk])
    shown = lead.post(url, told).content.decode()
    assert '<option value="scene" selected>' in shown
    assert f'<option value="{places[1].pk}" selected>' in shown
    again = lead.post(url, told | {"make_within": "issue", "make_in": str(places[0].pk)}).content.decode()
    assert '<option value="issue" selected>' in again
    assert f'<option value="{places[0].pk}" selected>' in again


def test_a_name_corrected_since_makes_nothing(series: Series, guide: Guide) -> None:
    coat = make_part(costume=make_costume(make_subject(series, name="Ada")), name="coat")
    assert place(as_a(series, "lead"), guide, part="coat", make="cota") == 302
    assert Mark.objects.get().part == coat
    assert Part.objects.count() == 1
    assert place(as_a(series, "lead"), guide, part="caot", make="cota") == 422


def test_a_fill_in_asks_and_makes_nothing(series: Series, guide: Guide) -> None:
    fill_in = as_a(series, "fill-in")
    assert place(fill_in, guide, part="sky", make="sky") == 422, "only a lead makes parts"
    assert not Part.objects.exists()
    assert not Mark.objects.exists()
    assert place(fill_in, guide, part="sky", ask="sky") == 302
    mark = Mark.objects.get()
    assert mark.part is None
    assert "“sky”" in MarkNote.objects.get(mark=mark).text


def test_a_mark_that_is_there_gets_the_new_part(series: Series, guide: Guide) -> None:
    lead = as_a(series, "lead")
    place(lead, guide)
    mark = Mark.objects.get()
    url = reverse("rewrite-mark", args=[series.slug, mark.pk])
    said = {"x": "0.5", "y": "0.5", "written": "B2", "role": "base", "part": "sky", "make": "sky", "seen": "1"}
    assert lead.post(url, said).status_code == 302
    mark.refresh_from_db()
    assert mark.part is not None
    assert mark.part.name == "sky"


def test_within_what_it_is_the_same_is_said_after_its_consequences(series: Series, guide: Guide) -> None:
    sky = make_part(costume=make_costume(make_subject(series, kind="place")), name="sky", held_within=Within.ISSUE)
    lead = as_a(series, "lead")
    for code in ("B2", "B2", "B"):
        place(lead, guide, part=sky.full_name, written=code)
    assert [mark.flag_kind for mark in Mark.objects.open()] == [FlagKind.NOT_THE_SAME]
    url = reverse("held-within", args=[series.slug, sky.pk])
    shown = lead.post(url, {"within": "scene"})
    assert shown.status_code == 422
    assert "This is what it would do" in shown.content.decode()
    assert Mark.objects.open().count() == 1, "nothing is saved yet"
    token = shown.context["shown"].impact.token
    assert lead.post(url, {"within": "scene", "shown": token}).status_code == 302
    assert not Mark.objects.open().exists(), "outside any scene the sky is free"
    assert continuity.discrepancies(series) == []
    assert as_a(series, "fill-in").post(url, {"within": "issue"}).status_code == 403
    assert lead.post(url, {"within": "moon"}).status_code == 422
