"""New code is put in (HUP) while people ask for pages: every worker is another one afterwards, and nobody noticed."""

from __future__ import annotations

import http.client
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

from tests.serving import Server, production, said_in_front, serving

PEOPLE, PAUSE = 4, 0.05
"""Who asks for a page again as soon as it is there, and a moment's pause: on two workers of two threads each."""

MOST_WAITED = 1.0
"""Seconds that 99 of 100 answers take at most while workers are replaced (common practice: longer is noticed)."""

SLOWER = 4
"""On a machine that has other things to do, at most as much slower than just before: a worker that starts takes a core."""

PATIENCE = 180.0


class People:
    """Several of them, each on a connection of their own for every page, so that none is held by a worker."""

    def __init__(self, server: Server) -> None:
        self.server, self.waits, self.faults, self.over = server, list[float](), list[str](), threading.Event()
        self.threads = [threading.Thread(target=self.ask_on) for _ in range(PEOPLE)]

    def ask_on(self) -> None:
        while not self.over.wait(PAUSE):
            began = time.monotonic()
            try:
                connection = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=60)
                connection.request("GET", "/sign-in/", headers=said_in_front())
                answer = connection.getresponse()
                answer.read()
                connection.close()
                if answer.status != 200:
                    self.faults.append(str(answer.status))
            except OSError as error:
                self.faults.append(type(error).__name__)
            self.waits.append(time.monotonic() - began)

    def during(self, seconds: float = 0, *, until: object = None) -> list[float]:
        """How long each answer took of those that came meanwhile."""
        self.waits.clear()
        end = time.monotonic() + (seconds or PATIENCE)
        while time.monotonic() < end and not (callable(until) and until()):
            time.sleep(0.1)
        return sorted(self.waits)


def p99(waits: list[float]) -> float:
    return waits[min(len(waits) - 1, int(len(waits) * 0.99))]


def test_a_rolling_restart_is_not_noticed(tmp_path: Path) -> None:
    env = production(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path / 'bible.sqlite3'}")
    subprocess.run([sys.executable, "-m", "django", "migrate", "-v0"], env=env, cwd=env["PYTHONPATH"], check=True)
    with serving(env, workers=2, threads=2) as server:
        people, old = People(server), set(server.workers())
        for thread in people.threads:
            thread.start()
        try:
            before = people.during(3)
            os.kill(server.master, signal.SIGHUP)
            during = people.during(until=lambda: not old & set(server.workers()) and server.is_ready())
        finally:
            people.over.set()
            for thread in people.threads:
                thread.join(70)
        assert not old & set(server.workers()), "every worker has been replaced"
        assert len(server.workers()) == 2
    assert people.faults == []
    assert len(during) > 50
    assert p99(during) < max(MOST_WAITED, SLOWER * p99(before)), (p99(before), p99(during), during[-1])
