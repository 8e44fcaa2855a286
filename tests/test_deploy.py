"""What is handed out to run it with: each file holds with the others, and with the programs that read it."""

from __future__ import annotations

import http.server
import os
import re
import shutil
import socket
import ssl
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.test import Client
from django.urls import reverse

from tests.conftest import without_service
from tests.factories import make_guide, make_issue
from tests.pages import client_of
from tests.postgres import free_port

ROOT = Path(__file__).resolve().parents[1]
DEPLOY = ROOT / ".deploy"
NGINX = (DEPLOY / "nginx.conf").read_text()
COMPOSE = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
PRIVATE_HEADERS = {
    "vary": "Cookie",
    "x-content-type-options": "nosniff",
    "strict-transport-security": "max-age=31536000; includeSubDomains",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "private, no-cache",
}


def program(name: str) -> str:
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")
    if found is None:
        without_service(name)
    return str(found)


def location(name: str) -> str:
    """What stands between the braces of a location."""
    found = re.search(rf"location {re.escape(name)} \{{(.*?)\n    \}}", NGINX, re.DOTALL)
    assert found, name
    return found[1]


# --- the web server in front -----------------------------------------------------------------------------------------


def test_what_nginx_sends_itself_says_every_header_there() -> None:
    """``add_header`` in a location undoes all of those outside it (nginx.org, ngx_http_headers_module), and of an
    answer with X-Accel-Redirect few headers stay: each has to stand in the location itself."""
    said = dict(re.findall(r"add_header (\S+) \"?(.+?)\"? always;", location("/pictures/")))
    for name, value in PRIVATE_HEADERS.items():
        if name != "cache-control":
            assert {key.lower(): value for key, value in said.items()}.get(name) == value, name
    assert "default-src 'none'" in said["Content-Security-Policy"]
    assert "internal;" in location("/pictures/")
    assert "expires" not in location("/pictures/"), "how long it is kept is for Django to say"
    assert "Strict-Transport-Security" in location("/static/")
    outside = re.sub(r"location .*?\n    \}", "", NGINX, flags=re.DOTALL)
    assert "add_header" not in re.sub("#.*", "", outside), "it would not hold in the locations"


def test_a_foreign_name_is_refused_and_not_redirected() -> None:
    assert "$host$request_uri" not in NGINX
    assert "ssl_reject_handshake on;" in NGINX
    assert re.search(r"listen 80 default_server;.*?return 444;", NGINX, re.DOTALL)


class Behind(http.server.BaseHTTPRequestHandler):
    """The application as nginx knows it: a page, or a picture that it is to send."""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "image/jpeg" if self.path == "/picture" else "text/plain")
        self.send_header("Cache-Control", "private, no-cache")
        self.send_header("Vary", "Cookie")
        if self.path == "/picture":
            self.send_header("X-Accel-Redirect", "/pictures/guides/screen.jpg")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: Any) -> None:
        """Nobody reads it."""


@pytest.fixture(scope="module")
def in_front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, int]]:
    """nginx with the file as it is shipped, save for its ports and paths: (port, port of TLS)."""
    nginx, openssl = program("nginx"), program("openssl")
    folder = tmp_path_factory.mktemp("front")
    (folder / "media/guides").mkdir(parents=True)
    (folder / "media/guides/screen.jpg").write_bytes(b"\xff\xd8\xff picture")
    (folder / "static").mkdir()
    (folder / "static/page.css").write_text("a { }")
    subprocess.run(
        [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=bible.example",
         "-keyout", folder / "key.pem", "-out", folder / "fullchain.pem"], check=True, capture_output=True,
    )  # fmt: skip
    behind = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Behind)
    threading.Thread(target=behind.serve_forever, daemon=True).start()
    plain, tls = free_port(), free_port()
    site = NGINX.replace("unix:/run/bible/bible.sock", f"127.0.0.1:{behind.server_port}")
    site = site.replace("/var/lib/bible", str(folder)).replace("/etc/ssl/bible", str(folder))
    site = site.replace("/var/log/nginx", str(folder))
    site = re.sub(
        r"listen 80\b", f"listen 127.0.0.1:{plain}", re.sub(r"listen 443\b", f"listen 127.0.0.1:{tls}", site)
    )
    (folder / "site.conf").write_text(site)
    user = "user root;\n" if os.getuid() == 0 else ""
    scratch = "".join(
        f"{kind}_temp_path {folder}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    (folder / "nginx.conf").write_text(
        f"{user}pid {folder}/nginx.pid;\nevents {{}}\nhttp {{ types {{ text/css css; }} {scratch} include {folder}/site.conf; }}\n"
    )
    command = [nginx, "-p", str(folder), "-e", str(folder / "error.log"), "-c", str(folder / "nginx.conf")]
    tried = subprocess.run([*command, "-t"], capture_output=True, text=True)
    assert tried.returncode == 0, tried.stderr
    process = subprocess.Popen([*command, "-g", "daemon off;"], stderr=subprocess.DEVNULL)
    try:
        until = time.monotonic() + 20
        while time.monotonic() < until:
            with socket.socket() as door:
                if door.connect_ex(("127.0.0.1", tls)) == 0:
                    break
            time.sleep(0.05)
        yield plain, tls
    finally:
        process.terminate()
        process.wait(20)
        behind.shutdown()


def asked(
    port: int, path: str, *, host: str = "bible.example", tls: bool = True, more: str = ""
) -> tuple[str, dict[str, str]]:
    """(status line, headers) of one request."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as raw:
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        with context.wrap_socket(raw, server_hostname=host) if tls else raw as line:
            line.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{more}\r\n".encode())
            data = b""
            while part := line.recv(65536):
                data += part
    head = data.partition(b"\r\n\r\n")[0].decode().split("\r\n")
    return head[0], {name.lower(): value for name, _, value in (one.partition(": ") for one in head[1:])}


def test_a_private_picture_keeps_its_headers_on_the_way_through_nginx(in_front: tuple[int, int]) -> None:
    status, headers = asked(in_front[1], "/picture")
    assert status.split()[1] == "200"
    assert {name: headers.get(name) for name in PRIVATE_HEADERS} == PRIVATE_HEADERS
    assert headers["content-type"] == "image/jpeg"
    again, _ = asked(in_front[1], "/picture", more=f"If-None-Match: {headers['etag']}\r\n")
    assert again.split()[1] == "304"
    assert asked(in_front[1], "/pictures/guides/screen.jpg")[0].split()[1] == "404", "by X-Accel-Redirect alone"
    assert asked(in_front[1], "/healthz/ready")[0].split()[1] == "403"
    assert asked(in_front[1], "/static/page.css")[1]["x-content-type-options"] == "nosniff"


def test_nginx_answers_to_our_name_alone(in_front: tuple[int, int]) -> None:
    plain, tls = in_front
    status, headers = asked(plain, "/a", tls=False)
    assert (status.split()[1], headers["location"]) == ("301", "https://bible.example/a")
    assert asked(plain, "/a", host="evil.example", tls=False)[0] == "", "no answer at all"
    with pytest.raises(ssl.SSLError):
        asked(tls, "/a", host="evil.example")


# --- units, containers, example environment --------------------------------------------------------------------------


@pytest.mark.parametrize("unit", [*sorted(path.name for path in DEPLOY.glob("*.service")), "bible-daily.timer"])
def test_systemd_takes_the_units(unit: str, tmp_path: Path) -> None:
    """Verified by systemd itself, with programs that are there in place of those of an installation."""
    verify = program("systemd-analyze")
    for path in DEPLOY.glob("bible*.*"):
        if path.suffix in (".service", ".timer"):
            (tmp_path / path.name).write_text(re.sub(r"/opt/bible/\.venv/bin/\w+", "/bin/true", path.read_text()))
    ran = subprocess.run([verify, "verify", "--man=no", tmp_path / unit], capture_output=True, text=True)
    complaints = [line for line in ran.stderr.splitlines() if str(tmp_path) in line or unit in line]
    assert complaints == []


def test_the_socket_is_for_its_group_and_there_is_no_other() -> None:
    unit = (DEPLOY / "bible.service").read_text()
    assert "--umask 0117" in unit  # of 777 it leaves 660
    assert "--no-control-socket" in unit
    assert "--no-control-socket" in (DEPLOY / "Dockerfile").read_text()
    from gunicorn.config import Config

    settings = Config()
    parsed = settings.parser().parse_args(["--umask", "0117", "--no-control-socket", "bible.wsgi"])
    assert 0o777 & ~parsed.umask == 0o660
    for path in DEPLOY.glob("*.service"):
        assert "StateDirectoryMode=0750" in path.read_text(), path.name


def test_workers_are_replaced_one_at_a_time_wherever_it_is_started() -> None:
    """What the file does is shown by ``test_rolling_restart``."""
    assert "--config .deploy/gunicorn.conf.py" in (DEPLOY / "bible.service").read_text()
    assert "--config=.deploy/gunicorn.conf.py" in (DEPLOY / "Dockerfile").read_text()
    assert "--config .deploy/gunicorn.conf.py" in (ROOT / "README.md").read_text()


def example() -> dict[str, str]:
    lines = (DEPLOY / "bible.env.example").read_text().splitlines()
    return dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))


def test_the_containers_fit_their_environment_and_each_other() -> None:
    text = (DEPLOY / "compose.yaml").read_text()
    for name in re.findall(r"\$\{(\w+)", text):
        assert name in example(), f"{name} is asked for and not in the example"
    services = COMPOSE["services"]
    assert set(services) == {"database", "migrate", "certificates", "web", "worker", "front"}
    for name, service in services.items():
        for other in service.get("depends_on", {}):
            assert other in services, (name, other)
        for volume in service.get("volumes", []):
            source = volume.split(":")[0]
            assert source in COMPOSE["volumes"] or (DEPLOY / source).exists(), (name, volume)
    for name in ("migrate", "web", "worker"):
        assert "@database/bible" in services[name]["environment"]["DATABASE_URL"], "not this machine's own"
    front = (DEPLOY / "nginx-compose.conf").read_text()
    assert "proxy_pass http://web:8000;" in front
    assert "--bind=0.0.0.0:8000" in (DEPLOY / "Dockerfile").read_text()
    assert services["front"]["volumes"][0].split(":")[0] == "./nginx-compose.conf"
    for conf in (NGINX, front):
        assert f"server_name {example()['ALLOWED_HOSTS']};" in conf


def test_no_image_takes_data_or_keys_along() -> None:
    left_out = (ROOT / ".dockerignore").read_text().split()
    for name in (".git", ".data", ".venv", ".deploy/bible.env", "**/*.sqlite3*", "**/secret_key"):
        assert name in left_out, name


# --- keys and files --------------------------------------------------------------------------------------------------


def start(**said: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name not in ("SECRET_KEY", "DATABASE_URL")}
    return subprocess.run(
        [sys.executable, "-c", "import bible.settings"],
        cwd=ROOT,
        env=environment | said,
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize(
    "key",
    [
        example()["SECRET_KEY"],
        "python3 -c 'import secrets; print(secrets.token_urlsafe(64))' makes one",
        "change-me-change-me-change-me-change-me-change-me",
        "CHANGE-ME-to-a-long-random-text-of-letters-and-figures",
        "django-insecure-0123456789abcdefghijklmnopqrstuvwxyz",
        "short",
    ],
)
def test_a_secret_of_an_example_starts_nothing(key: str, tmp_path: Path) -> None:
    ran = start(SECRET_KEY=key, BIBLE_PRODUCTION="1", BIBLE_DATA=str(tmp_path / "data"))
    assert ran.returncode != 0
    assert "SECRET_KEY" in ran.stderr.splitlines()[-1]


def test_data_are_for_their_owner_from_the_first_byte(tmp_path: Path) -> None:
    data = tmp_path / "data"
    assert start(BIBLE_DATA=str(data)).returncode == 0
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (data, *data.iterdir())}
    assert (modes["data"], modes["secret_key"], modes["bible.sqlite3"]) == (0o700, 0o600, 0o600)
    key = (data / "secret_key").read_text()
    assert start(BIBLE_DATA=str(data)).returncode == 0
    assert (data / "secret_key").read_text() == key


# --- private pictures, in a browser's cache --------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_private_picture_is_kept_and_asked_about_each_time(series: Any, lead: Any) -> None:
    guide = make_guide(make_issue(series), by=lead)
    client = client_of(lead)
    for name in ("screen", "thumb", "original"):
        path = reverse("picture", args=[series.slug, guide.pk, name])
        first = client.get(path)
        assert first["Cache-Control"] == "private, no-cache"
        again = client.get(path, headers={"If-None-Match": first["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert Client().get(path, headers={"If-None-Match": first["ETag"]}).status_code == 302, "signed out"


@pytest.mark.django_db
def test_signing_out_throws_away_what_the_browser_keeps(lead: Any) -> None:
    """The cache and nothing else: storage holds what the desk has not sent yet (W3C Clear Site Data, 3.1)."""
    client = client_of(lead)
    assert client.post(reverse("logout"))["Clear-Site-Data"] == '"cache"'
    assert "Clear-Site-Data" not in client.get(reverse("login"))
