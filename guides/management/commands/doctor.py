"""``manage.py doctor``: finds what faults have left behind, and with ``--mend`` puts right what a program can."""

from __future__ import annotations

import sys
from collections import Counter
from typing import Any

from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from guides.maintenance.doctor import Finding, examine

SOMETHING_LEFT = 1


class Command(JsonCommand):
    help = (
        "Look for files that no row names, rows whose file is lost and work that nobody goes on with. --mend deletes "
        "the first (once they are two days old) and ends the last. Exit 1 where something stays amiss. What is "
        "stored about flags is `check SERIES --verify`'s."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--mend", action="store_true", help="put right what can be put right")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, mend = options["json"], options["mend"]
        rows: list[dict[str, Any]] = []
        for finding in list(examine()):
            mended = mend and self._mend(finding)
            rows.append({"kind": finding.kind.value, "what": finding.what, "words": finding.words, "mended": mended})
            if not as_json:
                self.stdout.write(f"{finding.what}: {finding.words}{'; mended' if mended else ''}")
        left = sum(not row["mended"] for row in rows)
        if as_json:
            self.say({"findings": rows, "by_kind": Counter(row["kind"] for row in rows), "left": left})
        else:
            self.stdout.write(f"{len(rows)} found, {left} left." if rows else "Nothing is amiss.")
        if left:
            sys.exit(SOMETHING_LEFT)

    def _mend(self, finding: Finding) -> bool:
        if finding.mend is None:
            return False
        try:
            finding.mend()
        except OSError as trouble:  # a store that lets nothing be deleted: the rest may still be mended
            self.stderr.write(f"{finding.what}: {trouble}")
            return False
        return True
