"""``manage.py press_fit DATA``: fit a press condition to measured patches and write it as a small text file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from bible.colour import pressfile
from bible.colour.cgats import MAX_BYTES, CgatsError, read_cgats
from bible.colour.press import PRESS_DATA, SUFFIX
from bible.colour.pressfit import DEFAULT_ANGLES, DEFAULT_RULING_LPI, FitError, fit
from bible.colour.tints import INKS
from bible.management.output import JsonCommand


class Command(JsonCommand):
    help = "Fit a press condition to CMYK patches measured as XYZ (CGATS text, also .ti3)."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("data", type=Path, metavar="DATA", help="the file of measured patches")
        parser.add_argument("--name", required=True, help="short name: lower-case letters, figures, hyphens")
        parser.add_argument("--source", required=True, help="where the data come from; shown with every colour")
        parser.add_argument("--title", help="what people call it (default: the name)")
        parser.add_argument("--paper", default="not stated", help="the paper in words")
        parser.add_argument("--ruling", default=f"{DEFAULT_RULING_LPI:g}", help="screen ruling, lines per inch")
        parser.add_argument(
            "--angles",
            default=" ".join(f"{DEFAULT_ANGLES[ink]:g}" for ink in INKS),
            help="screen angles of C M Y K in degrees, in one argument",
        )
        parser.add_argument("--output", help="file to write; - for standard output (default: among the conditions)")
        parser.add_argument("--force", action="store_true", help="replace a file that is there already")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, path = options["json"], options["data"]
        try:
            ruling, angles = float(options["ruling"]), [float(cell) for cell in options["angles"].split()]
        except ValueError:
            self.refuse("--ruling and --angles are figures.", as_json=as_json)
        if len(angles) != len(INKS):
            self.refuse(f"--angles are four figures, not {len(angles)}.", as_json=as_json)
        try:
            condition = fit(
                read_cgats(_content(path)),
                name=options["name"],
                title=options["title"] or options["name"],
                source=options["source"],
                paper=options["paper"],
                ruling_lpi=ruling,
                angles=dict(zip(INKS, angles, strict=True)),
            )
        except CgatsError as error:
            self.refuse(f"{path}: {error}", as_json=as_json, line=error.line)
        except (FitError, OSError) as error:
            self.refuse(f"{path}: {error}", as_json=as_json)
        text = pressfile.dumps(condition)
        if options["output"] == "-" and not as_json:
            sys.stdout.write(text)
            return
        target = Path(options["output"]) if options["output"] else PRESS_DATA / f"{condition.name}{SUFFIX}"
        if options["output"] != "-":
            self._write(target, text, force=options["force"], as_json=as_json)
        if as_json:
            where = {"condition": text} if options["output"] == "-" else {"file": str(target)}
            self.say({**condition.info._asdict(), "notes": list(condition.notes), **where})
            return
        self.stdout.write(f"Wrote {target}.")
        for note in condition.notes:
            self.stdout.write(f"  {note}")

    def _write(self, target: Path, text: str, *, force: bool, as_json: bool) -> None:
        try:
            with target.open("w" if force else "x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            self.refuse(f"{target} is there already; --force replaces it.", as_json=as_json)
        except OSError as error:
            self.refuse(str(error), as_json=as_json)


def _content(path: Path) -> bytes:
    """The file's bytes; of one that is too large no more than it takes to say so."""
    with path.open("rb") as file:
        return file.read(MAX_BYTES + 1)
