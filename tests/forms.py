"""A page's forms as a person meets them: what they already say is sent along, one changes some of it and presses a button.

What a form sends follows the HTML standard, sections “constructing the entry list” and “implicit submission”.
A test that fills a form in this way cannot send what the page does not offer: an unknown field, a choice that is not
in the select, or a button that is not there is an error of the test.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Self
from urllib.parse import urljoin

from django.test import Client
from lxml import html

Entries = list[tuple[str, str]]

NEVER_SENT = {"submit", "image", "button", "reset", "file"}
"""Types of inputs that say nothing of their own: a button only when it is pressed, a file only when one is chosen."""


BLOCKS = (
    "p",
    "div",
    "li",
    "dt",
    "dd",
    "th",
    "td",
    "h1",
    "h2",
    "h3",
    "label",
    "option",
    "summary",
    "legend",
    "caption",
)


class NoSuchThing(AssertionError):
    """A person looking at the page would not find this."""


@dataclass(frozen=True)
class PageForm:
    """One form of a page, with what it would send now."""

    element: html.FormElement
    address: str
    entries: tuple[tuple[str, str], ...]
    files: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def read(cls, element: html.FormElement, page: str) -> Self:
        """A form as it stands on the page of this address."""
        address = urljoin(page, element.get("action") or page)
        return cls(element, address, tuple(_entries(element)))

    @property
    def method(self) -> str:
        return (self.element.get("method") or "get").lower()

    @property
    def buttons(self) -> list[html.HtmlElement]:
        """What submits it, in the order of the page: Enter presses the first."""
        return [control for control in _controls(self.element) if _submits(control) and not _disabled(control)]

    def value(self, name: str) -> str | None:
        """What it would send under a name now; None where it would send nothing."""
        return next((value for told, value in self.entries if told == name), None)

    def choices(self, name: str) -> list[str]:
        """The values that a select, or a group of radio buttons or checkboxes, offers."""
        found = []
        for control in self._named(name):
            if control.tag == "select":
                found += [_option(option) for option in control.iter("option") if not _disabled(option)]
            elif control.get("type") in {"radio", "checkbox"}:
                found.append(control.get("value", "on"))
        return found

    def fill(self, **answers: str | list[str] | None) -> Self:
        """The form with other answers in fields that a person can change; None empties or unticks one.

        Raises:
            NoSuchThing: no such field, one that is hidden or read-only, or a choice that is not offered.
        """
        entries = list(self.entries)
        for name, answer in answers.items():
            self._refuse_hidden(name)
            said = [] if answer is None else [answer] if isinstance(answer, str) else answer
            offered = self.choices(name)
            if offered and not set(said) <= set(offered):
                raise NoSuchThing(f"“{name}” offers {offered}, not {said}")
            if not offered and not said:
                said = [""]
            at = next((place for place, (told, _) in enumerate(entries) if told == name), len(entries))
            entries = [entry for entry in entries if entry[0] != name]
            entries[at:at] = [(name, value) for value in said]
        return replace(self, entries=tuple(entries))

    def attach(self, **files: Any) -> Self:
        """The form with files chosen in its file fields."""
        for name in files:
            if not any(control.get("type") == "file" for control in self._named(name)):
                raise NoSuchThing(f"no file is asked for as “{name}”")
        return replace(self, files=self.files | files)

    def button(self, words: str | None = None) -> html.HtmlElement | None:
        """The button with these words on it; without words the one that Enter presses, None where there is none.

        Raises:
            NoSuchThing: no button says so.
        """
        if words is None:
            return next(iter(self.buttons), None)
        for button in self.buttons:
            if words in (_label(button), button.get("aria-label")):
                return button
        raise NoSuchThing(f"no button says “{words}”, only {[_label(button) for button in self.buttons]}")

    def press(self, client: Client, words: str | None = None, *, follow: bool = False, **headers: Any) -> Any:
        """Submit it by the button with these words, or by Enter; the answer of the test client."""
        button = self.button(words)
        entries, address, method = list(self.entries), self.address, self.method
        if button is not None:
            if button.get("name"):
                entries.append((button.get("name"), button.get("value", "")))
            address = urljoin(address, button.get("formaction") or address)
            method = (button.get("formmethod") or method).lower()
        told: dict[str, list[Any]] = {}
        for name, value in entries:
            told.setdefault(name, []).append(value)
        if method == "get":
            return client.get(address.split("?")[0], told, follow=follow, **headers)
        return client.post(address, told | self.files, follow=follow, **headers)

    def _named(self, name: str) -> list[html.HtmlElement]:
        return [control for control in _controls(self.element) if control.get("name") == name]

    def _refuse_hidden(self, name: str) -> None:
        for control in self._named(name):
            if control.get("type") != "hidden" and not _disabled(control) and control.get("readonly") is None:
                return
        names = sorted({control.get("name") or "" for control in _controls(self.element)} - {""})
        raise NoSuchThing(f"nobody can change “{name}” in this form; its fields: {names}")


def forms_of(response: Any) -> list[PageForm]:
    """Every form of a page that the test client was answered with, whatever its status."""
    page = html.fromstring(response.content.decode())
    address = _address_of(response)
    return [PageForm.read(element, address) for element in page.iter("form")]


def form_of(response: Any, *, has: str = "", says: str = "", action: str = "") -> PageForm:
    """The first form of a page with a field of this name, a button with these words, or this end of its address.

    Raises:
        NoSuchThing: no form is like that.
    """
    for form in forms_of(response):
        fits_field = not has or bool(form._named(has))
        fits_button = not says or says in [_label(button) for button in form.buttons]
        if fits_field and fits_button and form.address.split("?")[0].endswith(action):
            return form
    raise NoSuchThing(f"no form with field “{has}”, button “{says}”, address …{action}")


def _seen(link: Any, words: str) -> str:
    """What is read on the screen of a link that begins with the words: what says only to whom it cannot be seen which
    of several it is, is left out."""
    if not _text(link).startswith(words):
        return ""
    link = copy.deepcopy(link)
    for unseen in link.xpath(".//*[@class='unseen']"):
        unseen.drop_tree()
    return _text(link)


def link_of(response: Any, words: str) -> str:
    """Where the first link with these words leads.

    Raises:
        NoSuchThing: no link says so.
    """
    page = html.fromstring(response.content.decode())
    for link in page.iter("a"):
        if link.get("href") and words in (_text(link), link.get("aria-label"), _seen(link, words)):
            return urljoin(_address_of(response), link.get("href"))
    raise NoSuchThing(f"no link says “{words}”")


def text_of(response: Any) -> str:
    """What a page says, its runs of white space made one; what stands in cells and paragraphs is kept apart."""
    page = html.fromstring(response.content.decode())
    for silent in page.xpath("//script | //style | //template"):
        silent.drop_tree()
    for block in page.iter(*BLOCKS):
        block.text, block.tail = f" {block.text or ''}", f" {block.tail or ''}"
    return _text(page)


def _address_of(response: Any) -> str:
    """Path and question of the page in hand, redirects followed."""
    return response.request["PATH_INFO"] + (f"?{query}" if (query := response.request["QUERY_STRING"]) else "")


def _controls(form: html.FormElement) -> Iterator[html.HtmlElement]:
    """The form's own controls and those elsewhere on the page that name it, in the order of the page."""
    for control in form.getroottree().getroot().iter("input", "select", "textarea", "button"):
        owner = control.get("form")
        if (owner and owner == form.get("id")) or (owner is None and form in control.iterancestors("form")):
            yield control


def _entries(form: html.FormElement) -> Iterator[tuple[str, str]]:
    for control in _controls(form):
        name = control.get("name")
        if not name or _disabled(control) or control.tag == "button" or control.get("type") in NEVER_SENT:
            continue
        if control.tag == "select":
            yield from ((name, value) for value in _chosen(control))
        elif control.tag == "textarea":
            yield name, (control.text or "").removeprefix("\n")
        elif control.get("type") in {"checkbox", "radio"}:
            if control.get("checked") is not None:
                yield name, control.get("value", "on")
        else:
            yield name, control.get("value", "")


def _chosen(select: html.HtmlElement) -> list[str]:
    """What a select sends: one that shows a single row sends its first where none is chosen."""
    options = [option for option in select.iter("option") if not _disabled(option)]
    chosen = [_option(option) for option in options if option.get("selected") is not None]
    if select.get("multiple") is not None:
        return chosen
    return chosen[-1:] or [_option(option) for option in options[:1]]


def _option(option: html.HtmlElement) -> str:
    return option.get("value") if option.get("value") is not None else _text(option)


def _disabled(control: html.HtmlElement) -> bool:
    """Disabled itself or by a fieldset around it."""
    if control.get("disabled") is not None:
        return True
    return any(fieldset.get("disabled") is not None for fieldset in control.iterancestors("fieldset"))


def _submits(control: html.HtmlElement) -> bool:
    if control.tag == "button":
        return (control.get("type") or "submit").lower() == "submit"
    return control.tag == "input" and control.get("type") in {"submit", "image"}


def _label(button: html.HtmlElement) -> str:
    return _text(button) if button.tag == "button" else button.get("value", "")


def _text(element: html.HtmlElement) -> str:
    return " ".join(element.text_content().split())
