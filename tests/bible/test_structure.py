"""Which room may know of which: read from the imports, not from anybody's memory."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.urls import URLPattern, URLResolver, get_resolver

HOUSE = Path(__file__).parents[2]
MOST_LINES = 400


def modules(*rooms: str) -> list[Path]:
    found = [path for room in rooms for path in sorted((HOUSE / room).rglob("*.py"))]
    assert found
    return found


def imported(path: Path) -> Iterator[str]:
    """Every module a file imports, also within functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            here = ".".join(path.relative_to(HOUSE).with_suffix("").parts[: -node.level]) if node.level else ""
            yield ".".join(filter(None, [here, node.module]))


def knows(path: Path, package: str) -> bool:
    return any(name == package or name.startswith(package + ".") for name in imported(path))


def test_the_walk_sees_imports_where_they_are() -> None:
    assert knows(HOUSE / "guides/continuity.py", "bible")
    assert knows(HOUSE / "bible/forms/base.py", "django")


def test_the_bible_knows_nothing_of_the_guides() -> None:
    mentions = {HOUSE / "bible/urls.py", HOUSE / "bible/settings.py"}
    assert [path for path in modules("bible") if knows(path, "guides")] == []
    # The addresses and the list of apps name it in text; nothing else does.
    texts = {path for path in modules("bible") if '"guides.' in path.read_text(encoding="utf-8")}
    assert texts <= mentions


def test_rows_that_many_write_are_held_in_one_place() -> None:
    """In one order, or people wait for each other in a circle: ``bible.services.holding`` is the only way."""
    by_hand = re.compile(
        r"\b(Series|Part|Issue|Guide|Mark)\.(objects|_base_manager)[^\n]*select_for_update"
        r"|FOR (KEY SHARE|SHARE|NO KEY UPDATE|UPDATE)\b"
    )
    found = [path for path in modules("bible", "guides") if by_hand.search(path.read_text(encoding="utf-8"))]
    assert found == []


@pytest.mark.parametrize("room", ["bible/colour", "guides/imaging"])
def test_colour_and_imaging_need_no_django(room: str) -> None:
    outside = ("django", "bible.models", "bible.forms", "bible.services", "bible.fields", "guides.models")
    assert [path for path in modules(room) for package in outside if knows(path, package)] == []


@pytest.mark.parametrize("module", ["bible.colour.notation", "bible.colour.press", "guides.imaging.intake"])
def test_they_load_without_django_and_without_the_slow_colour_library(module: str) -> None:
    code = f"import sys, {module}; print([m for m in ('django', 'colour') if m in sys.modules])"
    told = subprocess.run([sys.executable, "-c", code], cwd=HOUSE, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_text_becomes_a_tint_in_one_place() -> None:
    """Only the notation's own modules ask it to scan; everybody else calls ``Notation.read`` or ``Series.read``."""
    readers = [path for path in modules("bible", "guides") if knows(path, "bible.colour.notation_scan")]
    assert {path.name for path in readers} <= {
        "notation.py",
        "notation_errors.py",
        "notation_settings.py",
        "suggestions.py",
    }


def test_modules_stay_readable() -> None:
    long = {
        str(path.relative_to(HOUSE)): lines
        for path in modules("bible", "guides")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MOST_LINES
    }
    assert long == {}


def addresses(patterns: list[URLPattern | URLResolver], prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for pattern in patterns:
        path = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern.url_patterns, path)
        else:
            yield path, pattern


def test_no_address_of_a_series_forgets_to_ask_who_is_there() -> None:
    inside = [(path, found) for path, found in addresses(get_resolver().url_patterns) if path.startswith("s/<slug")]
    assert len(inside) > 20
    assert [path for path, found in inside if not getattr(found.callback, "series_roles", None)] == []


def test_templates_carry_nothing_that_the_content_policy_forbids() -> None:
    """No inline script or style: CSP Level 3 blocks both under ``default-src 'self'``."""
    for path in sorted((HOUSE / "templates").rglob("*.html")):
        text = path.read_text(encoding="utf-8")
        for forbidden in (" style=", "<style", " onclick=", " onchange=", " onload=", "javascript:", "hx-on"):
            assert forbidden not in text, f"{forbidden} in {path}"
        assert all("src=" in tag.split(">")[0] for tag in text.split("<script")[1:]), path


def test_both_apps_are_there() -> None:
    assert {"bible", "guides"} <= {config.label for config in apps.get_app_configs()}
