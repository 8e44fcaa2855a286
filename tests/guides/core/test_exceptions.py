"""Waivers and scenes: what they allow, and when they end."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from bible.locks.services import correct_lock
from bible.models import Lock, Series
from bible.series.refusals import Refused
from guides.core.scene_areas import FlagsMoved, flags_token
from guides.core.services import delete_mark, move_mark, restore_mark, rewrite_mark
from guides.core.waivers import remove_waiver, waive
from guides.models import Mark, Waiver
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_lock, make_mark, make_member, make_part
from tests.forms import form_of, text_of
from tests.guides.core.flags_counted import counts, fresh
from tests.shown import agree, fill_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def wrong(part: Any, issues: list[Any]) -> Mark:
    return make_mark(make_guide(issues[0], page="5"), "Y", part=part)


def test_a_waived_flag_is_counted_apart(series: Series, wrong: Mark, lead: Any) -> None:
    assert counts(series) == (1, 0)
    waive(marks=[wrong], reason="in disguise", by=lead)
    assert counts(series) == (0, 1)


def test_a_waiver_dies_for_good_when_the_mark_is_rewritten(series: Series, wrong: Mark, part: Any, lead: Any) -> None:
    (waiver,) = waive(marks=[wrong], reason="in disguise", by=lead)
    rewrite_mark(mark=wrong, written="B", part=part, role="base", by=lead)
    assert counts(series) == (1, 0)
    rewrite_mark(mark=wrong, written="Y", part=part, role="base", by=lead)
    assert counts(series) == (1, 0)
    waiver.refresh_from_db()
    assert waiver.died_at is not None
    assert waiver.died_by is None
    waive(marks=[wrong], reason="again", by=lead)
    assert counts(series) == (0, 1)


def test_a_waiver_dies_when_the_lock_changes(series: Series, wrong: Mark, part: Any, lead: Any) -> None:
    waive(marks=[wrong], reason="in disguise", by=lead)
    lock = part.locks.standing().get()
    correct_lock(lock=lock, tint=series.read("B"), written="B", by=lead, reason="misread")
    assert counts(series) == (1, 0)


def test_a_waiver_dies_when_the_mark_is_given_to_another_part_with_the_same_code(
    series: Series, wrong: Mark, lead: Any
) -> None:
    other = make_part(series)
    make_lock(other, "YR", by=lead)
    waive(marks=[wrong], reason="in disguise", by=lead)
    rewrite_mark(mark=wrong, written="Y", part=other, role="base", by=lead)
    assert counts(series) == (1, 0)


def test_a_waiver_outlives_what_does_not_change_the_disagreement(
    series: Series, wrong: Mark, part: Any, issues: list[Any], lead: Any
) -> None:
    waive(marks=[wrong], reason="in disguise", by=lead)
    move_mark(mark=wrong, x=0.1, y=0.1, by=lead)
    make_lock(part, "B", from_position=issues[2].position)
    assert counts(series) == (0, 1)
    delete_mark(mark=wrong, by=lead)
    assert counts(series) == (0, 0)
    restore_mark(mark=wrong, by=lead)
    assert counts(series) == (0, 1)


def test_what_cannot_be_waived(series: Series, wrong: Mark, part: Any, issues: list[Any], lead: Any) -> None:
    right = make_mark(make_guide(issues[1]), "YR", part=part)
    with pytest.raises(Refused, match="reason"):
        waive(marks=[wrong], reason="  ", by=lead)
    with pytest.raises(Refused, match="nothing to waive"):
        waive(marks=[right], reason="so", by=lead)
    waive(marks=[wrong], reason="so", by=lead)
    with pytest.raises(Refused, match="nothing to waive"):
        waive(marks=[wrong], reason="so", by=lead)
    waiver = Waiver.objects.get()
    remove_waiver(waiver=waiver, by=lead)
    with pytest.raises(Refused):
        remove_waiver(waiver=waiver, by=lead)
    assert counts(series) == (1, 0)


def test_a_run_is_waived_exactly_as_it_was_shown(
    series: Series, part: Any, issues: list[Any], lead_client: Client, wrong: Mark
) -> None:
    """In disguise on pages 5 to 9 of an issue."""
    for page in ("4", "7", "9", "10"):
        make_mark(make_guide(issues[0], page=page), "Y", part=part)
    page = reverse("waive-run", args=[series.slug]) + "?issue=1&first_page=5&last_page=9"
    text = lead_client.get(page).content.decode()
    assert "Waive 3 flags" in text
    token = re.search(r'name="shown" value="(\w+)"', text)
    assert token
    make_mark(make_guide(issues[0], page="8"), "B", part=part)
    answers = {"shown": token[1], "reason": "in disguise"}
    response = lead_client.post(page, answers)
    assert response.status_code == 422
    assert "moved meanwhile" in response.content.decode()
    assert "in disguise" in response.content.decode()
    token = re.search(r'name="shown" value="(\w+)"', response.content.decode())
    assert token
    assert lead_client.post(page, answers | {"shown": token[1]}).status_code == 302
    assert counts(series) == (2, 4)
    listed = lead_client.get(reverse("flags", args=[series.slug])).content.decode()
    assert "2 flags" in listed
    assert "4 waived" in listed


def test_waiving_and_taking_back_from_the_mark(series: Series, wrong: Mark, lead_client: Client) -> None:
    page = reverse("waive-mark", args=[series.slug, wrong.pk])
    assert fill_in(lead_client, page, reason="").status_code == 422
    assert fill_in(lead_client, page, reason="a flashback").status_code == 302
    panel = lead_client.get(wrong.get_absolute_url()).content.decode()
    assert "a flashback" in panel
    answer = form_of(lead_client.get(wrong.get_absolute_url()), says="Take the waiver back").press(lead_client)
    assert answer.status_code == 422
    assert "1 flag would open" in text_of(answer)
    assert counts(series) == (0, 1), "shown, not saved"
    assert agree(lead_client, answer).status_code == 302
    assert counts(series) == (1, 0)


def test_taking_a_waiver_back_names_the_sign_off_that_falls(
    series: Series, wrong: Mark, lead: Any, lead_client: Client
) -> None:
    (waiver,) = waive(marks=[wrong], reason="in disguise", by=lead)
    issue = wrong.guide.issue
    sign_off(issue=issue, by=make_member(series, "editor"), words="as agreed")
    answer = form_of(lead_client.get(wrong.get_absolute_url()), says="Take the waiver back").press(lead_client)
    assert "Saving opens 1 signed-off issue again" in text_of(answer)
    issue.refresh_from_db()
    assert issue.signed_off_at
    remove_waiver(waiver=waiver, by=lead)
    late = form_of(answer, has="shown").press(lead_client)
    assert late.status_code == 302
    assert "does not hold any more" in text_of(lead_client.get(late["Location"]))


@pytest.mark.parametrize("moved", ["mark", "lock"])
def test_only_the_flag_that_was_shown_is_waived(
    series: Series, wrong: Mark, part: Any, lead: Any, lead_client: Client, moved: str
) -> None:
    """The form is open while somebody rewrites the mark, or decides that another code holds there."""
    page = reverse("waive-mark", args=[series.slug, wrong.pk])
    form = form_of(lead_client.get(page), has="reason")
    if moved == "mark":
        rewrite_mark(mark=wrong, written="B2", part=part, role="base", by=lead)
    else:
        correct_lock(lock=Lock.objects.get(), tint=series.read("R3"), written="R3", by=lead, reason="mistaken")
    answer = form.fill(reason="in disguise").press(lead_client)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "moved meanwhile" in text
    assert ("B2" if moved == "mark" else "R3") in text, "it shows what is there now"
    assert counts(series) == (1, 0)
    assert form_of(answer, has="reason").press(lead_client).status_code == 302, "what was typed is kept"
    assert counts(series) == (0, 1)
    assert Waiver.objects.get().reason == "in disguise"


def test_a_form_that_showed_nothing_waives_nothing(series: Series, wrong: Mark, lead_client: Client) -> None:
    page = reverse("waive-mark", args=[series.slug, wrong.pk])
    assert lead_client.post(page, {"reason": "so"}).status_code == 422
    assert counts(series) == (1, 0)


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_a_flag_that_moves_while_it_is_being_waived(series: Series, wrong: Mark, part: Any, lead: Any) -> None:
    """The yes comes while somebody is rewriting the mark: it waits for that, and then looks once more."""
    seen = flags_token([fresh(wrong)])

    def waive_it() -> None:
        try:
            waive(marks=[wrong], reason="in disguise", by=lead, seen=seen)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            rewrite_mark(mark=wrong, written="B2", part=part, role="base", by=lead)
            waiting = pool.submit(waive_it)
            with pytest.raises(TimeoutError):
                waiting.result(0.5)
        with pytest.raises(FlagsMoved):
            waiting.result(20)
    assert counts(series) == (1, 0)
