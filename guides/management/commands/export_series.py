"""``manage.py export_series SERIES FILE``: all of a series in one zip."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from guides.archive.exports import export_series


class Command(JsonCommand):
    help = (
        "Write everything of a series (rows, pictures, people's names) into one zip; people can go on working. "
        "Exits 1 when pictures were lost from the media store: the rest is in the archive, the lost are named."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series", help="short name of the series")
        parser.add_argument("file", type=Path, help="the zip to write")
        parser.add_argument("--replace", action="store_true", help="write over a file of that name")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, path = options["json"], options["file"]
        series = self.series(options["series"], as_json=as_json)
        if path.exists() and not options["replace"]:
            self.refuse(f"{path} is there already; name another file, or say --replace.", as_json=as_json)
        try:
            exported = export_series(series, path)
        except OSError as error:
            self.refuse(f"{path} cannot be written: {error.strerror}.", as_json=as_json)
        if as_json:
            counts = {"rows": exported.rows, "pictures": exported.pictures, "missing": exported.missing}
            self.say({"file": str(path), "bytes": exported.byte_size} | counts)
        else:
            rows = sum(exported.rows.values())
            self.stdout.write(f"{path}: {rows} rows, {exported.pictures} pictures, {exported.byte_size} bytes.")
            for member in exported.missing:
                self.stderr.write(f"Lost from the media store, so not in the archive: {member}")
        if exported.missing:
            sys.exit(1)
