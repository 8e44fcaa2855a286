"""People at work, for locust; ``bench_load.py`` starts it and says in ``BIBLE_LOAD`` who they are and what is there."""

from __future__ import annotations

import itertools
import json
import os
import random
import re
import uuid
from pathlib import Path
from typing import Any

from locust import HttpUser, between, task

from tests.serving import said_in_front

LOAD: dict[str, Any] = json.loads(Path(os.environ["BIBLE_LOAD"]).read_text())
SAVED = Path(LOAD["saved"])
NUMBERS = itertools.count()
OK = 200
"""A redirect to the sign-in is no answer to somebody who is signed in."""
DRAWN = re.compile('data-drawn="([0-9a-f]+)"')
"""What a desk has drawn: the page says so, and each answer to a mark says it anew."""


class Colourist(HttpUser):
    """Does something about every two seconds: marks, opens the next page, looks a code up, sees what is flagged.

    Two seconds are brisk: an experienced hand places a mark in about five. Nobody keeps time with the others: paced
    evenly, all who came in one second would ask in the same instant for the whole minute.
    """

    wait_time = between(1, 3)

    def on_start(self) -> None:
        number = next(NUMBERS)
        self.random = random.Random(number)
        person = LOAD["people"][number % len(LOAD["people"])]
        self.client.headers.update(said_in_front(*person))
        self.base = LOAD["path"]
        self.guides: list[int] = LOAD["guides"]

        self._open_guide()

    def _open_guide(self) -> None:
        self.guide = self.random.choice(self.guides)
        self.drawn = self._shown(self._get(f"guides/{self.guide}/", "guide opened"))

    def _shown(self, text: str) -> str:
        found = DRAWN.search(text)
        return found[1] if found else ""

    def _get(self, path: str, name: str, target: str = "", **asked: str) -> str:
        headers = {"HX-Request": "true", "HX-Target": target} if target else {}
        address = self.base + path
        with self.client.get(
            address, name=name, params=asked, headers=headers, allow_redirects=False, catch_response=True
        ) as answer:
            if answer.status_code != OK:
                answer.failure(f"answered {answer.status_code}")
            return answer.text or ""

    @task(8)
    def mark(self) -> None:
        _, part = self.random.choice(LOAD["parts"])
        x, y = round(self.random.random(), 9), round(self.random.random(), 9)
        said = {"x": x, "y": y, "written": self.random.choice(LOAD["codes"]), "role": "base"}
        said |= {"part": part, "key": str(uuid.uuid4())}
        headers = {"HX-Request": "true", "HX-Target": "panel", "Desk-Drawn": self.drawn}
        address = f"{self.base}guides/{self.guide}/new-mark"
        with self.client.post(
            address, name="mark placed", data=said, headers=headers, allow_redirects=False, catch_response=True
        ) as answer:
            if answer.status_code != OK:
                answer.failure(f"answered {answer.status_code}")
                return
            self.drawn = self._shown(answer.text or "")
        with SAVED.open("a") as file:
            file.write(f"{self.guide} {x} {y}\n")

    @task(3)
    def open_a_page(self) -> None:
        self._open_guide()

    @task(6)
    def type_a_part(self) -> None:
        subject, _ = self.random.choice(LOAD["parts"])
        self._get("parts/", "part typed", target="parts", part=f"{subject} pa")

    @task(4)
    def look_up(self) -> None:
        subject, _ = self.random.choice(LOAD["parts"])
        self._get("look-up/", "looked up", target="found", q=subject)

    @task(1)
    def look_round(self) -> None:
        path, name = self.random.choice(LOAD["pages"])
        self._get(path, name)
