"""Numbers of marks: one file with an extreme number must not make a page that nobody can mark any more."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.series.refusals import Refused
from guides.core.numbering import HIGHEST_NUMBER, numbers_beside
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_mark
from tests.forms import form_of, text_of

LARGEST_COLUMN = 2**31 - 1
"""What PostgreSQL's ``integer`` holds (its manual, “Numeric Types”)."""


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


def bring(client: Client, guide: Guide, number: int) -> Any:
    """Bring one mark in through the page's own form."""
    page = client.get(reverse("bring-marks", args=[guide.series.slug, guide.pk]))
    table = f"number,page,x,y,written\n{number},{guide.page},0.5,0.5,Y\n"
    return form_of(page, has="file").attach(file=SimpleUploadedFile("marks.csv", table.encode())).press(client)


@pytest.mark.django_db
def test_a_file_with_an_extreme_number_is_told_so(guide: Guide, lead_client: Client) -> None:
    answer = bring(lead_client, guide, LARGEST_COLUMN)
    assert f"1 to {HIGHEST_NUMBER:,}" in text_of(answer)
    assert not guide.marks.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("number", [HIGHEST_NUMBER, LARGEST_COLUMN])
def test_a_page_with_the_highest_number_can_still_be_marked(guide: Guide, lead_client: Client, number: int) -> None:
    """Also one from before numbers had a bound."""
    Mark.objects.filter(pk=make_mark(guide).pk).update(number=number)
    for expected in (1, 2):
        form = form_of(lead_client.get(reverse("new-mark", args=[guide.series.slug, guide.pk])), has="written")
        assert form.fill(written="YR3").press(lead_client).status_code < 400
        assert guide.marks.latest("pk").number == expected


def test_numbers_go_on_from_the_highest() -> None:
    assert list(itertools.islice(numbers_beside([1, 7, 3]), 3)) == [8, 9, 10]
    assert list(itertools.islice(numbers_beside([]), 2)) == [1, 2]


def test_at_the_end_those_left_out_are_given() -> None:
    taken = {1, 3, HIGHEST_NUMBER - 1}
    assert list(itertools.islice(numbers_beside(taken), 4)) == [HIGHEST_NUMBER, 2, 4, 5]


def test_when_all_are_taken_it_is_said() -> None:
    with pytest.raises(Refused, match="is taken"):
        next(numbers_beside(range(1, HIGHEST_NUMBER + 1)))
