"""``python tests/postgres.py python -m tests.faults.previous REVISION [seconds]``: an upgrade that nobody waits for.

The schema is today's. The code of REVISION (the last release, by any name git knows) serves it beside today's code, on
one database and one folder of pictures, while people mark, send pages and lock at both. Everything that either said is
saved is there, once; nobody was refused or met an error; ``doctor`` and ``check --verify`` of today's code agree.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from tests.faults.house import FOLDER, Wrong, at_work, crew, furnish, look_back  # isort: skip (sets Django up)

from tests.serving import production, serving

SECONDS = 30


def code_of(revision: str) -> Path:
    """The project as it was, in a folder of its own."""
    folder = Path(tempfile.mkdtemp(prefix="previous-"))
    packed = subprocess.run(["git", "archive", revision], check=True, capture_output=True).stdout
    subprocess.run(["tar", "-x", "-C", str(folder)], input=packed, check=True)
    return folder


def main(revision: str, seconds: int = SECONDS) -> None:
    series, house = furnish()
    stop = threading.Event()
    today = production(FOLDER)
    before = production(FOLDER, PYTHONPATH=str(code_of(revision)))
    with serving(today) as new, serving(before) as old:
        crews = {name: crew(server, stop, series, house) for name, server in (("new", new), ("old", old))}
        with at_work([person for people in crews.values() for person in people], stop):
            time.sleep(seconds)
    for name, people in crews.items():
        print(f"the {name} code:")
        look_back(people)
        if trouble := [person.username for person in people if person.refused or person.asked_again]:
            raise Wrong(f"refused, or met with an error: {trouble}")
    print("fine")


if __name__ == "__main__":
    main(sys.argv[1], *(int(word) for word in sys.argv[2:]))
