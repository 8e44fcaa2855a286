"""``manage.py restore_series FILE``: bring an exported series back, here or in another installation."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.series.refusals import Refused
from guides.archive.check import Archive
from guides.archive.restore import restore_series


class Command(JsonCommand):
    help = (
        "Restore a series from its archive, all or nothing, beside whatever is here. People are found by user name; "
        "new ones cannot sign in before a password is set. On SQLite, whoever saves meanwhile waits."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, help="the zip that export_series wrote")
        parser.add_argument("--as", dest="slug", default="", help="another short name for the series")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        try:
            restored = restore_series(Archive.open(options["file"]), slug=options["slug"])
        except Refused as refused:
            self.refuse(str(refused), as_json=as_json)
        if as_json:
            counts = {"rows": restored.rows, "pictures": restored.pictures, "missing": restored.missing}
            self.say({"series": restored.series.slug} | counts | {"joined": restored.joined, "made": restored.made})
            return
        rows = sum(restored.rows.values())
        self.stdout.write(f"{restored.series} is back as “{restored.series.slug}”: {rows} rows, "
                          f"{restored.pictures} pictures.")  # fmt: skip
        for word, names in (("Known here already, now members too", restored.joined), ("New people", restored.made)):
            if names:
                self.stdout.write(f"{word}: {', '.join(names)}.")
        for member in restored.missing:
            self.stderr.write(f"Was lost before the archive was written: {member}")
