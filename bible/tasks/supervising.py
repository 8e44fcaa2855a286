"""Worker processes and who keeps them alive: one that ends is followed by another.

A process of its own for each worker: one that takes too long, or too much memory, can be ended without the rest.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field

from django.conf import settings
from django.db import connection

LEAST_LIFE = 1.0
"""Seconds between two starts in one place: what cannot start is not tried without end."""

LOOK_EVERY = 0.2


def most_processes() -> int:
    """SQLite has one writer at a time; two workers would mostly wait for each other."""
    return 1 if connection.vendor == "sqlite" else 64


@dataclass
class WorkerPlace:
    """One place for a worker: its name outlives the process that has it, which says whose work was left."""

    name: str
    grace: float
    process: subprocess.Popen[bytes] | None = None
    started: float = field(default=-LEAST_LIFE)

    def keep(self) -> None:
        """Start a process where there is none."""
        if self.process is not None and self.process.poll() is None:
            return
        now = time.monotonic()
        if now - self.started >= LEAST_LIFE:
            self.started = now
            self.process = _command("--place", self.name, "--grace", str(self.grace))


def keep_working(processes: int, wanted: Callable[[], bool], grace: float) -> None:
    """Keep so many workers at work until ``wanted`` says no; then give each ``grace`` seconds to end."""
    here = uuid.uuid4().hex[:12]
    places = [WorkerPlace(f"{here}-{n}", grace) for n in range(min(processes, most_processes()))]
    try:
        while wanted():
            for place in places:
                place.keep()
            time.sleep(LOOK_EVERY)
    finally:
        running = [place.process for place in places if place.process is not None]
        for process in running:
            process.terminate()
        until = time.monotonic() + grace + 10
        for process in running:
            try:
                process.wait(max(0.1, until - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()


def start_beside(server: int) -> subprocess.Popen[bytes]:
    """Workers for a development server: they end when the process ``server`` does."""
    return _command("--beside", str(server))


def _command(*options: str) -> subprocess.Popen[bytes]:
    """``manage.py worker`` with the code and the environment of this process, wherever it was started."""
    path = os.pathsep.join(filter(None, [str(settings.BASE_DIR), os.environ.get("PYTHONPATH", "")]))
    environment = {"PYTHONPATH": path, "DJANGO_SETTINGS_MODULE": settings.SETTINGS_MODULE}
    command = [sys.executable, "-m", "django", "worker", *options]
    return subprocess.Popen(command, stdin=subprocess.DEVNULL, env=os.environ | environment)


class Wanted:
    """Whether to go on: until somebody asks this process to end, or the one it works for is gone."""

    def __init__(self, parent: int | None) -> None:
        self.parent, self.asked_to_end = parent, threading.Event()

    def end(self, *_: object) -> None:
        self.asked_to_end.set()

    def __call__(self) -> bool:
        return not self.asked_to_end.is_set() and self.parent in (None, os.getppid())
