"""Which room may know of which: read from the imports, not from anybody's memory."""

from __future__ import annotations

import ast
import graphlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.urls import URLPattern, URLResolver, get_resolver

HOUSE = Path(__file__).parents[1]
MOST_LINES = 400
MOST_LETTERS = 140
"""In a line of a template."""


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
    assert knows(HOUSE / "guides/core/continuity.py", "bible")
    assert knows(HOUSE / "bible/series/forms.py", "django")


def test_the_bible_knows_nothing_of_the_guides() -> None:
    mentions = {HOUSE / "bible/urls.py", HOUSE / "bible/settings.py"}
    assert [path for path in modules("bible") if knows(path, "guides")] == []
    # The addresses and the list of apps name it in text; nothing else does.
    texts = {path for path in modules("bible") if '"guides.' in path.read_text(encoding="utf-8")}
    assert texts <= mentions


def test_rows_that_many_write_are_held_in_one_place() -> None:
    """In one order, or people wait for each other in a circle: ``bible.series.holding`` is the only way."""
    by_hand = re.compile(
        r"\b(Series|Part|Issue|Guide|Mark)\.(objects|_base_manager)[^\n]*select_for_update"
        r"|FOR (KEY SHARE|SHARE|NO KEY UPDATE|UPDATE)\b"
    )
    found = [path for path in modules("bible", "guides") if by_hand.search(path.read_text(encoding="utf-8"))]
    assert found == []


@pytest.mark.parametrize("room", ["bible/colour", "guides/imaging"])
def test_colour_and_imaging_need_no_django(room: str) -> None:
    outside = ("django", "bible.models", "guides.models")
    assert [path for path in modules(room) for package in outside if knows(path, package)] == []


@pytest.mark.parametrize("module", ["bible.colour.notation", "bible.colour.press", "guides.imaging.intake.take_in"])
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
        and path.parent.name != "migrations"
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
    assert [path for path, found in inside if not getattr(found.callback, "permission", None)] == []


def test_templates_carry_nothing_that_the_content_policy_forbids() -> None:
    """No inline script or style: CSP Level 3 blocks both under ``default-src 'self'``."""
    for path in sorted((HOUSE / "templates").rglob("*.html")):
        text = path.read_text(encoding="utf-8")
        for forbidden in (" style=", "<style", " onclick=", " onchange=", " onload=", "javascript:", "hx-on"):
            assert forbidden not in text, f"{forbidden} in {path}"
        assert all("src=" in tag.split(">")[0] for tag in text.split("<script")[1:]), path


def test_templates_are_laid_out_by_the_formatter() -> None:
    """One element a line: ``djangofmt templates`` does it."""
    formatter = Path(sys.executable).with_name("djangofmt")
    answer = subprocess.run([formatter, "--check", "templates"], cwd=HOUSE, capture_output=True, text=True)
    assert answer.returncode == 0, answer.stderr + answer.stdout


def test_no_line_of_a_template_is_longer_than_a_screen_shows() -> None:
    """What the formatter cannot break, such as an address in one attribute, is broken by hand."""
    templates = sorted((HOUSE / "templates").rglob("*.html"))
    assert len(templates) > 100
    long = [
        f"{path.relative_to(HOUSE)}:{number}"
        for path in templates
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if len(line) > MOST_LETTERS
    ]
    assert long == []


def test_no_data_lies_at_the_top() -> None:
    """Where the checkout was once taken for the folder of data, a database and its key were committed."""
    data = {"bible.sqlite3", "secret_key", "media"}
    assert data & {path.name for path in HOUSE.iterdir()} == set()


def test_both_apps_are_there() -> None:
    assert {"bible", "guides"} <= {config.label for config in apps.get_app_configs()}


ORDER = {
    "bible": (
        "colour", "web", "exports", "series", "tasks", "accounts", "people", "subjects", "locks", "editions", "scenes", "proposals",
        "activity", "notices", "chart",
    ),
    "guides": (
        "imaging", "core", "paper", "costumes", "timeline", "editions", "flags", "palettes", "report", "booklets", "assignments", "archive",
        "decisions", "regrouping", "paint", "found", "preview", "proofs", "charts", "uploads", "desk", "gallery",
        "maintenance", "handoff", "api", "imports",
        "signoff", "issues", "demo", "training",
    ),
}  # fmt: skip
"""The rooms of each app, from the ground up: a room imports from those before it."""

FLOOR = ("models", "migrations")
"""Beneath the rooms. Foreign keys go to and fro, so the tables of an app are one floor, wherever they are defined;
everybody takes them from ``bible.models`` and ``guides.models``."""

ROOF = ("management", "templatetags", "apps", "settings", "signals", "urls", "wsgi")
"""Where Django wants them, above all rooms; ``bible.signals`` says without knowing who listens."""

WORDS = "bible.web.names."
"""How people and numbers are called: words without a table, which tables use as well."""

MOST_ROOMS, MOST_ARROWS = 30, 80


def room_of(module: str) -> str:
    """“proofs” of ``guides.proofs.views``; “models” of ``guides.proofs.models``."""
    parts = module.split(".")
    if len(parts) > 2 and (parts[2] == "models" or parts[2].endswith("_models")):
        return "models"
    return parts[1] if len(parts) > 1 else ""


def named(path: Path) -> str:
    parts = path.relative_to(HOUSE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def brought(path: Path) -> Iterator[str]:
    """Every module of ours that a file imports, ``from guides.core import continuity`` by the module's own name."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in ORDER:
            yield from (f"{node.module}.{name.name}" for name in node.names)


def arrows(app: str) -> set[tuple[str, str]]:
    """Which room of an app imports from which, the tables left out."""
    found = {
        (room_of(named(path)), room_of(module))
        for path in modules(app)
        for module in brought(path)
        if module.startswith(app + ".")
    }
    beside = {*FLOOR, *ROOF, ""}
    return {(upper, lower) for upper, lower in found if upper != lower and not {upper, lower} & beside}


@pytest.mark.parametrize("app", list(ORDER))
def test_every_room_has_its_place(app: str) -> None:
    there = {path.name for path in (HOUSE / app).iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert there - {*FLOOR, *ROOF} == set(ORDER[app])
    assert len(ORDER[app]) <= MOST_ROOMS
    assert {path.stem for path in (HOUSE / app).glob("*.py")} <= {"__init__", *ROOF}


@pytest.mark.parametrize("app", list(ORDER))
def test_a_room_imports_from_those_beneath_it(app: str) -> None:
    found = arrows(app)
    assert len(found) > 20
    place = ORDER[app].index
    assert {(upper, lower) for upper, lower in found if place(upper) <= place(lower)} == set()
    assert len(found) <= MOST_ARROWS


def test_no_files_import_each_other_in_a_circle() -> None:
    """Beneath and beside the tables' floor, whose foreign keys go to and fro; imports within functions count too."""
    names = {named(path) for path in modules("bible", "guides")}
    files = {
        named(path): {file for module in brought(path) if (file := _module_of(module, names)) and file != named(path)}
        for path in modules("bible", "guides")
        if room_of(named(path)) != "models" and named(path).split(".")[1:2] != ["models"]
    }
    assert len(files) > 500
    graphlib.TopologicalSorter(files).prepare()  # says which files where there is a circle


def _module_of(module: str, names: set[str]) -> str:
    """The module of ours that a dotted name lies in; empty where there is none, and for a package, which holds nothing."""
    while module and module not in names:
        module = module.rpartition(".")[0]
    return module if "." in module else ""


def test_tables_know_no_room() -> None:
    for app in ORDER:
        tables = [path for path in modules(app) if room_of(named(path)) == "models"]
        assert len(tables) > 5
        above = {(named(path), module) for path in tables for module in brought(path) if module.startswith(app + ".")}
        beneath = ("models", "colour")
        assert {pair for pair in above if room_of(pair[1]) not in beneath and not pair[1].startswith(WORDS)} == set()


def test_tables_are_taken_from_one_place() -> None:
    """Not from the room that defines them, save by other tables."""
    past = {
        (named(path), module)
        for path in modules("bible", "guides")
        for module in brought(path)
        if room_of(module) == "models" and module.split(".")[1] != "models" and room_of(named(path)) != "models"
    }
    assert past == set()


FOLDERS = {"templates": {"bible", "guides"}, "static": {"bible", "guides", "tour"}}


@pytest.mark.parametrize("kind", ["templates", "static", "tests"])
def test_what_belongs_to_a_room_lies_under_its_name(kind: str) -> None:
    for app, rooms in ORDER.items():
        there = {path.name for path in (HOUSE / kind / app).iterdir() if path.name != "__pycache__"}
        assert there <= {*rooms, "models"}, f"{kind}/{app}"
    if kind in FOLDERS:
        assert {path.name for path in (HOUSE / kind).iterdir() if path.is_dir()} == FOLDERS[kind]


def test_a_class_name_is_used_once() -> None:
    """At the top of a module; a command of Django's is always called ``Command``."""
    seen: dict[str, list[str]] = {}
    for path in modules("bible", "guides"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and node.name != "Command" and "migrations" not in path.parts:
                seen.setdefault(node.name, []).append(named(path))
    assert len(seen) > 300
    assert {name: places for name, places in seen.items() if len(places) > 1} == {}


MOST_FUNCTION_LINES, MOST_VIEW_LINES = 40, 20


def lines_of_functions(*rooms: str) -> Iterator[tuple[str, bool, int]]:
    """Name, whether it stands at the top of a room's views, and lines from ``def`` on."""
    for path in modules(*rooms):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and "migrations" not in path.parts:
                is_view = path.stem.endswith("views") and node in tree.body
                yield f"{named(path)}.{node.name}", is_view, (node.end_lineno or 0) - node.lineno + 1


def test_functions_and_views_stay_short() -> None:
    """Drawing code apart, where one thing after the other is put on the sheet."""
    sizes = [one for one in lines_of_functions("bible", "guides") if not one[0].startswith("guides.demo.artist.")]
    assert len(sizes) > 2000
    assert {name for name, _, lines in sizes if lines > MOST_FUNCTION_LINES} == set()
    assert {name for name, is_view, lines in sizes if is_view and lines > MOST_VIEW_LINES} == set()
