"""A form is open, somebody archives what it is about, and it is sent: nothing is saved, and the answer says who
archived what, and how it comes back."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.colour.shifts import Op, Shift, Step
from bible.locks.afresh import lock_afresh
from bible.locks.costume_codes import CodeToBe, lock_costume
from bible.locks.services import LockToBe, correct_lock, end_lock, lock_rule, lock_tint
from bible.locks.undoing import undo_decision
from bible.models import Lock, Part, Proposal, Series
from bible.series.refusals import Refused
from bible.subjects.services import archive
from guides.core.services import place_mark
from guides.decisions.settle import settle_all, subjects_to_settle
from guides.found.services import CodeAnswer, take_codes
from guides.models import FoundCode, Guide, Mark
from tests.factories import make_edition, make_found, make_guide, make_issue, make_lock, make_member, make_part
from tests.forms import form_of, text_of

pytestmark = pytest.mark.django_db

SAYS = r"^Other-lead archived .* on \d+ \w+ \d{4}\. A lead brings it back on the page “Archived”"


@pytest.fixture
def other(series: Series) -> Any:
    return make_member(series, "lead", username="other-lead", first_name="Other-lead")


@pytest.fixture
def part(series: Series, lead: Any) -> Part:
    make_issue(series)
    part = make_part(series, name="hair")
    make_lock(part, "YR", by=lead)
    return part


def things(part: Part) -> dict[str, Any]:
    return {"part": part, "costume": part.costume, "subject": part.costume.subject}


def ways(series: Series, part: Part, lead: Any) -> dict[str, Any]:
    """Every way in which something is locked anew."""
    said: dict[str, Any] = {"tint": series.read("B"), "written": "B", "from_position": 0, "by": lead}
    to_be = LockToBe(part.pk, "highlight", series.read("B"), "B", 0, None, "")
    rule = Shift((Step(Op.ADD, "c", 25),))
    return {
        "by hand": lambda part: lock_tint(part=part, role="base", **said),
        "edition": lambda part: lock_tint(part=part, role="base", edition=make_edition(series), **said),
        "rule": lambda part: lock_rule(part=part, role="shade", rule=rule, from_position=0, by=lead),
        "afresh": lambda part: lock_afresh(series=series, decisions=[to_be], by=lead),
        "table": lambda part: lock_costume(
            costume=part.costume, names=["hair"], codes=[CodeToBe("hair", "base", series.read("B"), "B")],
            from_position=0, to_position=None, by=lead,
        ),
        "a new part of it": lambda part: lock_costume(
            costume=part.costume, names=["hair", "belt"], codes=[], from_position=0, to_position=None, by=lead
        ),
    }  # fmt: skip


@pytest.mark.parametrize("above", ["part", "costume", "subject"])
@pytest.mark.parametrize("way", ["by hand", "edition", "rule", "afresh", "table", "a new part of it"])
def test_nothing_is_locked_for_what_was_archived(
    series: Series, part: Part, lead: Any, other: Any, above: str, way: str
) -> None:
    archive(row=things(Part.objects.get(pk=part.pk))[above], by=other)
    with pytest.raises(Refused, match=SAYS):
        ways(series, Part.objects.get(pk=part.pk), lead)[way](part)
    assert Lock.every_printing.filter(series=series).count() == 1
    assert Part.objects.filter(costume__subject__series=series).count() == 1
    archive(row=things(Part.objects.get(pk=part.pk))[above], archived=False, by=other)
    ways(series, part, lead)[way](Part.objects.get(pk=part.pk))


def test_what_is_locked_already_is_still_put_right(series: Series, part: Part, lead: Any, other: Any) -> None:
    lock = Lock.objects.get(part=part)
    archive(row=part, by=other)
    corrected = correct_lock(lock=lock, tint=series.read("R"), written="R", by=lead, reason="Misread.")
    undo_decision(lock=corrected, by=lead)
    (stands,) = Lock.objects.of(part.pk, "base").standing()
    assert stands.written == "YR"
    end_lock(lock=stands, at_position=0, by=lead, reason="Never so.")
    assert not Lock.objects.of(part.pk, "base").standing()


def test_the_lock_form_says_who_archived_it_and_keeps_what_was_typed(
    series: Series, part: Part, lead_client: Client, other: Any
) -> None:
    form = form_of(lead_client.get(reverse("lock", args=[series.slug, part.pk])), has="code")
    archive(row=part.costume, by=other)
    sent = form.fill(code="B", from_issue=series.issues.get().number).press(lead_client, "Lock")
    assert sent.status_code == 422
    assert f"Other-lead archived {part.costume.subject}, {part.costume.name} on" in text_of(sent)
    assert 'value="B"' in sent.content.decode()
    assert Lock.objects.get(series=series).written == "YR"


def test_a_proposal_is_not_sent_nor_taken_for_it(
    series: Series, part: Part, lead_client: Client, fill_in_client: Client, other: Any
) -> None:
    page = reverse("propose", args=[series.slug, part.pk])
    form = form_of(fill_in_client.get(page), has="code").fill(code="B", from_issue=series.issues.get().number)
    form.press(fill_in_client)
    waiting = Proposal.objects.get()
    taken = form_of(
        lead_client.get(f"{reverse('lock', args=[series.slug, part.pk])}?proposal={waiting.pk}"), has="code"
    )
    archive(row=part, by=other)
    for sent in (form.fill(code="R").press(fill_in_client), taken.press(lead_client, "Lock")):
        assert sent.status_code == 422
        assert f"Other-lead archived {part.full_name}" in text_of(sent)
    assert Proposal.objects.get().state == "waiting"
    assert Lock.objects.get(series=series).written == "YR"


def test_a_mark_sent_for_it_says_so_and_offers_no_new_part_of_its_name(
    series: Series, part: Part, lead: Any, lead_client: Client, other: Any
) -> None:
    guide = make_guide(series.issues.get(), by=lead)
    archive(row=part, by=other)
    said = {"x": "0.5", "y": "0.5", "written": "Y", "role": "base", "part": part.full_name}
    sent = lead_client.post(reverse("new-mark", args=[series.slug, guide.pk]), said)
    assert sent.status_code == 422
    assert f"Other-lead archived {part.full_name}" in text_of(sent)
    assert "Make “" not in text_of(sent)
    assert not Mark.objects.exists()


def test_a_found_code_of_it_waits(series: Series, part: Part, lead: Any, lead_client: Client, other: Any) -> None:
    guide = Guide.objects.get(pk=make_guide(series.issues.get(), by=lead).pk)
    found = make_found(guide, part=part)
    archive(row=part, by=other)
    answer = reverse("answer-code", args=[series.slug, found.pk])
    sent = lead_client.post(answer, {"saying": f"{part.pk}|base|YR3B2"}, headers={"HX-Request": "true"})
    assert sent.status_code == 422
    assert f"Other-lead archived {part.full_name}" in text_of(sent)
    row = FoundCode.objects.select_related("guide__series", "part").get()
    with pytest.raises(Refused, match=SAYS):
        take_codes(guide=guide, answers=[CodeAnswer.as_read(row)], by=lead)
    assert not Mark.objects.exists()


def test_old_pages_speak_for_no_archived_part(series: Series, lead: Any, other: Any) -> None:
    part = make_part(series)
    guide = make_guide(make_issue(series), by=lead)
    place_mark(guide=guide, x=0.5, y=0.5, written="Y", part=part, role="base", by=lead)
    assert [len(found) for _, found in settle_all(series, subjects_to_settle(series))] == [1]
    archive(row=part.costume, by=other)
    assert subjects_to_settle(series) == []
