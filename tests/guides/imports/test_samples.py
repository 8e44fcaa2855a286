"""Every table that can be brought in has a sample to begin from, which is read without a fault."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.contrib.staticfiles import finders
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Series
from guides.imports.opening import FIELDS
from guides.models import BroughtTable
from tests.factories import make_guide, make_issue
from tests.forms import text_of

pytestmark = pytest.mark.django_db

CHART, PAGE_MARKS = "bible/chart/sample.csv", "guides/imports/samples/page-marks.csv"


def sample(name: str) -> SimpleUploadedFile:
    found = finders.find(name)
    assert found, name
    return SimpleUploadedFile(Path(name).name, Path(found).read_bytes())


def offers(client: Client, address: str, name: str) -> bool:
    return f"/{name}" in client.get(address).content.decode()


@pytest.mark.parametrize("kind", BroughtTable.Kind.values)
def test_a_table_s_sample_is_linked_and_all_its_headings_are_known(
    kind: str, series: Series, lead_client: Client
) -> None:
    name = f"guides/imports/samples/{kind}.csv"
    address = reverse("bring-marks-table" if kind == "marks" else f"bring-{kind}", args=[series.slug])
    assert offers(lead_client, address, name)
    page = lead_client.post(address, {"file": sample(name)}, follow=True)
    assert page.status_code == 200
    assert BroughtTable.objects.latest("pk").kind == kind
    taken = {value for field in FIELDS[kind] if (value := page.context["form"][field.name].value()) not in (None, "")}
    width = len(Path(finders.find(name) or "").read_text(encoding="utf-8").splitlines()[0].split(","))
    assert {int(column) for column in taken} == set(range(width)), "every column of the sample says something"


def test_the_chart_s_sample_is_looked_through_without_a_finding(series: Series, lead_client: Client) -> None:
    address = reverse("chart-audit", args=[series.slug])
    assert offers(lead_client, address, CHART)
    page = lead_client.post(address, {"file": sample(CHART)})
    assert not page.context["table"].errors
    assert page.context["audit"].is_clean


def test_a_page_s_marks_from_the_sample_are_put_on_it(series: Series, lead: User, lead_client: Client) -> None:
    guide = make_guide(make_issue(series), by=lead)
    address = reverse("bring-marks", args=[series.slug, guide.pk])
    assert offers(lead_client, address, PAGE_MARKS)
    page = lead_client.post(address, {"file": sample(PAGE_MARKS)})
    assert not page.context["brought"].troubles
    assert "3 marks would be put on this page" in text_of(page)
