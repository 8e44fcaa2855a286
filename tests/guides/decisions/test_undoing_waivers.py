"""What stands again, and what is shown before, where a decision is undone: waivers, costumes, sign-offs."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Issue, Lock, Series
from guides.core import continuity
from guides.core.fingerprint import broken
from guides.core.services import rewrite_mark
from guides.core.waivers import remove_waiver, waive
from guides.models import Mark, Waiver
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_mark, make_part
from tests.forms import form_of, text_of
from tests.guides.decisions.undoing import Bible
from tests.shown import agree, fill_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def bible(series: Series, lead: Any) -> Bible:
    return Bible(series, lead)


class TestWaivers:
    """A flag that may stand in the second issue, which is signed off with it."""

    @pytest.fixture
    def odd(self, bible: Bible) -> Mark:
        mark = make_mark(make_guide(bible.issues[1], page="9", by=bible.lead), "Y", part=bible.part, by=bible.lead)
        waive(marks=[mark], reason="in disguise", by=bible.first)
        sign_off(issue=bible.issues[1], by=bible.editor, words="as agreed")
        return mark

    def said(self, mark: Mark) -> list[tuple[Any, ...]]:
        rows = Waiver.objects.filter(mark=mark, died_at=None)
        return list(rows.values_list("part", "role", "tint", "expected", "reason", "waived_by", "waived_at"))

    def test_one_that_the_decision_killed_lives_again(self, bible: Bible, odd: Mark, lead_client: Client) -> None:
        before = self.said(odd)
        bible.lock("B2", 0)
        assert self.said(odd) == []
        page = lead_client.get(reverse("undo-lock", args=[bible.series.slug, bible.newest.pk]))
        assert "0 flags would open, 4 would close" in text_of(page)
        assert "2 sign-offs stand again" in text_of(page)
        assert form_of(page, has="reason").press(lead_client).status_code == 302
        assert self.said(odd) == before
        assert Waiver.objects.filter(mark=odd).count() == 2, "that it was dead for a time stays on record"
        assert not Mark.objects.filter(series=bible.series).open().exists()
        assert bible.series.issues.signed_off().count() == 2
        assert continuity.discrepancies(bible.series) == []
        assert broken(bible.series) == []
        told = text_of(lead_client.get(reverse("activity", args=[bible.series.slug])))
        assert "a waiver: it holds again" in told

    def test_one_that_a_costumes_time_killed_lives_again(self, bible: Bible, odd: Mark, lead_client: Client) -> None:
        """Out of use in the second issue by mistake; put right on the costume's own page."""
        before, costume = self.said(odd), bible.part.costume
        page = reverse("edit-costume", args=[bible.series.slug, costume.pk])
        for last in (bible.issues[0].number, ""):
            form = form_of(lead_client.get(page), has="to_issue").fill(to_issue=last)
            assert agree(lead_client, form.press(lead_client)).status_code == 302
            assert bool(self.said(odd)) != bool(last)
        assert self.said(odd) == before
        assert bible.series.issues.signed_off().count() == 2
        assert continuity.discrepancies(bible.series) == []

    def test_through_two_decisions_undone_one_after_the_other(self, bible: Bible, odd: Mark) -> None:
        before = self.said(odd)
        one = bible.lock("B2", 0)
        bible.lock("R", 0)
        bible.undo()
        assert self.said(odd) == []
        bible.undo(Lock.objects.get(follows=one, restored=True))
        assert self.said(odd) == before

    def test_one_of_a_mark_that_says_something_else_now_stays_dead(self, bible: Bible, odd: Mark) -> None:
        bible.lock("B2", 0)
        rewrite_mark(mark=odd, written="R", part=bible.part, role="base", by=bible.lead)
        bible.undo()
        assert self.said(odd) == []

    def test_one_that_the_mark_killed_stays_dead(self, bible: Bible, odd: Mark) -> None:
        """The decision is about another issue; the code was rewritten there and back after it."""
        bible.lock("B2", 2)
        for code in ("R", "Y"):
            rewrite_mark(mark=odd, written=code, part=bible.part, role="base", by=bible.lead)
        bible.undo()
        assert self.said(odd) == []

    def test_one_that_was_given_for_the_new_code_makes_way(self, bible: Bible, odd: Mark) -> None:
        before = self.said(odd)
        bible.lock("B2", 0)
        waive(marks=[odd], reason="still in disguise", by=bible.lead)
        bible.undo()
        assert self.said(odd) == before

    def test_one_that_was_taken_back_stays_so(self, bible: Bible, odd: Mark) -> None:
        remove_waiver(waiver=Waiver.objects.get(mark=odd), by=bible.lead)
        bible.lock("B2", 0)
        bible.undo()
        assert self.said(odd) == []


def test_a_costumes_time_is_shown_before_it_is_saved(bible: Bible, lead_client: Client) -> None:
    """From the second issue on: the mark of the first is out of its time, and the sign-off there would fall."""
    page = reverse("edit-costume", args=[bible.series.slug, bible.part.costume_id])
    answer = fill_in(lead_client, page, from_issue=bible.issues[1].number)
    assert answer.status_code == 422
    said = text_of(answer)
    assert "1 flag would open" in said
    assert "Saving opens 1 signed-off issue again" in said
    bible.issues[0].refresh_from_db()
    assert bible.issues[0].signed_off_at
    assert not Mark.objects.filter(series=bible.series).open().exists()
    assert agree(lead_client, answer).status_code == 302
    bible.issues[0].refresh_from_db()
    assert not bible.issues[0].signed_off_at
    back = fill_in(lead_client, page, from_issue="")
    assert "stands again" in text_of(back)
    assert agree(lead_client, back).status_code == 302
    bible.issues[0].refresh_from_db()
    assert bible.issues[0].signed_off_at
    assert broken(bible.series) == []


def test_a_costumes_name_alone_has_no_consequences(bible: Bible, lead_client: Client) -> None:
    page = reverse("edit-costume", args=[bible.series.slug, bible.part.costume_id])
    assert fill_in(lead_client, page, name="Sunday coat").status_code == 302


def test_settling_names_the_sign_offs_that_fall(bible: Bible, lead_client: Client) -> None:
    cap = make_part(bible.series, costume=bible.part.costume)
    guide = Mark.objects.filter(guide__issue=bible.issues[0]).get().guide
    for number in range(4):
        make_mark(guide, "B2", part=cap, by=bible.lead, x=0.1 * number)
    sign_off(issue=Issue.objects.get(pk=bible.issues[0].pk), by=bible.editor, words="no lock yet")
    page = reverse("settle-subject", args=[bible.series.slug, bible.part.costume.subject_id])
    opened = lead_client.get(page)
    form = form_of(opened, says="Lock what is ticked")
    answer = form.fill(part=form.choices("part")).press(lead_client)
    assert answer.status_code == 422
    assert "Saving opens 1 signed-off issue again" in text_of(answer)
    assert not Lock.objects.filter(part=cap).exists()
    everything = lead_client.get(reverse("settle", args=[bible.series.slug]))
    told = text_of(form_of(everything, says="Lock all clear cases").press(lead_client))
    assert not Lock.objects.filter(part=cap).exists(), told
    assert agree(lead_client, answer).status_code == 302
    assert Lock.objects.filter(part=cap).exists()
