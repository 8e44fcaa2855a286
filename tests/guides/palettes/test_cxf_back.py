"""CxF3 out of a palette and back in as a chart, through the pages: no tint is another one afterwards."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Series
from guides.palettes.cxf import NAMESPACE
from tests.factories import make_guide, make_issue, make_mark

pytestmark = pytest.mark.django_db

CODES = ("YR3B2", "B", "Y2R", "R3")


def audit(client: Client, series: Series, data: bytes) -> Any:
    file = SimpleUploadedFile("palette.cxf", data)
    return client.post(reverse("chart-audit", args=[series.slug]), {"file": file})


def test_a_palettes_cxf_comes_back_in_equal(series: Series, lead: User, lead_client: Client) -> None:
    guide = make_guide(make_issue(series), by=lead)
    for code in CODES:
        make_mark(guide, written=code)
    out: Any = lead_client.get(reverse("palette-file", args=[series.slug, "cxf"]))
    data = b"".join(out.streaming_content) if out.streaming else out.content
    assert NAMESPACE.encode() in data
    back = audit(lead_client, series, data)
    assert back.status_code == 200
    found = {swatch.tint for swatch in back.context["form"].cleaned_data["chart_table"].swatches}
    assert found == {series.read(code) for code in CODES}


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (f'<CxF xmlns="{NAMESPACE}"><Resources>', "its XML cannot be read"),
        (f'<CxF xmlns="{NAMESPACE}"/>', "colour of this CxF file says"),
        (f'<!DOCTYPE a [<!ENTITY b "c">]><CxF xmlns="{NAMESPACE}">&b;</CxF>', "its XML cannot be read"),
    ],
)
def test_what_is_no_such_file_is_refused_in_words(series: Series, lead_client: Client, data: str, told: str) -> None:
    answer = audit(lead_client, series, data.encode())
    assert answer.status_code == 422
    assert told in answer.content.decode()
