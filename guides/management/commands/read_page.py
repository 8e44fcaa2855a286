"""``read_page IMAGE``: the codes that stand on a page, read, followed to their areas and given to their parts."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

UNREADABLE = 2


class Command(BaseCommand):
    help = (
        "Find the codes written on a page and read them, with their chances, other readings, the area each points "
        "at, and, with a bible, whose part that is and where it differs. Nothing is marked. What is odd about the "
        f"page is said on standard error; exit {UNREADABLE} where it can't be read."
    )
    requires_system_checks: list[str] = []  # reads files, touches no model

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("image", type=Path, metavar="IMAGE")
        parser.add_argument(
            "--notation", choices=("letters", "percent"),
            help="how codes are written on the page; without it as the bible says, or in letters",
        )  # fmt: skip
        parser.add_argument("--bible", type=Path, metavar="BIBLE.json", help="subjects with their parts and codes")
        parser.add_argument("--earlier", type=Path, metavar="MARKS.json", help="confirmed marks of pages before")
        parser.add_argument("--json", action="store_true", dest="as_json", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        from guides.imaging.page.files import PageFileError, load_page
        from guides.imaging.writing import WritingModelError
        from guides.imaging.writing.bible_file import BibleFileError, told_in
        from guides.imaging.writing.whole import read_whole

        try:
            notation, bible, earlier = told_in(options["notation"], options["bible"], options["earlier"])
            image, _ = load_page(options["image"])
            page = read_whole(image, notation=notation, bible=bible, earlier=earlier)
        except (BibleFileError, PageFileError, WritingModelError) as error:
            self._fail({"error": str(error)}, options["as_json"])
        if page.turned:
            self._fail({"error": page.notes[0], "turned": page.turned}, options["as_json"])
        for note in page.notes:
            self.stderr.write(note)
        rows = [proposal.as_json() for proposal in page.proposals]
        if options["as_json"]:
            self.stdout.write(json.dumps(rows, ensure_ascii=False))
            return
        names = {part.part: part.name for part in bible.parts} if bible else {}
        for row in rows:
            self.stdout.write(_in_words(row, names))

    def _fail(self, answer: dict[str, Any], as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(answer, ensure_ascii=False))
        else:
            self.stderr.write(answer["error"])
        sys.exit(UNREADABLE)


def _in_words(row: dict[str, Any], names: dict[Any, str]) -> str:
    """One proposal as a line: where it points, what it says, whose it is and what disagrees."""
    code = f"{row['code']} {row['p']:.0%}" if row["code"] else row["text"]
    state = "unreadable" if row["unreadable"] else "crossed out" if row["crossed_out"] else ""
    others = " or ".join(f"{other['code']} {other['p']:.0%}" for other in row["alternatives"][1:3])
    part = ""
    if row["part"] is not None:
        part = f"{names.get(row['part'], '')} ({row['part']}), {row['role']} {row['p_part']:.0%}".lstrip()
    differs = f"the bible says {row['differs']['expected']}" if row["differs"] else ""
    x, y = (round(value) for value in row["point"])
    return f"{x},{y}: " + "; ".join(filter(None, [code, state, others, part, differs]))
