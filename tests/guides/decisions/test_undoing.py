"""Undoing a decision about a lock, as the subject's history and the list of what happened offer it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.locks.afresh import lock_histories
from bible.locks.services import correct_lock, end_lock, lock_rule
from bible.locks.undoing import decision_of, undo_decision, why_not_undone
from bible.models import Activity, ActivityKind, Issue, Lock, Series
from bible.series.refusals import Refused
from guides.core.fingerprint import broken
from guides.models import IssueStep, Mark
from guides.signoff.services import reopen
from tests.factories import make_guide, make_mark, make_part
from tests.forms import form_of, link_of, text_of
from tests.guides.decisions.undoing import Bible
from tests.shown import agree

pytestmark = pytest.mark.django_db


@pytest.fixture
def bible(series: Series, lead: Any) -> Bible:
    return Bible(series, lead)


def test_the_way_back_from_the_subjects_history(bible: Bible, lead_client: Client) -> None:
    """Locked by mistake from the first issue on: its sign-off falls. Undone, all stands as it did, the sign-off too."""
    before = bible.said()
    bible.lock("B2", 0)
    first = Issue.objects.get(pk=bible.issues[0].pk)
    assert not first.signed_off_at
    assert Mark.objects.filter(series=bible.series).open().count() == 3
    subject = bible.part.costume.subject.get_absolute_url()
    page = lead_client.get(link_of(lead_client.get(subject), "Undo this decision"))
    if "1 sign-off" not in text_of(page):  # the history begins with the oldest row; both lead to the same decision
        pytest.fail(text_of(page))
    assert "3 would close" in text_of(page)
    assert "as ever" in text_of(page), "what would stand again, with its reason"
    assert form_of(page, has="reason").fill(reason="the wrong coat").press(lead_client).status_code == 302
    assert bible.said() == before
    assert Mark.objects.filter(series=bible.series).open().count() == 0
    first.refresh_from_db()
    assert first.signed_off_at == IssueStep.objects.filter(issue=first).signings().get().at
    steps = IssueStep.objects.filter(issue=first).order_by("pk").values_list("kind", flat=True)
    assert list(steps) == ["signed-off", "reopened", "stands"]
    done = Activity.objects.newest_first().values_list("kind", flat=True)
    assert {ActivityKind.UNDONE.value, ActivityKind.STANDS_AGAIN.value} <= set(done[:2])
    history = text_of(lead_client.get(subject))
    assert "the wrong coat" in history
    assert "holds again" in history
    assert "signed off again by itself" in text_of(
        lead_client.get(reverse("issue-check", args=[bible.series.slug, first.pk]))
    )
    assert broken(bible.series) == []


def test_from_the_list_of_what_happened(bible: Bible, lead_client: Client, fill_in_client: Client) -> None:
    before = bible.said()
    bible.lock("B2", 1)
    activity = reverse("activity", args=[bible.series.slug])
    page = lead_client.get(link_of(lead_client.get(activity), "Undo this decision"))
    assert form_of(page, has="reason").press(lead_client).status_code == 302
    assert bible.said() == before
    assert "undid a decision about" in text_of(lead_client.get(activity))
    assert "Undo this decision" not in text_of(fill_in_client.get(activity))


def test_each_sort_of_decision_and_what_follows_it_by_rule(bible: Bible) -> None:
    shade = Shift((Step(Op.ADD, "c", 25),))
    lock_rule(part=bible.part, role="shade", rule=shade, from_position=0, by=bible.lead)
    before = bible.said()
    bible.lock("B2", 1, to_position=bible.issues[2].position)
    assert len(bible.said()) > len(before)
    bible.undo()
    assert bible.said() == before
    base = Lock.objects.filter(series=bible.series, role="base").standing().get()
    correct_lock(lock=base, tint=bible.series.read("R"), written="R", by=bible.lead, reason="misread")
    bible.undo()
    assert bible.said() == before
    base = Lock.objects.filter(series=bible.series, role="base").standing().get()
    end_lock(lock=base, at_position=bible.issues[1].position, by=bible.lead, reason="over")
    base.refresh_from_db()
    bible.undo(base)
    assert bible.said() == before


def test_two_decisions_are_undone_one_after_the_other(bible: Bible) -> None:
    zero = bible.said()
    one_lock = bible.lock("B2", 1)
    one = bible.said()
    bible.lock("R", 1)
    bible.undo()
    assert bible.said() == one
    one_lock.refresh_from_db()
    again = Lock.objects.get(follows=one_lock, restored=True)
    bible.undo(again)
    assert bible.said() == zero


def test_what_later_decisions_stand_on_is_not_undone(bible: Bible, lead_client: Client) -> None:
    """Undone by the row it left standing, while another of its rows has been decided on since."""
    bible.lock("B2", 1, to_position=bible.issues[2].position)
    left = Lock.objects.filter(series=bible.series, to_position=bible.issues[1].position).standing().get()
    bible.lock("R", 1, reason="a third coat", to_position=bible.issues[2].position)
    before = bible.said()
    page = lead_client.get(reverse("undo-lock", args=[bible.series.slug, left.pk]))
    assert "a third coat" in text_of(page)
    assert "Undo the later decision first" in text_of(page)
    with pytest.raises(Refused, match="later decision"):
        undo_decision(lock=left, by=bible.lead)
    assert bible.said() == before


def test_what_was_ended_and_locked_anew_meanwhile(bible: Bible) -> None:
    end_lock(lock=bible.old, at_position=bible.issues[1].position, by=bible.lead, reason="over")
    bible.lock("B2", 2)
    bible.old.refresh_from_db()
    assert "B2" in why_not_undone(decision_of(bible.old))
    with pytest.raises(Refused, match="cannot stand there again"):
        undo_decision(lock=bible.old, by=bible.lead)


def test_what_was_undone_is_not_undone_twice(bible: Bible, lead_client: Client) -> None:
    new = bible.lock("B2", 1)
    form = form_of(lead_client.get(reverse("undo-lock", args=[bible.series.slug, new.pk])), has="reason")
    bible.undo()
    assert "Somebody has decided here meanwhile" in text_of(form.press(lead_client)), "the other tab"
    new.refresh_from_db()
    with pytest.raises(Refused, match="cannot stand there again"):
        undo_decision(lock=new, by=bible.lead)
    bible.old.refresh_from_db()
    with pytest.raises(Refused, match="has been undone already"):
        undo_decision(lock=bible.old, by=bible.lead)


@pytest.fixture
def at_once(series: Series, lead: Any) -> list[Any]:
    """Three parts whose base and shade were locked in one moment, as a table or a whole past locks them."""
    parts = [make_part(series) for _ in range(3)]
    roles = ("base", "shade")
    histories: dict[Any, Any] = {(part.pk, role): [(0, None, series.read("YR"))] for part in parts for role in roles}
    lock_histories(series=series, histories=histories, by=lead, reason="from the guides")
    return parts


def stands(part: Any) -> set[str]:
    return set(Lock.objects.filter(part=part).standing().values_list("role", flat=True))


def test_of_many_codes_locked_at_once_the_one_that_was_clicked_is_undone(at_once: list[Any], lead: Any) -> None:
    undo_decision(lock=Lock.objects.get(part=at_once[1], role="base"), by=lead)
    assert [stands(part) for part in at_once] == [{"base", "shade"}, {"shade"}, {"base", "shade"}]
    undo_decision(lock=Lock.objects.get(part=at_once[2], role="shade"), by=lead)
    assert [stands(part) for part in at_once] == [{"base", "shade"}, {"shade"}, {"base"}]


def test_all_that_was_decided_at_once_is_undone_where_that_is_asked(at_once: list[Any], lead: Any) -> None:
    undo_decision(lock=Lock.objects.filter(part=at_once[0])[0], by=lead, together=True)
    assert not Lock.objects.standing().exists()
    assert Lock.objects.count() == 6


def test_undoing_all_at_once_leaves_what_was_decided_on_since(series: Series, at_once: list[Any], lead: Any) -> None:
    base = Lock.objects.get(part=at_once[0], role="base")
    correct_lock(lock=base, tint=series.read("B2"), written="B2", by=lead, reason="misread")
    decided = undo_decision(lock=Lock.objects.get(part=at_once[1], role="base"), by=lead, together=True)
    assert (decided.codes, decided.kept) == (5, 1)
    assert Lock.objects.standing().get().written == "B2"
    base.refresh_from_db()
    undo_decision(lock=base, by=lead)
    assert Lock.objects.standing().get().written == "YR"


def test_a_base_that_was_undone_alone_takes_what_follows_it_by_rule_along(series: Series, lead: Any) -> None:
    part, other = make_part(series), make_part(series)
    histories: dict[Any, Any] = {(one.pk, "base"): [(0, None, series.read("YR"))] for one in (part, other)}
    lock_histories(series=series, histories=histories, by=lead, reason="from the guides")
    lock_rule(part=part, role="shade", rule=Shift((Step(Op.ADD, "c", 25),)), from_position=0, by=lead)
    undo_decision(lock=Lock.objects.standing().get(part=part, role="base"), by=lead)
    assert (stands(part), stands(other)) == (set(), {"base"})


def test_the_page_offers_the_one_that_was_clicked_first(
    series: Series, at_once: list[Any], lead_client: Client
) -> None:
    part = at_once[1]
    page = lead_client.get(link_of(lead_client.get(part.costume.subject.get_absolute_url()), "Undo this decision"))
    said = text_of(page)
    assert "6 codes were decided at once" in said
    assert "1 lock " in said
    all_of_them = lead_client.get(link_of(page, "Look at undoing all 6"))
    assert "All 6 codes that were decided at once would be undone together" in text_of(all_of_them)
    one = lead_client.get(link_of(all_of_them, f"Undo only the one of {part.full_name}"))
    assert form_of(one, has="reason").press(lead_client).status_code == 302
    assert Lock.objects.standing().count() == 5
    again = lead_client.get(
        link_of(lead_client.get(at_once[0].costume.subject.get_absolute_url()), "Undo this decision")
    )
    all_of_them = lead_client.get(link_of(again, "Look at undoing all 5"))
    assert "1 more has been decided on since and stays as it is" in text_of(all_of_them)
    assert form_of(all_of_them, has="reason").press(lead_client).status_code == 302
    assert not Lock.objects.standing().exists()


def test_what_is_undone_is_what_was_shown(bible: Bible, lead_client: Client) -> None:
    """A mark comes in between the look and the yes: the consequences are others, so they are shown again."""
    bible.lock("B2", 1)
    page = reverse("undo-lock", args=[bible.series.slug, bible.newest.pk])
    form = form_of(lead_client.get(page), has="reason")
    make_mark(make_guide(bible.issues[2], page="9", by=bible.lead), "B2", part=bible.part, by=bible.lead)
    answer = form.press(lead_client)
    assert answer.status_code == 422
    assert "moved meanwhile" in text_of(answer)
    assert bible.newest.written == "B2"
    assert agree(lead_client, answer).status_code == 302
    assert bible.newest.written == "YR"


def test_a_decision_that_was_replaced_after_the_look(bible: Bible, lead_client: Client) -> None:
    lock = bible.lock("B2", 1)
    form = form_of(lead_client.get(reverse("undo-lock", args=[bible.series.slug, lock.pk])), has="reason")
    bible.lock("R", 1)
    before = bible.said()
    assert form.press(lead_client).status_code == 422
    assert bible.said() == before


def test_what_somebody_opened_by_hand_stays_open(bible: Bible) -> None:
    first = bible.issues[0]
    reopen(issue=first, by=bible.editor, words="page 3 is missing")
    bible.lock("B2", 0)
    bible.undo()
    first.refresh_from_db()
    assert not first.signed_off_at


def test_a_sign_off_stands_again_only_if_all_is_as_it_was_signed(bible: Bible) -> None:
    bible.lock("B2", 0)
    mark = Mark.objects.filter(guide__issue=bible.issues[0]).get()
    make_mark(mark.guide, "Y", part=None, by=bible.lead)
    bible.undo()
    bible.issues[0].refresh_from_db()
    assert not bible.issues[0].signed_off_at
