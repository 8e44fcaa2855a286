"""The demo comes in: marked pages with their marks, the last issue's pages to read themselves."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from bible.models import Issue, Job, Series
from bible.series.presses import condition
from guides.charts.queries import drift_between
from guides.demo.artist.drawing import PencilledMark
from guides.demo.artist.gallery import FinishedPage
from guides.demo.load import load_demo, loaded
from guides.demo.story.plot import UNMARKED, demo_story
from guides.demo.story.story import Story
from guides.models import FoundCode, Guide, Mark
from tests.built_once import built_once, own_files

pytestmark = pytest.mark.django_db


def blank_pages(story: Story) -> Iterator[FinishedPage]:
    """Grey pages with one mark each instead of drawn ones: what is loaded is told, not painted, here."""
    picture = io.BytesIO()
    Image.new("RGB", (200, 300), (128, 128, 128)).save(picture, "JPEG")
    mark = PencilledMark(0.5, 0.5, "Y", None, None, None, None)
    return (FinishedPage(page, picture.getvalue(), (mark,)) for page in story.pages)


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: Any, built_files: Path) -> Iterator[Series]:
    yield from built_once(lambda: load_demo(lambda line: None, blank_pages), django_db_blocker, built_files)


@pytest.fixture
def demo(built: Series, db: None, settings: Any, built_files: Path) -> Series:
    own_files(built_files, settings.MEDIA_ROOT)
    return built


def test_the_last_issue_arrives_unmarked_and_waits_to_be_looked_through(demo: Series) -> None:
    last = demo.issues.order_by("-position")[0]
    assert {last.number} == UNMARKED
    assert not Mark.objects.filter(guide__issue=last).exists()
    pages = Guide.objects.filter(issue=last)
    assert pages.count() >= 2
    assert set(Job.objects.open().values_list("page", flat=True)) == {page.get_absolute_url() for page in pages}
    assert not FoundCode.objects.exists()
    assert Mark.objects.filter(series=demo).count() == len(demo_story().pages) - pages.count()
    assert loaded()


def test_a_demo_of_long_ago_gets_what_the_story_has_gained(demo: Series) -> None:
    last = demo.issues.order_by("-position")[0]
    Job.objects.all().delete()
    Guide.objects.filter(issue=last).delete()
    Issue.objects.filter(pk=last.pk).delete()
    assert not loaded()
    load_demo(lambda line: None, blank_pages)
    assert loaded()
    assert Guide.objects.filter(issue__number=last.number).count() == Job.objects.open().count()


def test_an_issue_of_somebodys_own_is_left_in_its_place(demo: Series) -> None:
    last = demo.issues.order_by("-position")[0]
    Guide.objects.filter(issue=last).delete()
    Issue.objects.filter(pk=last.pk).update(number="Winter special")
    load_demo(lambda line: None, blank_pages)
    assert not demo.issues.filter(number__in=UNMARKED).exists()
    assert not Guide.objects.filter(issue=last).exists()


def test_the_printed_chart_is_scanned_in_two_runs(demo: Series) -> None:
    """What a new user finds: a kept condition with its doubt, one misprint, and a drift in magenta alone."""
    first, second = demo.chart_scans.order_by("number")
    misprint = {"yellow prints like 100 %, not 50 %"}
    assert {one["amiss"]["said"] for one in first.amiss} == {one["amiss"]["said"] for one in second.amiss} == misprint
    assert first.press
    assert not second.press
    assert condition(demo, first.press.name).doubt is not None
    found = drift_between(first, second)
    assert found is not None
    assert [(ink.ink, ink.gain_sure) for ink in found.inks if ink.said] == [("m", True)]
