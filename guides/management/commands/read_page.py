"""``read_page IMAGE``: the codes that stand on a page, found and read."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

UNREADABLE = 2


class Command(BaseCommand):
    help = "Find the codes written on a page and read them, with their chances and other readings."
    requires_system_checks: list[str] = []  # reads a file, touches no model

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("image", type=Path, metavar="IMAGE")
        parser.add_argument(
            "--notation", choices=("letters", "percent"), default="letters", help="how this series writes its codes"
        )
        parser.add_argument("--json", action="store_true", dest="as_json", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        from bible.colour.notation import LETTERS_64, PERCENT
        from guides.imaging.page.files import PageFileError, load_page
        from guides.imaging.writing import Lexicon, WritingModelError, read_page
        from guides.imaging.writing.listing import listed

        lexicon = Lexicon.of(PERCENT if options["notation"] == "percent" else LETTERS_64)
        try:
            image, _ = load_page(options["image"])
            writing = read_page(image, lexicon)
        except (PageFileError, WritingModelError) as error:
            self._fail(str(error), options["as_json"])
        for note in writing.notes:
            self.stderr.write(note)
        codes = () if writing.upside_down else writing.codes
        if options["as_json"]:
            self.stdout.write(json.dumps([listed(code) for code in codes], ensure_ascii=False))
            return
        for code in codes:
            x, y = round(code.place.x), round(code.place.y)
            state = "unreadable" if code.unreadable else "crossed out" if code.crossed_out else ""
            others = " or ".join(f"{other.code} {other.p:.0%}" for other in code.alternatives[1:3])
            self.stdout.write(f"{x},{y}: " + "; ".join(filter(None, [f"{code.code} {code.p:.0%}", state, others])))

    def _fail(self, message: str, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps({"error": message}, ensure_ascii=False))
        else:
            self.stderr.write(message)
        sys.exit(UNREADABLE)
