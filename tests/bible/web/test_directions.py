"""Signs that turn the direction of writing come in nowhere; letters that run from right to left do."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, RequestFactory
from django.urls import reverse

from bible.models import Subject
from bible.web.directions import Directions
from bible.web.turns import without_turns, without_unseen
from tests.forms import form_of

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("sign", "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
def test_a_sign_that_turns_is_taken_out(sign: str) -> None:
    assert without_turns(f"web {sign}2") == "web 2"


@pytest.mark.parametrize("text", ["plain", "עדה פן", "\u200fעדה", "Ada \U0001f600", "ل\u061c", "é漢"])
def test_writing_itself_stays_as_it_is(text: str) -> None:
    assert without_turns(text) == text


def test_no_name_turns_the_page_that_shows_it(lead_client: Client, series: Any) -> None:
    page = form_of(lead_client.get(reverse("new-subject", args=[series.slug])), has="name")
    answer = page.fill(name="Ada \u202ePenn\u2066").press(lead_client)
    assert answer.status_code == 302
    assert Subject.objects.get(series=series).name == "Ada Penn"


@pytest.mark.parametrize("name", ["\u200b\u200b", "\u2060", " \ufeff ", "\u00ad", "\u200d\u202e"])
def test_a_name_that_nobody_can_see_is_none(name: str, lead_client: Client, series: Any) -> None:
    page = form_of(lead_client.get(reverse("new-subject", args=[series.slug])), has="name")
    answer = page.fill(name=name).press(lead_client)
    assert answer.status_code in (200, 422)
    assert "This field is required." in answer.content.decode()
    assert not Subject.objects.filter(series=series).exists()


@pytest.mark.parametrize("text", ["\u200dنی", "👩\u200d🎨", "a\u00adb", "   ", "\u3000", ""])
def test_what_can_be_seen_and_blanks_stay(text: str) -> None:
    assert without_unseen(text) == text


def test_nor_does_the_name_of_a_file() -> None:
    request: Any = RequestFactory().post("/", {"scan": SimpleUploadedFile("7\u202egnp.png", b"x"), "run": "a\u202eb"})
    Directions(lambda _: None).process_view(request)  # type: ignore[arg-type,return-value]
    assert request.FILES["scan"].name == "7gnp.png"
    assert request.POST["run"] == "ab"
