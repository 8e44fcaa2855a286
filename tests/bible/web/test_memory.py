"""What large pictures took is given back to the machine."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from bible.web import memory

TAKES_AND_FREES = """
import os, threading
from bible.web import memory

def picture():
    pieces = [bytearray(os.urandom(1024) * 60) for _ in range(4000)]  # 240 MB
    threads.append(pieces[::100])  # what lies between those that stay is freed

threads = []
for _ in range(2):
    one = threading.Thread(target=picture)
    one.start()
    one.join()
before = memory.resident()
print(before, memory.give_back(), memory.resident(), memory.give_back())
"""
"""In a process of its own: what this one holds is other tests'."""


@pytest.mark.skipif(memory._trim() is None, reason="this C library keeps nothing that could be asked for")
def test_a_process_that_grew_gives_back_what_it_does_not_use(tmp_path: Path) -> None:
    environment = os.environ | {"BIBLE_DATA": str(tmp_path)}
    ran = subprocess.run(
        [sys.executable, "-c", TAKES_AND_FREES], capture_output=True, text=True, check=True, env=environment
    )
    before, asked, after, again = ran.stdout.split()
    assert (asked, again) == ("True", "False")
    assert int(after) < int(before) / 2


def test_where_the_machine_tells_nothing_nothing_is_asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(memory, "STATUS", tmp_path / "none")
    assert memory.resident() == 0
    assert memory.give_back() is False


def test_a_c_library_without_it_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_trim", lambda: None)
    monkeypatch.setattr(memory, "GROWN", -(2**40))
    assert memory.give_back() is False
