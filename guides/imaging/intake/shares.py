"""How many pictures of one person a machine looks at together, whichever of its processes they came to.

Decoding is all processor: without a share, one person's ten files at once hold every core and every thread of the web
workers, and whoever else asks for a page waits. A place is a lock on a file, which the system lets go of however a
process ends; where there are no such locks, there are no shares.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager

from guides.imaging.intake.rules import IntakeError

try:
    import fcntl
except ImportError:  # no POSIX locks on this system
    fcntl = None  # type: ignore[assignment]

SHARE = max(1, (os.cpu_count() or 1) // 2)
"""Pictures of one person looked at together: half the cores stay for everybody else."""


@contextmanager
def share_of(who: str) -> Iterator[None]:
    """Take one of a person's places; nobody's (an empty ``who``: a command) is not counted.

    Raises:
        IntakeError: ``busy``, at once: who waits here would hold a thread of the web server.
    """
    if not who or fcntl is None:
        yield
        return
    taken = _place(hashlib.sha256(who.encode()).hexdigest()[:32])
    if taken is None:
        raise IntakeError("busy", "Other pictures of yours are being looked at; send this one again soon.")
    try:
        yield
    finally:
        os.close(taken)


def _place(name: str) -> int | None:
    """An open file that is locked for this person; None where all are taken."""
    folder = os.path.join(tempfile.gettempdir(), f"picture-shares-{os.getuid()}")
    os.makedirs(folder, mode=0o700, exist_ok=True)
    if os.stat(folder, follow_symlinks=False).st_uid != os.getuid():
        raise PermissionError(folder)
    for number in range(SHARE):
        file = os.open(os.path.join(folder, f"{name}-{number}"), os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(file)
        else:
            return file
    return None
