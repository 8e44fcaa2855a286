"""Archives that were cut, changed or made to harm: each refused by the name of what is wrong, and nothing is left."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from bible.models import Costume, Series
from bible.models.stretches import Stretch
from bible.series.refusals import Refused
from guides.archive.check import Archive, DamagedArchive
from guides.archive.exports import export_series
from guides.archive.restore import restore_series
from tests.factories import make_guide, make_issue, make_mark, make_member, make_part, make_series

pytestmark = pytest.mark.django_db

Members = dict[str, bytes]
MARKS, SERIES, GUIDES = (f"tables/{name}.jsonl" for name in ("guides.mark", "bible.series", "guides.guide"))


@pytest.fixture
def members(tmp_path: Path) -> Members:
    """A good archive, taken apart."""
    series = make_series(slug="whole")
    guide = make_guide(make_issue(series), by=make_member(series))
    make_mark(guide, part=make_part(series))
    make_mark(guide)
    export_series(series, tmp_path / "whole.zip")
    with zipfile.ZipFile(tmp_path / "whole.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def put_together(members: Members, *, sealed: bool = False) -> io.BytesIO:
    """Make a zip again; ``sealed``: by somebody who knows how to put the manifest right."""
    if sealed:
        manifest = json.loads(members["manifest.json"])
        for name, data in members.items():
            if name != "manifest.json":
                manifest["members"][name] = {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
        members = members | {"manifest.json": json.dumps(manifest).encode()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    out.seek(0)
    return out


def counts() -> dict[str, int]:
    models = [*apps.get_app_config("bible").get_models(), *apps.get_app_config("guides").get_models()]
    return {model._meta.label: model._default_manager.count() for model in models}


def stored_files() -> set[Path]:
    return {path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()}


def refused(file: io.BytesIO, slug: str = "another") -> str:
    """What the restore says no with, having left everything as it was."""
    rows, files = counts(), stored_files()
    with pytest.raises(Refused) as refusal:
        restore_series(Archive(file), slug=slug)
    assert counts() == rows
    assert stored_files() == files
    return str(refusal.value)


def edit_row(members: Members, table: str, line: int, **changes: Any) -> Members:
    rows = [json.loads(row) for row in members[table].splitlines()]
    rows[line] |= changes
    return members | {table: b"".join(json.dumps(row).encode() + b"\n" for row in rows)}


def edit_manifest(members: Members, /, **changes: Any) -> Members:
    return members | {"manifest.json": json.dumps(json.loads(members["manifest.json"]) | changes).encode()}


def test_the_good_archive_is_taken(members: Members) -> None:
    assert restore_series(Archive(put_together(members)), slug="another").rows["guides.mark"] == 2


@pytest.mark.parametrize("name", [MARKS, "files/guides.guide/1/original.jpg", "people.jsonl"])
def test_a_changed_member_is_named(members: Members, name: str) -> None:
    data = bytearray(members[name])
    data[len(data) // 2] ^= 1
    assert name in refused(put_together(members | {name: bytes(data)}))
    assert name in refused(put_together(members | {name: members[name][:-1]}))


@pytest.mark.parametrize("name", [MARKS, "files/guides.guide/1/thumb.jpg", "people.jsonl", "manifest.json"])
def test_a_missing_member_is_named(members: Members, name: str) -> None:
    without = {key: data for key, data in members.items() if key != name}
    assert name in refused(put_together(without))


def test_a_stranger_among_the_members_is_named(members: Members) -> None:
    name = "files/guides.guide/9/original.jpg"
    assert name in refused(put_together(members | {name: b"x"}))
    assert name in refused(put_together(members | {name: b"x"}, sealed=True))


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/cron.d/x",
        "/etc/passwd",
        "files/guides.guide/1/../../../../x",
        "files\\guides.guide\\1\\original.jpg",
        "C:/x.jpg",
        "files/guides.guide/1/original.jpg/../x",
        "files/guides.guide/1/original.php.jpg",
        "files/guides.guide/" + "1" * 13 + "/original.jpg",
        "files/",
    ],
)
def test_names_that_would_climb_out_are_refused(members: Members, name: str) -> None:
    message = refused(put_together(members | {name: b"x"}, sealed=True))
    assert "not a name that an archive of a series has" in message


def test_a_name_that_hides_its_end_behind_a_nul_is_refused(members: Members) -> None:
    data = put_together(members).getvalue().replace(b"people.jsonl", b"people\0jsonl")
    assert "not a name" in refused(io.BytesIO(data))


def test_a_member_twice_is_refused(members: Members) -> None:
    out = put_together(members)
    with zipfile.ZipFile(out, "a") as archive, pytest.warns(UserWarning, match="Duplicate name"):
        archive.writestr(MARKS, b"")
    out.seek(0)
    assert "twice" in refused(out)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"version": 2}, "format 2"),
        ({"version": 0}, "no format version"),
        ({"version": "1"}, "no format version"),
        ({"version": True}, "no format version"),
        ({"format": "something else"}, "does not call this"),
        ({"tables": []}, "lists"),
        ({"members": {"../x": {"bytes": 1, "sha256": "0" * 64}}}, "lists"),
        ({"missing": None}, "lists"),
        ({"tables": {}}, "does not hold one series"),
    ],
)
def test_manifests_that_say_something_else(members: Members, changes: dict[str, Any], said: str) -> None:
    assert said in refused(put_together(edit_manifest(members, **changes)))


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip at all" * 50])
def test_what_is_no_zip(data: bytes) -> None:
    assert "zip" in refused(io.BytesIO(data))


def test_a_zip_cut_short(members: Members) -> None:
    whole = put_together(members).getvalue()
    assert "end is missing" in refused(io.BytesIO(whole[: len(whole) // 2]))


@pytest.mark.parametrize(
    ("table", "changes", "said"),
    [
        (MARKS, {"id": 99}, "not a key of tables/guides.mark"),
        (MARKS, {"guide": 2}, "not a key of tables/guides.guide"),
        (MARKS, {"guide": 0}, "not a key"),
        (MARKS, {"guide": None}, "it is empty"),
        (MARKS, {"series": "1"}, "not a key"),
        (MARKS, {"guide": True}, "True is not a key"),
        (MARKS, {"guide": 1.0}, "1.0 is not a key"),
        (MARKS, {"tint": 2**40}, "not a stored tint"),
        (MARKS, {"tint": -77}, "not a stored tint"),
        (MARKS, {"written": "Y" * 81}, "longer than 80"),
        (MARKS, {"written": "a\0b"}, "NUL"),
        (MARKS, {"role": "boss"}, "none of"),
        (MARKS, {"live": 1}, "not true or false"),
        (MARKS, {"created_by": "nobody-here"}, "people.jsonl"),
        (MARKS, {"created_at": "yesterday"}, "ISO 8601"),
        (MARKS, {"created_at": "2020-01-01T00:00:00"}, "time zone"),
        (MARKS, {"created_at": "0001-01-01T00:00:00+23:59"}, "years 1 to 9999"),
        (MARKS, {"colour": "blue"}, "does not know “colour”"),
        (MARKS, {"x": 1.5}, "database refused"),
        (MARKS, {"x": "0.5"}, "not a number"),
        (GUIDES, {"original": "files/guides.guide/1/../x"}, "not where the file"),
        (GUIDES, {"original": "files/guides.guide/1/original.png"}, "not in the archive"),
        (GUIDES, {"original": "/etc/passwd"}, "not where the file"),
        (GUIDES, {"original": ""}, "belongs to no row"),
        (SERIES, {"notation_data": {"letters": 3}}, "notation or chart"),
    ],
)
def test_rows_that_cannot_be_are_named_even_under_a_right_seal(
    members: Members, table: str, changes: dict[str, Any], said: str
) -> None:
    message = refused(put_together(edit_row(members, table, 0, **changes), sealed=True))
    assert said in message
    assert table in message or "database refused" in message or "belongs to no row" in message


def test_rows_that_are_not_rows(members: Members) -> None:
    assert "line 1 is not JSON" in refused(put_together(members | {MARKS: b"{,}\n"}, sealed=True))
    assert "line 1 is not a row" in refused(put_together(members | {MARKS: b"[1]\n"}, sealed=True))
    assert "manifest says otherwise" in refused(put_together(members | {MARKS: b""}, sealed=True))


def test_an_older_archive_lacks_a_column_that_has_a_default(members: Members) -> None:
    rows = [json.loads(row) for row in members[MARKS].splitlines()]
    for row in rows:
        del row["waived"]
    older = members | {MARKS: b"".join(json.dumps(row).encode() + b"\n" for row in rows)}
    restored = restore_series(Archive(put_together(older, sealed=True)), slug="another")
    assert not restored.series.marks.filter(waived=True).exists()
    del rows[0]["x"]
    older = members | {MARKS: b"".join(json.dumps(row).encode() + b"\n" for row in rows)}
    assert "x: it is missing" in refused(put_together(older, sealed=True), slug="third")


@pytest.mark.parametrize("slug", ["whole", "not a slug", "guides", "x" * 61, "ü"])
def test_short_names_that_cannot_be(members: Members, slug: str) -> None:
    assert "hort name" in refused(put_together(members), slug) or "already" in refused(put_together(members), slug)


@pytest.mark.django_db(transaction=True)
def test_a_key_that_points_at_no_row_is_refused_by_the_database(members: Members) -> None:
    manifest = json.loads(members["manifest.json"])
    manifest["tables"]["bible.part"]["last_id"] = 5
    bad = edit_row(edit_manifest(members, tables=manifest["tables"]), MARKS, 0, part=3)
    assert "database refused" in refused(put_together(bad, sealed=True))
    assert connection.get_autocommit()


@hypothesis_settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(where=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_any_flipped_bit_is_harmless_or_refused(members: Members, where: float, bit: int) -> None:
    """A bit in a date or in other fields nobody reads may flip; content may not come in changed."""
    data = bytearray(put_together(members).getvalue())
    data[int(where * len(data))] ^= 1 << bit
    try:
        archive = Archive(io.BytesIO(bytes(data)))
        read: Callable[[str], bytes] = lambda name: b"".join(archive.blocks(name))  # noqa: E731
        assert {name: read(name) for name in archive.members} == {
            name: content for name, content in members.items() if name != "manifest.json"
        }
    except DamagedArchive:
        pass


def test_nothing_stays_behind_of_the_series(members: Members) -> None:
    before = set(Series.objects.values_list("slug", flat=True))
    refused(put_together(edit_row(members, MARKS, 1, role="boss"), sealed=True))
    assert set(Series.objects.values_list("slug", flat=True)) == before


def with_one_time(members: Members, begins: Any, ends: Any) -> Members:
    """The archive as it was written before costumes had stretches: one time in two columns."""
    table, costumes = "tables/bible.costumestretch.jsonl", "tables/bible.costume.jsonl"
    rows = [json.loads(row) for row in members[costumes].splitlines()]
    rows = [row | {"from_position": begins, "to_position": ends} for row in rows]
    manifest = json.loads(members["manifest.json"])
    del manifest["members"][table], manifest["tables"]["bible.costumestretch"]
    older = {name: data for name, data in members.items() if name != table}
    said = {costumes: b"".join(json.dumps(row).encode() + b"\n" for row in rows)}
    return older | said | {"manifest.json": json.dumps(manifest).encode()}


@pytest.mark.parametrize(
    ("begins", "ends", "worn"), [(0, None, ()), (5, None, (Stretch(5),)), (0, 70_000, (Stretch(0, 70_000),))]
)
def test_an_archive_from_before_stretches_brings_each_costumes_time(
    members: Members, begins: int, ends: int | None, worn: tuple[Stretch, ...]
) -> None:
    older = put_together(with_one_time(members, begins, ends), sealed=True)
    restored = restore_series(Archive(older), slug="another")
    assert Costume.objects.get(subject__series=restored.series).worn == worn


@pytest.mark.parametrize(("begins", "ends"), [(-1, None), ("0", 5), (7, 7), (0, 2**31)])
def test_a_time_from_before_stretches_that_cannot_be_is_damage(members: Members, begins: Any, ends: Any) -> None:
    assert "is no time" in refused(put_together(with_one_time(members, begins, ends), sealed=True), slug="another")


def test_a_moment_of_any_offset_comes_back_as_that_moment(members: Members) -> None:
    """ISO 8601 and RFC 3339 know offsets up to 23 hours; PostgreSQL takes none from 16 on."""
    archive = Archive(put_together(edit_row(members, MARKS, 0, created_at="1990-01-13T04:01:48+22:34"), sealed=True))
    restored = restore_series(archive, slug="another")
    moment = dt.datetime(1990, 1, 12, 5, 27, 48, tzinfo=dt.UTC)
    assert restored.series.marks.filter(created_at=moment).count() == 1
