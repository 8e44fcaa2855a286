"""A throw-away S3-compatible store on this machine: moto's server, whose bucket lives as long as it does."""

from __future__ import annotations

import importlib.util
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from tests.postgres import free_port

BUCKET = "pictures"
KEYS = {"AWS_ACCESS_KEY_ID": "x", "AWS_SECRET_ACCESS_KEY": "y"}
PATIENCE = 30.0


def missing() -> list[str]:
    """Which of the packages it takes are not here."""
    return [name for name in ("moto", "boto3", "storages", "gunicorn", "flask") if not importlib.util.find_spec(name)]


@contextmanager
def store() -> Iterator[dict[str, str]]:
    """Start it on a free port with an empty bucket; yields the environment that points at it."""
    import boto3

    port = free_port()
    url, quiet = f"http://127.0.0.1:{port}", subprocess.DEVNULL
    process = subprocess.Popen([sys.executable, "-m", "moto.server", "-p", str(port)], stdout=quiet, stderr=quiet)
    try:
        until = time.monotonic() + PATIENCE
        while process.poll() is None and time.monotonic() < until:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        keys = {name.lower(): value for name, value in KEYS.items()}
        boto3.client("s3", endpoint_url=url, region_name="us-east-1", **keys).create_bucket(Bucket=BUCKET)
        yield KEYS | {
            "BIBLE_MEDIA_S3_BUCKET": BUCKET,
            "BIBLE_MEDIA_S3_ENDPOINT": url,
            "BIBLE_MEDIA_S3_REGION": "us-east-1",
        }
    finally:
        process.kill()
        process.wait()
