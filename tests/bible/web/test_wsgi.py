"""A worker is warm before its first request."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

SAYS = """
import gc
import bible.wsgi
from django.template.loader import get_template
from django.template import engines
loader = engines["django"].engine.template_loaders[0]
print(gc.get_freeze_count(), len(loader.get_template_cache), bible.wsgi.application.__class__.__name__)
"""
"""In a process of its own: what is frozen here would stay so for every other test."""


def test_a_worker_has_parsed_its_templates_and_frozen_what_stays(tmp_path: Path) -> None:
    """The first start of all, too: nothing is warned of, such as a folder of static files that is not there yet."""
    command = [sys.executable, "-W", "error::UserWarning", "-c", SAYS]
    first = os.environ | {"BIBLE_DATA": str(tmp_path)}
    said = subprocess.run(command, capture_output=True, text=True, check=True, env=first).stdout.split()
    frozen, templates, name = int(said[0]), int(said[1]), said[2]
    assert frozen > 50_000
    assert templates > 150
    assert name == "WSGIHandler"
