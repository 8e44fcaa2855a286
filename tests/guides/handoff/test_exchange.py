"""Marks out and in again: CSV and W3C Web Annotations."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from pyld import jsonld

from bible.models.naming import name_of
from guides.handoff.annotations import CONTEXT, collection, read_annotations
from guides.handoff.exports import marks_csv, plates_csv, read_marks_csv
from guides.handoff.queries import guide_hand_off, issue_hand_off
from guides.handoff.services import bring_in, fit
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_mark
from tests.forms import form_of, text_of

pytestmark = pytest.mark.django_db

BASE = "https://desk.example/s/slow-river/"
DATA = Path(__file__).parents[2] / "data" / "web-annotation" / "anno.jsonld"
KEPT = ("number", "x", "y", "written", "to_written", "to_x", "to_y", "role", "part_id", "tint", "to_tint", "expected")


def kept(guide: Guide) -> list[tuple[Any, ...]]:
    return list(Mark.objects.filter(guide=guide, deleted_at=None).order_by("number").values_list(*KEPT))


def back(text: str, source: Guide, by: Any) -> list[tuple[Any, ...]]:
    """A file's marks on an empty guide of another issue at the same page."""
    empty = make_guide(make_issue(source.series), by=by, page=source.page)
    read = read_annotations(text, empty) if text.startswith("{") else read_marks_csv(text)
    brought = fit(empty, *read)
    assert brought.troubles == ()
    bring_in(guide=empty, brought=brought, by=by)
    return kept(empty)


@pytest.mark.parametrize("page", ["cover", "3"])
def test_csv_and_annotations_come_back_as_they_went(marked_issue: Any, lead: Any, page: str) -> None:
    guide = marked_issue.guides.get(page=page)
    hand_off = issue_hand_off(marked_issue)
    before = kept(guide)
    assert len(before) > 1
    assert back(marks_csv(hand_off), guide, lead) == before
    assert back(json.dumps(collection(hand_off, BASE)), guide, lead) == before


def test_no_cell_is_a_formula(marked_issue: Any) -> None:
    """Spreadsheets run cells that begin with =, +, - or @ (OWASP, “CSV Injection”; from memory)."""
    for table in (marks_csv, plates_csv):
        cells = [cell for row in csv.reader(io.StringIO(table(issue_hand_off(marked_issue)))) for cell in row]
        assert not [cell for cell in cells if cell[:1] in "=+-@" and cell]


def expanded(document: dict[str, Any]) -> Any:
    """Expanded by PyLD (a JSON-LD 1.1 processor), with the standard's own context."""
    context = json.loads(DATA.read_text())

    def load(url: str, options: Any) -> dict[str, Any]:
        assert url == CONTEXT
        return {"contextUrl": None, "documentUrl": url, "document": context}

    return jsonld.expand(document, {"documentLoader": load})


def terms(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value) | {term for one in value.values() for term in terms(one)}
    return {term for one in value for term in terms(one)} if isinstance(value, list) else set()


def test_every_term_is_known_to_the_standards_context(marked_issue: Any) -> None:
    """Expansion drops what the context does not define; here nothing may be dropped."""
    document = collection(issue_hand_off(marked_issue), BASE)
    context = json.loads(DATA.read_text())["@context"]
    assert terms(document) - {"@context"} <= set(context)
    tree = expanded(document)
    oa, anno = "http://www.w3.org/ns/oa#", "https://www.w3.org/ns/activitystreams#".replace("https", "http")
    items = tree[0][f"{anno}first"][0][f"{anno}items"][0]["@list"]
    assert len(items) == document["total"] == Mark.objects.count()
    for item in items:
        assert item["@type"] == [f"{oa}Annotation"]
        assert item[f"{oa}motivatedBy"] == [{"@id": f"{oa}tagging"}]
        (target,) = item[f"{oa}hasTarget"]
        assert target[f"{oa}hasSource"][0]["@type"] == ["http://purl.org/dc/dcmitype/StillImage"]
        assert target[f"{oa}hasSelector"][0]["@type"] == [f"{oa}SvgSelector"]
        purposes = {body[f"{oa}hasPurpose"][0]["@id"].removeprefix(oa) for body in item[f"{oa}hasBody"]}
        assert {"identifying", "describing"} <= purposes


def test_the_models_rules_hold(marked_issue: Any) -> None:
    """The MUSTs of the Web Annotation Data Model, sections 3.1-3.3, 4.2.5-4.2.7 and 5 (W3C, 2017; from memory)."""
    document = collection(issue_hand_off(marked_issue), BASE)
    iri = re.compile(r"https://[^\s<>\"{}|\\^`]+")
    assert document["@context"] == CONTEXT
    assert document["type"] == "AnnotationCollection"
    assert iri.fullmatch(document["id"])
    page = document["first"]
    assert (page["type"], page["partOf"]) == ("AnnotationPage", document["id"])
    ids = [item["id"] for item in page["items"]]
    assert len(set(ids)) == len(ids)
    for item in page["items"]:
        assert iri.fullmatch(item["id"])
        assert item["type"] == "Annotation"
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)", item["created"])
        assert iri.fullmatch(item["target"]["source"]["id"])
        for body in item["body"]:
            assert body["type"] == "TextualBody"
            assert isinstance(body["value"], str)
            assert "/" in body["format"]
        root = ElementTree.fromstring(item["target"]["selector"]["value"])
        assert root.tag == "{http://www.w3.org/2000/svg}svg"


def test_the_collection_answers_where_it_says_it_is_and_each_annotation_says_who_made_it(
    marked_issue: Any, lead_client: Client
) -> None:
    """Web Annotation Data Model, 3.3.1 and 4: the id is where it can be had. For the issue and for a page of it."""
    host = "http://testserver"
    base = f"{host}{marked_issue.series.get_absolute_url()}"
    page = marked_issue.guides.get(page="3")
    for hand_off in (issue_hand_off(marked_issue), guide_hand_off(page)):
        told = collection(hand_off, base)
        answer = lead_client.get(told["id"].removeprefix(host))
        assert answer.status_code == 200
        assert answer.json()["id"] == told["id"]
        assert answer.json()["total"] == told["total"]
        for item in told["first"]["items"]:
            mark = Mark.objects.get(pk=item["id"].rstrip("/").rsplit("/", 1)[1])
            assert item["creator"] == {"type": "Person", "name": name_of(mark.created_by)}
            assert lead_client.get(item["id"].removeprefix(host)).status_code == 200


def svg(shape: str) -> dict[str, Any]:
    return {"source": "x:y", "selector": [{"type": "SvgSelector", "value": f"<svg>{shape}</svg>"}]}


def foreign(**more: Any) -> str:
    return json.dumps({"@context": CONTEXT, "id": "https://other.example/1", "type": "Annotation"} | more)


@pytest.mark.parametrize(
    ("target", "at"),
    [
        ("https://other.example/page.jpg#xywh=100,150,200,300", (0.5, 0.5)),
        ("https://other.example/page.jpg#xywh=percent:10,20,20,20", (0.2, 0.3)),
        ({"source": "x:y", "selector": {"type": "FragmentSelector", "value": "xywh=pixel:0,0,40,60"}}, (0.05, 0.05)),
        (svg("<circle cx='40' cy='60' r='3'/>"), (0.1, 0.1)),
        (svg("<rect width='80' height='60'/>"), (0.1, 0.05)),
    ],
)  # fmt: skip
def test_other_peoples_annotations_are_understood(marked_issue: Any, target: Any, at: tuple[float, float]) -> None:
    guide = marked_issue.guides.get(page="3")  # 400 × 600 pixels
    body = {"type": "TextualBody", "value": "YR3", "purpose": "tagging"}
    rows, troubles = read_annotations(foreign(body=body, target=target), guide)
    assert troubles == []
    assert (rows[0].x, rows[0].y, rows[0].written) == (pytest.approx(at[0]), pytest.approx(at[1]), "YR3")


def test_an_annotation_that_was_moved_since_lies_where_it_was_moved_to(marked_issue: Any) -> None:
    document = collection(issue_hand_off(marked_issue), BASE)
    item = document["first"]["items"][0]
    item["target"] = svg("<circle cx='200' cy='300' r='4'/>")
    rows, _ = read_annotations(json.dumps(item), marked_issue.guides.get(page="cover"))
    assert (rows[0].x, rows[0].y) == (0.5, 0.5)


@pytest.mark.parametrize(
    "text",
    [
        "{", "[]", "{}", "[" * 5000, '{"type": "Annotation"}', '{"type": "Annotation", "target": 5}',
        foreign(target=svg("<a")),
        foreign(target={"selector": {"type": "SvgSelector", "value": "<!DOCTYPE a [<!ENTITY b 'c'>]><svg/>"}}),
        foreign(target=svg("<circle cx='9e9' cy='1'/>")),
        foreign(target=svg("<path d='M0 0'/>")),
        '{"type": "Annotation", "target": {"selector": "x"}}',
        foreign(body={"purpose": "describing", "format": "application/json", "value": "1"}, target="x#xywh=1,1,1,1"),
    ],
)  # fmt: skip
def test_what_cannot_be_understood_is_named_not_guessed(marked_issue: Any, text: str) -> None:
    rows, troubles = read_annotations(text, marked_issue.guides.get(page="3"))
    assert rows == []
    assert troubles


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("1.2,0.5,YR,,", "off the page"),
        ("nan,0.5,YR,,", "off the page"),
        (",0.5,YR,,", "off the page"),
        ("0.1,0.5,YR,chief,", "no role"),
        ("0.1,0.5,YR,base,-4", "1 to 99,999"),
        (f"0.1,0.5,{'Y' * 81},base,", "at most 80"),
    ],
)
def test_a_bad_row_is_told_with_its_line_and_the_good_ones_stay(line: str, complaint: str) -> None:
    rows, troubles = read_marks_csv(f"x,y,written,role,number\r\n0.5,0.5,YR3,,7\r\n{line}\r\n0.6,0.5,Y,shade,\r\n")
    assert [row.written for row in rows] == ["YR3", "Y"]
    assert [trouble.where for trouble in troubles] == ["line 3"]
    assert complaint in troubles[0].what


def own_marks(client: Client, guide: Any) -> str:
    """The file of marks that a page's hand-off gives."""
    address = reverse("guide-hand-off-file", args=[guide.series.slug, guide.pk, "csv"])
    return client.get(address).content.decode("utf-8-sig")


def looked_at(client: Client, guide: Any, text: str) -> Any:
    """The page that shows what a file of marks would do on a guide, by the form for it."""
    page = client.get(reverse("bring-marks", args=[guide.series.slug, guide.pk]))
    file = SimpleUploadedFile("marks.csv", text.encode("utf-8-sig"))
    return form_of(page, has="file").attach(file=file).press(client, "Look at it")


def test_marks_are_looked_at_first_and_placed_after_a_yes(marked_issue: Any, lead_client: Client) -> None:
    cover = marked_issue.guides.get(page="cover")
    before = Mark.objects.filter(guide=cover).count()
    text = "x,y,written,subject,costume,part\r\n0.25,0.5,YR,,,\r\n0.5,0.5,Y,Nobody,at,all\r\n"
    looked = looked_at(lead_client, cover, text)
    assert (looked.status_code, Mark.objects.filter(guide=cover).count()) == (200, before)
    assert "1 mark would be put on this page" in text_of(looked)
    assert "there is no part Nobody, at: all" in text_of(looked)
    form = form_of(looked, says="Yes, put them on the page")
    for _ in range(2):
        answer = form.press(lead_client, "Yes, put them on the page", follow=True)
        assert Mark.objects.filter(guide=cover).count() == before + 1, "however often the button is pressed"
    assert "1 mark brought in before" in text_of(answer)


def test_a_pages_own_marks_are_so_already(marked_issue: Any, lead_client: Client) -> None:
    cover = marked_issue.guides.get(page="cover")
    before = kept(cover)
    looked = looked_at(lead_client, cover, own_marks(lead_client, cover))
    assert f"So already: {len(before)}" in text_of(looked)
    assert "0 marks would be put on this page" in text_of(looked)
    assert kept(cover) == before


def test_marks_brought_in_are_taken_back_together(marked_issue: Any, lead_client: Client) -> None:
    cover, three = (marked_issue.guides.get(page=page) for page in ("cover", "3"))
    before = kept(three)
    text = own_marks(lead_client, cover).replace("\n12,cover,", "\n12,3,")
    page = form_of(looked_at(lead_client, three, text), has="yes").press(lead_client, follow=True)
    brought = kept(three)
    assert len(brought) == len(before) + 3, "two of the five would stand where another mark does"
    taken_back = form_of(page, action="/undo").press(lead_client, follow=True)
    assert kept(three) == before
    assert "Undone: bringing in 3 marks." in text_of(taken_back)
    form_of(taken_back, action="/redo").press(lead_client)
    assert kept(three) == brought


def test_what_is_agreed_to_is_what_was_shown(marked_issue: Any, lead_client: Client, lead: Any) -> None:
    cover = marked_issue.guides.get(page="cover")
    looked = looked_at(lead_client, cover, "x,y,written\r\n0.25,0.5,YR\r\n0.75,0.5,Y\r\n")
    make_mark(cover, "YR", x=0.25, y=0.5, by=lead)
    before = kept(cover)
    refused = form_of(looked, has="yes").press(lead_client)
    assert refused.status_code == 422
    assert "has changed since this was shown" in text_of(refused)
    assert kept(cover) == before
    form_of(refused, has="yes").press(lead_client)
    assert len(kept(cover)) == len(before) + 1


def test_every_download_answers(marked_issue: Any, lead_client: Client, series: Any) -> None:
    address = f"/s/{series.slug}/issues/{marked_issue.pk}/hand-off"
    page = lead_client.get(address).content.decode()
    assert "a screen" in page.lower()
    assert "in disguise" in page
    starts = {"pdf": b"%PDF-", "zip": b"PK", "csv": b"issue,page,number", "plates": b"page,ink", "jsonld": b"{"}
    for form, start in starts.items():
        answer = lead_client.get(f"{address}.{form}")
        data = b"".join(answer.streaming_content) if answer.streaming else answer.content  # type: ignore[attr-defined]
        assert data.startswith(start), form
        assert "attachment" in answer["Content-Disposition"]
        if form == "zip":
            names = zipfile.ZipFile(io.BytesIO(data)).namelist()
            assert len([name for name in names if name.endswith(".jpg")]) == 2
            assert {"hand-off.pdf", "plates.csv", "marks.jsonld"} <= {name.rsplit("/", 1)[1] for name in names}
