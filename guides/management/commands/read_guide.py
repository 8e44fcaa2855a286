"""``read_guide IMAGE MARKS.json``: what the paint says at the marks of a guide."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand


class Command(JsonCommand):
    help = "Read the paint at a guide's marks: likely codes with their chances, and marks whose paint disagrees."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("image", type=Path, metavar="IMAGE")
        parser.add_argument("marks", type=Path, metavar="MARKS.json")
        parser.add_argument("--press", default=None, help="press condition used as the prior")
        parser.add_argument("--map", type=Path, metavar="MAP.npz", help="the page's map as page_map --keep wrote it")
        super().add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        from bible.colour.press import DEFAULT_PRESS, UnknownPress
        from guides.imaging.page.files import PageFileError, load_map
        from guides.imaging.paint.files import PaintFileError, load_guide, load_marks
        from guides.imaging.paint.marks import notation_of, opinions_to_json
        from guides.imaging.paint.reading import read_paint
        from guides.imaging.writing.mapping import map_page

        try:
            document, marks = load_marks(options["marks"])
            image, marks = load_guide(options["image"], marks)
            page = load_map(options["map"], image) if options["map"] else map_page(image)
            opinions = read_paint(image, marks, press=options["press"] or DEFAULT_PRESS, page_map=page)
        except (PaintFileError, PageFileError, UnknownPress) as error:
            self.refuse(str(error), as_json=options["json"])
        notation = notation_of(document)
        if options["json"]:
            self.say(opinions_to_json(opinions, notation))
            return
        for opinion in opinions:
            best = ", ".join(f"{notation.write(s.tint)} {s.p:.0%}" for s in opinion.suggestions[:3])
            words = [best, f"ODD ({opinion.score:.0%})" if opinion.odd else "", opinion.problem]
            self.stdout.write(f"{opinion.id}: " + "; ".join(filter(None, words)))
