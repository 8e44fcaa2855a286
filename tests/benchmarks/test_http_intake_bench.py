"""An issue of 28 pages of 15 megapixels through the upload's own requests, two at a time (bar: 60 s, two cores).

``python tests/postgres.py python -m pytest tests/benchmarks/test_http_intake_bench.py``: SQLite in memory, as tests have
it, takes no two requests at once.
"""

from __future__ import annotations

import hashlib
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from PIL import Image

from bible.models import Issue
from guides.models import Guide
from guides.uploads.services import PIECE_BYTES
from tests.benchmarks.test_intake_bench import HEIGHT, WIDTH, encoded, scan
from tests.factories import make_issue, make_member, make_series

PAGES = 28


def bring(issue: Issue, client: Client, number: int, data: bytes) -> None:
    """Begin, pieces and finish, as the browser sends them."""
    said = {
        "filename": f"p{number:02}.jpg",
        "byte_size": len(data),
        "page": str(number),
        "revision": 1,
        "sha256": hashlib.sha256(data).hexdigest(),
    }
    begun = client.post(reverse("begin-arrival", args=[issue.series.slug, issue.pk]), said)
    assert begun.status_code == 201, begun.content
    address = begun.json()["url"]
    for at in range(0, len(data), PIECE_BYTES):
        piece = data[at : at + PIECE_BYTES]
        place = f"bytes {at}-{at + len(piece) - 1}/{len(data)}"
        told = client.patch(address, piece, "application/octet-stream", headers={"Content-Range": place})
        assert told.status_code == 200, told.content
    done = client.post(address)
    assert done.json()["state"] == "stored", done.content


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_an_issue_through_the_uploads_requests(benchmark: Any) -> None:
    page = np.asarray(scan(WIDTH, HEIGHT))
    pages = [encoded(Image.fromarray(np.roll(page, 37 * turn, axis=0)), "JPEG", quality=90) for turn in range(PAGES)]
    series = make_series()
    issue, person = make_issue(series), make_member(series, "fill-in")

    def lane(which: int) -> None:
        client = Client()
        client.force_login(person)
        for number in range(which, PAGES, 2):
            bring(issue, client, number + 1, pages[number])
        connection.close()

    def whole() -> None:
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(lane, range(2)))

    benchmark.extra_info["megabytes"] = round(sum(map(len, pages)) / 1e6, 1)
    benchmark.pedantic(whole, rounds=1)
    assert Guide.objects.filter(issue=issue).count() == PAGES
