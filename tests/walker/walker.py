"""Somebody who knows only what a page shows: signs in, follows links, fills forms in, presses buttons, and notices what is wrong."""

from __future__ import annotations

import random
from collections import Counter, deque
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl, urljoin, urlsplit

from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.signals import got_request_exception
from django.test import Client

from bible.models import Allowance
from tests.walker.fingers import Fingers
from tests.walker.judge import Answer, Fault, Press, judge
from tests.walker.rows import Rows
from tests.walker.sight import Button, Form, Link, Page, see, shape, slips, with_query

MOST_HOPS = 5
CLEAR_EVERY = 40
"""Requests after which the limits are cleared: this is about what pages do, not about how often."""
FORMS_A_VISIT = 3
ENOUGH = 8
"""Times a button was pressed after which it is mostly left alone."""
MEDDLES = 0.04
"""Chance that somebody writes into the address bar."""
NOT_PRESSED = ("Sign out",)
"""Pressed at the very end."""


@dataclass
class Walker:
    name: str
    password: str
    seed: int = 1
    asked: int = 0
    faults: dict[tuple[str, str, str], Fault] = field(default_factory=dict)
    pages_seen: Counter[str] = field(default_factory=Counter)
    forms_sent: Counter[tuple[str, str]] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.draw = random.Random(self.seed)
        self.fingers = Fingers(self.draw, self.password)
        self.client = Client(enforce_csrf_checks=True, raise_request_exception=False)
        self.rows = Rows()
        self.frontier: dict[str, deque[Link]] = {}
        self.shown_on: dict[Link, str] = {}
        self.steps: deque[str] = deque(maxlen=6)
        self.trace = ""
        self.working: set[str] = set()
        """Kinds of pages with something to fill in."""
        self.moves = 0
        """How often rows have changed: a page that was seen before is an old one."""

    # --- asking ---------------------------------------------------------------------------------------------------

    def _broke(self, **said: Any) -> None:
        import traceback

        lines = traceback.format_exc().strip().splitlines()
        places = [line.strip() for line in lines if line.strip().startswith("File") and "site-packages" not in line]
        here = " < ".join(place.split("/")[-1] for place in places[-3:][::-1])
        self.trace = f"{here}: {lines[-1]}"

    def ask(self, method: str, address: str, said: Any = None, target: str = "", **more: Any) -> Answer:
        """One request and whatever it redirects to, as a browser would."""
        headers = {"HX-Request": "true", "HX-Target": target} if target else {}
        headers |= more.pop("headers", {})
        hops: list[int] = []
        told: list[tuple[str, str]] = []
        cookies: set[str] = set()
        while True:
            self.asked += 1
            if self.asked % CLEAR_EVERY == 0:
                Allowance.objects.all().delete()
            self.trace = ""
            response: Any = getattr(self.client, method)(address, said, headers=headers, **more)
            hops.append(response.status_code)
            cookies |= response.cookies.keys() - {"sessionid", "csrftoken", "messages"}
            if response.status_code >= 500:
                self.fault("broken", f"{method.upper()} {shape(address)}", self.trace or str(response.status_code))
            text = self._text(response)
            onward = response.headers.get("HX-Redirect") or response.headers.get("Location")
            if not onward or len(hops) > MOST_HOPS:
                break
            method, said, more, headers, address = "get", None, {}, {}, urljoin(address, onward)
        if len(hops) > MOST_HOPS:
            self.fault("circle", shape(address), f"still redirected after {MOST_HOPS} hops")
        told += [(message.level_tag, str(message)) for message in get_messages(response.wsgi_request)]
        page = see(address, response.status_code, text, self.moves)
        for words in slips(page.text):
            self.fault("slip of the pen", shape(address), words)
        self._remember(page)
        is_file = response.headers.get("Content-Disposition", "").startswith("attachment")
        return Answer(page, hops, told, bool(cookies), is_file)

    def _text(self, response: Any) -> str:
        if response.streaming:
            for _ in response.streaming_content:
                pass
            return ""
        is_page = response.headers.get("Content-Type", "").startswith("text/html")
        return response.content.decode("utf-8", "replace") if is_page else ""

    def _remember(self, page: Page) -> None:
        self.fingers.codes = [*self.fingers.codes, *page.codes][-200:]
        for link in page.links:
            if link not in self.shown_on:
                self.shown_on[link] = page.address
                self.frontier.setdefault(link.shape, deque(maxlen=400)).append(link)

    def fault(self, kind: str, where: str, words: str) -> None:
        found = Fault(kind, where, words, tuple(self.steps))
        self.faults.setdefault(found.key, found)

    # --- going ----------------------------------------------------------------------------------------------------

    def sign_in(self) -> Answer:
        """Through the form that whoever is nobody is sent to; to the first page for whoever is somebody."""
        answer = self.ask("get", "/")
        form = next((one for one in answer.page.forms if any(each.kind == "password" for each in one.fields)), None)
        if form is None:
            return answer
        said = {one.name: one.value for one in form.fields} | {"username": self.name, "password": self.password}
        answer = self.ask("post", form.action, said)
        assert not answer.page.alerts, answer.page.alerts
        return answer

    def walk(self, requests: int) -> None:
        """Go on until so many requests were sent."""
        got_request_exception.connect(self._broke)
        try:
            answer = self.sign_in()
            while self.asked < requests:
                self._work_at(answer.page)
                answer = self._go_on()
                if answer.page.status in (401, 403) or "/sign-in/" in answer.page.address:
                    answer = self.sign_in()
        finally:
            got_request_exception.disconnect(self._broke)

    def _go_on(self) -> Answer:
        """Follow a link of the kind that was followed least."""
        if not self.frontier:
            return self.sign_in()
        kind = self._least_walked()
        links = self.frontier[kind]
        self.pages_seen[kind] += 1
        link = links[self.draw.randrange(len(links))]
        address = link.address
        if self.draw.random() < MEDDLES and (pairs := parse_qsl(urlsplit(address).query, keep_blank_values=True)):
            address = with_query(address, self.fingers.meddle(pairs))
            self.steps.append(f"wrote the address {address!r}")
            return self.ask("get", address, target=link.target)
        self.steps.append(f"followed {address}" + (f" into #{link.target}" if link.target else ""))
        answer = self.ask("get", address, target=link.target)
        if any(form.method == "post" and form.fields[1:] for form in answer.page.forms if not form.is_everywhere):
            self.working.add(kind)
        if answer.page.status in (403, 404, 405):
            self._dead(link, answer)
        return answer

    def _least_walked(self) -> str:
        """A kind of page that is new; then mostly one on which something can be done, the least often seen first."""
        kinds = [kind for kind in self.frontier if not self.pages_seen[kind]]
        if not kinds:
            kinds = [kind for kind in self.frontier if kind in self.working] if self.draw.random() < 0.7 else []
            kinds = kinds or list(self.frontier)
            least = min(self.pages_seen[kind] for kind in kinds)
            kinds = [kind for kind in kinds if self.pages_seen[kind] <= least + 1]
        return self.draw.choice(sorted(kinds))

    def _dead(self, link: Link, answer: Answer) -> None:
        """A link that led nowhere: it may have gone since it was seen; where it is shown still, that is a fault."""
        links = self.frontier[link.shape]
        if link in links:
            links.remove(link)
        if not links:
            del self.frontier[link.shape]
        source = self.ask("get", self.shown_on[link])
        if link in source.page.links and source.page.status < 400:
            self.fault("dead link", link.shape, f"{answer.page.status}, shown on {shape(source.page.address)}")

    def _work_at(self, page: Page) -> None:
        """Send some of the forms of a page, the ones that were sent least."""
        for _ in range(FORMS_A_VISIT):
            if not (pressable := list(self._pressable(page))):
                return
            self.draw.shuffle(pressable)
            form, way, button = min(pressable, key=self._worn)
            if self._worn((form, way, button)) > ENOUGH and self.draw.random() < 0.9:
                return
            self.forms_sent[form.shape, way] += 1
            answer = self.send(form, way, button)
            if answer.page.status == 422 and self.draw.random() < 0.6:
                answer = self._confirm(form, answer)
            if len(answer.hops) > 1 and self.draw.random() < 0.5:
                page = answer.page
            elif page.moves != self.moves and self.draw.random() < 0.8:
                page = self.ask("get", page.address).page

    def _worn(self, one: tuple[Form, str, Button]) -> int:
        """How often this was done; what every page has, and what only asks, counts for more."""
        form, way, _ = one
        sent = self.forms_sent[form.shape, way]
        return sent * 3 + 6 * form.is_everywhere if form.is_everywhere or form.method == "get" else sent

    def _pressable(self, page: Page) -> list[tuple[Form, str, Button]]:
        found = []
        for form in page.forms:
            buttons = [one for one in form.buttons if not one.disabled and one.words not in NOT_PRESSED]
            found += [(form, f"button {one.words}", one) for one in buttons]
            if form.has_text and form.buttons and not form.buttons[0].disabled:
                found.append((form, "Enter", form.buttons[0]))
            if form.has_text and not form.buttons:
                found.append((form, "Enter", Button()))
        return found

    def _confirm(self, form: Form, answer: Answer) -> Answer:
        """What was refused or shown is sent again as it stands, as somebody who says yes."""
        again = [one for one in answer.page.forms if one.action == form.action and one.method == "post"]
        if not again or not again[0].buttons:
            return answer
        main = [one for one in again[0].buttons if one.main] or list(again[0].buttons)
        return self.send(again[0], "as it stands", main[0], as_it_stands=True)

    def send(self, form: Form, way: str, button: Button, *, as_it_stands: bool = False) -> Answer:
        """Fill a form in, press, and judge the answer."""
        if as_it_stands:
            sent = [
                (one.name, one.value) for one in form.fields if one.kind not in ("checkbox", "radio") or one.checked
            ]
            files: list[tuple[str, str, bytes]] = []
            typed: dict[str, str] = {}
        else:
            sent, files, typed = self.fingers.fill(form)
        meddled = not as_it_stands and self.draw.random() < MEDDLES
        if meddled:
            sent = self.fingers.meddle([pair for pair in sent if pair[0] != "csrfmiddlewaretoken"]) + [
                pair for pair in sent if pair[0] == "csrfmiddlewaretoken"
            ]
        if button.name:
            sent.append((button.name, button.value))
        action = button.action or form.action
        shown = ", ".join(f"{name}={value[:60]!r}" for name, value in sent if name != "csrfmiddlewaretoken")
        self.steps.append(f"{form.method} {action} by {way} “{button.words}”: {shown}")
        target = form.target if form.target and (not form.plain or self.draw.random() < 0.5) else ""
        if form.method == "get":
            return self.ask("get", with_query(action, sent), target=target)
        said: dict[str, list[Any]] = {}
        for name, value in sent:
            said.setdefault(name, []).append(value)
        for name, called, data in files:
            said.setdefault(name, []).append(SimpleUploadedFile(called, data))
        with self.rows.watched():
            answer = self.ask("post", action, said, target=target)
        changed, was_old = self.rows.changed(), form.moves != self.moves
        self.moves += bool(changed)
        if not meddled:
            for kind, where, words in judge(Press(form, way, button, typed, bool(files), was_old), answer, self.rows):
                self.fault(kind, where, words)
        return answer
