"""How people and numbers of things are called, on every page alike."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.template import Context, Template
from django.urls import reverse

from bible.series.refusals import Refused
from bible.series.services import move_issue
from bible.web.names import counted
from tests.factories import make_issue, make_member
from tests.forms import form_of, text_of
from tests.pages import client_of

HOUSE = Path(__file__).resolve().parents[3]
THINGS = "areas|codes|files|flags|issues|locks|marks|pages|pairs|parts|proofs|readings|rows|subjects|swatches|tints"
COUNT_THEN_MANY = re.compile(rf"(?:count|length|marks|subjects|parts|total|read) \}}\}}(?:</\w+>)*\s+(?:{THINGS})\b")
"""A number that may be one, then the word for several; names of issues and limits are other things."""


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('1|counted:"mark"', "1 mark"),
        ('0|counted:"mark"', "0 marks"),
        ('1200|counted:"mark"', "1,200 marks"),
        ('1|counted:"swatch,swatches"', "1 swatch"),
        ('2|counted:"swatch,swatches"', "2 swatches"),
    ],
)
def test_templates_count_as_the_helper_does(said: str, words: str) -> None:
    assert Template(f"{{{{ {said} }}}}").render(Context()) == words


def test_irregular_words() -> None:
    assert (counted(1, "flag is", "flags are"), counted(3, "flag is", "flags are")) == ("1 flag is", "3 flags are")


def test_no_template_says_several_of_what_may_be_one() -> None:
    assert COUNT_THEN_MANY.search("{{ proof.mark_count }} marks")
    found = [
        (path.name, hit.group())
        for path in sorted((HOUSE / "templates").rglob("*.html"))
        for hit in COUNT_THEN_MANY.finditer(path.read_text(encoding="utf-8"))
    ]
    # A preview that shows a part of its rows has more than one.
    assert [one for one in found if "first" not in one[1]] == []


@pytest.mark.django_db
def test_a_name_keeps_its_capitals_at_the_beginning_of_a_sentence(series: Any, lead: Any, lead_client: Any) -> None:
    make_issue(series)
    annual = make_issue(series, number="Annual A")
    with pytest.raises(Refused, match=r"^Issue Annual A cannot stand behind itself"):
        move_issue(issue=annual, after=annual, by=lead)
    page = reverse("move-issue", args=[series.slug, annual.pk])
    moved = form_of(lead_client.get(page), has="after").fill(after="").press(lead_client, "Move", follow=True)
    assert "Issue Annual A is moved." in text_of(moved)


@pytest.mark.django_db
def test_people_are_called_by_their_names_in_answers(series: Any, lead: Any) -> None:
    make_member(series, "fill-in", username="dp", first_name="Dot", last_name="Pelham")
    membership = series.memberships.get(user__username="dp")
    assert str(membership).startswith("Dot Pelham (")
    client = client_of(lead)
    address = reverse("change-role", args=[series.slug, membership.pk])
    assert "Dot Pelham is " in client.post(address, {"role": "guest"}, follow=True).content.decode()
