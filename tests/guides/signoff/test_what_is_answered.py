"""What the way out answers, figure by figure and cell by cell: whoever signs goes by it."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Activity, Issue, Proposal, Series
from bible.models.naming import name_of
from bible.series.refusals import Refused
from guides.core.kept import changes_since, rows_now, rows_of, scans_changed
from guides.core.services import delete_mark, move_mark, rewrite_mark
from guides.core.waivers import waive
from guides.models import FlagKind, IssueStep, Mark, ProofVerdict
from guides.signoff.forms import PagesForm, WordsForm
from guides.signoff.queries import LOOK_BACK, opened_again, points, points_of
from guides.signoff.services import put_in_check, reopen, set_pages, sign_off, why_not, withdraw
from tests.factories import (
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_proof,
    make_reading,
    make_revision,
    make_series,
)  # fmt: skip
from tests.pages import client_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def editor(series: Series) -> Any:
    return make_member(series, "editor", username="ed")


class Room:
    """Five issues; the last has a page 2 with a mark that differs, one waived, one unread and a fade."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead = series, lead
        self.issues = make_issues(series, 5)
        self.issue = self.issues[-1]
        self.coat = make_part(series, name="coat")
        make_lock(self.coat, "YR3B2", by=lead)
        self.guide = make_guide(self.issue, page="2", by=lead)
        make_mark(self.guide, "YR", part=self.coat)
        waive(marks=[make_mark(self.guide, "Y", part=self.coat)], reason="so", by=lead)
        make_mark(self.guide, "scrawl")
        make_mark(self.guide, "YR3B2", part=self.coat, to_written="Y2", to=(0.5, 0.9))

    @property
    def points(self) -> Any:
        return points_of(self.series, Issue.objects.get(pk=self.issue.pk))


@pytest.fixture
def room(series: Series, lead: Any) -> Room:
    return Room(series, lead)


def test_an_issue_without_anything_has_one_thing_open(series: Series) -> None:
    (issue,) = make_issues(series, 1)
    found = points_of(series, issue)
    assert (found.open, found.guides, found.marks, found.unread_elsewhere) == (1, 0, 0, 0)
    assert (found.missing, found.beyond, found.missing_pages, found.pages_beyond) == ((), (), "", "")
    assert found.pages_expected is None
    assert points(series, []) == []


def test_points_are_facts_and_a_token_of_them(room: Room) -> None:
    found = room.points
    assert found.facts() == {
        "guides": 1, "marks": 4, "flags": {"differs": 1, "fades": 1}, "waived": 1, "unread": 1, "pages_expected": None,
        "missing": "1", "beyond": "", "unmarked": [], "bare": [], "proposals": 0, "undecided": 0,
    }  # fmt: skip
    assert (found.open_flags, found.unread_elsewhere, found.open) == (2, 1, 4)
    assert found.token("a") == room.points.token("a") != found.token("b")
    make_guide(room.issue, page="3", by=room.lead)
    assert room.points.token("a") != found.token("a")
    assert [guide.page for guide in room.points.bare] == ["3"]


@pytest.mark.parametrize(
    ("own", "usual", "missing", "beyond"),
    [(None, None, "1", ""), (None, 2, "1", ""), (None, 1, "1", "2"), (3, 1, "1, 3", ""), (1, 3, "1", "2"), (None, 4, "1, 3, 4", "")],
)  # fmt: skip
def test_pages_that_are_missing_and_that_nobody_expects(
    room: Room, own: int | None, usual: int | None, missing: str, beyond: str
) -> None:
    set_pages(issue=room.issue, own=own, usual=usual, by=room.lead)
    room.series.refresh_from_db()
    found = room.points
    assert found.pages_expected == (own or usual)
    assert (found.missing_pages, found.pages_beyond) == (missing, beyond)
    stored = Issue.objects.select_related("series").get(pk=room.issue.pk)
    assert (stored.own_pages, stored.series.usual_pages) == (own, usual)


def test_whom_one_would_expect_again_and_how_far_back(room: Room) -> None:
    far, near, often = (make_part(room.series, name=name) for name in "xyz")
    names = {part.costume.subject.name: part.name for part in (far, near, often)}
    for part, at in ((far, 0), (near, 1), (often, 2), (often, 3)):
        make_mark(make_guide(room.issues[at], by=room.lead), "Y", part=part)
    for at, part in ((-1, often), (3, make_part(room.series))):  # deleted again, here and before
        delete_mark(mark=make_mark(make_guide(room.issues[at], by=room.lead), "Y", part=part), by=room.lead)
    assert LOOK_BACK == 3
    told = [(names[one.subject.name], one.numbers, one.of) for one in room.points.unmarked]
    assert told == [("z", "4, 3", 3), ("y", "2", 3)]
    assert room.points.facts()["unmarked"] == [one.subject.name for one in room.points.unmarked]
    second = points_of(room.series, room.issues[1])
    assert [(names[one.subject.name], one.of) for one in second.unmarked] == [("x", 1)]


def test_proposals_for_an_issue_and_faults_nobody_decided_on(room: Room, fill_in: Any) -> None:
    at = room.issue.position

    def ask(start: int, end: int | None, **more: Any) -> Proposal:
        said: dict[str, Any] = {"part": room.coat, "tint": room.series.read("Y"), "written": "Y"} | more
        return Proposal.objects.create(
            series=room.series, from_position=start, to_position=end, proposed_by=fill_in, **said
        )

    due = [ask(0, None), ask(at, None), ask(0, at + 1)]
    ask(at + 1, None), ask(0, at), ask(0, None, role="shade"), ask(0, None, part=make_part(room.series))
    assert list(room.points.proposals) == due[::-1]
    proof = make_proof(room.guide, by=room.lead)
    make_reading(proof, Mark.objects.order_by("pk")[0])
    make_reading(proof, Mark.objects.order_by("pk")[1], verdict=ProofVerdict.AS_CALLED)
    assert (room.points.undecided, room.points.open) == (1, 4 + 3 + 1)


# --- steps ----------------------------------------------------------------------------------------------------------


def test_each_step_keeps_who_when_and_why(room: Room, editor: Any, fill_in: Any) -> None:
    issue, before = room.issue, timezone.now()
    steps = [
        put_in_check(issue=issue, by=fill_in, words=" all in "), withdraw(issue=issue, by=fill_in, words="not yet"),
        sign_off(issue=issue, by=editor, words=" known "),
    ]  # fmt: skip
    reopen(issue=issue, by=editor, words="once more")
    told = [(one.kind, one.by, one.words, one.series, one.issue) for one in IssueStep.objects.order_by("pk")]
    assert told == [
        ("in-check", fill_in, "all in", room.series, issue), ("taken-back", fill_in, "not yet", room.series, issue),
        ("signed-off", editor, "known", room.series, issue), ("reopened", editor, "once more", room.series, issue),
    ]  # fmt: skip
    assert all(before <= one.at <= timezone.now() for one in IssueStep.objects.all())
    assert [str(one) for one in steps] == [
        f"{issue} {words}" for words in ("put in check", "taken back from check", "signed off")
    ]
    newest = list(issue.steps.newest_first())
    assert [one.kind for one in newest] == ["reopened", "signed-off", "taken-back", "in-check"]
    assert [one.kind for one in issue.steps.all()] == [one.kind for one in newest[::-1]]
    (signing,) = issue.steps.signings()
    assert signing == steps[2]
    assert str(signing.state) == f"{signing}: 4 marks"
    assert IssueStep.objects.exclude(pk=signing.pk).filter(facts={}).count() == 3
    assert newest[0].fingerprint == "", "opened by hand it does not stand again by itself"
    issue.refresh_from_db()
    assert (issue.signed_off_at, bool(issue.in_check_at)) == (None, True)
    deeds = Activity.objects.filter(issue=issue, words__name=issue.number).order_by("pk")
    assert [one.words.get("reason", "") for one in deeds] == ["all in", "not yet", "known", "once more"]


def test_who_may_sign_and_who_does(series: Series, lead: Any, fill_in: Any) -> None:
    def said(user: Any) -> str:
        return why_not(series, series.memberships.get(user=user))

    assert (said(lead), said(fill_in)) == ("", "Only an editor may sign an issue off.")
    editors = [make_member(series, "editor", username=name) for name in ("ed", "eve")]
    assert [said(one) for one in editors] == ["", ""]
    for one in (lead, fill_in):
        assert said(one) in ("The editor signs an issue off: ed, eve.", "The editor signs an issue off: eve, ed.")


def test_in_check_means_so_and_not_otherwise(room: Room, editor: Any) -> None:
    sign_off(issue=room.issue, by=editor, words="known")
    for deed, words in ((put_in_check, "is signed off already"), (withdraw, "is signed off, not in check")):
        with pytest.raises(Refused, match=f"Issue 5 {words}"):
            deed(issue=room.issue, by=editor)
    set_pages(issue=room.issue, own=None, usual=30, by=editor)
    room.issue.refresh_from_db()
    assert room.issue.signed_off_at
    set_pages(issue=room.issue, own=8, usual=30, by=editor)
    reopened = room.issue.steps.newest_first()[0]
    assert (reopened.words, reopened.by) == ("number of pages is 8 now", editor)


# --- what was signed, and what it is now ----------------------------------------------------------------------------


def test_a_signed_row_says_all_of_a_mark(room: Room, editor: Any) -> None:
    make_revision(make_guide(room.issue, page="3", by=room.lead))
    step = sign_off(issue=room.issue, by=editor, words="known")
    subject, look = room.coat.costume.subject.name, room.coat.costume.name
    ours = room.series.read("YR3B2").packed
    rows = list(rows_of(step.state).values())
    assert rows == list(rows_now(room.issue).values())
    assert list(rows[0].values()) == [
        "2", 1, 0.5, 0.5, "YR", "YR", room.series.read("YR").packed, "", None, "base", subject, look, "coat", "YR3B2",
        ours, False, None, None, -4,
    ]  # fmt: skip
    assert (rows[1]["waived"], rows[2]["tint"], rows[2]["code"]) == (True, -2, "")
    assert (rows[2]["subject"], rows[2]["part"], rows[2]["expected_code"]) == ("", "", "")
    assert (rows[3]["to_written"], rows[3]["to_tint"]) == ("Y2", room.series.read("Y2").packed)
    assert step.state.guides == [["2", 1, "0" * 64], ["3", 2, "0" * 64]], "scans that are current"


def test_each_way_in_which_a_mark_is_not_what_was_signed(room: Room, editor: Any, fill_in: Any) -> None:
    hat = make_part(room.series, name="hat")
    make_guide(room.issue, page="10", by=room.lead)
    step = sign_off(issue=room.issue, by=editor, words="known")
    first, waived, unread, fade = Mark.objects.order_by("number")
    move_mark(mark=first, x=0.1, y=0.1, by=fill_in)
    rewrite_mark(mark=waived, written="Y", part=hat, role="base", by=fill_in)
    rewrite_mark(mark=unread, written="b", part=None, role="base", by=fill_in)
    rewrite_mark(mark=fade, written="YR3B2", part=room.coat, role="base", to_written="Y3", by=fill_in)
    ten = make_mark(room.issue.guides.get(page="10"), "Y", by=room.lead)
    found = changes_since(step, step.state)
    assert [(one.page, one.mark, one.what, one.by, one.part.split(": ")[-1]) for one in found] == [
        ("2", 2, "part, what the bible says, waiver", "fill-in", "hat"), ("2", 3, "code", "fill-in", "background"),
        ("2", 4, "code", "fill-in", "coat"), ("10", 1, "new", "lead", "background"),
    ]  # fmt: skip
    assert [(one.was_code, one.now_code) for one in found] == [
        ("Y", "Y"), ("scrawl", "b"), ("YR3B2 > Y2", "YR3B2 > Y3"), ("", "Y"),
    ]  # fmt: skip
    assert [(one.was_odd, one.now_odd) for one in found] == [
        ("", ""), ("scrawl", "b"), ("YR3B2 > Y2", "YR3B2 > Y3"), ("", ""),
    ]  # fmt: skip
    assert (found[1].was_tint, found[1].now_tint) == (None, room.series.read("B"))
    assert (found[3].was_tint, found[3].was, found[3].at) == (None, None, ten.changed_at)
    assert found[0].part == f"{hat.costume.subject}, {hat.costume}: hat"
    make_lock(room.coat, "Y", by=fill_in)
    lock = Mark.objects.get(pk=first.pk).lock
    owed = changes_since(step, step.state)[0]
    assert lock
    assert (owed.mark, owed.what, owed.by, owed.at) == (1, "what the bible says", "fill-in", lock.decided_at)


def test_scans_that_are_others_new_or_gone(room: Room, editor: Any) -> None:
    make_guide(room.issue, page="10", by=room.lead)
    step = sign_off(issue=room.issue, by=editor, words="known")
    assert scans_changed(step, step.state) == []
    make_revision(room.guide)
    room.issue.guides.filter(page="10").update(is_current=False)
    make_guide(room.issue, page="9", by=room.lead)
    assert scans_changed(step, step.state) == ["2", "9", "10"]


def test_issues_that_were_opened_again_the_latest_first_and_not_too_many(room: Room, editor: Any) -> None:
    for issue in room.issues[:3]:
        for words in ("once", "twice"):
            sign_off(issue=issue, by=editor, words="so")
            reopen(issue=issue, by=editor, words=words)
    assert [(one.issue, one.words) for one in opened_again(room.series, 2)] == [
        (room.issues[2], "twice"), (room.issues[1], "twice"),
    ]  # fmt: skip
    Issue.objects.filter(pk=room.issues[2].pk).update(archived_at=timezone.now())
    sign_off(issue=room.issues[1], by=editor, words="so")
    assert [one.issue for one in opened_again(room.series, 5)] == [room.issues[0]]
    assert opened_again(make_series(), 5) == []


# --- pages and files ------------------------------------------------------------------------------------------------


def rows(client: Client, address: str, **asked: str) -> list[dict[str, Any]]:
    return list(json.loads(client.get(address, {"as": "json", **asked}).getvalue())["rows"])


def test_the_lists_of_the_way_out_cell_by_cell(room: Room, editor: Any, lead: Any) -> None:
    client, series = client_of(editor), room.series
    address = reverse("going-out", args=[series.slug])
    other = make_guide(room.issues[0], by=lead)
    make_guide(room.issues[0], by=lead), make_guide(room.issues[1], by=lead)
    make_revision(make_guide(room.issues[2], by=lead))
    Issue.objects.filter(pk=room.issues[1].pk).update(archived_at=timezone.now())
    assert [(one["issue"], one["published"]) for one in rows(client, address, list="open")] == [
        ("5", None), ("3", None), ("1", None),
    ]  # fmt: skip
    put_in_check(issue=room.issue, by=lead, words="look")
    put_in_check(issue=room.issues[0], by=lead)
    assert [one["issue"] for one in rows(client, address)] == ["1", "5"]
    row = rows(client, address)[1]
    at = row.pop("in_check_at")
    assert dt.datetime.fromisoformat(at).date() == timezone.now().date()
    assert row == {
        "issue": "5", "title": "", "guides": 1, "pages_expected": None, "marks": 4, "open": 4,
        **{f"flags_{kind.value.replace('-', '_')}": int(kind in (FlagKind.DIFFERS, FlagKind.FADES)) for kind in FlagKind},
        "waived": 1, "unreadable_besides": 1, "pages_missing": "1", "pages_not_expected": None,
        "pages_without_mark": None, "subjects_not_marked": None, "undecided_on_proofs": 0, "proposals_waiting": 0,
    }  # fmt: skip
    steps = rows(client, address, list="steps")
    assert [(one["issue"], one["step"], one["by"], one["words"]) for one in steps] == [
        ("1", "in-check", name_of(lead), ""), ("5", "in-check", name_of(lead), "look"),
    ]  # fmt: skip
    assert [one["issue"] for one in rows(client, address, list="open")] == ["3"]
    assert other.issue == room.issues[0]


def test_a_signing_and_what_moved_since_cell_by_cell(room: Room, editor: Any) -> None:
    step = sign_off(issue=room.issue, by=editor, words="known")
    client, address = client_of(editor), reverse("signed", args=[room.series.slug, step.pk])
    assert rows(client, address) == []
    kept = rows(client, address, list="signed")
    assert [one["written"] for one in kept] == ["YR", "Y", "scrawl", "YR3B2"]
    assert "tint" not in kept[0]
    assert (kept[1]["expected_code"], kept[1]["waived"], kept[3]["to_written"]) == ("YR3B2", True, "Y2")
    mark = Mark.objects.get(number=1)
    rewrite_mark(mark=mark, written="Y3", part=room.coat, role="base", by=room.lead)
    make_mark(room.guide, "B", by=room.lead)
    first, second = rows(client, address)
    assert first.pop("at")
    assert second.pop("at")
    subject, look = room.coat.costume.subject.name, room.coat.costume.name
    assert first == {
        "page": "2", "mark": 1, "part": f"{subject}, {look}: coat", "what": "code", "signed_as": "YR", "now": "Y3",
        "bible_said": "YR3B2", "bible_says": "YR3B2", "by": "lead",
    }  # fmt: skip
    assert second == {
        "page": "2", "mark": 5, "part": "background", "what": "new", "signed_as": None, "now": "B", "bible_said": None,
        "bible_says": "", "by": "lead",
    }  # fmt: skip
    told = json.loads(client.get(address, {"as": "json"}).getvalue())
    assert (told["issue"], told["signed_at"]) == ("5", step.at.isoformat())


@pytest.mark.parametrize(
    ("said", "fits"),
    [({}, True), ({"own": 1, "usual": 999}, True), ({"own": 999, "usual": 1}, True), ({"own": 0}, False), ({"usual": 0}, False), ({"own": 1000}, False), ({"usual": 1000}, False)],
)  # fmt: skip
def test_numbers_of_pages_have_bounds(said: dict[str, int], fits: bool) -> None:
    form = PagesForm(said)
    assert form.is_valid() is fits
    if fits:
        assert form.cleaned_data == {"own": said.get("own"), "usual": said.get("usual")}
    assert [WordsForm({"words": "x" * length}).is_valid() for length in (0, 500, 501)] == [True, True, False]


def test_the_page_of_an_issue_offers_what_one_may(room: Room, editor: Any, fill_in: Any) -> None:
    address = reverse("issue-check", args=[room.series.slug, room.issue.pk])
    set_pages(issue=room.issue, own=7, usual=22, by=editor)
    told = {}
    for user in (editor, fill_in):
        page = client_of(user).get(address)
        context = page.context
        told[user.username] = (
            page.status_code, context["may_send"], context["may_set"], bool(context["why_not"]), context["refusal"],
            context["words"].fields["words"].required,
        )  # fmt: skip
        assert context["pages"].initial == {"own": 7, "usual": 22}
        assert context["points"] == room.points
    assert told == {"ed": (200, True, True, False, "", True), "fill-in": (200, True, False, True, "", False)}
    client = client_of(editor)
    refused = client.post(reverse("withdraw-issue", args=[room.series.slug, room.issue.pk]), {"words": "x"})
    assert (refused.status_code, refused.context["refusal"]) == (422, "Issue 5 is open, not in check.")
    wrong = client.post(reverse("set-pages", args=[room.series.slug, room.issue.pk]), {"own": "0"})
    assert (wrong.status_code, bool(wrong.context["pages"].errors)) == (422, True)
    client.post(reverse("put-in-check", args=[room.series.slug, room.issue.pk]), {"words": "x"})
    assert "Issue 5 is in check." in client.get(address).content.decode()
