"""``manage.py worker``: does what waits in the background, until it is asked to end."""

from __future__ import annotations

import os
import signal
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from bible.tasks.supervising import Wanted, keep_working
from bible.tasks.worker import work, work_off

PROCESSES = 2
GRACE = 30.0
"""Seconds a job has to come to its end when its worker is asked to; what does not is begun anew elsewhere."""

MOST_JOBS = 200
"""Jobs after which a process is followed by a fresh one, so that no library's memory grows for weeks."""


class Command(BaseCommand):
    help = "Do what waits in the background: proofs to be read, booklets to be made, what comes with new pages."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--processes", type=int, default=PROCESSES, help=f"workers (default {PROCESSES}; one on SQLite)"
        )
        parser.add_argument("--once", action="store_true", help="do what waits now, then end")
        parser.add_argument("--grace", type=float, default=GRACE, help="seconds to end a job in")
        parser.add_argument("--beside", type=int, metavar="PID", help="end when this process does")
        parser.add_argument("--place", help="be one worker of this name; the command starts these by itself")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["once"]:
            begun = work_off()
            self.stdout.write(f"{begun} done." if begun else "Nothing waits.")
            return
        place = options["place"]
        wanted = Wanted(os.getppid() if place else options["beside"])
        for asked in (signal.SIGTERM, signal.SIGINT):
            signal.signal(asked, wanted.end)
        if place:
            work(place, wanted, grace=options["grace"], most=MOST_JOBS)
        else:
            keep_working(options["processes"], wanted, options["grace"])
