"""A worker is warm before its first request."""

from __future__ import annotations

import subprocess
import sys

SAYS = """
import gc
import bible.wsgi
from django.template.loader import get_template
from django.template import engines
loader = engines["django"].engine.template_loaders[0]
print(gc.get_freeze_count(), len(loader.get_template_cache), bible.wsgi.application.__class__.__name__)
"""
"""In a process of its own: what is frozen here would stay so for every other test."""


def test_a_worker_has_parsed_its_templates_and_frozen_what_stays() -> None:
    said = subprocess.run([sys.executable, "-c", SAYS], capture_output=True, text=True, check=True).stdout.split()
    frozen, templates, name = int(said[0]), int(said[1]), said[2]
    assert frozen > 50_000
    assert templates > 150
    assert name == "WSGIHandler"
