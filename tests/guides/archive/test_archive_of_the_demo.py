"""The demo goes out and comes back: the largest and most various series that is at hand."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db.models import Count

from bible.models import CostumeStretch, Lock, Part, Series, Within
from guides.archive.check import Archive
from guides.archive.exports import export_series
from guides.archive.restore import restore_series
from guides.core import continuity
from guides.core.fingerprint import broken
from guides.models import Mark
from tests.built_once import built_once, own_files
from tests.demo_pages import whole_demo

SERIES = "tables/bible.series.jsonl"


@pytest.fixture(scope="module")
def built(
    django_db_setup: None, django_db_blocker: Any, built_files: Path, pytestconfig: pytest.Config
) -> Iterator[Series]:
    yield from built_once(whole_demo(pytestconfig.cache), django_db_blocker, built_files)


@pytest.fixture
def demo(built: Series, db: None, settings: Any, built_files: Path) -> Series:
    own_files(built_files, settings.MEDIA_ROOT)
    return built


def test_the_demo_shows_what_a_bible_can_say(demo: Series) -> None:
    """Whoever looks at it finds each of these used; the rest of the tests say that they work."""
    locks = Lock.every_printing.filter(series=demo)
    stretches = CostumeStretch.objects.standing().filter(costume__subject__series=demo)
    assert stretches.values("costume").annotate(n=Count("id")).filter(n__gt=1), "a costume comes back"
    assert set(locks.values_list("role", flat=True)) - {"base", "shade", "highlight"}
    assert locks.exclude(to_tint=None), "a fade is locked"
    assert Mark.objects.filter(series=demo, expected_to__gte=0), "and marked"
    assert demo.scenes.filter(targets__isnull=False), "light on some parts only"
    assert locks.exclude(edition=None), "a second printing has a code of its own"
    assert Mark.objects.filter(series=demo, written="K3"), "black has a code"
    assert demo.regroupings.exists()
    assert Part.objects.of_series(demo).filter(held_within=Within.SCENE), "a background has a name"
    assert demo.assignments.exists()


def test_the_demo_comes_back_in_every_row_and_file(demo: Series, tmp_path: Path) -> None:
    export_series(demo, tmp_path / "out.zip")
    restored = restore_series(Archive.open(tmp_path / "out.zip"), slug="back").series
    export_series(restored, tmp_path / "again.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as out, zipfile.ZipFile(tmp_path / "again.zip") as again:
        assert out.namelist() == again.namelist()
        assert sum(name.startswith("files/") for name in out.namelist()) > 200, "three pictures a page, and proofs"
        for name in set(out.namelist()) - {"manifest.json", SERIES}:
            assert out.read(name) == again.read(name), name
        assert json.loads(out.read(SERIES)) | {"slug": "back"} == json.loads(again.read(SERIES))
    assert continuity.discrepancies(restored) == []
    assert broken(restored) == broken(demo) == [], "what was signed is what came back"
