"""Colour sheets: what stands on them, the picture that is chosen, the page, and the PDF read back with pypdf."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from lxml import html
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ContentStream

from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.models import Scene, Series, Subject
from bible.scenes.services import HeldTo, set_scene
from bible.series.presses import condition
from bible.series.running_order import LATEST, AsOf
from bible.subjects.owning import Owned, set_owners
from guides.booklets.queries import InScene, make_book
from guides.core.crops import LEAST, RECENT, Crop, best_crops, costume_crops, crop_jpeg, cut_crops, pictured
from guides.models import Mark
from tests.factories import (
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.forms import text_of
from tests.pages import member_client, methods_are_refused
from tests.pdfs import filled_rectangles, words_of

pytestmark = pytest.mark.django_db

PAGES = ("colour-sheet", "colour-sheet-pdf", "colour-sheet-picture")


@pytest.fixture
def ada(series: Series, lead: Any) -> Subject:
    """Ada: a work coat that changes at issue 3, with a shade, an unlocked belt; a ball gown worn from issue 3 on."""
    issues = make_issues(series, 4)
    subject = make_subject(series, name="Ada Penn", note="Always the left glove <b>off</b>.")
    work = make_costume(subject, name="work coat")
    coat = make_part(costume=work, name="coat")
    make_part(costume=work, name="belt", rank=1)
    gown = make_costume(subject, name="ball gown", rank=1, from_position=issues[2].position)
    make_lock(make_part(costume=gown, name="gown"), "R", by=lead)
    make_lock(coat, "YR3B2", by=lead)
    make_lock(coat, "Y2R2", by=lead, role="shade")
    make_lock(coat, "B", by=lead, from_position=issues[2].position)
    shift = Shift((Step(Op.ADD, "c", 25),))
    set_scene(scene=Scene(series=series, name="Night"), rule=shift, by=lead)
    return subject


def address(subject: Subject, page: str, issue: str = "") -> str:
    return reverse(page, args=[subject.series.slug, subject.pk]) + (f"?issue={issue}" if issue else "")


def sheet_of(subject: Subject, issue: str = "") -> Any:
    series = subject.series
    return make_book(series, AsOf.of(series, issue), series.subjects.filter(pk=subject.pk)).sheets[0]


def test_a_sheet_says_what_holds_at_its_issue(ada: Subject) -> None:
    def codes(issue: str) -> list[tuple[str, bool, list[tuple[str, list[str]]]]]:
        return [
            (block.name, block.in_use, [(part.name, [code.written for code in part.codes]) for part in block.parts])
            for block in sheet_of(ada, issue).costumes
        ]

    early = [("coat", ["YR3B2", "Y2R2"]), ("belt", [])]
    assert codes("2") == [("work coat", True, early), ("ball gown", False, [("gown", ["R"])])]
    late = [("coat", ["B", "Y2R2"]), ("belt", [])]
    assert codes("3") == codes("") == [("work coat", True, late), ("ball gown", True, [("gown", ["R"])])]
    assert sheet_of(ada, "3").costumes[1].worn == "from issue 3 on"


def test_scenes_stand_beside_each_tint_once(ada: Subject) -> None:
    rows = {
        str(row.tint): [str(one.tint) if one.tint else None for one in row.becomes]
        for row in sheet_of(ada, "2").scene_rows
    }
    # 25 % more cyan, up to the chart's next step: worked out by hand.
    assert rows == {"C25 M50 Y100": ["C50 M50 Y100"], "M25 Y25": ["C25 M25 Y25"], "M100": ["C25 M100"]}
    assert {str(row.tint): row.becomes for row in sheet_of(ada).scene_rows}["C100"] == (InScene(),)


def test_a_light_on_some_parts_says_so_on_the_sheet(ada: Subject, series: Series, lead: Any) -> None:
    """The rule's shift stands beside a tint only where something that has it is lit, and says what."""
    night = Scene.objects.get()
    coat, belt = (ada.costumes.get(name="work coat").parts.get(name=name) for name in ("coat", "belt"))
    make_lock(belt, "Y2R2", by=lead)
    set_scene(scene=night, rule=night.rule, by=lead, targets=[HeldTo(part=coat.pk, role="shade")])
    rows = {str(row.tint): row.becomes for row in sheet_of(ada, "2").scene_rows}
    assert rows["M25 Y25"] == (InScene(Tint(c=25, m=25, y=25), ("coat",)),)
    assert rows["M100"] == rows["C25 M50 Y100"] == (InScene(),)
    client = member_client(series, "guest")
    page = text_of(client.get(reverse("colour-sheet", args=[series.slug, ada.pk]), {"issue": "2"}))
    assert "on Ada Penn, work coat: coat; shade only" in page
    paper = client.get(reverse("colour-sheet-pdf", args=[series.slug, ada.pk]), {"issue": "2"})
    assert "falls on Ada Penn, work coat: coat; shade only" in words_of(PdfReader(io.BytesIO(paper.content)))


def test_a_sheet_says_whose_it_is_and_what_it_has(ada: Subject, series: Series, lead: Any) -> None:
    lantern = make_subject(series, name="Lantern", kind="prop")
    set_owners(subject=lantern, owners=[Owned(ada.pk, 0, series.issues.get(number="3").position)], by=lead)
    said = [sheet_of(subject).owning for subject in (ada, lantern)]
    assert said == [("Has Lantern, up to issue 2.",), ("Belongs to Ada Penn, up to issue 2.",)]
    client = member_client(series, "guest")
    assert said[0][0] in text_of(client.get(reverse("colour-sheet", args=[series.slug, ada.pk])))
    paper = client.get(reverse("colour-sheet-pdf", args=[series.slug, lantern.pk]))
    assert said[1][0] in words_of(PdfReader(io.BytesIO(paper.content)))


def test_aliases_are_told_where_they_name_a_strength(ada: Subject) -> None:
    series = ada.series
    series.notation_data = series.notation.to_dict() | {"aliases": {"R5": 50, "B9": 50}}
    series.save()
    del series.__dict__["notation"]
    assert sheet_of(ada, "2").costumes[0].parts[0].codes[0].also == ("R5",)
    book = make_book(series, AsOf.at(series), series.subjects.all())
    assert set(book.also_written) == {"B9 for 50 % cyan", "R5 for 50 % magenta"}


def test_the_best_marked_guide_is_chosen(ada: Subject, series: Series, lead: Any) -> None:
    first, second, third, _ = series.issues.in_order()
    coat, belt = ada.costumes.get(name="work coat").parts.all()
    gown = ada.costumes.get(name="ball gown").parts.get()
    many = make_guide(first, by=lead)
    for x in (0.1, 0.2, 0.3):
        make_mark(many, "YR3B2", part=coat, x=x)
    both = make_guide(second, by=lead)
    make_mark(both, "YR3B2", part=coat, x=0.3, y=0.5)
    make_mark(both, "Y", part=belt, x=0.5, y=0.8)
    later = make_guide(third, by=lead)
    for part in (coat, gown):
        make_mark(later, "B", part=part)
    make_mark(later, "Y", part=None, x=0.01, y=0.01)

    def chosen(issue: str) -> Any:
        return best_crops([ada.pk], AsOf.of(series, issue).position)[ada.pk]

    assert chosen("1").guide == many, "nothing later than the issue asked for"
    crop = chosen("2")
    assert crop.guide == both, "two parts tell more than three marks of one"
    assert (crop.left, crop.right) == pytest.approx((0.23, 0.57))
    assert (crop.top, crop.bottom) == pytest.approx((0.43, 0.87))
    assert chosen("3").guide == later, "among equals the newest"
    lone = best_crops([ada.pk], first.position)[ada.pk]
    assert lone.bottom - lone.top == pytest.approx(LEAST)
    later.is_current = False
    later.save()
    later.marks.update(live=False)
    assert chosen("3").guide == both, "only current revisions"


def test_the_crop_is_the_piece_around_the_marks(ada: Subject, series: Series, lead: Any) -> None:
    page = Image.new("RGB", (400, 600), (250, 250, 250))
    page.paste((20, 20, 160), (200, 300, 400, 600))
    guide = make_guide(series.issues.in_order()[0], by=lead)
    with guide.screen.open("wb") as file:
        page.save(file, "JPEG", quality=95)
    coat = ada.costumes.get(name="work coat").parts.all()[0]
    make_mark(guide, "YR3B2", part=coat, x=0.75, y=0.75)
    crop = best_crops([ada.pk], LATEST)[ada.pk]
    data = crop_jpeg(crop, 120)
    assert data
    with Image.open(io.BytesIO(data)) as picture:
        assert max(picture.size) <= 120
        assert picture.width / picture.height == pytest.approx(crop.size[0] / crop.size[1], rel=0.06)
        red, _, blue = picture.convert("RGB").resize((1, 1)).getpixel((0, 0))  # type: ignore[misc]
        assert (red, blue) == pytest.approx((20, 160), abs=8)
    guide.screen.storage.delete(str(guide.screen.name))
    assert crop_jpeg(crop, 120) is None


def test_a_guide_is_opened_once_however_many_crops_are_cut_from_it(
    series: Series, lead: Any, monkeypatch: Any
) -> None:
    first, second = (make_guide(issue, by=lead, width=400, height=600) for issue in make_issues(series, 2))
    crops = [Crop(guide, 0.1, 0.1, right, 0.9) for right in (0.5, 0.9) for guide in (second, first)]
    decoded: list[Any] = []
    opened = Image.open

    def counted(file: Any) -> Image.Image:
        decoded.append(file)
        return opened(file)

    monkeypatch.setattr(Image, "open", counted)
    cut = dict(cut_crops(crops, 100))
    assert (len(decoded), len(cut)) == (2, 4)
    for crop, data in cut.items():
        with opened(io.BytesIO(data or b"")) as picture:
            assert picture.width / picture.height == pytest.approx(crop.size[0] / crop.size[1], rel=0.06)


def test_the_page_shows_printed_colours_and_names_its_press(ada: Subject, series: Series, lead: Any) -> None:
    coat = ada.costumes.get(name="work coat").parts.all()[0]
    make_mark(make_guide(series.issues.in_order()[0], by=lead), "YR3B2", part=coat)
    answer = member_client(series, "guest").get(address(ada, "colour-sheet", "2"))
    assert answer.status_code == 200
    text = answer.content.decode()
    page = html.fromstring(text)
    fills = {rect.get("fill") for rect in page.xpath("//main//svg//rect")}
    expected = {condition(series).hex(series.read(code)) for code in ("YR3B2", "Y2R2", "R", "YR3B3", "Y2R2B2", "RB2")}
    assert fills == expected
    said = " ".join(page.text_content().split())
    for words in (
        "as of issue 2",
        "nothing locked",
        "not as of issue 2",
        "Night",
        "Coldset newsprint",
        "not a proof",
    ):
        assert words in said, words
    assert "&lt;b&gt;off" in text
    pictures = page.xpath("//main//img")
    assert member_client(series, "guest").get(pictures[0].get("src"))["Content-Type"] == "image/jpeg"


def test_an_issue_that_is_not_there(ada: Subject, series: Series) -> None:
    client = member_client(series, "guest")
    assert "There is no issue 99" in client.get(address(ada, "colour-sheet", "99")).content.decode()
    refused = client.get(address(ada, "colour-sheet-pdf", "99"))
    assert refused.status_code == 422
    assert "There is no issue 99" in refused.content.decode()
    assert client.get(address(ada, "colour-sheet-picture", "99")).status_code == 404, "it has no marks"
    assert client.get(address(ada, "colour-sheet", "%00")).status_code == 200


def test_the_pdf_carries_the_percentages_as_devicecmyk(ada: Subject, series: Series, lead: Any) -> None:
    coat = ada.costumes.get(name="work coat").parts.all()[0]
    make_mark(make_guide(series.issues.in_order()[0], by=lead), "YR3B2", part=coat)
    answer = member_client(series, "guest").get(address(ada, "colour-sheet-pdf", "2"))
    assert answer["Content-Type"] == "application/pdf"
    assert 'filename="slow-river-ada-penn-as-of-issue-2.pdf"' in answer["Content-Disposition"]
    reader = PdfReader(io.BytesIO(answer.content))
    fills = filled_rectangles(reader)
    assert {fill[0] for fill in fills} == {"k"}
    shown = {tuple(round(value * 100, 6) for value in fill[1:]) for fill in fills}
    codes = ("YR3B2", "Y2R2", "R", "YR3B3", "Y2R2B2", "RB2")
    assert shown == {series.read(code).percentages for code in codes}
    for page in reader.pages:
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            assert operator not in (b"rg", b"RG", b"g", b"G"), operands
    assert len([image for page in reader.pages for image in page.images]) == 1
    said = words_of(reader)
    for words in (
        "Ada Penn",
        "character, as of issue 2",
        "Always the left glove <b>off</b>.",
        "work coat (worn always)",
        "not as of issue 2",
        "nothing locked",
        "YR3B2",
        "25 50 100 0",
        "In scenes",
        "Night",
        "issue 1, page",
        "paint, not ink",
        "Press condition: Coldset newsprint (TR 002)",
        "the house’s own proof",
    ):
        assert words in said, words


def test_a_missing_picture_file_stops_nobody(ada: Subject, series: Series, lead: Any) -> None:
    guide = make_guide(series.issues.in_order()[0], by=lead)
    make_mark(guide, "YR3B2", part=ada.costumes.get(name="work coat").parts.all()[0])
    guide.screen.storage.delete(str(guide.screen.name))
    client = member_client(series, "guest")
    assert client.get(address(ada, "colour-sheet-picture")).status_code == 404
    answer = client.get(address(ada, "colour-sheet-pdf"))
    assert "file is missing" in words_of(PdfReader(io.BytesIO(answer.content)))


def test_a_subject_without_anything(series: Series, lead_client: Client) -> None:
    bare = make_subject(series)
    assert "No costume yet" in lead_client.get(address(bare, "colour-sheet")).content.decode()
    assert "No costume yet" in words_of(
        PdfReader(io.BytesIO(lead_client.get(address(bare, "colour-sheet-pdf")).content))
    )


def test_refusals(ada: Subject, lead_client: Client) -> None:
    other = make_subject(make_series())
    for page in PAGES:
        path = address(ada, page)
        methods_are_refused(lead_client, path, "post", "put", "delete")
        assert Client().get(path).headers["Location"].startswith(reverse("login"))
        assert member_client(other.series, "lead").get(path).status_code == 404
        assert lead_client.get(reverse(page, args=[ada.series.slug, other.pk])).status_code == 404


def test_the_number_of_queries_does_not_grow_with_the_subjects(
    ada: Subject, series: Series, lead: Any, django_assert_max_num_queries: Any
) -> None:
    issue = series.issues.in_order()[0]
    for _ in range(6):
        part = make_part(series)
        make_lock(part, "Y", by=lead)
        make_mark(make_guide(issue, by=lead), "Y", part=part)
    latest = AsOf.at(series)
    with django_assert_max_num_queries(13):
        book = make_book(series, latest, series.subjects.all())
        assert len(book.sheets) == 7
        assert [sheet.crop.where for sheet in book.sheets if sheet.crop]


def test_the_subjects_page_leads_to_its_sheet_of_the_same_issue(ada: Subject, lead_client: Client) -> None:
    page = lead_client.get(ada.get_absolute_url() + "?issue=2").content.decode()
    assert address(ada, "colour-sheet", "2") in page


class TestCostumePictures:
    """Each costume beside its codes on the subject's page, as its best-marked guide shows it."""

    def test_the_page_shows_each_costume_that_is_marked_and_leads_to_its_guide(
        self, ada: Subject, lead_client: Client
    ) -> None:
        coat, gown = (ada.costumes.get(name=name) for name in ("work coat", "ball gown"))
        issues = list(ada.series.issues.in_order())
        worn = make_guide(issues[0])
        make_mark(worn, part=coat.parts.get(name="coat"))
        text = lead_client.get(ada.get_absolute_url()).content.decode()
        address = reverse("costume-picture", args=[ada.series.slug, coat.pk])
        page = html.fromstring(text)
        [picture] = page.xpath("//figure[contains(@class, 'costume-picture')]//img")
        assert (picture.get("src"), picture.get("alt")) == (address, "Ada Penn, work coat")
        assert picture.getparent().get("href") == worn.get_absolute_url()
        assert reverse("costume-picture", args=[ada.series.slug, gown.pk]) not in text

    def test_bible_and_look_up_show_it_where_there_is_one(self, ada: Subject, lead_client: Client) -> None:
        coat, gown = (ada.costumes.get(name=name) for name in ("work coat", "ball gown"))
        first, second = list(ada.series.issues.in_order())[:2]
        address = reverse("costume-picture", args=[ada.series.slug, coat.pk])
        asked = {
            "bible": reverse("bible", args=[ada.series.slug]) + "?",
            "look-up": reverse("lookup", args=[ada.series.slug]) + "?q=ada+coat&",
        }
        for page in asked.values():
            assert address not in lead_client.get(page).content.decode(), "nothing is marked yet"
        make_mark(make_guide(second), part=coat.parts.get(name="coat"))
        for page in asked.values():
            assert lead_client.get(page).content.decode().count(f'src="{address}"') == 1
            assert address not in lead_client.get(f"{page}issue={first.number}").content.decode(), "not drawn yet"
        assert pictured([coat.pk, gown.pk], second.position) == {coat.pk}
        coat.parts.update(archived_at=timezone.now())
        assert pictured([coat.pk, gown.pk], second.position) == set()

    def test_a_costume_has_its_own_picture(self, ada: Subject, lead_client: Client) -> None:
        coat, gown = (ada.costumes.get(name=name) for name in ("work coat", "ball gown"))
        issues = list(ada.series.issues.in_order())
        first, third = make_guide(issues[0]), make_guide(issues[2])
        make_mark(first, part=coat.parts.get(name="coat"))
        make_mark(third, part=gown.parts.get(name="gown"))
        found = costume_crops([coat.pk, gown.pk], LATEST)
        assert {pk: crop.guide for pk, crop in found.items()} == {coat.pk: first, gown.pk: third}
        assert costume_crops([coat.pk, gown.pk], issues[1].position).keys() == {coat.pk}

    def test_the_newest_issues_are_looked_at_first_and_old_costumes_are_found_all_the_same(
        self, ada: Subject, lead_client: Client
    ) -> None:
        coat, gown = (ada.costumes.get(name=name) for name in ("work coat", "ball gown"))
        make_issues(ada.series, RECENT)
        issues = list(ada.series.issues.in_order())
        old, new = make_guide(issues[0]), make_guide(issues[-1])
        make_mark(old, part=coat.parts.get(name="coat"))
        make_mark(old, part=coat.parts.get(name="belt"))
        make_mark(old, part=gown.parts.get(name="gown"))
        make_mark(new, part=coat.parts.get(name="coat"))
        found = costume_crops([coat.pk, gown.pk], LATEST)
        assert {pk: crop.guide for pk, crop in found.items()} == {coat.pk: new, gown.pk: old}

    def test_who_has_it_already_is_told_so_and_nothing_is_cut(
        self, ada: Subject, series: Series, lead_client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        costume = ada.costumes.get(name="work coat")
        mark = make_mark(make_guide(series.issues.in_order()[0]), part=costume.parts.get(name="coat"), x=0.3, y=0.3)
        path = reverse("costume-picture", args=[series.slug, costume.pk])
        first = lead_client.get(path)
        assert (first.status_code, first.headers["Cache-Control"]) == (200, "private, no-cache")
        known = {"If-None-Match": first.headers["ETag"]}
        with monkeypatch.context() as patched:
            patched.setattr("guides.core.views.crop_jpeg", lambda *given: pytest.fail("it was cut again"))
            again = lead_client.get(path, headers=known)
        assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", first.headers["ETag"])
        Mark.objects.filter(pk=mark.pk).update(x=0.8, y=0.8)
        assert lead_client.get(path, headers=known).status_code == 200, "the mark has moved"

    def test_refusals(self, ada: Subject, lead_client: Client) -> None:
        path = reverse("costume-picture", args=[ada.series.slug, ada.costumes.get(name="work coat").pk])
        methods_are_refused(lead_client, path, "post", "put", "delete")
        assert lead_client.get(path).status_code == 404, "nothing is marked yet"
        assert member_client(make_series(), "lead").get(path).status_code == 404
        assert Client().get(path).headers["Location"].startswith(reverse("login"))
