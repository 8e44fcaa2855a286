"""Any series comes back, and others write meanwhile."""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import subprocess
import sys
import textwrap
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bible.locks.services import lock_tint
from bible.models import Lock, Series, Subject
from guides.archive.exports import export_series
from guides.models import Mark
from tests.factories import (
    make_guide,
    make_issues,
    make_mark,
    make_member,
    make_part,
    make_series,
)
from tests.guides.archive.there_and_back import there_and_back

pytestmark = pytest.mark.django_db


BASE_DIR = Path(__file__).parents[3]


def tables_of(path: Path) -> dict[str, list[dict[str, Any]]]:
    """The rows as any other program would read them: with the standard library alone."""
    with zipfile.ZipFile(path) as archive:
        return {
            name: [json.loads(line) for line in io.BytesIO(archive.read(name))]
            for name in archive.namelist()
            if name.startswith("tables/")
        }


TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=30)
MOMENTS = st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2100, 1, 1), timezones=st.just(dt.UTC))
ON_PAGE = st.floats(0, 1, allow_nan=False)


@st.composite
def odd_series(draw: st.DrawFn) -> Series:
    """Rows nobody would type: any text, gaps in the keys, moments to the microsecond, files of any bytes."""
    series = make_series(title=draw(TEXTS), chart_data=draw(st.lists(st.integers(0, 100), max_size=3)))
    lead = make_member(series)
    issues = make_issues(series, draw(st.integers(1, 3)))
    names = draw(st.lists(TEXTS, min_size=1, max_size=4, unique=True))
    subjects = [Subject.objects.create(series=series, name=name, note=draw(TEXTS)) for name in names]
    parts = [make_part(costume=subject.costumes.create(name=draw(TEXTS))) for subject in subjects]
    for part in parts[:2]:
        code = draw(st.sampled_from(["YR3B2", "W", "B2"]))
        lock_tint(
            part=part, role="base", tint=series.read(code), written=code, from_position=0, by=lead, reason=draw(TEXTS)
        )
    Lock.objects.filter(series=series).update(decided_at=draw(MOMENTS))
    if len(subjects) > 3:
        Lock.objects.filter(part=parts[0]).delete()
        parts[0].delete()
    guide = make_guide(issues[0], by=lead, filename=draw(TEXTS))
    guide.original.save("odd.bin", ContentFile(draw(st.binary(max_size=200))))
    for _ in range(draw(st.integers(0, 4))):
        make_mark(
            guide,
            draw(TEXTS),
            x=draw(ON_PAGE),
            y=draw(ON_PAGE),
            part=draw(st.sampled_from([None, *parts[1:]])),
        )
    Mark.objects.filter(guide=guide, number=2).delete()
    Mark.objects.filter(guide=guide).update(changed_at=draw(MOMENTS))
    return series


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_series_comes_back_exactly(data: st.DataObject, tmp_path: Path) -> None:
    with transaction.atomic():
        restored = there_and_back(data.draw(odd_series()), tmp_path, slug="back")
        export_series(restored.series, tmp_path / "again.zip")
        before, after = tables_of(tmp_path / "series.zip"), tables_of(tmp_path / "again.zip")
        (old,), (new,) = before.pop("tables/bible.series.jsonl"), after.pop("tables/bible.series.jsonl")
        assert old | {"slug": "back"} == new
        assert before == after
        transaction.set_rollback(True)


def test_others_write_while_the_snapshot_stands(tmp_path: Path) -> None:
    """SQLite, with a file as in real use: a writer neither waits for the reader nor is seen by it."""
    script = """
        import os, sqlite3, django
        django.setup()
        from django.conf import settings
        from django.core.management import call_command
        call_command("migrate", verbosity=0)
        from bible.models import Series
        from guides.archive.exports import snapshot
        Series.objects.create(title="One", slug="one")
        with snapshot():
            assert Series.objects.count() == 1
            other = sqlite3.connect(settings.DATABASES["default"]["NAME"], timeout=1)
            other.execute("UPDATE bible_series SET title = 'Two'")
            other.commit()
            assert Series.objects.get().title == "One"
        assert Series.objects.get().title == "Two"
        print("good")
    """
    environment = os.environ | {"BIBLE_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "bible.settings"}
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        env=environment,
        cwd=BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == "good", done.stderr
