"""A throw-away PostgreSQL cluster: ``python tests/postgres.py COMMAND …`` runs the command with its DATABASE_URL."""

from __future__ import annotations

import glob
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def binaries() -> Path | None:
    """Where initdb and pg_ctl are: on the path, or where Debian keeps them (the newest)."""
    if found := shutil.which("initdb"):
        return Path(found).resolve().parent
    kept = sorted(glob.glob("/usr/lib/postgresql/*/bin/initdb"), key=lambda path: int(path.split("/")[4]))
    return Path(kept[-1]).parent if kept else None


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def cluster() -> Iterator[str]:
    """Start a cluster on a free port without durability; yields its URL and removes it afterwards.

    Raises:
        FileNotFoundError: PostgreSQL is not installed.
    """
    folder = binaries()
    if folder is None:
        raise FileNotFoundError("PostgreSQL's initdb")
    # The server refuses to run as root.
    as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"] if os.geteuid() == 0 else []
    home = Path(tempfile.mkdtemp(prefix="bible-pg-"))
    port = free_port()
    data = home / "data"
    try:
        if as_user:
            shutil.chown(home, "postgres", "postgres")
        quiet = {"check": True, "stdout": subprocess.DEVNULL, "cwd": home}
        subprocess.run(
            [*as_user, folder / "initdb", "-D", data, "-U", "bible", "-A", "trust", "-E", "UTF8", "--no-sync"],
            **quiet,  # type: ignore[call-overload]
        )
        options = f"-p {port} -k {home} -c listen_addresses=127.0.0.1 -c fsync=off -c synchronous_commit=off"
        control = [*as_user, folder / "pg_ctl", "-D", data, "-w"]
        subprocess.run([*control, "-l", home / "log", "-o", options, "start"], **quiet)  # type: ignore[call-overload]
        try:
            yield f"postgres://bible@127.0.0.1:{port}/postgres"
        finally:
            subprocess.run([*control, "-m", "immediate", "stop"], **quiet)  # type: ignore[call-overload]
    finally:
        shutil.rmtree(home, ignore_errors=True)


if __name__ == "__main__":
    with cluster() as url:
        sys.exit(subprocess.run(sys.argv[1:], env=os.environ | {"DATABASE_URL": url}).returncode)
