"""The same sent twice at one instant is done once: a script that retries, two workers of one queue."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection

from bible.models import Activity, Proposal
from guides.imaging.intake.take_in import take_in
from guides.models import Guide, Proof
from guides.proofs.tasks import bring_in_once
from tests.factories import make_guide, make_issue, make_member, make_part, make_series, picture_bytes
from tests.openapi import api

HELD = 0.05
"""Seconds between any two questions to the database, so that both are in the middle of it."""


def _twice(deed: Callable[[], Any]) -> list[int]:
    """The status codes of two at one moment."""
    answers: list[int] = []
    together = threading.Barrier(2)

    def run() -> None:
        try:
            together.wait(10)
            with connection.execute_wrapper(_slowly):
                answers.append(deed().status_code)
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return sorted(answers)


def _slowly(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
    time.sleep(HELD)
    return execute(sql, params, many, context)


@pytest.mark.backend("postgresql")  # SQLite lets one transaction write at a time
@pytest.mark.django_db(transaction=True)
def test_two_like_proposals_are_one() -> None:
    series = make_series()
    lead = make_member(series, "lead")
    make_issue(series, number="57")
    call, body = api(series, lead), {"part": make_part(series).pk, "code": "YR3B2"}
    assert _twice(lambda: call("propose", body, slug=series.slug)) == [200, 201]
    assert Proposal.objects.count() == 1
    assert Activity.objects.filter(kind="proposed").count() == 1


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_two_like_proofs_are_one() -> None:
    series = make_series()
    lead = make_member(series, "lead")
    make_guide(make_issue(series, number="57"), page="3", by=lead)
    guide = Guide.objects.get()
    data = picture_bytes(500, 750)
    picture = take_in(io.BytesIO(data), "proof.jpg")
    made: list[bool] = []

    def send() -> Any:
        sent: dict[str, Any] = {"original": io.BytesIO(data), "filename": "proof.jpg"}
        made.append(bring_in_once(guide=guide, by=lead, picture=picture, **sent)[1])
        return SimpleNamespace(status_code=200)

    _twice(send)
    assert sorted(made) == [False, True]
    assert Proof.objects.count() == 1
