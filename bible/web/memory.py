"""Memory given back to the machine.

A page's picture and its map take some hundred megabytes for a second. glibc keeps what was freed for the next one, in
an arena for each thread: a web worker that had shown two dozen pages as printed held 750 MB of which it used 110.
Asked to, it gives them back within 10 to 30 ms (350 MB); making all large pieces pages of their own gave back more
(250 MB) but took a third of the pages' time for it.
"""

from __future__ import annotations

import ctypes
import os
from functools import cache
from pathlib import Path
from typing import Any

GROWN = 64 * 1024 * 1024
"""Bytes that a process grows by before it is worth asking: no page without a large picture does."""

STATUS = Path("/proc/self/statm")
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 4096


@cache
def _trim() -> Any:
    """glibc's ``malloc_trim``; None where the C library has none (musl, macOS)."""
    try:
        return ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError, TypeError):
        return None


def resident() -> int:
    """Bytes of memory that this process takes; 0 where the machine does not tell."""
    try:
        return int(STATUS.read_bytes().split()[1]) * PAGE_BYTES
    except (OSError, IndexError, ValueError):
        return 0


class _Since:
    """What the process took after it was last asked."""

    bytes = 0


def give_back(**sent: Any) -> bool:
    """After a request or a job: give freed memory back where the process has grown since the last time. Returns
    whether it was asked to."""
    if resident() - _Since.bytes < GROWN or _trim() is None:
        return False
    _trim()(0)
    _Since.bytes = resident()
    return True
