"""Black with codes of its own, solid and in strengths, wherever a code is written, read, kept or handed on."""

from __future__ import annotations

import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from bible.colour.tints import Tint
from bible.models import Lock, Series
from bible.people.services import make_read_token
from guides.archive.check import Archive
from guides.archive.exports import export_series
from guides.archive.restore import restore_series
from guides.core import continuity
from guides.models import Guide, Mark
from tests.factories import make_costume, make_guide, make_issue, make_mark, make_part, make_subject
from tests.forms import form_of, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def black(series: Series, lead_client: Client) -> Series:
    """Black said on the notation's page: K solid, K50 half; the standard chart stays."""
    page = reverse("edit-notation", args=[series.slug])
    form = form_of(lead_client.get(page), has="key_steps").fill(key_steps="alone = 100\n50 = 50")
    shown = form.press(lead_client, "Show what it would change")
    form_of(shown, says="Yes, save it").press(lead_client, "Yes, save it")
    return Series.objects.get(pk=series.pk)


@pytest.fixture
def page_of_it(black: Series, lead: Any, lead_client: Client) -> Guide:
    """A mask locked to K50 on its screen; a page on which one mark is right and one says solid black."""
    guide = make_guide(make_issue(black), by=lead)
    part = make_part(costume=make_costume(make_subject(black, name="Ada Penn"), name="work coat"), name="mask")
    page = lead_client.get(reverse("lock", args=[black.slug, part.pk]))
    answer = form_of(page, has="code").fill(code="k50", reason="soot").press(lead_client)
    assert answer.status_code == 302, text_of(answer)
    for written in ("K50", "K", "YK50"):
        make_mark(guide, written, part=part, by=lead)
    return guide


def test_the_standard_chart_stays_and_black_is_beside_it(black: Series, lead_client: Client) -> None:
    # 4 strengths an ink, three inks: 64 tints (common practice, no source); with three strengths of key three times as many
    assert (black.read("K50"), black.read("K"), black.read("YR3K50")) == (
        Tint(k=50),
        Tint(k=100),
        Tint(m=50, y=100, k=50),
    )
    assert black.write(Tint(m=50, y=100, k=50)) == "YR3K50"
    assert len(black.chart.tints) in (64, 192)
    shown = text_of(lead_client.get(reverse("chart", args=[black.slug])))
    assert "key 50 %" in shown


def test_lock_flag_look_up_sheet_plates_and_hand_off_say_it(page_of_it: Guide, lead_client: Client) -> None:
    black, slug = page_of_it.series, page_of_it.series.slug
    assert Lock.objects.get(series=black).tint == Tint(k=50)
    assert [mark.written for mark in Mark.objects.flagged().order_by("pk")] == ["K", "YK50"]
    subject = Lock.objects.get(series=black).part.costume.subject

    def seen(name: str, *keys: int, **asked: str) -> str:
        return text_of(lead_client.get(reverse(name, args=[slug, *keys]), asked))

    assert "K50" in seen("flags")
    assert "mask" in seen("lookup", q="K50")
    assert "K50" in seen("lookup", q="ada mask")
    assert "K50" in seen("colour-sheet", subject.pk)
    assert "K50" in seen("guide", page_of_it.pk)
    assert "K50" in seen("palette")
    assert "K50" in seen("timeline", subject.pk)
    plates = seen("guide-hand-off", page_of_it.pk)
    assert re.search(r"key 50 ?%", plates, re.IGNORECASE), plates
    pdf = lead_client.get(reverse("colour-sheet-pdf", args=[slug, subject.pk])).content
    assert "K50" in "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    pocket = lead_client.get(reverse("pocket-data", args=[slug])).json()
    assert [code["code"] for part in pocket["parts"] for code in part["codes"]] == ["K50"]


def test_programs_and_archives_keep_it(page_of_it: Guide, lead: Any, tmp_path: Path) -> None:
    black = page_of_it.series
    token = make_read_token(membership=black.memberships.get(user=lead), name="a program")[1]
    for asked in ("/parts", "/marks", "/flags", "/chart"):
        found = Client().get(f"/api/v1/series/{black.slug}{asked}", headers={"Authorization": f"Bearer {token}"})
        assert "K50" in found.content.decode(), asked
    export_series(black, tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as out:
        assert json.loads(out.read("tables/bible.series.jsonl"))
    back = restore_series(Archive.open(tmp_path / "out.zip"), slug="back").series
    assert back.read("K50") == Tint(k=50)
    assert Mark.objects.filter(series=back).flagged().count() == 2
    assert continuity.discrepancies(back) == []
