"""What every gunicorn of this program has in common: `gunicorn bible.wsgi -c .deploy/gunicorn.conf.py …`.

HUP puts new code in. By itself gunicorn starts all new workers and tells the old ones to end in the same moment,
while the new ones are still importing colour science: until they have, nobody answers (14.5 s of waiting on two
cores). Here they are replaced one at a time, each old one asked to end when its successor answers: nobody waits, and
there is one worker more than usual in memory instead of twice as many.
"""

import signal
import time
from typing import Any

PATIENCE = 120.0
"""Seconds for one worker to get ready; after that the old one ends all the same, as it would have done."""

LOOKED_EVERY = 0.1


def answers(worker: Any) -> bool:
    """Whether a worker has come so far as to beat: its file's time is of the monotonic clock from the first beat on,
    and the calendar's, far ahead of it, before (gunicorn.workers.workertmp)."""
    try:
        return worker.tmp.last_update() <= time.monotonic()
    except (OSError, ValueError):
        return False


def follow(server: Any, pid: int) -> None:
    """Wait until the worker that was just started answers, then ask the oldest to end."""
    until = time.monotonic() + PATIENCE
    while pid in server.WORKERS and not answers(server.WORKERS[pid]) and time.monotonic() < until:
        server.reap_workers()
        time.sleep(LOOKED_EVERY)
    if pid not in server.WORKERS:
        return  # it has died, which the server deals with
    oldest = min(server.WORKERS, key=lambda one: server.WORKERS[one].age)
    server.log.info("worker %s answers; %s may end", pid, oldest)
    server.kill_worker(oldest, signal.SIGTERM)
    while oldest in server.WORKERS and time.monotonic() < until:
        server.reap_workers()
        time.sleep(LOOKED_EVERY)


def when_ready(server: Any) -> None:
    """From the moment the server is up, a worker beyond their number is the successor of the oldest."""
    start = server.spawn_worker

    def spawn_worker() -> int:
        pid: int = start()
        if len(server.WORKERS) > server.num_workers:
            follow(server, pid)
        return pid

    server.spawn_worker = spawn_worker
