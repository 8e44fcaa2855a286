"""A page that comes in is mapped in the background, once, and its outlines are drawn."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Job, Series
from bible.tasks.worker import work_off
from guides.core.page_maps import kept_map, map_key
from guides.models import Guide
from guides.uploads import services as arrivals
from guides.uploads.tasks import ask_for_map
from tests.factories import make_guide, make_issue, picture_bytes

pytestmark = pytest.mark.django_db


def sent(series: Series, by: Any) -> Guide:
    data = picture_bytes(300, 400)
    begun = arrivals.start(
        issue=make_issue(series), page="7", revision=1, filename="p7.jpg", byte_size=len(data), by=by
    )
    arrival = arrivals.append(arrival=begun, at=0, stream=io.BytesIO(data))
    return arrivals.finish(arrival=arrival)[0]


def is_mapped(guide: Guide) -> bool:
    outlines = f"maps/{guide.series_id}/{guide.pk}/{map_key(guide)}.json"
    return kept_map(guide) is not None and default_storage.exists(outlines)


def test_a_page_that_was_sent_is_mapped(series: Series, lead: Any) -> None:
    guide = sent(series, lead)
    assert not is_mapped(guide)
    job = Job.objects.get(key=f"map-{guide.pk}")
    assert (job.series, job.asked_by, job.page) == (series, lead, guide.get_absolute_url())
    assert work_off() == 2  # the map, and the codes written on it
    assert is_mapped(guide)


def test_a_page_that_came_with_a_form_is_mapped_too(series: Series, lead: Any, lead_client: Client) -> None:
    issue = make_issue(series)
    file = SimpleUploadedFile("page 3.jpg", picture_bytes(300, 400), "image/jpeg")
    lead_client.post(reverse("upload", args=[series.slug, issue.pk]), {"scans": [file], "page": "3", "colourist": ""})
    guide = Guide.objects.get(issue=issue)
    assert work_off() == 2  # the map, and the codes written on it
    assert is_mapped(guide)


def test_a_page_that_is_gone_is_no_fault(series: Series, lead: Any) -> None:
    guide = make_guide(make_issue(series), by=lead)
    ask_for_map(guide=guide, by=lead)
    guide.delete()
    assert work_off() == 1
    assert not Job.objects.open().exists()
