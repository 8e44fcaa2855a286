"""A browser page that notices everything the console complains about."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest
from django.conf import settings as project
from django.db import transaction
from django.db.models.signals import post_save

from bible.models import Job, Part, Series
from bible.tasks.worker import work_off
from guides.models import Guide
from tests.browser import unhurried
from tests.factories import (
    PASSWORD,
    make_costume,
    make_guide,
    make_issue,
    make_lock,
    make_member,
    make_part,
    make_subject,
)

VIEWPORT = {"width": 1280, "height": 860}
PATIENCE = 60_000
"""Milliseconds after which what is waited for is held not to come. It is no measure of speed: what tests wait for is always
an event or a state of the page, and on a busy machine one answer may take ten seconds."""


BROKEN_OFF = ("htmx:sendAbort", "htmx:afterRequest")
"""How the script library tells that a page was left before an answer came: nobody waits for it any more."""


def is_complaint(said: Any) -> bool:
    """Whether a line of the console is an error or a warning that somebody should look at."""
    return said.type in ("error", "warning") and not said.text.startswith(BROKEN_OFF)


@pytest.fixture(scope="session", autouse=True)
def _collected_files(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The live server starts once, before any test's own settings, and wants a folder for collected files."""
    project.STATIC_ROOT = tmp_path_factory.mktemp("static")


@pytest.fixture(scope="session", autouse=True)
def _hands_wait_for_pages() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        unhurried.of_pages_and_locators(patch)
        yield


def _work_at_once(sender: Any, instance: Job, created: bool, **_: Any) -> None:
    if created:
        transaction.on_commit(partial(work_off, only=instance.pk))


@pytest.fixture(autouse=True)
def _no_worker_needed() -> Iterator[None]:
    """Work in the background is done by the server's own thread, as soon as what asked for it is committed."""
    post_save.connect(_work_at_once, sender=Job)
    yield
    post_save.disconnect(_work_at_once, sender=Job)


@pytest.fixture
def visit(chromium: Any, live_server: Any) -> Iterator[Callable[..., Any]]:
    """Open pages as somebody; at the end no console may have complained, the content policy's reports included."""
    contexts: list[Any] = []
    complaints: list[str] = []

    def open_as(person: Any, path: str = "/", **options: Any) -> Any:
        context = chromium.new_context(**({"base_url": live_server.url, "viewport": VIEWPORT} | options))
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto("/sign-in/")
        page.fill("[name=username]", person.username)
        page.fill("[name=password]", PASSWORD)
        page.click("button.main")
        page.goto(path)
        page.complaints = complaints
        return page

    yield open_as
    for context in contexts:
        # What a page still asks must be answered before the database is emptied under the server.
        for page in context.pages:
            page.wait_for_load_state("networkidle")
        context.close()
    assert complaints == []


@pytest.fixture
def colourist(series: Series) -> Any:
    return make_member(series, "fill-in", username="wim")


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series), page="7", width=400, height=600)


@pytest.fixture
def coat(series: Series, colourist: Any) -> Part:
    part = make_part(costume=make_costume(make_subject(series, name="Ada Penn"), name="work coat"), name="coat")
    make_lock(part, "YR3B2")
    return part
