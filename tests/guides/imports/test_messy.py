"""Messy tables come in as a person means them, with at most two answers, or are refused in words; none is wrong in
silence."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Lock, Series
from bible.series.running_order import RunningOrder
from tests.factories import make_issues
from tests.forms import form_of, text_of
from tests.guides.imports.messy_again import AGAIN, ISSUES
from tests.guides.imports.messy_tables import BIBLES, Held, MessyTable

pytestmark = pytest.mark.django_db

MOST_ANSWERS = 2


def opened(client: Client, series: Series, messy: MessyTable) -> Any:
    """The page that shows what would become of the table's rows, or says why it is none."""
    page = client.get(reverse(f"bring-{messy.kind}", args=[series.slug]))
    file = SimpleUploadedFile(messy.filename, messy.data())
    return form_of(page, has="file").attach(file=file).press(client, follow=True)


def held(series: Series) -> set[Held]:
    order = RunningOrder.of(series)
    found = set()
    for lock in Lock.objects.filter(series=series).standing().select_related("part__costume__subject"):
        subject, costume, part = lock.part.names
        first, last = order.ends(lock)
        found.add((subject, costume, part, lock.role, str(lock.tint), first, last))
    return found


def test_there_are_enough_of_them() -> None:
    names = [messy.name for messy in (*BIBLES, *AGAIN, *ISSUES)]
    assert len(set(names)) == len(names) >= 40
    assert all(len(messy.answers) <= MOST_ANSWERS for messy in (*BIBLES, *AGAIN, *ISSUES))


@pytest.mark.parametrize("messy", [*BIBLES, *AGAIN, *ISSUES], ids=lambda messy: messy.name)
def test_it_comes_in_or_is_refused_in_words(
    series: Series, lead: User, lead_client: Client, messy: MessyTable
) -> None:
    make_issues(series, 20)
    page = opened(lead_client, series, messy)
    seen = text_of(page)
    for answer in messy.answers:
        assert "Yes, take" not in seen, "it could be taken before it was asked"
        page = form_of(page, has="shape").fill(**answer).press(lead_client, "Look again")
        seen += text_of(page)
    for told in messy.says:
        assert told in seen, seen
    assert not [told for told in messy.not_said if told in seen]
    if messy.refused:
        assert messy.refused in seen, seen
        assert "Yes, take" not in text_of(page)
        assert not held(series)
        return
    assert "Yes, take" in text_of(page), seen
    said = form_of(page, has="yes").press(lead_client, follow=True)
    assert said.status_code == 200, text_of(said)
    assert held(series) == set(messy.held)
    new = series.issues.in_order()[20:]
    assert [(one.number, one.published.isoformat() if one.published else "") for one in new] == list(messy.issues)


def test_what_was_named_by_hand_is_remembered(series: Series, lead_client: Client) -> None:
    [messy] = [one for one in BIBLES if one.name == "a language nobody taught us"]
    page = (
        form_of(opened(lead_client, series, messy), has="shape")
        .fill(**messy.answers[0])
        .press(lead_client, "Look again")
    )
    form_of(page, has="yes").press(lead_client, follow=True)
    assert series.named_headings.count() == 3
    again = text_of(opened(lead_client, series, messy))
    assert "2 are so already" in again
    assert "The headings were found on line 1" in again
