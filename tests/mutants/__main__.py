"""Small changes to the spine, and whether its own tests notice: ``python -m tests.mutants --changes 60 --seed 1``.

The spine is what the answers rest on. Each change is made alone, in a copy of the tree; of the tests that belong to
the module those that reach it run, the quickest first, until one fails. Prints what nobody noticed, and the share
that was. Not part of the suite. ``--kept FOLDER`` keeps the copy, and what reaches what, for the next time: as long as
the code is the same, only tests that were changed are asked again.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from importlib import import_module
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.mutants.changes import Change, changes_of

LONGEST = 300
"""Seconds after which a run counts as noticed: a change may well make something go on for ever."""
BEFOREHAND = (
    "numpy", "cv2", "PIL.Image", "scipy.optimize", "scipy.ndimage", "scipy.sparse.csgraph", "scipy.spatial",
    "lxml.html", "reportlab.pdfgen.canvas", "django.db.models", "django.forms", "django.template",
)  # fmt: skip
"""What takes long to import and is no part of the tree: once, before the process splits for each change."""

SPINE_TESTS, SPINE_ANSWERS = "tests/guides/core/test_spine.py", "tests/guides/core/test_spine_answers.py"
EVERYTHING, LEFT = "tests/guides/core/test_one_of_everything.py", "tests/guides/core/test_what_deeds_leave.py"
TOUCHED = "tests/guides/signoff/test_deeds.py"
STANDING, ACCESS = "tests/bible/locks/test_what_is_left_standing.py", "tests/bible/web/test_access.py"
SPINE: dict[str, tuple[str, ...]] = {
    "guides/core/continuity.py": ("tests/guides/core/test_continuity.py", "tests/guides/core/test_impact.py", SPINE_TESTS,
                                  EVERYTHING, "tests/guides/core/test_locked_gradients.py", "tests/guides/core/test_counts.py",
                                  TOUCHED, "tests/guides/regrouping/test_regrouping.py", "tests/guides/decisions/test_undoing_waivers.py"),
    "guides/core/services.py": (LEFT, EVERYTHING, "tests/guides/core/test_services.py", "tests/guides/core/test_gradient_marks.py", "tests/guides/desk/test_deeds.py",
                           "tests/guides/desk/test_mark_views.py", SPINE_TESTS, "tests/guides/core/test_counts.py", TOUCHED),
    "guides/core/scene_areas.py": (LEFT, "tests/guides/core/test_exceptions.py", TOUCHED, SPINE_TESTS,
                                   "tests/guides/core/test_outlines.py"),
    "guides/core/impact.py": (LEFT, "tests/guides/core/test_impact.py", "tests/guides/core/test_locking_pages.py",
                              "tests/guides/core/test_locked_gradients.py", "tests/guides/decisions/test_locking_by_hand.py", TOUCHED),
    "guides/signoff": (ACCESS, "tests/guides/signoff", SPINE_TESTS),
    "bible/locks/services.py": (STANDING, "tests/bible/series/test_services.py", "tests/bible/locks/test_two_leads.py", SPINE_TESTS,
                                "tests/guides/core/test_locking_pages.py", "tests/bible/editions/test_edition_locks.py", TOUCHED),
    "bible/locks/stretches.py": (STANDING, "tests/bible/series/test_services.py", SPINE_TESTS, "tests/bible/editions/test_edition_locks.py"),
    "bible/locks/undoing.py": (STANDING, "tests/guides/decisions/test_undoing.py", "tests/bible/editions/test_edition_locks.py"),
    "bible/series/holding.py": (ACCESS, "tests/bible/series/test_services.py", "tests/guides/core/test_services.py", SPINE_TESTS),
    "bible/locks/models.py": (STANDING, ACCESS, "tests/bible/series/test_services.py", "tests/bible/locks", SPINE_TESTS,
                              "tests/guides/core/test_locked_gradients.py", "tests/bible/editions/test_edition_locks.py"),
    "bible/web/access.py": (ACCESS, SPINE_TESTS, "tests/test_role_matrix.py", "tests/bible/people/test_people.py"),
    "bible/colour/notation.py": ("tests/bible/colour/test_notation.py", "tests/bible/colour/test_notation_settings.py", "tests/bible/colour/test_read_percentage.py"),
    "bible/colour/notation_settings.py": ("tests/bible/colour/test_notation_settings.py", "tests/bible/colour/test_notation.py"),
}  # fmt: skip
"""Modules, or folders of them, and the tests that are theirs."""


def all_changes(only: str) -> list[tuple[str, Change]]:
    found = []
    for place in SPINE:
        paths = sorted((ROOT / place).glob("*.py")) if (ROOT / place).is_dir() else [ROOT / place]
        for path in paths:
            name = str(path.relative_to(ROOT))
            if only in name:
                found += [(name, change) for change in changes_of(path.read_text(encoding="utf-8"))]
    return found


def own_tests(name: str) -> list[str]:
    place = next(one for one in SPINE if name == one or name.startswith(f"{one}/"))
    return [path for path in (*SPINE[place], SPINE_ANSWERS) if (ROOT / path).exists()]


def copy_of_the_tree(to: Path) -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    for name in listed.stdout.splitlines():
        if (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)


def as_it_stands() -> dict[str, str]:
    """What stands for each file of tests, and under "" for all the rest that they run on: not for what is in here."""
    rest, said = hashlib.sha256(), dict[str, str]()
    for folder in ("bible", "guides", "tests", "templates"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.parent.name == "mutants":
                continue
            if path.name.startswith("test_") and path.suffix == ".py":
                said[str(path.relative_to(ROOT))] = hashlib.sha256(path.read_bytes()).hexdigest()
            elif path.suffix in (".py", ".html"):
                rest.update(path.read_bytes())
    return said | {"": rest.hexdigest()}


class Copy:
    """A copy of the tree, with a database, in which changes are made and tests run."""

    def __init__(self, home: Path) -> None:
        self.tree, self.database = home / "tree", home / "test.sqlite3"
        self.fresh, self.known = home / "fresh.sqlite3", home / "reached.json"
        self.environment = {"BIBLE_DATA": str(home / "data"), "TEST_DATABASE": str(self.database)}

    def look(self, names: list[str]) -> dict[str, Any]:
        """Which tests reach which lines of these modules; they have to pass as the tree stands."""
        stands, reached, before = as_it_stands(), dict[str, Any](), dict[str, str]()
        with contextlib.suppress(FileNotFoundError):
            kept = json.loads(self.known.read_text(encoding="utf-8"))
            if kept["stands"][""] == stands[""]:
                reached, before = kept["tests"], kept["stands"]
        reached = {test: told for test, told in reached.items() if before[file_of(test)] == stands.get(file_of(test))}
        files = sorted({file for name in names for file in own_files(name)})
        if anew := [file for file in files if before.get(file) != stands[file]]:
            reached |= self._looked_at(anew, names)
            looked_at = {file: stands[file] for file in ["", *files]}
            self.known.write_text(json.dumps({"stands": looked_at, "tests": reached}), encoding="utf-8")
        return reached

    def _looked_at(self, files: list[str], names: list[str]) -> dict[str, Any]:
        shutil.rmtree(self.tree, ignore_errors=True)
        self.database.unlink(missing_ok=True)
        copy_of_the_tree(self.tree)
        told = self.tree / "reached.json"
        asked = {"REACH_OF": " ".join(names), "REACH_TO": str(told)}
        command = [sys.executable, "-m", "pytest", *ALWAYS, *files]
        subprocess.run(command, cwd=self.tree, env=os.environ | self.environment | asked, check=True)
        shutil.copy2(self.database, self.fresh)
        return dict(json.loads(told.read_text(encoding="utf-8")))

    def noticed(self, name: str, change: Change, tests: list[str]) -> bool:
        """Whether one of these tests fails with the change made."""
        if not tests:
            return False
        path = self.tree / name
        text = path.read_text(encoding="utf-8")
        path.write_text(change.made_in(text), encoding="utf-8")
        shutil.copy2(self.fresh, self.database)
        try:
            return self._run(tests) != 0
        finally:
            path.write_text(text, encoding="utf-8")

    def _run(self, tests: list[str]) -> int:
        """In a process of its own, which begins with what this one has imported."""
        if child := os.fork():
            ends = time.monotonic() + LONGEST
            while time.monotonic() < ends:
                pid, status = os.waitpid(child, os.WNOHANG)
                if pid:
                    return os.waitstatus_to_exitcode(status)
                time.sleep(0.05)
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return -1
        code = 1
        try:
            nothing = os.open(os.devnull, os.O_RDWR)
            for stream in range(3):
                os.dup2(nothing, stream)
            os.chdir(self.tree)
            os.environ |= self.environment
            sys.path = [str(self.tree), *(one for one in sys.path if one not in ("", str(ROOT)))]
            for module in [one for one in sys.modules if one == "tests" or one.startswith("tests.")]:
                del sys.modules[module]
            code = import_module("pytest").main([*ALWAYS, *tests])
        finally:
            os._exit(code)


ALWAYS = ("-x", "-q", "-p", "no:cacheprovider", "-p", "tests.mutants.reach", "--reuse-db")


def reaching(reached: dict[str, Any], name: str, change: Change) -> list[str]:
    """The module's own tests that come by a change, the quickest first."""
    files = own_files(name)
    own = [test for test in reached if file_of(test) in files]
    if change.lines:
        first, last = change.lines
        own = [test for test in own if any(first <= line <= last for line in reached[test]["lines"].get(name, ()))]
    return sorted(own, key=lambda test: float(reached[test]["seconds"]))


def file_of(test: str) -> str:
    return test.split("::", 1)[0]


def own_files(name: str) -> set[str]:
    found = set()
    for path in own_tests(name):
        paths = (ROOT / path).rglob("test_*.py") if (ROOT / path).is_dir() else [ROOT / path]
        found |= {str(one.relative_to(ROOT)) for one in paths}
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="a part of a module's name")
    parser.add_argument("--kept", help="a folder in which the copy is kept for the next time")
    asked = parser.parse_args()
    everything = all_changes(asked.only)
    chosen = random.Random(asked.seed).sample(everything, min(asked.changes, len(everything)))
    saw, missed, began = Counter[str](), Counter[str](), time.monotonic()
    with contextlib.ExitStack() as ends:
        home = Path(asked.kept or ends.enter_context(tempfile.TemporaryDirectory(prefix="mutants-")))
        home.mkdir(exist_ok=True)
        copy = Copy(home)
        reached = copy.look(sorted({name for name, _ in all_changes("")}))
        for module in BEFOREHAND:
            import_module(module)
        for number, (name, change) in enumerate(sorted(chosen, key=lambda one: one[0]), 1):
            tests = reaching(reached, name, change)
            seen = copy.noticed(name, change, tests)
            (saw if seen else missed)[name] += 1
            if not seen:
                print(f"not noticed: {name} {change.words}\n    now: {change.instead[:100]}", flush=True)
            so_far = f"{number} of {len(chosen)}, {time.monotonic() - began:.0f} s"
            print(f"  {so_far}: {len(tests)} tests come by", file=sys.stderr, flush=True)
    share = saw.total() / max(1, len(chosen))
    print(
        f"{len(everything)} changes to make, {len(chosen)} made, {saw.total()} noticed ({share:.0%}), {time.monotonic() - began:.0f} s"
    )
    print("not noticed by module:", dict(missed))
    sys.exit(bool(missed))


if __name__ == "__main__":
    main()
