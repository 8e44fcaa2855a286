"""People stand in the order in which their names are read, wherever they are chosen or listed."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.models.naming import people
from tests.factories import make_guide, make_issue, make_member
from tests.forms import form_of, text_of

pytestmark = pytest.mark.django_db

NAMES = ["Ada Zahn", "bo", "Cilla", "Dora Amsel"]


@pytest.fixture
def colourists(series: Series) -> list[Any]:
    """Their user names stand the other way round; one gave no name."""
    told = {"zz": ("Ada", "Zahn"), "yy": ("Cilla", ""), "aa": ("Dora", "Amsel"), "bo": ("", "")}
    made = [
        make_member(series, "fill-in", username=name, first_name=first, last_name=last)
        for name, (first, last) in told.items()
    ]
    for number, person in enumerate(made, 1):
        make_guide(make_issue(series), page=str(number), colourist=person)
    return made


def test_by_name(colourists: list[Any]) -> None:
    ordered = people().filter(pk__in=[one.pk for one in colourists]).by_name()
    assert [one.get_full_name() or one.username for one in ordered] == NAMES


@pytest.mark.parametrize(("page", "field"), [("palette", "colourist"), ("activity", "who"), ("upload", "colourist")])
def test_whoever_is_chosen_from(
    series: Series, colourists: list[Any], lead_client: Client, page: str, field: str
) -> None:
    args = [series.slug] + ([series.issues.order_by("pk")[0].pk] if page == "upload" else [])
    form = form_of(lead_client.get(reverse(page, args=args)), has=field)
    control = next(one for one in form.element.iter("select") if one.get("name") == field)
    offered = [option.text_content().strip() for option in control.iter("option")]
    assert [name for name in offered if name in NAMES] == NAMES


def test_the_people_of_a_series(series: Series, colourists: list[Any], lead_client: Client) -> None:
    said = text_of(lead_client.get(reverse("people", args=[series.slug])))
    assert re.search(".*".join(map(re.escape, NAMES)), said)
