"""People who go on working while things break: whoever gets no answer asks again, as the desk in the browser does.

Each keeps what the server said is saved; ``lost`` then looks for it in the database.
"""

from __future__ import annotations

import hashlib
import http.client
import io
import json
import random
import threading
import time
import uuid
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

import lxml.html
import numpy as np
from PIL import Image

from tests.serving import Server, said_in_front, signed_in

PATIENCE = 150.0
"""Seconds of asking again before somebody gives up: a file whose look was broken off is free after 90."""


@dataclass(frozen=True)
class Answer:
    status: int
    text: str

    @property
    def told(self) -> dict[str, Any]:
        return dict(json.loads(self.text))


class Lost(Exception):
    """No answer, or one that says that there is none now."""


@dataclass
class Person:
    """Somebody who is signed in. ``stop`` ends their work after the deed they are at."""

    server: Server
    username: str
    stop: threading.Event
    refused: list[str] = field(default_factory=list)
    asked_again: int = 0

    def __post_init__(self) -> None:
        self.headers = said_in_front(*signed_in(self.username))
        self.random = random.SystemRandom()  # nobody's places come twice, whoever works again

    def ask(self, method: str, path: str, said: dict[str, Any] | bytes = b"", **headers: str) -> Answer:
        """One request. Raises ``Lost`` where the connection breaks or the server says that it can't now."""
        body, sent = b"", self.headers | {"HX-Request": "true", "HX-Target": "panel"} | headers
        if isinstance(said, dict):
            body = urlencode(said).encode()
            sent["Content-Type"] = "application/x-www-form-urlencoded"
        else:
            body = said
        line = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=30)
        try:
            line.request(method, path, body, sent)
            answer = line.getresponse()
            text = answer.read().decode()
        except (OSError, http.client.HTTPException) as broken:
            raise Lost from broken
        finally:
            line.close()
        if answer.status >= 500 or answer.status == 429:  # too much of one person at once: there is room in a moment
            raise Lost(str(answer.status))
        return Answer(answer.status, text)

    def insist(self, method: str, path: str, said: dict[str, Any] | bytes = b"", **headers: str) -> Answer | None:
        """Ask until there is an answer; None when patience is at its end."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            try:
                return self.ask(method, path, said, **headers)
            except Lost:
                self.asked_again += 1
                time.sleep(0.2)
        return None


class Marker(Person):
    """Places marks one after the other."""

    guides: list[int]
    base: str

    def work(self) -> None:
        self.saved: list[tuple[int, float, float]] = []
        while not self.stop.is_set():
            guide, x, y = self.random.choice(self.guides), self.random.random(), self.random.random()
            said = {"x": x, "y": y, "written": "B2", "role": "base", "part": "", "key": str(uuid.uuid4())}
            answer = self.insist("POST", f"{self.base}guides/{guide}/new-mark", said)
            if answer and answer.status == 200:
                self.saved.append((guide, x, y))
            else:
                self.refused.append(f"mark: {answer}")

    def lost(self) -> list[str]:
        from guides.models import Mark

        places = Mark.objects.filter(created_by__username=self.username).values_list("guide_id", "x", "y")
        there = list(places)
        return [
            f"mark {place} is there {there.count(place)} times" for place in self.saved if there.count(place) != 1
        ]


class Sender(Person):
    """Brings page after page into an issue, in pieces."""

    issue: int
    base: str
    piece = 60_000

    def work(self) -> None:
        self.saved: list[tuple[str, str]] = []
        while not self.stop.is_set():
            data = self._scan()
            page, sha = f"{self.username} {self.random.randrange(10**9)}", hashlib.sha256(data).hexdigest()
            if self._send(page, data, sha):
                self.saved.append((page, sha))

    def _scan(self) -> bytes:
        noise = np.random.default_rng().integers(0, 255, (60, 40, 3), dtype=np.uint8)
        out = io.BytesIO()
        Image.fromarray(noise).resize((400, 600)).save(out, "PNG")
        return out.getvalue()

    def _send(self, page: str, data: bytes, sha: str) -> bool:
        facts = {"filename": f"{page}.png", "byte_size": len(data), "page": page, "revision": 1, "sha256": sha}
        begun = self.insist("POST", f"{self.base}issues/{self.issue}/arrivals", facts)
        if begun is None or begun.status not in (200, 201):
            self.refused.append(f"begin: {begun}")
            return False
        url, at = begun.told["url"], begun.told["offset"]
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            if at < len(data):
                end = min(at + self.piece, len(data))
                place = {"Content-Range": f"bytes {at}-{end - 1}/{len(data)}"}
                answer = self.insist("PATCH", url, data[at:end], **place)
            else:
                answer = self.insist("POST", url)
            if answer is None:
                break
            if answer.told.get("state") == "stored":
                return True
            if answer.told.get("state") in ("asks", "refused"):
                self.refused.append(f"{page}: {answer.text}")
                return False
            at = answer.told.get("offset", at)
            time.sleep(0.5 if answer.status == 202 else 0)
        self.refused.append(f"{page}: no end")
        return False

    def lost(self) -> list[str]:
        from guides.models import Guide

        trouble = []
        for page, sha in self.saved:
            found = list(Guide.objects.filter(issue_id=self.issue, page=page))
            if len(found) != 1:
                trouble.append(f"page {page} is there {len(found)} times")
                continue
            with found[0].original.open() as file:
                if hashlib.sha256(file.read()).hexdigest() != sha:
                    trouble.append(f"page {page} is not what was sent")
        return trouble


class Locker(Person):
    """A lead who locks the same parts over and over, each time having seen what holds."""

    parts: list[int]
    base: str
    codes = ("B2", "YR3B2", "R", "Y2R2")

    def work(self) -> None:
        self.saved: list[tuple[int, str]] = []
        for number in range(10_000):
            if self.stop.is_set():
                return
            part, reason = self.random.choice(self.parts), f"{self.username} {number}"
            if self.lock(part, reason):
                self.saved.append((part, reason))

    def lock(self, part: int, reason: str, seen: int | None = None) -> bool:
        """Whether the server said that it is locked; a lost answer is looked for in the history of the part."""
        address = f"{self.base}parts/{part}/lock"
        try:
            found = self._seen(address) if seen is None else seen
            said = {"code": self.random.choice(self.codes), "role": "base", "reason": reason, "seen": found}
            answer = self.ask("POST", address, said)
        except Lost:
            self.asked_again += 1
            return False
        if answer.status not in (302, 422):
            self.refused.append(f"lock: {answer.status}")
        return answer.status == 302

    def _seen(self, address: str) -> str:
        """The newest decision that the page shows."""
        page = lxml.html.fromstring(self.ask("GET", address).text)
        return str(page.xpath("string(//input[@name='seen']/@value)"))

    def lost(self) -> list[str]:
        from bible.models import Lock

        there = set(Lock.objects.filter(part__in=self.parts).values_list("part", "reason"))
        return [f"lock {one}" for one in self.saved if one not in there]
