"""``manage.py runserver`` with a worker beside it, so that nothing waits in the background while one tries things."""

from __future__ import annotations

import os
from typing import Any

from django.core.management.base import CommandParser
from whitenoise.runserver_nostatic.management.commands.runserver import Command as RunServer  # type: ignore[import-untyped]

from bible.tasks.supervising import start_beside


class Command(RunServer):
    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--no-worker", action="store_true", help="do nothing in the background")

    def inner_run(self, *args: Any, **options: Any) -> None:
        """The server itself; with the reloader, in the process that is started anew."""
        worker = None if options.get("no_worker") else start_beside(os.getpid())
        try:
            super().inner_run(*args, **options)
        finally:
            if worker is not None:
                worker.terminate()
                worker.wait()
