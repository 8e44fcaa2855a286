"""The bible as several machines would run it: PostgreSQL, two workers without state, pictures in an S3-compatible store.

A guide is brought in, marked and read back; a worker is killed while others come in; everything that was answered for
is there afterwards, and the doctor puts away what the killed one left.

Nothing is read from a replica while people work: ``seen``, versions and fingerprints would refuse work that a
lagging page led to. Commands that only read run on one by their ``DATABASE_URL``; here they run where every write
is refused.
"""

from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
import requests

from tests.conftest import without_service
from tests.factories import picture_bytes
from tests.object_store import missing, store
from tests.postgres import binaries, cluster
from tests.serving import Server, production, said_in_front, serving

pytestmark = [pytest.mark.postgres, pytest.mark.backend("sqlite")]  # it brings its own database

MAKE = """
import json, secrets, django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from django.contrib.auth.models import User
from tests.factories import make_issue, make_lock, make_member, make_part, make_series
from tests.serving import signed_in
series = make_series(slug="far-shore")
lead = make_member(series, "lead", username="nell")
issue = make_issue(series)
make_lock(make_part(series), by=lead)
session, token = signed_in("nell")
print("MADE" + json.dumps([issue.pk, session, token]))
"""

LOOK = """
import datetime as dt, json, sys, django
django.setup()
from django.utils import timezone
from guides.maintenance.doctor import examine
from guides.models import Guide
found = list(examine(timezone.now() + dt.timedelta(days=7)))
for one in found if "mend" in sys.argv else ():
    one.mend and one.mend()
pages = {guide.page: guide.pk for guide in Guide.objects.all()}
print("MADE" + json.dumps([[f"{one.kind}: {one.what}" for one in found], pages]))
"""


def run(script: str, env: dict[str, str], *arguments: str) -> Any:
    ran = subprocess.run([sys.executable, "-c", script, *arguments], env=env, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout.split("MADE")[1])


class Person:
    """Somebody at work through the web server in front."""

    def __init__(self, server: Server, issue: int, session: str, token: str) -> None:
        self.server, self.issue, self.token = server, issue, token
        self.said = said_in_front(session, token)

    def get(self, path: str) -> requests.Response:
        return requests.get(self.server.url + path, headers=self.said, timeout=60, allow_redirects=False)

    def post(self, path: str, data: dict[str, str], files: Any = None) -> requests.Response:
        said = data | {"csrfmiddlewaretoken": self.token}
        return requests.post(
            self.server.url + path, data=said, files=files, headers=self.said, timeout=60, allow_redirects=False
        )

    def bring(self, page: str, picture: bytes) -> str:
        """The address of the guide that came in; sent again where others of the same person are being looked at."""
        for _ in range(300):  # a minute: on a busy machine a picture takes seconds
            answer = self.post(
                f"/s/far-shore/issues/{self.issue}/upload",
                {"page": page},
                {"scans": (f"{page}.jpg", io.BytesIO(picture))},
            )
            if "again soon" not in answer.text:
                break
            time.sleep(0.2)
        assert answer.status_code == 302, answer.text[answer.text.find("<main") :][:2000]
        return answer.headers["Location"]


@pytest.fixture
def env(tmp_path: Path) -> Any:
    if binaries() is None:
        without_service("PostgreSQL")
    if missing():
        without_service(", ".join(missing()))
    with cluster() as database, store() as bucket:
        yield production(tmp_path, DATABASE_URL=database, **bucket)


def test_work_goes_on_when_a_worker_dies_and_nothing_is_lost(env: dict[str, str]) -> None:
    issue, session, token = run(MAKE, env)
    with serving(env, workers=2, threads=2) as server:
        person = Person(server, issue, session, token)
        picture = picture_bytes(300, 400, "#406080")
        guide = person.bring("1", picture)
        marked = person.post(f"{guide}new-mark", {"written": "YR3B2", "x": "0.5", "y": "0.5", "role": "base"})
        assert marked.status_code in (200, 302), marked.text[:500]
        for _ in range(8):  # whichever worker is asked
            assert person.get(f"{guide}original").content == picture
            assert "YR3B2" in person.get(guide).text
        assert person.get(f"{guide}printed.jpg").headers["Content-Type"] == "image/jpeg"
        assert not Path(env["BIBLE_DATA"], "media").exists(), "pictures are in the bucket alone"
        assert run(LOOK, env)[0] == []
        answered = killed_while_they_come(person)
        found, pages = run(LOOK, env, "mend")
        assert {kind.split(":")[0] for kind in found} <= {"orphan", "half-sent"}
        assert run(LOOK, env)[0] == []
        assert len(answered) > 4
        for page, content in answered.items():
            assert person.get(f"/s/far-shore/guides/{pages[page]}/original").content == content
        assert len(server.workers()) == 2
    log = Path(env["BIBLE_DATA"], "server.log").read_text(encoding="utf-8")
    assert '"route": "upload"' in log
    assert not re.search(r"far-shore|nell|YR3B2|\.jpg", log)


def killed_while_they_come(person: Person) -> dict[str, bytes]:
    """Six people bring pages in, one of the workers is killed; the pages that were answered for, with their bytes."""
    answered: dict[str, bytes] = {}

    def bring(first: int) -> None:
        for page in range(first, first + 3):
            picture = picture_bytes(300, 400 + page, "#a04020")
            for _ in range(3):
                try:
                    person.bring(str(page), picture)
                    answered[str(page)] = picture
                    break
                except (requests.ConnectionError, requests.Timeout):
                    time.sleep(0.3)

    people = [threading.Thread(target=bring, args=(10 * n,)) for n in range(1, 7)]
    for one in people:
        one.start()
    time.sleep(1.0)
    os.kill(person.server.workers()[0], signal.SIGKILL)
    for one in people:
        one.join()
    return answered


def test_what_only_reads_runs_on_a_replica(env: dict[str, str], tmp_path: Path) -> None:
    """A replica refuses every write, as this connection does: whole series go out and are verified there."""
    run(MAKE, env)
    replica = env | {"PGOPTIONS": "-c default_transaction_read_only=on"}
    for command in (["export_series", "far-shore", str(tmp_path / "x.zip")], ["check", "far-shore", "--verify"]):
        ran = subprocess.run([sys.executable, "-m", "django", *command], env=replica, capture_output=True, text=True)
        assert ran.returncode == 0, ran.stderr
    refused = subprocess.run(
        [sys.executable, "-m", "django", "clearsessions"], env=replica, capture_output=True, text=True
    )
    assert "read-only transaction" in refused.stderr, "else this would prove nothing"
