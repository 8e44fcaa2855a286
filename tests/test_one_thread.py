"""Linear algebra takes one core a process, whichever door the process came in by."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")


@pytest.mark.parametrize("door", ["bible.wsgi", "bible.settings"])
def test_every_process_of_ours_takes_one_core_for_linear_algebra(door: str, tmp_path: Path) -> None:
    """A task worker did not: reading a chart's scan beside a busy site took it six times the work."""
    asked = f"import {door}, os, cv2; print([os.environ.get(name) for name in {THREADS}], cv2.getNumThreads())"
    environment = {name: value for name, value in os.environ.items() if name not in THREADS}
    environment |= {"BIBLE_DATA": str(tmp_path)}
    ran = subprocess.run(
        [sys.executable, "-c", asked], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip().splitlines()[-1] == "['1', '1', '1'] 1"
