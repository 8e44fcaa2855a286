"""Signing off, and what opens an issue again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bible.chart.services import change_reading
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.shifts import Op, Shift, Step
from bible.locks.afresh import lock_afresh
from bible.locks.services import LockToBe, correct_lock, end_lock, lock_rule, lock_tint
from bible.models import Activity, ActivityKind, Costume, Issue, Scene, Series
from bible.models.stretches import Stretch
from bible.proposals.services import accept_proposal, propose
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from bible.series.services import move_issue
from bible.subjects.services import archive
from bible.subjects.wearing import edit_costume, set_worn
from guides.core.fingerprint import broken, fingerprint
from guides.core.once import AtDesk
from guides.core.scene_areas import Region, apply_scene, remove_scene
from guides.core.services import delete_mark, move_mark, place_mark, restore_mark, rewrite_mark
from guides.core.waivers import remove_waiver, waive
from guides.desk.page_notes import write_page_note
from guides.desk.services import undo
from guides.imports.services import open_table, take
from guides.models import Guide, IssueStep, Mark, SceneArea, Waiver
from guides.signoff.marks_digest import marks_digest
from guides.signoff.queries import points_of
from guides.signoff.services import IssueMoved, put_in_check, reopen, set_pages, sign_off, withdraw
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part

NIGHT = Shift((Step(Op.ADD, "c", 25),))


@pytest.fixture
def editor(series: Series) -> Any:
    return make_member(series, "editor", username="editor")


class Desk:
    """Two signed-off issues with a coat each that is locked to YR3B2, flagged and waived in the first."""

    def __init__(self, series: Series, lead: Any, editor: Any) -> None:
        self.series, self.lead, self.editor = series, lead, editor
        self.first, self.second, self.third = make_issues(series, 3)
        self.coat, self.hat, self.cap = (make_part(series, name=name) for name in ("coat", "hat", "cap"))
        self.lock = make_lock(self.coat, "YR3B2", by=lead)
        self.guide = make_guide(self.first, page="1", by=lead)
        self.flagged = make_mark(self.guide, "YR", part=self.coat)
        self.open = make_mark(self.guide, "YB", part=self.coat)
        self.gone = make_mark(self.guide, "Y4")
        delete_mark(mark=self.gone, by=lead)
        self.other = make_mark(make_guide(self.second, page="1", by=lead), "Y4", part=self.coat)
        make_mark(self.other.guide, "Y", part=self.cap)
        self.scene = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHT, by=lead)
        self.area = apply_scene(guide=self.guide, scene=self.scene, by=lead)
        make_guide(self.first, page="2", by=lead)
        move_mark.once(AtDesk(self.guide, lead, "a-key-of-some-length"), mark=self.flagged, x=0.4, y=0.4, by=lead)
        self.waiver = waive(marks=[Mark.objects.get(pk=self.flagged.pk)], reason="disguise", by=lead)[0]
        for issue in (self.first, self.second):
            sign_off(issue=issue, by=editor, words="as it is")

    def move(self) -> Mark:
        return move_mark(mark=self.flagged, x=0.4, y=0.4, by=self.lead)

    def signed(self) -> list[str]:
        return list(self.series.issues.signed_off().in_order().values_list("number", flat=True))


@pytest.fixture
def desk(series: Series, lead: Any, editor: Any) -> Desk:
    return Desk(series, lead, editor)


def worn_until(desk: Desk, end: int) -> None:
    costume = Costume.objects.get(pk=desk.coat.costume_id)
    edit_costume(costume=costume, worn=[Stretch(0, end)], by=desk.lead)


def bring(desk: Desk, kind: str, text: str) -> None:
    opened = open_table(text.encode(), "table.csv", kind)
    fates = take(series=desk.series, kind=kind, opened=opened, columns=opened.headings.guess, by=desk.lead)
    assert [fate.state for fate in fates.rows] in (["added"], ["changed"]), fates


def accepted(desk: Desk, start: int) -> None:
    tint = desk.series.read("Y")
    asked = propose(series=desk.series, part=desk.coat, tint=tint, written="Y", from_position=start, by=desk.editor)
    lock = lock_tint(part=desk.coat, role="base", tint=tint, written="Y", from_position=start, by=desk.lead)
    accept_proposal(proposal=asked, lock=lock, by=desk.lead)


FIRST, SECOND, BOTH = ["1"], ["2"], ["1", "2"]
NONE: list[str] = []

DEEDS: list[tuple[str, list[str], Callable[[Desk], Any]]] = [
    ("mark 4 placed on page 1", FIRST, lambda d: place_mark(guide=d.guide, x=0.1, y=0.1, written="Y", part=None, role="base", by=d.lead)),
    ("mark 1 rewritten on page 1", FIRST, lambda d: rewrite_mark(mark=d.flagged, written="Y", part=None, role="base", by=d.lead)),
    ("mark 1 moved on page 1", FIRST, lambda d: move_mark(mark=d.flagged, x=0.2, y=0.2, by=d.lead)),
    ("mark 1 taken off on page 1", FIRST, lambda d: delete_mark(mark=d.flagged, by=d.lead)),
    ("mark 3 brought back on page 1", FIRST, lambda d: restore_mark(mark=d.gone, by=d.lead)),
    ("scene Night taken off page 1", FIRST, lambda d: remove_scene(area=SceneArea.objects.get(pk=d.area.pk), by=d.lead)),
    ("scene Night applied to page 1", FIRST, lambda d: apply_scene(guide=d.guide, scene=d.scene, region=Region(0.1, 0.1, 0.4, 0.4), by=d.lead)),
    ("1 flag waived: so", FIRST, lambda d: waive(marks=[Mark.objects.get(pk=d.open.pk)], reason="so", by=d.lead)),
    ("a waiver taken back", FIRST, lambda d: remove_waiver(waiver=Waiver.objects.get(pk=d.waiver.pk), by=d.lead)),
    ("number of pages is 8 now", FIRST, lambda d: set_pages(issue=d.first, own=8, usual=None, by=d.editor)),
    ("Y locked for", BOTH, lambda d: lock_tint(part=d.coat, role="base", tint=d.series.read("Y"), written="Y", from_position=0, by=d.lead)),
    ("Y locked for", SECOND, lambda d: lock_tint(part=d.coat, role="base", tint=d.series.read("Y"), written="Y", from_position=d.second.position, by=d.lead)),
    ("YR3B2 ended for", SECOND, lambda d: end_lock(lock=d.lock, at_position=d.second.position, by=d.lead, reason="over")),
    ("YR3B2 corrected to Y for", BOTH, lambda d: correct_lock(lock=d.lock, tint=d.series.read("Y"), written="Y", by=d.lead, reason="slip")),
    ("rule of the scene “Night” changed", FIRST, lambda d: set_scene(scene=Scene.objects.get(pk=d.scene.pk), rule=Shift((Step(Op.ADD, "c", 50),)), by=d.lead)),
    ("how codes are read has changed: 'Y4'", SECOND, lambda d: change_reading(series=d.series, notation=Notation.from_dict(LETTERS_64.to_dict() | {"aliases": {"Y4": 100}}), chart_kind="64", by=d.lead)),
    ("time of", SECOND, lambda d: set_worn(costume=Costume.objects.get(pk=d.coat.costume_id), worn=[Stretch(0, d.second.position)], by=d.lead)),
    ("moved behind issue 3", FIRST, lambda d: move_issue(issue=Issue.objects.get(pk=d.first.pk), after=d.third, by=d.lead)),
    ("archived", FIRST, lambda d: archive(row=Issue.objects.get(pk=d.first.pk), by=d.lead)),
    ("time of", SECOND, lambda d: worn_until(d, d.second.position)),
    ("mark 1 put back as it was on page 1", FIRST, lambda d: undo(guide=d.guide, by=d.lead, key="")),
    ("mark 1 placed on page 2", FIRST, lambda d: bring(d, "marks", "issue,page,x,y,code\n1,2,0.5,0.5,Y\n")),
    ("Y locked for", SECOND, lambda d: bring(d, "bible", f"subject,costume,part,code,from issue\n{d.coat.costume.subject.name},{d.coat.costume.name},coat,Y,2\n")),
    ("Y locked for", SECOND, lambda d: accepted(d, d.second.position)),
    ("1 code of cap locked", SECOND, lambda d: lock_afresh(series=d.series, decisions=[LockToBe(d.cap.pk, "base", d.series.read("Y"), "Y", 0, None, "settled")], by=d.lead)),
    ("on second thoughts", FIRST, lambda d: reopen(issue=d.first, by=d.editor, words="on second thoughts")),
    # What touches neither:
    ("", NONE, lambda d: lock_tint(part=d.hat, role="base", tint=d.series.read("Y"), written="Y", from_position=0, by=d.lead)),
    ("", NONE, lambda d: lock_tint(part=d.coat, role="base", tint=d.series.read("Y"), written="Y", from_position=d.third.position, by=d.lead)),
    ("", NONE, lambda d: lock_tint(part=d.coat, role="base", tint=d.lock.tint, written="yr3b2", from_position=0, by=d.lead)),
    ("", NONE, lambda d: lock_rule(part=d.coat, role="shade", rule=NIGHT, from_position=0, by=d.lead)),
    ("", NONE, lambda d: set_scene(scene=Scene(series=d.series, name="Fog"), rule=NIGHT, by=d.lead)),
    ("", NONE, lambda d: set_pages(issue=d.first, own=None, usual=22, by=d.editor)),
    ("", NONE, lambda d: make_mark(make_guide(d.third, page="1", by=d.lead), "Y", part=d.coat)),
    ("", NONE, lambda d: write_page_note(issue=d.first, first_page="1", last_page="", text="mind the hat", by=d.lead)),
    ("", NONE, lambda d: bring(d, "issues", "issue,title\n9,Fog\n")),
    ("", NONE, lambda d: archive(row=Issue.objects.get(pk=d.third.pk), by=d.lead)),
    ("", NONE, lambda d: archive(row=d.hat.costume.subject, by=d.lead)),
    ("", NONE, lambda d: move_issue(issue=Issue.objects.get(pk=d.third.pk), after=None, by=d.lead)),
]  # fmt: skip


@pytest.mark.parametrize(("why", "touched", "deed"), DEEDS, ids=range(len(DEEDS)))
def test_a_deed_opens_what_it_touches_and_nothing_else(
    desk: Desk, why: str, touched: list[str], deed: Callable[[Desk], Any]
) -> None:
    assert desk.signed() == BOTH
    assert broken(desk.series) == []
    deed(desk)
    assert desk.signed() == [number for number in BOTH if number not in touched]
    assert broken(desk.series) == [], "what is still signed off is what was signed"
    steps = IssueStep.objects.filter(series=desk.series, kind="reopened")
    assert sorted(step.issue.number for step in steps) == touched
    for step in steps:
        assert step.words.startswith(why)
        assert step.by is not None
        assert step.issue.state == Issue.State.IN_CHECK, "the editor has to look again"
        assert step.issue.steps.signings().count() == 1, "the record stays"
        told = Activity.objects.get(series=desk.series, kind=ActivityKind.REOPENED)
        assert (told.by, told.words) == (step.by, {"name": ", ".join(touched), "reason": step.words})
        assert told.issue == (step.issue if len(touched) == 1 else None)


def test_an_issue_brought_back_from_the_archive_is_looked_at_again(desk: Desk) -> None:
    archive(row=desk.first, by=desk.lead)
    sign_off(issue=desk.first, by=desk.editor, words="as it is")
    archive(row=Issue.objects.get(pk=desk.first.pk), archived=False, by=desk.lead)
    assert desk.signed() == SECOND
    newest = IssueStep.objects.filter(issue=desk.first).newest_first().first()
    assert newest is not None
    assert newest.words == "brought back from the archive"


def test_a_new_revision_opens_the_issue_again(desk: Desk, tmp_path: Any) -> None:
    import io

    from guides.core.services import add_guide
    from guides.imaging.intake.take_in import take_in
    from tests.factories import picture_bytes

    scan = io.BytesIO(picture_bytes())
    add_guide(
        issue=desk.first, page="1", picture=take_in(scan, "1.jpg"), original=scan, filename="1.jpg", by=desk.lead
    )
    assert desk.signed() == SECOND
    assert IssueStep.objects.get(kind="reopened").words == "a guide of page 1 came in"


def test_an_older_revision_stays_as_it_is(desk: Desk) -> None:
    older = Guide.objects.create(
        **{
            field.name: getattr(desk.guide, field.name)
            for field in Guide._meta.concrete_fields
            if field.name not in ("id", "revision", "is_current")
        },
        revision=9,
        is_current=False,
    )
    with pytest.raises(Refused, match="newer revision"):
        place_mark(guide=older, x=0.5, y=0.5, written="Y", part=None, role="base", by=desk.lead)
    assert desk.signed() == BOTH


def test_a_signing_keeps_what_was_true(desk: Desk) -> None:
    record = IssueStep.objects.get(issue=desk.first, kind="signed-off")
    points = points_of(desk.series, desk.first)
    assert record.facts == points.facts() | {"press": desk.series.press, "number": "1"}
    assert (record.by, record.words) == (desk.editor, "as it is")
    assert record.fingerprint == fingerprint(desk.first)
    assert record.code_list == marks_digest(desk.first)
    assert record.facts["flags"] == {"differs": 1}
    assert record.facts["waived"] == 1


def test_the_code_lists_hash_is_that_of_the_file_handed_off(desk: Desk, client: Any) -> None:
    import hashlib

    client.force_login(desk.editor)
    data = client.get(f"/s/{desk.series.slug}/issues/{desk.first.pk}/hand-off.csv").content
    assert IssueStep.objects.get(issue=desk.first, kind="signed-off").code_list == hashlib.sha256(data).hexdigest()


def test_the_way_there_and_back(series: Series, lead: Any, editor: Any, fill_in: Any) -> None:
    issue = make_issues(series, 1)[0]
    put_in_check(issue=issue, by=fill_in, words="all pages in")
    with pytest.raises(Refused, match="in check already"):
        put_in_check(issue=issue, by=fill_in)
    withdraw(issue=issue, by=fill_in)
    with pytest.raises(Refused, match="is open"):
        withdraw(issue=issue, by=fill_in)
    with pytest.raises(Refused, match="say why"):
        sign_off(issue=issue, by=editor)
    with pytest.raises(Refused, match="The editor signs"):
        sign_off(issue=issue, by=lead, words="so")
    with pytest.raises(Refused, match="The editor signs"):
        sign_off(issue=issue, by=fill_in, words="so")
    with pytest.raises(Refused, match="Only an editor"):
        sign_off(issue=issue, by=make_member(), words="so")
    sign_off(issue=issue, by=editor, words="a blank issue")
    with pytest.raises(Refused, match="already"):
        sign_off(issue=issue, by=editor, words="again")
    with pytest.raises(Refused, match="why"):
        reopen(issue=issue, by=editor, words=" ")
    reopen(issue=issue, by=editor, words="no")
    with pytest.raises(Refused, match="not signed off"):
        reopen(issue=issue, by=editor, words="no")
    kinds = list(issue.steps.values_list("kind", flat=True))
    assert kinds == ["in-check", "taken-back", "signed-off", "reopened"]
    told = list(Activity.objects.filter(issue=issue, by=editor).order_by("pk").values_list("kind", "words"))
    assert told == [
        (ActivityKind.SIGNED_OFF, {"name": issue.number, "reason": "a blank issue"}),
        (ActivityKind.REOPENED, {"name": issue.number, "reason": "no"}),
    ]
    sent = list(Activity.objects.filter(issue=issue, by=fill_in).order_by("pk").values_list("kind", flat=True))
    assert sent == [ActivityKind.PUT_IN_CHECK, ActivityKind.OUT_OF_CHECK]


def test_a_lead_signs_where_nobody_is_editor(series: Series, lead: Any) -> None:
    sign_off(issue=make_issues(series, 1)[0], by=lead, words="alone here")


def test_only_what_was_shown_is_signed(series: Series, lead: Any, editor: Any) -> None:
    issue = make_issues(series, 1)[0]
    guide = make_guide(issue, page="1", by=lead)
    seen = points_of(series, issue).token(fingerprint(issue))
    mark = make_mark(guide, "Y")
    with pytest.raises(IssueMoved):
        sign_off(issue=issue, by=editor, words="so", seen=seen)
    seen = points_of(series, issue).token(fingerprint(issue))
    move_mark(mark=mark, x=0.25, y=0.25, by=lead)
    with pytest.raises(IssueMoved):
        sign_off(issue=issue, by=editor, words="so", seen=seen)
    sign_off(issue=issue, by=editor, words="so", seen=points_of(series, issue).token(fingerprint(issue)))


def test_nothing_is_asked_twice_where_nothing_is_signed(series: Series, lead: Any) -> None:
    """A lock in a series without a sign-off pays one look, not two readings of its marks, and one at whether a gradient
    is locked. Rows are held besides, where the database holds rows."""
    part = make_part(series)
    make_mark(make_guide(make_issues(series, 1)[0], by=lead), part=part)
    with CaptureQueriesContext(connection) as captured:
        lock_tint(part=part, role="base", tint=series.read("Y"), written="Y", from_position=0, by=lead)
    held = [query["sql"] for query in captured if query["sql"].endswith(" held")]
    assert len(captured) - len(held) <= 17
    assert len(held) <= (7 if connection.vendor == "postgresql" else 0)
