"""Two people at the same moment, on a database that lets two write at once: one marks, the other decides.

Both do what the pages offer: they open a form, fill it in and send it.
"""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from typing import Any

from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse

from bible.models import Issue, Lock, Part, Series
from guides.models import Guide, Mark
from tests.forms import form_of
from tests.shown import agree, fill_in

MARKING = ("rewrite", "move", "delete", "import")
DECIDING = ("lock", "end", "move an issue")
CODES = ("Y", "YR", "YR2", "YR3B2", "R", "B2", "Y3")
TABLE = "page,x,y,written,role,subject,costume,part\n"


class Both:
    """A series with pages and locked parts, somebody who marks and somebody who decides."""

    def __init__(self, series: Series, hand: User, lead: User, *, pause: float = 0.0, seed: int = 0) -> None:
        """``pause``: seconds between holding rows and what comes next, which widens every window."""
        self.series, self.pause = series, pause
        self.random = random.Random(seed)
        self.hand, self.lead = Client(), Client()
        self.hand.force_login(hand)
        self.lead.force_login(lead)
        self.outcomes: Counter[str] = Counter()

    def round(self, marking: str, deciding: str) -> None:
        """Both at once. What the database breaks off is counted as a deadlock; a refusal in words is none."""
        mark, part = self._mark(), self.random.choice(list(self._parts()))
        deeds = (self._marking(marking, mark, part), self._deciding(deciding, self._part_of(mark) or part))
        with ThreadPoolExecutor(2) as pool:
            for name, answer in zip((marking, deciding), pool.map(self._alone, deeds), strict=True):
                self.outcomes[f"{name}: {answer}"] += 1

    def _alone(self, deed: Callable[[], Any]) -> str:
        try:
            with connection.execute_wrapper(self._wait) if self.pause else nullcontext():
                return str(deed().status_code)
        except OperationalError as broken:
            return f"deadlock ({type(broken.__cause__).__name__})"
        finally:
            connection.close()

    def _wait(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        answer = execute(sql, params, many, context)
        if " FOR " in sql and ("UPDATE" in sql or "SHARE" in sql):
            time.sleep(self.pause)
        return answer

    @property
    def deadlocks(self) -> int:
        return sum(number for name, number in self.outcomes.items() if "deadlock" in name)

    def _parts(self) -> Any:
        return Part.objects.filter(costume__subject__series=self.series).order_by("pk")

    def _mark(self) -> Mark:
        marks = Mark.objects.filter(series=self.series, deleted_at=None, part__isnull=False)
        return self.random.choice(list(marks.select_related("guide").order_by("pk")))

    def _part_of(self, mark: Mark) -> Part | None:
        return self._parts().filter(pk=mark.part_id).first()

    def _at(self, name: str, pk: int) -> str:
        return reverse(name, args=[self.series.slug, pk])

    def _marking(self, marking: str, mark: Mark, part: Part) -> Callable[[], Any]:
        code = self.random.choice(CODES)
        x, y = f"{self.random.random():.3f}", f"{self.random.random():.3f}"
        return {
            "rewrite": lambda: self._rewrite(mark, part, code),
            "move": lambda: self.hand.post(self._at("move-mark", mark.pk), {"x": x, "y": y, "seen": mark.version}),
            "delete": lambda: self._delete(mark),
            "import": lambda: self._import(mark.guide, self._part_of(mark) or part, code, x, y),
        }[marking]

    def _rewrite(self, mark: Mark, part: Part, code: str) -> Any:
        page = self._at("mark", mark.pk)
        return fill_in(self.hand, page, written=code, part=part.full_name)

    def _delete(self, mark: Mark) -> Any:
        """Taken off, and brought back, so that there are as many for the next round."""
        self.hand.post(self._at("delete-mark", mark.pk))
        return self.hand.post(self._at("restore-mark", mark.pk))

    def _import(self, guide: Guide, part: Part, code: str, x: str, y: str) -> Any:
        subject, costume, name = part.names
        row = f"{guide.page},{x},{y},{code},base,{subject},{costume},{name}\n"
        file = SimpleUploadedFile("marks.csv", (TABLE + row).encode())
        looked = (
            form_of(self.hand.get(self._at("bring-marks", guide.pk)), has="file").attach(file=file).press(self.hand)
        )
        return form_of(looked, has="yes").press(self.hand)

    def _deciding(self, deciding: str, part: Part) -> Callable[[], Any]:
        issues = list(self.series.issues.order_by("position"))
        issue, behind = self.random.sample(issues, 2)
        if deciding == "move an issue":
            page = self._at("move-issue", issue.pk)
            return lambda: agree(self.lead, fill_in(self.lead, page, after=behind.number))
        if deciding == "end":
            lock, last = self._ending(part, issues)
            page = self._at("end-lock", lock.pk)
            return lambda: agree(self.lead, fill_in(self.lead, page, at_issue=last.number, reason="over"))
        code = self.random.choice(CODES)
        return lambda: self._lock(part, code, issue)

    def _lock(self, part: Part, code: str, issue: Issue) -> Any:
        page = self._at("lock", part.pk)
        return agree(self.lead, fill_in(self.lead, page, code=code, from_issue=issue.number, reason="new"))

    def _ending(self, part: Part, issues: list[Issue]) -> tuple[Lock, Issue]:
        """A lock of the part and an issue in its time. Where all that stood was ended before, the lead locks first."""
        for lock in Lock.objects.of(part.pk, "base").standing().order_by("from_position"):
            end = lock.to_position
            for one in self.random.sample(issues, len(issues)):
                if one.position >= lock.from_position and (end is None or one.position < end):
                    return lock, one
        answer = self._lock(part, self.random.choice(CODES), issues[0])
        assert answer.status_code == 302, answer.content.decode()
        return self._ending(part, issues)
