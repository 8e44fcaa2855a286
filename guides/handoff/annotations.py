"""Marks as W3C Web Annotations (Web Annotation Data Model, Recommendation of 23 February 2017), out and back in.

Each mark is an annotation: its target is a place on the guide's picture, said with an SVG selector (a circle, or an
arrow's line for a gradient); its bodies are the code as a tag, the part by name, and the mark as it is stored.

Notes for pages are in the pack and not among the annotations: a note has no place on a picture, and an import would
have to guess its run.
"""

from __future__ import annotations

import json
import re
from typing import Any
from urllib.parse import urljoin
from xml.etree import ElementTree

from bible.models.naming import name_of
from guides.handoff.queries import CodeLine, HandOff
from guides.handoff.services import FileMark, Trouble, checked_row
from guides.models import Guide, Mark

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
MEDIA_TYPE = f'application/ld+json; profile="{CONTEXT}"'
SVG = "http://www.w3.org/2000/svg"

RADIUS = 1 / 90
"""Of a mark's circle, as a share of the page's longer side: as large as the marks are drawn on the guide."""

SAME_PLACE = 1e-6
"""As a share of the page. A selector nearer than this to the stored place is that place: its pixels are rounded."""


def collection(hand_off: HandOff, base: str) -> dict[str, Any]:
    """All marks as one AnnotationCollection with its one page.

    Args:
        hand_off: an issue, or one page.
        base: address of the series ("https://…/s/name/"), the beginning of every IRI.
    """
    here = urljoin(base, hand_off.get_absolute_url("jsonld"))
    items = [_annotation(line, base) for page in hand_off.pages for line in page.lines]
    return {
        "@context": CONTEXT,
        "id": here,
        "type": "AnnotationCollection",
        "label": f"{hand_off.series.title}, issue {hand_off.issue.number}: marks",
        "total": len(items),
        "generated": hand_off.made_at.isoformat(timespec="seconds"),
        "first": {
            "id": f"{here}#page",
            "type": "AnnotationPage",
            "partOf": here,
            "startIndex": 0,
            "items": items,
        },
    }


def _annotation(line: CodeLine, base: str) -> dict[str, Any]:
    mark = line.mark
    bodies: list[dict[str, str]] = []
    if mark.written:
        bodies.append(_body("tagging", mark.both_written))
    bodies.append(_body("identifying", line.belongs_to))
    bodies.append(_body("describing", json.dumps(_stored(line), ensure_ascii=False), "application/json"))
    if line.is_open:
        bodies.append(_body("moderating", line.state))
    bodies += [_body("commenting", note.text) for note in line.notes]
    return {
        "id": f"{base}marks/{mark.pk}/",
        "type": "Annotation",
        "motivation": "tagging",
        **_maker(mark),
        "created": mark.created_at.isoformat(timespec="seconds"),
        "modified": mark.changed_at.isoformat(timespec="seconds"),
        "body": bodies,
        "target": {
            "type": "SpecificResource",
            "source": {"id": f"{base}guides/{mark.guide_id}/original", "type": "Image"},
            "selector": {"type": "SvgSelector", "value": _svg(line)},
        },
    }


def _maker(mark: Mark) -> dict[str, Any]:
    """Who placed it (Web Annotation Data Model, 3.3.1); nothing where nobody is on record."""
    return {"creator": {"type": "Person", "name": name_of(mark.created_by)}} if mark.created_by else {}


def _body(purpose: str, value: str, media_type: str = "text/plain") -> dict[str, str]:
    return {"type": "TextualBody", "purpose": purpose, "value": value, "format": media_type}


def _stored(line: CodeLine) -> dict[str, Any]:
    """The mark itself, as ``checked_row`` takes it back; floats read back exactly."""
    mark, part = line.mark, line.mark.part
    row: dict[str, Any] = {
        "page": mark.guide.page,
        "number": mark.number,
        "x": mark.x,
        "y": mark.y,
        "written": mark.written,
        "role": mark.role,
    }
    if part:
        row |= dict(zip(("subject", "costume", "part"), part.names, strict=True))
    if mark.arrow_end:
        row |= {"to_written": mark.to_written, "to_x": mark.to_x, "to_y": mark.to_y}
    return row


def _svg(line: CodeLine) -> str:
    """The place in pixels of the picture."""
    mark, guide = line.mark, line.mark.guide
    x, y = mark.x * guide.width, mark.y * guide.height
    if mark.arrow_end:
        to_x, to_y = mark.arrow_end[0] * guide.width, mark.arrow_end[1] * guide.height
        shape = f'<line x1="{x!r}" y1="{y!r}" x2="{to_x!r}" y2="{to_y!r}"/>'
    else:
        shape = f'<circle cx="{x!r}" cy="{y!r}" r="{RADIUS * max(guide.width, guide.height):.1f}"/>'
    return f'<svg xmlns="{SVG}" viewBox="0 0 {guide.width} {guide.height}">{shape}</svg>'


def read_annotations(text: str, guide: Guide) -> tuple[list[FileMark], list[Trouble]]:
    """Marks from an annotation, a page or a collection of them.

    Ours come back as they were. Anybody else's are understood as far as the standard goes: the place from an SVG
    selector (circle, line, rectangle) or a media fragment (``xywh``, pixels or percent), the code from the
    ``tagging`` body or a plain ``bodyValue``. Where an annotation was moved since, its selector counts.
    """
    try:
        document = json.loads(text)
    except ValueError as error:
        return [], [Trouble("the file", f"this is not JSON ({error})")]
    except RecursionError:
        return [], [Trouble("the file", "this is nested too deeply")]
    rows: list[FileMark] = []
    troubles: list[Trouble] = []
    items = _items(document)
    if not items:
        troubles.append(Trouble("the file", "there is no annotation in it"))
    for at, item in enumerate(items, 1):
        where = f"annotation {at}"
        try:
            checked = checked_row(_told(item, guide), where, guide.series.roles)
        except (ValueError, TypeError, KeyError, AttributeError, ElementTree.ParseError) as error:
            checked = Trouble(where, str(error) or "it cannot be understood")
        if isinstance(checked, Trouble):
            troubles.append(checked)
        else:
            rows.append(checked)
    return rows, troubles


def _items(document: Any) -> list[Any]:
    if isinstance(document, list):
        return [item for inner in document for item in _items(inner)]
    if not isinstance(document, dict):
        return []
    types = _listed(document.get("type"))
    if "AnnotationCollection" in types:
        return _items(document.get("first"))
    if "AnnotationPage" in types:
        return [item for item in _listed(document.get("items")) if isinstance(item, dict)]
    return [document] if "Annotation" in types else []


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _told(item: dict[str, Any], guide: Guide) -> dict[str, Any]:
    bodies = [body for body in _listed(item.get("body")) if isinstance(body, dict)]
    row: dict[str, Any] = {}
    for body in bodies:
        if body.get("format") == "application/json" and body.get("purpose") == "describing":
            row = dict(json.loads(body["value"]))
    if not row:
        tags = [str(body.get("value", "")) for body in bodies if body.get("purpose", "tagging") == "tagging"]
        row = {"written": tags[0] if tags else str(item.get("bodyValue", ""))}
    place = _place(item, guide)
    for names, figures in ((("x", "y"), place[:2]), (("to_x", "to_y"), place[2:])):
        for name, value in zip(names, figures, strict=False):
            kept = row.get(name)
            if not isinstance(kept, (int, float)) or abs(kept - value) > SAME_PLACE:
                row[name] = value
    if len(place) == 2:
        row.pop("to_x", None), row.pop("to_y", None), row.pop("to_written", None)
    elif not row.get("to_written"):
        row.pop("to_x"), row.pop("to_y")
    return row


def _place(item: dict[str, Any], guide: Guide) -> tuple[float, ...]:
    """(x, y) of a point or (x, y, to x, to y) of an arrow, in fractions of the picture."""
    for target in _listed(item.get("target")):
        if isinstance(target, str):
            if place := _fragment(target.partition("#")[2], guide):
                return place
            continue
        for selector in _listed(target.get("selector")):
            value = str(selector.get("value", ""))
            kind = _listed(selector.get("type"))
            if "SvgSelector" in kind:
                return _shape(value, guide)
            if "FragmentSelector" in kind and (place := _fragment(value, guide)):
                return place
    raise ValueError("it has no place on a picture")


_FRAGMENT = re.compile(r"(?:^|&)xywh=(pixel:|percent:)?([\d.]+),([\d.]+),([\d.]+),([\d.]+)")


def _fragment(value: str, guide: Guide) -> tuple[float, ...] | None:
    """The middle of a spatial media fragment (Media Fragments URI 1.0, section 4.2.2)."""
    match = _FRAGMENT.search(value)
    if match is None:
        return None
    x, y, width, height = (float(figure) for figure in match.groups()[1:])
    across, down = (100.0, 100.0) if match[1] == "percent:" else (guide.width, guide.height)
    return ((x + width / 2) / across, (y + height / 2) / down)


def _shape(svg: str, guide: Guide) -> tuple[float, ...]:
    if "<!" in svg:
        raise ValueError("its SVG holds a declaration, which is not taken")
    root = ElementTree.fromstring(svg)
    for element in root.iter():
        name = element.tag.rpartition("}")[2]
        at = {key: float(value) for key, value in element.attrib.items() if _NUMBER.fullmatch(value)}
        if name in ("circle", "ellipse"):
            return (at["cx"] / guide.width, at["cy"] / guide.height)
        if name == "rect":
            middle = (at.get("x", 0.0) + at["width"] / 2, at.get("y", 0.0) + at["height"] / 2)
            return (middle[0] / guide.width, middle[1] / guide.height)
        if name == "line":
            return (
                at["x1"] / guide.width,
                at["y1"] / guide.height,
                at["x2"] / guide.width,
                at["y2"] / guide.height,
            )
    raise ValueError("its SVG holds no circle, rectangle or line")


_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?", re.ASCII | re.IGNORECASE)
