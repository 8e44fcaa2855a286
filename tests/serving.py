"""The application as it is run for real: gunicorn workers in production settings, for load and for faults.

The database is whatever ``DATABASE_URL`` says (``tests/postgres.py`` starts one), data and static files lie in a
scratch folder. Requests say what the web server in front would say: the host, and that they came by HTTPS.
"""

from __future__ import annotations

import os
import secrets
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from tests.postgres import free_port

HOST = "localhost"
PATIENCE = 60.0
"""Seconds for the workers to come up; colour science is imported by each."""


def production(folder: Path, **more: str) -> dict[str, str]:
    """The environment of a production start whose data lie in a folder.

    The secret is this process's own: sessions that it makes are signed with it.
    """
    from django.conf import settings

    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "bible.settings",
        "PYTHONPATH": str(Path(__file__).resolve().parents[1]),
        "BIBLE_PRODUCTION": "1",
        "BIBLE_DATA": str(folder),
        "ALLOWED_HOSTS": HOST,
        "SECRET_KEY": settings.SECRET_KEY,
        **more,
    }


@dataclass(frozen=True)
class Server:
    """A running server. ``env`` is what it was started with."""

    port: int
    master: int
    env: dict[str, str]

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def workers(self) -> list[int]:
        """Process numbers of the workers that are there just now."""
        children = Path(f"/proc/{self.master}/task/{self.master}/children").read_text().split()
        return [int(pid) for pid in children]

    def is_ready(self) -> bool:
        request = urllib.request.Request(f"{self.url}/healthz/ready", headers=said_in_front())
        try:
            with urllib.request.urlopen(request, timeout=5) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False


def said_in_front(session: str = "", token: str = "") -> dict[str, str]:
    """The headers of a request as the web server in front hands it on, and of a person who is signed in."""
    headers = {"Host": HOST, "X-Forwarded-Proto": "https", "Referer": f"https://{HOST}/"}
    if session:
        headers |= {"Cookie": f"sessionid={session}; csrftoken={token}", "X-CSRFToken": token}
    return headers


def signed_in(username: str) -> tuple[str, str]:
    """(session key, CSRF token) of somebody, made in the database; Django is set up and looks at the same one."""
    from django.contrib.auth.models import User
    from django.test import Client

    client = Client()
    client.force_login(User.objects.get(username=username))
    return client.cookies["sessionid"].value, secrets.token_hex(16)


@contextmanager
def serving(env: dict[str, str], *, workers: int = 2, threads: int = 4) -> Iterator[Server]:
    """Start gunicorn, wait until it is ready, and stop it with all its workers in the end.

    The code it runs is that of the environment's ``PYTHONPATH``.

    Raises:
        TimeoutError: it does not get ready; what it said stands in the folder's ``server.log``.
    """
    subprocess.run(
        [sys.executable, "-m", "django", "collectstatic", "--no-input", "-v0"],
        env=env,
        cwd=env["PYTHONPATH"],
        check=True,
    )
    port = free_port()
    config = Path(env["PYTHONPATH"], ".deploy", "gunicorn.conf.py")  # a release before it had none
    said = [f"--config={config}"] if config.exists() else []
    command = [sys.executable, "-m", "gunicorn", "bible.wsgi", f"--bind=127.0.0.1:{port}", f"--workers={workers}"]
    with Path(env["BIBLE_DATA"], "server.log").open("ab") as log:
        process = subprocess.Popen(
            [*command, *said, f"--threads={threads}", "--timeout=60", "--keep-alive=75"],
            env=env, cwd=env["PYTHONPATH"], stdout=log, stderr=log, start_new_session=True,
        )  # fmt: skip
    try:
        server = Server(port, process.pid, env)
        until = time.monotonic() + PATIENCE
        while not server.is_ready():
            if time.monotonic() > until or process.poll() is not None:
                raise TimeoutError("the server does not get ready")
            time.sleep(0.2)
        yield server
    finally:
        process.terminate()
        try:
            process.wait(20)
        finally:
            with suppress(ProcessLookupError):  # what a killed worker had started may have outlived it
                os.killpg(process.pid, signal.SIGKILL)
