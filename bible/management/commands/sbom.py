"""``manage.py sbom``: what this installation is made of, with its licences."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from bible.web.materials import bill, installed


class Command(BaseCommand):
    help = "Lists the installed packages with versions and licences; with --json as a CycloneDX bill of materials."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="as CycloneDX JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        packages = installed()
        if options["json"]:
            made_at = timezone.now().strftime("%Y-%m-%dT%H:%M:%SZ")
            self.stdout.write(json.dumps(bill(packages, made_at=made_at), indent=1, ensure_ascii=False))
            return
        for package in packages:
            self.stdout.write(f"{package.name} {package.version}: {package.licence}")
