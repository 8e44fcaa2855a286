"""A series goes out and comes back: nothing lost, nothing added, nobody else touched."""

from __future__ import annotations

import datetime as dt
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import models
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import lock_rule
from bible.models import Costume, LockNote, Membership, Proposal, Scene, Series, Within
from bible.models.stretches import Stretch
from bible.scenes.services import HeldTo, set_scene
from bible.subjects.owning import Owned, set_owners
from bible.subjects.wearing import set_worn
from guides.archive.check import Archive
from guides.archive.exports import export_series
from guides.archive.restore import restore_series
from guides.archive.steps import moved
from guides.archive.tables import LEFT_OUT, TABLES, ArchiveColumn
from guides.assignments.services import give_pages
from guides.core import continuity
from guides.core.fingerprint import broken
from guides.core.scene_areas import apply_scene, outlined
from guides.core.services import delete_mark
from guides.core.waivers import waive
from guides.desk.page_notes import write_page_note
from guides.found.cast import say_cast
from guides.handoff.packing import make_pack
from guides.models import BroughtTable, FoundCode, Guide, Mark, NamedHeading, Regrouping
from guides.regrouping.services import merge_parts, merge_subjects
from guides.regrouping.undoing import undo_regrouping
from guides.signoff.services import sign_off
from tests.factories import (
    make_carry,
    make_chart_scan,
    make_chart_sheet,
    make_costume,
    make_drawing,
    make_edition,
    make_found,
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_proof,
    make_reading,
    make_series,
    make_sinking_pair,
    make_subject,
)
from tests.guides.archive.there_and_back import there_and_back

pytestmark = pytest.mark.django_db


def full_series() -> Series:
    """A series with at least one row in every table."""
    series = make_series()
    lead, colourist = make_member(series, "lead"), make_member(series, "fill-in")
    first, second, _ = make_issues(series, 3)
    part = make_part(series)
    set_worn(costume=part.costume, worn=[Stretch(0, second.position), Stretch(second.position + 1)], by=lead)
    set_worn(costume=part.costume, worn=[Stretch(0)], by=lead)
    set_owners(subject=make_subject(series), owners=[Owned(part.costume.subject_id, 0, None)], by=lead)
    lock = make_lock(part, "YR3B2", by=lead)
    make_lock(part, "YR", by=lead, from_position=second.position)
    darker = Shift((Step(Op.ADD, "c", 25),))
    album = make_edition(series, [second], press="own", published=dt.date(2026, 11, 29), note="On coated paper.")
    make_lock(part, "Y", by=lead, edition=album)
    lock_rule(part=part, role="shade", rule=darker, from_position=0, by=lead)
    LockNote.objects.create(series=series, lock=lock, text="Naïve “quotes”,\nand a line.", written_by=lead)
    Proposal.objects.create(
        series=series, part=part, tint=lock.tint, written="YR", from_position=0, proposed_by=colourist
    )
    night = set_scene(scene=Scene(series=series, name="Night"), rule=darker, by=lead)
    guide = make_guide(first, by=colourist, colourist=colourist)
    mark = make_mark(guide, "YR3", part=part)
    scrawl = make_mark(guide, "scrawl")
    delete_mark(mark=make_mark(guide, "Y"), by=lead)
    fire = Scene(series=series, name="Firelight")
    set_scene(scene=fire, rule=darker, by=lead, targets=[HeldTo(part=part.pk), HeldTo(role="shade")])
    night_page = make_guide(second, by=lead)
    apply_scene(guide=night_page, scene=night, by=lead)
    apply_scene(guide=night_page, scene=fire, region=outlined([[(0.1, 0.1), (0.9, 0.2), (0.4, 0.8)]]), by=lead)
    sky = make_part(series, held_within=Within.SCENE)
    for code in ("B", "B", "B2"):
        make_mark(night_page, code, part=sky)
    waive(marks=[Mark.objects.get(pk=mark.pk)], reason="seen in the mirror", by=lead)
    mark.notes.create(series=series, text="so", written_by=lead)
    proof = make_proof(guide, by=lead, hand_points=[[0.1, 0.1, 0.2, 0.2]])
    make_reading(proof, mark, decision="fault", note="the red plate, please")
    make_reading(proof, scrawl)  # nobody has decided about it yet
    write_page_note(issue=first, first_page="3", last_page="9", text="Night.", by=lead)
    series.press_uploads.create(name="own", title="Own", source="us", text="x", uploaded_by=lead)
    NamedHeading.objects.create(series=series, kind=BroughtTable.Kind.BIBLE, heading="kleur", field="code")
    due = timezone.localdate()
    give_pages(issue=second, pages=["3", "cover"], colourist=colourist, due=due, note="lamplight", by=lead)
    stranger = make_subject(series, name="Stranger")
    make_lock(make_part(costume=make_costume(stranger, name="disguise"), name="hat"), "Y2", by=lead)
    merge_subjects(source=stranger, target=part.costume.subject, by=lead, reason="It was nobody else.")
    sign_off(issue=first, by=lead, words="as it is")
    make_pack(issue=first, edition=None, by=lead)
    return series


def test_every_table_is_either_in_the_archive_or_left_out_with_a_reason() -> None:
    ours = {model._meta.label for label in ("bible", "guides") for model in apps.get_app_config(label).get_models()}
    assert ours == {table.label for table in TABLES} | set(LEFT_OUT)
    for table in TABLES:
        assert not table.model._meta.many_to_many, "say how a many-to-many field is archived"
        assert all(isinstance(column, ArchiveColumn) for column in table.columns)


def test_nothing_is_lost(tmp_path: Path) -> None:
    series = full_series()
    make_carry(series.issues.earliest("position"), make_member(series))
    make_sinking_pair(series.guides.current().earliest("pk"))
    made_by = make_member(series)
    make_chart_scan(series, made_by, sheet=make_chart_sheet(series, made_by), pointed={"rows": 1})
    costume = Costume.objects.filter(subject__series=series).earliest("pk")
    make_drawing(costume, made_by)
    answered: dict[str, Any] = {"outcome": FoundCode.Outcome.SET_ASIDE, "decided_at": timezone.now(), "owners": []}
    found = make_found(series.guides.current().earliest("pk"), **answered)
    say_cast(guide=found.guide, subjects=series.subjects.all()[:1], by=made_by)
    restored = there_and_back(series, tmp_path)
    assert restored.series.pk != series.pk
    for table in TABLES:
        before, after = list(table.rows(series.pk)), list(table.rows(restored.series.pk))
        assert len(before) == len(after)
        if table.label not in {"bible.Series"}:
            assert before, f"the test's series has no {table.label}"
        for old, new in zip(before, after, strict=True):
            for field in table.model._meta.concrete_fields:
                if field.primary_key or field.name == "slug" or field.name in table.keys_within:
                    continue
                mine, theirs = getattr(old, field.name), getattr(new, field.name)
                if isinstance(field, models.FileField):
                    assert mine.name != theirs.name
                    assert mine.read() == theirs.read()
                elif isinstance(field, models.ForeignKey) and mine and field.related_model is not User:
                    assert type(mine) is type(theirs)
                    assert mine.pk != theirs.pk, field
                else:
                    assert mine == theirs, field


def test_what_is_restored_is_resolved(tmp_path: Path) -> None:
    restored = there_and_back(full_series(), tmp_path)
    assert Mark.objects.filter(series=restored.series).count() == 6
    assert continuity.discrepancies(restored.series) == []
    assert restored.series.issues.signed_off().count() == 1
    assert broken(restored.series) == [], "what was signed is what came back"


def test_a_merge_that_came_along_can_be_taken_back(tmp_path: Path) -> None:
    """With the marks, locks and owners it gave away: the keys in its steps are those of the restored rows."""
    series = full_series()
    lead, ada = series.memberships.leads()[0].user, make_subject(series, name="Ada")
    boots, shoes = (make_part(costume=make_costume(ada, name=name), name=name) for name in ("boots", "shoes"))
    make_lock(boots, "R", by=lead)
    marks = [make_mark(make_guide(make_issue(series), by=lead), "R", part=boots, by=lead) for _ in range(2)]
    gone = make_mark(marks[0].guide, "R", part=boots, by=lead)
    merge_parts(source=boots, target=shoes, by=lead)
    Mark.objects.filter(pk=gone.pk).delete()  # the last row there was: its key lies behind the table's end
    restored = there_and_back(series, tmp_path).series
    back = Regrouping.objects.filter(series=restored).latest("pk")
    theirs = Mark.objects.filter(series=restored, part__name="shoes").order_by("pk")
    given = sorted(pk for step in back.steps if step[0] == "marks" for pk, _ in step[3])
    assert given == [0, *(mark.pk for mark in theirs)]
    undo_regrouping(regrouping=back, by=lead)
    assert Mark.objects.filter(series=restored, part__name="boots").count() == 2
    assert Mark.objects.filter(series=series, part__name="shoes").count() == 2, "the other series keeps its own"
    assert continuity.discrepancies(restored) == []


def no_key() -> int:
    raise ValueError("no key")


@pytest.mark.parametrize(
    "step",
    [
        ["marks", 1, 1, [[10**9, 1]]], ["marks", 1, 1, [[1, "x"]]], ["marks", 1], ["change", "user", 1, {}, {}],
        ["change", "part", 1, {"name": "x"}, {}], ["fly", 1], "marks", ["made", "subject", "1"], ["worn", 1, [1], []],
    ],
)  # fmt: skip
def test_a_step_that_is_none_is_damage(step: Any) -> None:
    with pytest.raises(ValueError, match=r"step|number|changes|no key"):
        moved([step], lambda label, key: key if isinstance(key, int) and key < 10**6 else no_key())


def test_the_second_archive_has_the_bytes_of_the_first(tmp_path: Path) -> None:
    restored = there_and_back(full_series(), tmp_path)
    export_series(restored.series, tmp_path / "again.zip")
    one, two = zipfile.ZipFile(tmp_path / "series.zip"), zipfile.ZipFile(tmp_path / "again.zip")
    assert one.namelist() == two.namelist()
    for name in one.namelist():
        if name not in {"manifest.json", "tables/bible.series.jsonl"}:
            assert one.read(name) == two.read(name), name


def test_work_goes_on_after_a_restore(tmp_path: Path) -> None:
    """The databases' counters stand behind the restored keys."""
    restored = there_and_back(full_series(), tmp_path)
    part = make_part(restored.series)
    make_lock(part)
    guide = Guide.objects.filter(series=restored.series).first()
    assert guide is not None
    make_mark(guide, part=part)
    full_series()


def test_no_other_series_is_touched(tmp_path: Path) -> None:
    other, series = full_series(), full_series()
    export_series(other, tmp_path / "before.zip")
    there_and_back(series, tmp_path)
    export_series(other, tmp_path / "after.zip")
    before, after = (zipfile.ZipFile(tmp_path / f"{when}.zip") for when in ("before", "after"))
    assert before.namelist() == after.namelist()
    for name in before.namelist():
        if name != "manifest.json":
            assert before.read(name) == after.read(name)


def test_an_archive_says_nothing_of_another_series(tmp_path: Path) -> None:
    other, series = full_series(), full_series()
    stranger = Membership.objects.filter(series=other).first()
    assert stranger is not None
    export_series(series, tmp_path / "series.zip")
    with zipfile.ZipFile(tmp_path / "series.zip") as archive:
        text = b"".join(archive.read(name) for name in archive.namelist() if name.endswith((".jsonl", ".json")))
    assert other.title.encode() + b'"' not in text
    assert f'"{stranger.user.username}"'.encode() not in text


def test_no_password_leaves_and_none_comes_in(tmp_path: Path) -> None:
    series = make_series()
    user = make_member(series, "lead", username="gone")
    export_series(series, tmp_path / "series.zip")
    with zipfile.ZipFile(tmp_path / "series.zip") as archive:
        assert user.password.encode() not in archive.read("people.jsonl")
    series.memberships.all().delete()
    user.delete()
    restored = restore_series(Archive.open(tmp_path / "series.zip"), slug="back")
    assert restored.made == ["gone"]
    assert not User.objects.get(username="gone").has_usable_password()


def test_people_are_found_by_user_name_and_left_as_they_are(tmp_path: Path) -> None:
    series = make_series()
    user = make_member(series, "editor", username="ed", first_name="Ed")
    export_series(series, tmp_path / "series.zip")
    User.objects.filter(pk=user.pk).update(first_name="Edna")
    restored = restore_series(Archive.open(tmp_path / "series.zip"), slug="back")
    assert restored.joined == ["ed"]
    assert User.objects.get(pk=user.pk).first_name == "Edna"
    assert restored.series.memberships.get(user=user).role == "editor"


def test_a_lost_picture_is_named_and_the_rest_goes_on(tmp_path: Path) -> None:
    series = full_series()
    guide = Guide.objects.filter(series=series).first()
    assert guide is not None
    default_storage.delete(str(guide.original.name))
    exported = export_series(series, tmp_path / "series.zip")
    assert exported.missing == ["files/guides.guide/1/original.jpg"]
    restored = restore_series(Archive.open(tmp_path / "series.zip"), slug="back")
    assert restored.missing == exported.missing
    assert restored.pictures == exported.pictures == 9


def test_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    series, path = full_series(), tmp_path / "series.zip"
    call_command("export_series", series.slug, str(path), json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["rows"]["guides.mark"] == 6
    assert told["bytes"] == path.stat().st_size
    call_command("restore_series", str(path), slug="twin", json=True)
    assert json.loads(capsys.readouterr().out)["series"] == "twin"
    call_command("restore_series", str(path), slug="triplet")
    assert "is back as “triplet”" in capsys.readouterr().out
    with pytest.raises(SystemExit) as refused:
        call_command("export_series", series.slug, str(path), json=True)
    assert refused.value.code == 2
    assert "--replace" in json.loads(capsys.readouterr().out)["error"]
    call_command("export_series", series.slug, str(path), replace=True)
    assert "10 pictures" in capsys.readouterr().out
    with pytest.raises(SystemExit):
        call_command("restore_series", str(path), json=True)
    assert "already" in json.loads(capsys.readouterr().out)["error"]
