"""Fixtures for every room."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from tests.factories import make_member, make_series

# Playwright's loop runs in this thread; without this Django takes every query for one made by a coroutine.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

SERVICES_REQUIRED = os.environ.get("REQUIRE_SERVICES") == "1"


def without_service(what: str) -> None:
    """Skip with the reason, or fail where services are required."""
    if SERVICES_REQUIRED:
        pytest.fail(f"{what} is required here (REQUIRE_SERVICES=1) and was not found.")
    pytest.skip(f"{what} was not found on this machine.")


NO_DATABASE = (Path("guides/imaging"), Path("bible/colour"))
"""Folders of tests about code that knows no Django: what they find on SQLite they find on any database."""

SAME_EVERYWHERE = tuple(
    map(
        Path,
        ("browser", "test_scripts.py", "test_buttons.py", "test_structure.py", "test_words.py", "test_supply.py"),
    )
)
"""What the pages and their scripts do in a browser, which takes a third of a run, how pages are escaped and their buttons
named, and how the code is laid out, is the same on any database; tests that are driven in a browser through everything
down to the rows say so with ``every_database``."""


def _means_something_on(vendor: str, item: pytest.Item) -> bool:
    if any(vendor not in mark.args for mark in item.iter_markers("backend")):
        return False
    if vendor == "sqlite" or item.get_closest_marker("every_database"):
        return True
    if any(_lies_in(folder, item) for folder in SAME_EVERYWHERE):
        return False
    if item.get_closest_marker("django_db") or "django_db_setup" in item.fixturenames:  # type: ignore[attr-defined]
        return True
    return not any(_lies_in(folder, item) for folder in NO_DATABASE)


def _lies_in(folder: Path, item: pytest.Item) -> bool:
    return item.path.is_relative_to(Path(__file__).parent / folder)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out, without counting it as skipped, what only means something on another database."""
    kept = [item for item in items if _means_something_on(connection.vendor, item)]
    config.hook.pytest_deselected(items=[item for item in items if item not in kept])
    items[:] = kept


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite in a file, as people run it: in memory every thread of the live server would share one connection."""
    if connection.vendor != "sqlite":
        return
    database = connection.settings_dict
    kept = os.environ.get("TEST_DATABASE")  # with --reuse-db: who runs the same tests over and over
    database["TEST"]["NAME"] = kept or str(tmp_path_factory.mktemp("database") / "test.sqlite3")
    # What a power cut would take is a test's, so nothing has to reach the disk.
    options = database["OPTIONS"]
    options["init_command"] = options["init_command"].replace("synchronous=NORMAL", "synchronous=OFF")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Ends what still holds the database when the tests are over, such as the thread of a server that a test had
    started: PostgreSQL drops none that is in use."""
    yield
    if connection.vendor == "postgresql":
        with django_db_blocker.unblock(), connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )


@pytest.fixture(scope="module")
def built_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the files lie of what a module builds once (``tests.built_once``)."""
    return tmp_path_factory.mktemp("files")


@pytest.fixture(autouse=True)
def quick_settings(settings: Any, tmp_path: Path) -> None:
    """Media and collected files in folders of the test's own; passwords hashed fast; a client is quick to make."""
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STATIC_ROOT = tmp_path.parent / "static"
    settings.STATIC_ROOT.mkdir(exist_ok=True)
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # Each client would read through all static files once: looked for when asked, they cost those who ask.
    settings.WHITENOISE_AUTOREFRESH = True


@pytest.fixture
def series(db: None) -> Any:
    return make_series(title="The Slow River", slug="slow-river")


@pytest.fixture
def lead(series: Any) -> Any:
    return make_member(series, "lead", username="lead")


@pytest.fixture
def fill_in(series: Any) -> Any:
    return make_member(series, "fill-in", username="fill-in")


@pytest.fixture
def lead_client(lead: Any) -> Client:
    client = Client()
    client.force_login(lead)
    return client


@pytest.fixture
def fill_in_client(fill_in: Any) -> Client:
    client = Client()
    client.force_login(fill_in)
    return client


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One headless browser for the session."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        without_service("Chromium")
    from playwright.sync_api import sync_playwright

    arguments = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=arguments)
        yield browser
        browser.close()
