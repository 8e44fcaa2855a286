"""Walk the demo for long: ``python -m tests.walker --requests 5000 --role lead --seed 1``.

Each role walks a demo of its own. ``--data`` names a folder with a demo that is there already (``BIBLE_DATA``); it is
copied and not touched. Prints what was walked and every fault with the steps to it; the exit status is 1 if there is one.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any


def stand_up(home: str, data: str | None) -> Any:
    """Django on a demo in ``home``; returns its series."""
    if data:
        shutil.copytree(data, home, dirs_exist_ok=True)
    os.environ |= {"BIBLE_DATA": home, "DJANGO_SETTINGS_MODULE": "bible.settings", "BIBLE_DEBUG": ""}
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.test.utils import setup_test_environment

    setup_test_environment()
    logging.disable(logging.ERROR)
    settings.WHITENOISE_AUTOREFRESH = True
    Path(settings.STATIC_ROOT).mkdir(exist_ok=True)
    call_command("migrate", verbosity=0)
    from bible.models import Series
    from guides.demo.load import load_demo, loaded

    return Series.objects.get() if loaded() else load_demo(lambda told: print(told.strip(), file=sys.stderr))


def walk(series: Any, role: str, requests: int, seed: int) -> bool:
    from django.core.management import call_command

    from guides.demo.load import DEMO_PASSWORD
    from tests.walker.walker import Walker

    person = series.memberships.filter(role=role).select_related("user")[0].user
    walker, began = Walker(person.username, DEMO_PASSWORD, seed), time.monotonic()
    walker.walk(requests)
    told = {
        "role": role,
        "seed": seed,
        "requests": walker.asked,
        "seconds": round(time.monotonic() - began),
        "kinds of links": len(walker.pages_seen),
        "kinds of forms": len({form for form, _ in walker.forms_sent}),
        "buttons": len(walker.forms_sent),
        "choices": len(walker.fingers.tried),
        "faults": len(walker.faults),
    }
    print(json.dumps(told))
    for fault in walker.faults.values():
        print(f"\n{fault}")
    call_command("check", series.slug, "--verify")
    return not walker.faults


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=5000)
    parser.add_argument("--role", default="lead", choices=["lead", "fill-in", "editor", "guest"])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--data", help="a folder with a demo, copied before use")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="walker-") as home:
        sys.exit(not walk(stand_up(home, asked.data), asked.role, asked.requests, asked.seed))


if __name__ == "__main__":
    main()
