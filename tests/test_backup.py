"""The backup that README.md describes, made while somebody works, brought back, and looked through."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.db import connection

from bible.models import Series
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part
from tests.postgres import binaries

pytestmark = pytest.mark.django_db(transaction=True)

README = Path(__file__).resolve().parents[1] / "README.md"
AGAIN = "brought_back"


def said_in_readme(begins: str) -> str:
    """The command of README.md that begins so, its continued line with it."""
    found = re.search(rf"^{re.escape(begins)}.*?[^\\]$", README.read_text(), re.MULTILINE | re.DOTALL)
    assert found, f"README.md has no command that begins with {begins}"
    return found.group().replace("\\\n", " ")


@pytest.fixture
def marked(series: Series) -> Guide:
    guide = make_guide(make_issue(series))
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_mark(guide, "YR3B2", part=part)
    make_mark(guide, "B2", part=part)
    return guide


@pytest.fixture
def night(tmp_path: Path) -> Path:
    (tmp_path / "backup").mkdir()
    return tmp_path


def shell(command: str, night: Path, **env: str) -> None:
    """A command of README.md with this test's folder in place of the backup's."""
    command = re.sub(r"(?<=[ =])/backup/", f"{night}/backup/", command)
    places = os.pathsep.join(str(place) for place in (Path(sys.executable).parent, binaries()) if place)
    path = f"{places}{os.pathsep}{os.environ['PATH']}"
    subprocess.run(["bash", "-euc", command], check=True, env=os.environ | {"PATH": path} | env, capture_output=True)


@pytest.fixture
def brought_back(marked: Guide, night: Path) -> Iterator[dict[str, str]]:
    """The environment of an installation that was made from the backup; one mark was placed after it was made."""
    settings = connection.settings_dict
    data = night / "data"
    data.mkdir()
    env = {"BIBLE_DATA": str(data)}
    if connection.vendor == "sqlite":
        # The tests' own database is in memory: here it stands as a file, with people at work in it.
        with sqlite3.connect(night / "bible.sqlite3") as file:
            connection.connection.backup(file)
        file.execute("PRAGMA journal_mode=WAL")
        shell(said_in_readme("python -c"), night, BIBLE_DATA=str(night))
        file.close()
    else:
        address = f"postgres://{settings['USER']}@{settings['HOST']}:{settings['PORT']}"
        shell(said_in_readme("pg_dump"), night, DATABASE_URL=f"{address}/{settings['NAME']}")
    make_mark(marked, "R")
    shutil.copytree(default_storage.location, night / "backup" / "media")  # type: ignore[attr-defined]
    # The night is over, the machine is lost, and this is the new one.
    shutil.copytree(night / "backup" / "media", data / "media")
    [kept] = [file for file in (night / "backup").iterdir() if file.is_file()]
    if connection.vendor == "sqlite":
        shutil.copy(kept, data / "bible.sqlite3")
        env["DATABASE_URL"] = f"sqlite:///{data / 'bible.sqlite3'}"
        yield env
        return
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {AGAIN}")
    try:
        env["DATABASE_URL"] = f"{address}/{AGAIN}"
        restore = re.search(r"`(pg_restore [^`]*) FILE`", README.read_text())
        assert restore
        shell(f"{restore.group(1)} {kept}", night, **env)
        yield env
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {AGAIN} WITH (FORCE)")


def manage(env: dict[str, str], *words: str) -> str:
    command = [sys.executable, "manage.py", *words]
    done = subprocess.run(command, cwd=README.parent, env=os.environ | env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_what_was_there_comes_back_whole(series: Series, marked: Guide, brought_back: dict[str, str]) -> None:
    assert Mark.objects.count() == 3
    assert manage(brought_back, "migrate", "--check") == ""
    assert json.loads(manage(brought_back, "doctor", "--json")) == {"findings": [], "by_kind": {}, "left": 0}
    manage(brought_back, "check", series.slug, "--verify")
    marks = "from guides.models import *; print([(m.written, str(m.flag_kind)) for m in Mark.objects.order_by('id')])"
    assert manage(brought_back, "shell", "-v0", "-c", marks).strip() == "[('YR3B2', 'None'), ('B2', 'differs')]"
