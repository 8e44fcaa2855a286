"""``check_proof GUIDE PROOF MARKS.json``: what the separator left out, as far as a scan can show it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.web.names import counted

FAULTS = 1


class Command(JsonCommand):
    help = (
        "Lay the scan of a proof over its guide and judge every mark. Exits 0 when nothing is wrong, 1 when there "
        "are faults, 2 when it can't be done. A scan is not a measurement: judge the printed output itself."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("guide", type=Path, metavar="GUIDE")
        parser.add_argument("proof", type=Path, metavar="PROOF")
        parser.add_argument("marks", type=Path, metavar="MARKS.json")
        parser.add_argument(
            "--press",
            help="press condition that the page was printed for, or FILE.press of its run (scan_chart --keep)",
        )
        parser.add_argument("--map", type=Path, metavar="MAP.npz", help="the guide's map as page_map --keep wrote it")
        super().add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        from bible.colour.press import DEFAULT_PRESS, UnknownPress
        from guides.imaging.page.files import PageFileError, load_map
        from guides.imaging.proof.files import (
            ProofFileError,
            load_marks,
            load_picture,
            load_press,
            refusal_to_json,
            report_to_json,
        )
        from guides.imaging.proof.proofing import check
        from guides.imaging.proof.registration import NotRegistered
        from guides.imaging.writing.mapping import map_page

        try:
            marks = load_marks(options["marks"])
            guide, proof = load_picture(options["guide"], "guide"), load_picture(options["proof"], "scan")
            page = load_map(options["map"], guide) if options["map"] else map_page(guide)
            press = load_press(options["press"] or DEFAULT_PRESS)
            report = check(guide, proof, marks, press, page=page)
        except (ProofFileError, PageFileError, NotRegistered, UnknownPress) as error:
            self.refuse(str(error), as_json=options["json"], **refusal_to_json(error))
        if options["json"]:
            self.say(report_to_json(report))
        else:
            fit = report.registration
            self.stdout.write(f"Laid over the guide to {fit.error_px:.2f} px, against {report.press}.")
            self.stdout.write(f"Press: {report.shift_said}.")
            for mark in (*report.faults, *(mark for mark in report.marks if mark.verdict == "cannot_tell")):
                self.stdout.write(f"{mark.id}: {mark.verdict} ({mark.p:.0%}): {mark.why}")
            verb = "is" if len(report.faults) == 1 else "are"
            wrong = f"{len(report.faults)} of {counted(len(report.marks), 'mark')} {verb}"
            self.stdout.write(f"{wrong} wrong.")
        if report.faults:
            sys.exit(FAULTS)
