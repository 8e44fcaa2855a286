"""``manage.py demo``: everything ready to try, from one command."""

from __future__ import annotations

import os
import socket
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from guides.demo.load import DEMO_PASSWORD, load_demo, loaded
from guides.demo.story.plot import demo_story


class Command(BaseCommand):
    help = "Make the database, load the demo series once, start the server and print the address and the logins."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to listen on this machine (default 8000)")
        parser.add_argument("--no-server", action="store_true", help="only load the demo")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["no_server"]:
            _refuse_taken(options["port"])
        call_command("migrate", verbosity=0)
        if loaded():
            self.stdout.write("The demo is here already; nothing of it is touched.")
        else:
            self.stdout.write("Loading the demo; it draws its page guides, which takes a minute …")
            load_demo(self._tell)
        story = demo_story()
        self.stdout.write(f"\n{story.title}: {story.blurb}\n")
        self.stdout.write(f"  Sign in with the password {DEMO_PASSWORD} as one of:")
        for person in story.people:
            self.stdout.write(f"    {person.username:<10} {person.name}, {person.role}")
        if options["no_server"]:
            return
        self.stdout.write(f"\n  http://localhost:{options['port']}/\n\n  Stop with Ctrl+C.")
        self.stdout.flush()
        os.environ["DJANGO_RUNSERVER_HIDE_WARNING"] = "true"
        call_command("runserver", f"127.0.0.1:{options['port']}", use_reloader=False, skip_checks=True)

    def _tell(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def _refuse_taken(port: int) -> None:
    """Say so before the demo is drawn, not after."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise CommandError(f"Port {port} is in use; try: manage.py demo --port {port + 1}") from error
