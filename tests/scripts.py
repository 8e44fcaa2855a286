"""What the tests of stored and reflected script share: a text that breaks out wherever it is not escaped, and a
reader that finds it where it did."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

SCHEMES = ("javascript:", "data:text", "vbscript:")
LEADS_SOMEWHERE = {"href", "src", "action", "formaction", "hx-get", "hx-post", "xlink:href", "srcdoc", "data"}


def payload(number: int = 0) -> str:
    """Closes an attribute in either quotes, a tag and a script; then begins an element that only it can have made.
    Short enough for the shortest of fields; the number tells which of them it came from."""
    return f"\"'></script><xss{number} onxss=1>"


@dataclass
class Form:
    action: str
    method: str
    fields: dict[str, str] = field(default_factory=dict)
    files: set[str] = field(default_factory=set)


class Reader(HTMLParser):
    """Elements and attributes as a browser's tokeniser makes them; ``broken`` says what nobody of us wrote."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.broken: list[str] = []
        self.forms: list[Form] = []
        self.shown = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag.startswith("xss"):
            self.broken.append(f"<{tag}>")
        for name, value in attrs:
            if name.startswith("on"):
                self.broken.append(f"<{tag} {name}>")
            if name in LEADS_SOMEWHERE and (value or "").strip().lower().startswith(SCHEMES):
                self.broken.append(f"<{tag} {name}={value}>")
            self.shown += f" {value}"
        said = {name: text or "" for name, text in attrs}
        if tag == "form":
            self.forms.append(Form(said.get("action", ""), said.get("method", "get").lower()))
        elif tag in ("input", "select", "textarea", "button") and self.forms and (called := said.get("name")):
            kept = self.forms[-1]
            if said.get("type") == "file":
                kept.files.add(called)
            else:
                kept.fields[called] = said.get("value", "")

    def handle_data(self, data: str) -> None:
        self.shown += data


def text_of(response: Any) -> str:
    body = b"".join(response.streaming_content) if response.streaming else response.content
    return bytes(body).decode("utf-8", "replace")
