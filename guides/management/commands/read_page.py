"""``read_page IMAGE``: the codes that stand on a page, read, followed to their areas and given to their parts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import CANNOT, JsonCommand


class Command(JsonCommand):
    help = (
        "Find the codes written on a page and read them, with their chances, other readings, the area each points "
        "at, and, with a bible, whose part that is and where it differs. Nothing is marked. What is odd about the "
        f"page is said on standard error; exit {CANNOT} where it can't be read."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("image", type=Path, metavar="IMAGE")
        parser.add_argument(
            "--notation", choices=("letters", "percent"),
            help="how codes are written on the page; without it as the bible says, or in letters",
        )  # fmt: skip
        parser.add_argument("--bible", type=Path, metavar="BIBLE.json", help="subjects with their parts and codes")
        parser.add_argument("--earlier", type=Path, metavar="MARKS.json", help="confirmed marks of pages before")
        super().add_arguments(parser)

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
            self.refuse(str(error), as_json=options["json"])
        if page.turned:
            self.refuse(page.notes[0], as_json=options["json"], turned=page.turned)
        for note in page.notes:
            self.stderr.write(note)
        rows = [proposal.as_json() for proposal in page.proposals]
        if options["json"]:
            self.say(rows)
            return
        names = {part.part: part.name for part in bible.parts} if bible else {}
        for row in rows:
            self.stdout.write(_in_words(row, names))


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
