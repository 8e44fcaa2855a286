"""``page_map IMAGE --out LABELS.png --json``: the areas of a scanned page, its paper, lines and writing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.web.names import counted


class Command(JsonCommand):
    help = "Map a scanned page: the areas that lines and paints bound, as a 16-bit picture of labels and as JSON."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("image", type=Path, metavar="IMAGE")
        parser.add_argument("--out", type=Path, metavar="LABELS.png", help="16-bit PNG, 0 where no area is")
        parser.add_argument("--keep", type=Path, metavar="MAP.npz", help="the whole map, to be read again")
        parser.add_argument("--page-mm", type=float, nargs=2, metavar=("WIDTH", "HEIGHT"), help="size of the page")
        parser.add_argument("--dpi", type=float, help="pixels an inch of the page, where its size is not told")
        super().add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        from guides.imaging.page.files import PageFileError, save_labels
        from guides.imaging.page.page_map import MapError
        from guides.imaging.writing.mapping import map_of_file

        size = options["page_mm"]
        try:
            page = map_of_file(options["image"], dpi=options["dpi"], page_mm=tuple(size) if size else None)
            if options["out"]:
                save_labels(page, options["out"])
            if options["keep"]:
                options["keep"].write_bytes(page.to_bytes())
        except (PageFileError, MapError, ValueError) as error:
            self.refuse(str(error), as_json=options["json"])
        except OSError as error:
            self.refuse(f"{error.filename}: {error.strerror}", as_json=options["json"])
        if options["json"]:
            self.say(page.as_json())
            return
        bare = sum(area.is_paper for area in page.areas)
        words = [f"{counted(len(page.areas), 'area')}, {bare} of them bare paper", *page.remarks]
        self.stdout.write("; ".join(words))
