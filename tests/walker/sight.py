"""What somebody sees of a page: its links, its forms with their fields and buttons, and what is said. No address is known otherwise."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import parse_qsl, urlencode, urljoin, urlsplit
from zlib import crc32

from lxml import html

SUBMITS = ("submit", "image")
TYPED = ("text", "search", "number", "date", "password", "email", "url", "tel")
ALERT = './/*[@role="alert" or contains(concat(" ", @class, " "), " wrong ") or contains(concat(" ", @class, " "), " refusal ")]'
SAID = './/*[contains(concat(" ", @class, " "), " said ") or contains(concat(" ", @class, " "), " messages ")]'


def shape(address: str) -> str:
    """An address without what differs from row to row, for telling kinds of pages apart."""
    parts = urlsplit(address)
    path = re.sub(r"(?<=/)\d+(?=/|$|\.)|\d+-\d+-\d+-\d+", "#", parts.path)
    path = re.sub(r"^/s/[^/]+/", "/s/…/", path)
    names = sorted({name for name, _ in parse_qsl(parts.query, keep_blank_values=True)})
    return f"{path}?{'&'.join(names)}" if names else path


@dataclass(frozen=True)
class Link:
    address: str
    target: str = ""
    """The element that htmx swaps; empty for an ordinary link."""

    @property
    def shape(self) -> str:
        return shape(self.address) + (f" into #{self.target}" if self.target else "")


@dataclass(frozen=True)
class Field:
    name: str
    kind: str
    """The type of an input, or “select”, “textarea”."""
    value: str
    choices: tuple[str, ...] = ()
    checked: bool = False
    offered: tuple[str, ...] = ()
    """What its list of suggestions holds."""
    accept: str = ""
    least: str = ""
    most: str = ""
    multiple: bool = False
    required: bool = False

    @property
    def is_typed(self) -> bool:
        return self.kind in TYPED or self.kind == "textarea"


@dataclass(frozen=True)
class Button:
    name: str = ""
    value: str = ""
    words: str = ""
    action: str = ""
    main: bool = False
    disabled: bool = False


@dataclass(frozen=True)
class Form:
    page: str
    action: str
    method: str
    fields: tuple[Field, ...]
    buttons: tuple[Button, ...]
    target: str = ""
    plain: bool = True
    """Whether it works without htmx."""
    moves: int = 0
    """How often rows had changed when it was seen."""
    sum: int = 0
    """Of all words of its page."""

    @property
    def shape(self) -> str:
        return f"{self.method} {shape(self.action)} ({', '.join(sorted({one.name for one in self.fields}))})"

    @property
    def is_everywhere(self) -> bool:
        """What stands in the frame of every page."""
        return self.action.endswith(("/theme/", "/paper/", "/sign-out/"))

    @property
    def has_text(self) -> bool:
        return any(one.kind in TYPED for one in self.fields)


@dataclass
class Page:
    address: str
    status: int
    links: list[Link] = field(default_factory=list)
    forms: list[Form] = field(default_factory=list)
    alerts: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    text: str = ""
    moves: int = 0

    @property
    def sum(self) -> int:
        return crc32(self.text.encode())


THINGS = "locks|pages|marks|rows|flags|issues|subjects|costumes|parts|tints|codes|proofs|files|scenes|people|tokens|notes|pairs|faults|readings"
SLIPS = re.compile(
    rf"(?<![\d.,#-])(?<!page )(?<!issue )1 (?:{THINGS})\b|\{{[{{%].*|<?\w+ object at 0x\w+|<bound method"
)


def slips(text: str) -> list[str]:
    """What no page says: one of several, a template's own signs, an object's address."""
    return [f"“{text[max(0, found.start() - 30) : found.end() + 20]}”" for found in SLIPS.finditer(text)][:2]


def words(element: Any) -> str:
    return " ".join(element.text_content().split())


def see(address: str, status: int, text: str, moves: int = 0) -> Page:
    """Read a page or a fragment of one."""
    page = Page(address, status, moves=moves)
    if not text.strip():
        return page
    whole = html.fromstring(text if "<html" in text[:300] else f"<div>{text}</div>")
    for samples in whole.xpath("//*[@inert]"):
        samples.drop_tree()
    for script in whole.xpath("//script|//style"):
        script.drop_tree()
    page.text = words(whole)
    page.links = list(_links(whole, address))
    page.forms = [replace(form, moves=moves, sum=page.sum) for form in _forms(whole, address)]
    page.alerts = [said for one in whole.xpath(ALERT) if (said := words(one))]
    page.said = [said for one in whole.xpath(SAID) if (said := words(one))]
    page.codes = [said for one in whole.xpath('//*[contains(@class, "code")]') if 0 < len(said := words(one)) < 20]
    return page


def _links(whole: Any, address: str) -> Iterator[Link]:
    for one in whole.xpath("//a[@href]"):
        yield from _link(address, one.get("href"), "")
    for one in whole.xpath("//*[@hx-get and not(self::form)]"):
        yield from _link(address, one.get("hx-get"), _target(one))


def _link(page: str, href: str, target: str) -> Iterator[Link]:
    found = urljoin(page, href.strip())
    parts = urlsplit(found)
    if parts.netloc or parts.scheme not in ("", "http", "https") or parts.path.startswith("/static/"):
        return
    yield Link(parts._replace(fragment="").geturl(), target)


def _target(element: Any) -> str:
    return str(element.get("hx-target", "")).removeprefix("#") or str(element.get("id", "")) or "none"


def _forms(whole: Any, address: str) -> Iterator[Form]:
    for form in whole.xpath("//form"):
        if form.get("hidden") is not None:
            continue
        inside = [*form.iter("input", "select", "textarea", "button")]
        if form.get("id"):
            inside += whole.xpath("//*[@form=$name]", name=form.get("id"))
        posts = form.get("hx-post")
        yield Form(
            page=address,
            action=urljoin(address, form.get("action") or posts or form.get("hx-get") or ""),
            method="post" if form.get("method", "get").lower() == "post" or posts else "get",
            fields=tuple(found for one in inside for found in _field(whole, one)),
            buttons=tuple(_buttons(address, inside)),
            target=_target(form) if posts or form.get("hx-get") else "",
            plain=form.get("method") is not None or form.get("action") is not None,
        )


def _field(whole: Any, one: Any) -> Iterator[Field]:
    name, kind = one.get("name"), one.get("type", "text").lower() if one.tag == "input" else one.tag
    if not name or one.tag == "button" or kind in (*SUBMITS, "button", "reset") or one.get("disabled") is not None:
        return
    if kind == "select":
        options = one.xpath(".//option[not(@disabled)]")
        values = tuple(option.get("value", words(option)) for option in options)
        chosen = [option.get("value", words(option)) for option in options if option.get("selected") is not None]
        first = "" if one.get("multiple") is not None or not values else values[0]
        yield Field(name, kind, chosen[0] if chosen else first, values, multiple=one.get("multiple") is not None)
        return
    offered = whole.xpath("//datalist[@id=$name]//option", name=one.get("list", ""))
    yield Field(
        name,
        kind,
        (one.text or "").removeprefix("\n")
        if kind == "textarea"
        else one.get("value", "on" if kind in ("checkbox", "radio") else ""),
        checked=one.get("checked") is not None,
        offered=tuple(option.get("value", words(option)) for option in offered),
        accept=one.get("accept", ""),
        least=one.get("min", ""),
        most=one.get("max", ""),
        required=one.get("required") is not None,
        multiple=one.get("multiple") is not None,
    )


def _buttons(address: str, inside: list[Any]) -> Iterator[Button]:
    for one in inside:
        if one.tag == "button":
            kind = one.get("type", "submit").lower()
        else:
            kind = one.get("type", "").lower() if one.tag == "input" else ""
        if kind in SUBMITS:
            said = words(one) or one.get("aria-label", "") or one.get("value", "")
            action = urljoin(address, one.get("formaction")) if one.get("formaction") is not None else ""
            main = "main" in one.get("class", "").split()
            yield Button(
                one.get("name", ""), one.get("value", ""), said, action, main, one.get("disabled") is not None
            )


def with_query(address: str, pairs: list[tuple[str, str]]) -> str:
    """Where a form with the method GET leads."""
    return urlsplit(address)._replace(query=urlencode(pairs), fragment="").geturl()
