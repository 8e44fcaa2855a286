"""Small changes to the spine, and whether its own tests notice: ``python -m tests.mutants --changes 60 --seed 1``.

The spine is what the answers rest on. Each change is made alone, in a copy of the tree; the tests that belong to the
module run until the first one fails. Prints what nobody noticed, and the share that was. Not part of the suite: a
change takes as long as its tests.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.mutants.changes import Change, changes_of

LONGEST = 600
"""Seconds after which a run counts as noticed: a change may well make something go on for ever."""

SPINE_TESTS, SPINE_ANSWERS = "tests/guides/core/test_spine.py", "tests/guides/core/test_spine_answers.py"
SPINE: dict[str, tuple[str, ...]] = {
    "guides/core/continuity.py": ("tests/guides/core/test_continuity.py", "tests/guides/core/test_impact.py", SPINE_TESTS),
    "guides/core/services.py": ("tests/guides/core/test_services.py", "tests/guides/core/test_gradient_marks.py", "tests/guides/desk/test_deeds.py",
                           "tests/guides/desk/test_mark_views.py", SPINE_TESTS),
    "guides/core/scene_areas.py": ("tests/guides/core/test_exceptions.py", "tests/guides/signoff/test_deeds.py", SPINE_TESTS),
    "guides/core/impact.py": ("tests/guides/core/test_impact.py", "tests/guides/core/test_locking_pages.py"),
    "guides/signoff": ("tests/guides/signoff", SPINE_TESTS),
    "bible/locks/services.py": ("tests/bible/series/test_services.py", "tests/bible/locks/test_two_leads.py", SPINE_TESTS,
                                "tests/guides/core/test_locking_pages.py"),
    "bible/locks/stretches.py": ("tests/bible/series/test_services.py", SPINE_TESTS),
    "bible/locks/undoing.py": ("tests/guides/decisions/test_undoing.py",),
    "bible/series/holding.py": ("tests/bible/series/test_services.py", "tests/guides/core/test_services.py", SPINE_TESTS),
    "bible/locks/models.py": ("tests/bible/series/test_services.py", "tests/bible/locks/test_guards.py", SPINE_TESTS),
    "bible/web/access.py": (SPINE_TESTS, "tests/test_role_matrix.py", "tests/bible/people/test_people.py"),
    "bible/colour/notation.py": ("tests/bible/colour/test_notation.py", "tests/bible/colour/test_read_percentage.py"),
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


def noticed(tree: Path, name: str, change: Change | None) -> bool:
    """Whether the module's own tests fail with the change made."""
    path = tree / name
    text = path.read_text(encoding="utf-8")
    if change:
        path.write_text(change.made_in(text), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--reuse-db", *own_tests(name)]
    try:
        run = subprocess.run(
            command,
            cwd=tree,
            capture_output=True,
            timeout=LONGEST,
            env=os.environ | {"BIBLE_DATA": str(tree / ".data"), "TEST_DATABASE": str(tree / "test.sqlite3")},
        )
        return run.returncode != 0
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(text, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="a part of a module's name")
    asked = parser.parse_args()
    everything = all_changes(asked.only)
    chosen = random.Random(asked.seed).sample(everything, min(asked.changes, len(everything)))
    saw, missed, began = Counter[str](), Counter[str](), time.monotonic()
    with tempfile.TemporaryDirectory(prefix="mutants-") as home:
        copy_of_the_tree(Path(home))
        for number, (name, change) in enumerate(sorted(chosen, key=lambda one: one[0]), 1):
            seen = noticed(Path(home), name, change)
            (saw if seen else missed)[name] += 1
            if not seen:
                print(f"not noticed: {name} {change.words}\n    now: {change.instead[:100]}", flush=True)
            print(f"  {number} of {len(chosen)}", file=sys.stderr, flush=True)
    share = saw.total() / max(1, len(chosen))
    print(
        f"{len(everything)} changes to make, {len(chosen)} made, {saw.total()} noticed ({share:.0%}), {time.monotonic() - began:.0f} s"
    )
    print("not noticed by module:", dict(missed))
    sys.exit(bool(missed))


if __name__ == "__main__":
    main()
