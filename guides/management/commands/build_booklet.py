"""``manage.py build_booklet NUMBER``: make one booklet that waits; the web application starts this by itself."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from guides.booklets.services import build_booklet


class Command(BaseCommand):
    help = "Make the booklet of the whole bible that somebody asked for in the browser."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("number", type=int, help="the booklet's number, as in its address")

    def handle(self, *args: Any, **options: Any) -> None:
        made = build_booklet(options["number"])
        self.stdout.write(f"{made} of {made.series}: {made.pk}" if made else "Nothing to make.")
