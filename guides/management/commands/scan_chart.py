"""``manage.py scan_chart IMAGE``: a scan of a chart sheet read, and the press condition that it makes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.colour import press as presses
from bible.colour import pressfile
from bible.colour.cgats import MAX_BYTES, CgatsError, read_reference
from bible.management.output import JsonCommand
from guides.imaging.chart.files import ChartFileError, load_sheet, open_scan
from guides.imaging.chart.finding import check_of, marks_on
from guides.imaging.chart.reading import ChartReading, TargetScan, read_chart
from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sheet import SheetLayout
from guides.imaging.chart.standard import standard_sheet

CORNERS_HELP = "four places in pixels, clockwise from top left: x,y x,y x,y x,y"


class Command(JsonCommand):
    help = (
        "Read the scan of a chart sheet: the colour of every patch with its doubt, what is amiss, and the press "
        "condition made of it. Without --layout the sheet is one of a standard chart. A scan is no instrument: "
        "the printed sheet counts."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("image", type=Path, metavar="IMAGE")
        parser.add_argument("--layout", type=Path, metavar="SHEET.json", help="what chart_sheet wrote")
        parser.add_argument("--target", type=Path, metavar="REF.txt", help="reference of a colour target, CGATS text")
        parser.add_argument(
            "--target-image", type=Path, metavar="IMAGE", help="the target, where it has its own scan"
        )
        parser.add_argument("--target-corners", nargs=4, metavar="X,Y", help=CORNERS_HELP)
        parser.add_argument("--corners", nargs=4, metavar="X,Y", help=f"of a chart without marks; {CORNERS_HELP}")
        parser.add_argument("--base", metavar="PRESS", help="condition to correct (default: the nearest that ships)")
        parser.add_argument("--keep", type=Path, metavar="FILE.press", help="write the press condition there")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        try:
            reading = self._read(options)
        except (ChartRefused, ChartFileError, presses.UnknownPress) as error:
            more = {"fault": str(error.fault)} if isinstance(error, ChartRefused) else {}
            self.refuse(str(error.args[0] if error.args else error), as_json=as_json, **more)
        name = "house-chart"
        made = reading.correction.condition(
            name=name, title="The house’s chart", source=f"scan {options['image'].name}"
        )
        text = pressfile.dumps(made)
        if options["keep"]:
            try:
                options["keep"].write_text(text, encoding="utf-8")
            except OSError as error:
                self.refuse(str(error), as_json=as_json)
        if as_json:
            patches = [patch.to_dict() for patch in reading.patches]
            self.say({"patches": patches, "press": text, "mean_doubt": round(reading.mean_doubt, 2)})
            return
        self._tell(reading)

    def _read(self, options: dict[str, Any]) -> ChartReading:
        base = presses.load(options["base"]) if options["base"] else None
        scan = open_scan(options["image"])
        sheet = load_sheet(options["layout"]) if options["layout"] else _known_sheet(scan)
        target = None
        if options["target"]:
            own = open_scan(options["target_image"]) if options["target_image"] else None
            target = TargetScan(_reference(options["target"]), _corners(options["target_corners"]), own)
        return read_chart(scan, sheet, base=base, corners=_corners(options["corners"]), target=target)

    def _tell(self, reading: ChartReading) -> None:
        for note in reading.notes:
            self.stdout.write(note)
        for patch in reading.patches:
            lab = " ".join(f"{value:.1f}" for value in patch.lab)
            words = f"  AMISS: {patch.amiss.said}" if patch.amiss else ""
            self.stdout.write(f"{patch.code}: {lab} ±{patch.doubt:.1f}{words}")
        self.stdout.write(
            f"{len(reading.amiss)} amiss. 90 of 100 predictions within {reading.mean_doubt:.1f} CIEDE2000."
        )


def _known_sheet(scan: Any) -> SheetLayout:
    check = check_of(marks_on(scan))
    sheet = None if check is None else standard_sheet(check)
    if sheet is None:
        raise ChartRefused(
            ChartFault.NOT_A_CHART if check is None else ChartFault.OTHER_CHART,
            "No corner marks of a chart sheet are on this picture."
            if check is None
            else f"Sheet {check:02d} is none of a standard chart: give its layout with --layout.",
        )
    return sheet


def _reference(path: Path) -> Any:
    try:
        with path.open("rb") as file:
            return read_reference(file.read(MAX_BYTES + 1))
    except (OSError, CgatsError) as error:
        raise ChartFileError(f"{path}: {error}") from error


def _corners(cells: list[str] | None) -> list[tuple[float, float]] | None:
    if cells is None:
        return None
    try:
        pairs = [tuple(float(value) for value in cell.split(",")) for cell in cells]
        return [(x, y) for x, y in pairs]
    except ValueError as error:
        raise ChartFileError(f"corners are four places in pixels, as 120,80: {error}") from error
