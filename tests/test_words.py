"""Screens and README say everyday words, one for one thing: those that were given up are nowhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
RETIRED = {
    r"\bharsh\b": "severe",
    r"\bswipe\b": "wipe",
    r"\bback without\b": "Cancel",
    r"\bsettle codes\b|\bsettle from\b|\bsettled\b": "Build locks from old pages, Lock all clear cases",
    r"\bold looks\b": "Earlier colours",
    r"\bfades that turn hue\b": "Gradients that shift hue",
    r"\bseparators forget\b": "Recurring proof faults",
    r"\bsay so\b(?=</button>| </button>)": "Save",
    r"\bbring guides in\b|\bbring a proof in\b": "Upload guides, Upload a proof",
    r"\bbring back\b": "Restore",
    r"\bcloser\b(?=</button>)|\bfarther\b(?=</button>)": "Zoom in, Zoom out",
    r"\btake along\b|\btake out\b": "Export",
    r"\blook up\b(?=</a>|</h1>)|\blookup\b(?=</a>|</h1>)": "Look-up",
}
"""What is said no more, and the word that is said instead."""


def said(path: Path) -> str:
    """What a template or a page of text says: no tags of Django, no addresses, no comments."""
    text = re.sub(r"{%.*?%}|{{.*?}}|{#.*?#}", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    return " ".join(re.sub(r"<(?!/button|/a|/h1)[^>]*>", " ", text).split()).lower()


@pytest.mark.parametrize("retired", RETIRED)
def test_words_that_were_given_up_are_nowhere(retired: str) -> None:
    pages = [*(ROOT / "templates").rglob("*.html"), ROOT / "README.md"]
    still = [str(page.relative_to(ROOT)) for page in pages if re.search(retired, said(page))]
    assert not still, f"say “{RETIRED[retired]}” in {', '.join(still)}"
