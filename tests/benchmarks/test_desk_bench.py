"""How long a colourist waits at the desk. The bars stand in the docstrings; nothing is asserted about time."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from bible.models import Series
from guides.core.services import place_marks
from guides.models import Mark
from tests.factories import make_guide, make_issues, make_lock, make_part
from tests.pages import htmx

pytestmark = pytest.mark.django_db

ISSUES, PAGES, MARKS = 24, 3, 14
"""About what the demo holds: 72 page guides with a thousand marks."""


@pytest.fixture
def run(series: Series) -> Series:
    parts = [make_part(series) for _ in range(MARKS)]
    for part in parts:
        make_lock(part, "YR3B2")
    for issue in make_issues(series, ISSUES):
        for page in range(PAGES):
            guide = make_guide(issue, page=str(page + 1))
            rows = [(0.5, 0.5, "YR" if n % 7 == 0 else "YR3B2", part, "base") for n, part in enumerate(parts)]
            place_marks(guide=guide, by=guide.uploaded_by, rows=rows)
    return series


def test_a_mark_saved_and_answered(benchmark: Any, run: Series, fill_in_client: Client) -> None:
    """Bar: 50 ms on SQLite, from the request to the answer with all marks of the page drawn anew."""
    mark = Mark.objects.select_related("part__costume__subject", "series").latest("pk")
    assert mark.part is not None
    said = {"x": "0.5", "y": "0.5", "written": "YRB2", "part": mark.part.full_name, "role": "base"}
    url = reverse("rewrite-mark", args=[run.slug, mark.pk])
    answer = benchmark(fill_in_client.post, url, said, headers=htmx("panel"))
    assert "Differs from the bible" in answer.content.decode()


def test_a_page_opened(benchmark: Any, run: Series, fill_in_client: Client) -> None:
    mark = Mark.objects.select_related("series").latest("pk")
    assert benchmark(fill_in_client.get, mark.get_absolute_url()).status_code == 200


def test_the_first_flags(benchmark: Any, run: Series, fill_in_client: Client) -> None:
    answer = benchmark(fill_in_client.get, reverse("flags", args=[run.slug]))
    assert "More flags" in answer.content.decode()


def test_check(benchmark: Any, run: Series) -> None:
    """Bar: 1 s after start-up."""

    def check() -> str:
        out = io.StringIO()
        with pytest.raises(SystemExit):
            call_command("check", run.slug, "--json", stdout=out)
        return out.getvalue()

    assert f'"count": {ISSUES * PAGES * 2}' in benchmark(check)
