"""``manage.py daily_word``: once a day, asks for the letters of everybody who wants word once a day."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from bible.notices.services import due_today
from bible.notices.tasks import tell_member
from bible.tasks.services import enqueue


class Command(BaseCommand):
    help = "Has the daily word sent to everybody who wants it so; the workers send it. To be run once a day."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="say it as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        members = due_today()
        for member in members:
            enqueue(tell_member, key=f"daily-word-{member.pk}", by=None, membership=member.pk)
        counts = {"asked_for": len(members)}
        line = json.dumps(counts) if options["json"] else f"Letters asked for: {len(members)}."
        self.stdout.write(line)
