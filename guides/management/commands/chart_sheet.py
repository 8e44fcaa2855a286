"""``manage.py chart_sheet SERIES OUT.pdf``: the series' chart as a page to print, its layout beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from bible.management.output import JsonCommand
from guides.imaging.chart.sheet import PAGE_SIZES, SheetError, lay_out
from guides.paper.chart_sheet import write_chart_sheet


class Command(JsonCommand):
    help = (
        "Write the series' chart as a one-page PDF in DeviceCMYK, and its layout beside it as OUT.json, by which "
        "scan_chart knows the sheet again. Print it without scaling and without colour management."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series", metavar="SERIES")
        parser.add_argument("out", type=Path, metavar="OUT.pdf")
        parser.add_argument("--page", choices=sorted(PAGE_SIZES), default="a4")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, out = options["json"], options["out"]
        series = self.series(options["series"], as_json=as_json)
        try:
            sheet = lay_out(series.chart.tints, series.write, title=series.title, page=options["page"])
            layout = out.with_suffix(".json")
            layout.write_text(json.dumps(sheet.to_dict(), ensure_ascii=False), encoding="utf-8")
            with out.open("wb") as file:
                write_chart_sheet(sheet, timezone.now(), file)
        except (SheetError, OSError) as error:
            self.refuse(str(error), as_json=as_json)
        if as_json:
            self.say({"file": str(out), "layout": str(layout), "check": sheet.check, "patches": len(sheet.patches)})
            return
        self.stdout.write(f"Wrote {out}: sheet {sheet.check:02d}, {len(sheet.patches)} patches. Layout: {layout}.")
