"""``manage.py second_factor NAME``: whether an account has one; ``--remove`` takes it off."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import get_user_model
from django.core.management.base import CommandParser

from bible.accounts import services
from bible.management.output import JsonCommand
from bible.models import RecoveryCode


class Command(JsonCommand):
    help = "Says whether an account has a second factor, and takes it off for somebody who has lost it."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name", help="the user name")
        parser.add_argument("--remove", action="store_true", help="take it off; sessions of the account end")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["json"]
        user: Any = get_user_model()._default_manager.filter(username=options["name"]).first()
        if user is None:
            self.refuse(f"Nobody signs in as “{options['name']}”.", as_json=as_json)
        removed = options["remove"] and services.remove(user=user)
        if removed:
            services.end_sessions(user=user)
        facts = {
            "name": user.get_username(),
            "second_factor": services.has_second_factor(user),
            "recovery_codes": RecoveryCode.objects.filter(user=user).count(),
            "removed": bool(removed),
        }
        if as_json:
            self.say(facts)
        elif removed:
            self.stdout.write(f"{facts['name']} signs in with the password alone from now on.")
        else:
            has = "has a second factor" if facts["second_factor"] else "has no second factor"
            self.stdout.write(f"{facts['name']} {has}, {facts['recovery_codes']} recovery codes left.")
