"""The picture that a lead chooses for a costume: a piece of a page or a model drawing, put back and chosen again."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from bible.models import Activity, Costume, Series
from bible.series.running_order import LATEST
from bible.subjects.services import uses_of
from guides.core.crops import best_crops, costume_crops, pictured
from guides.costumes.services import choose_page
from guides.maintenance.doctor import examine
from guides.models import CostumePicture, Guide
from tests.factories import (
    damaged_picture,
    make_costume,
    make_drawing,
    make_guide,
    make_issues,
    make_mark,
    make_part,
    make_revision,
    make_series,
    make_subject,
    picture_bytes,
)
from tests.forms import form_of, text_of
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def coat(series: Series) -> Costume:
    return make_costume(make_subject(series, name="Ada Penn"), name="work coat")


@pytest.fixture
def pages(series: Series, coat: Costume) -> list[Guide]:
    """Four issues: two parts are marked in the first, one in the second and the fourth."""
    first, second, _, fourth = make_issues(series, 4)
    guides = [make_guide(issue, page="7") for issue in (first, second, fourth)]
    body, belt = make_part(costume=coat, name="coat"), make_part(costume=coat, name="belt")
    for guide in guides:
        make_mark(guide, part=body, x=0.2, y=0.3)
    make_mark(guides[0], part=belt, x=0.6, y=0.4)
    return guides


def screen(costume: Costume) -> str:
    return reverse("choose-picture", args=[costume.subject.series.slug, costume.pk])


def bring(client: Client, costume: Costume, data: bytes, name: str = "model.png") -> Any:
    file = io.BytesIO(data)
    file.name = name
    form = form_of(client.get(screen(costume)), has="drawing")
    return form.attach(drawing=file).press(client)


def shown(costume: Costume, position: int = LATEST) -> Any:
    return costume_crops([costume.pk], position)[costume.pk].of


class TestAPage:
    def test_the_lead_comes_from_the_card_and_chooses_another_page(
        self, coat: Costume, pages: list[Guide], lead_client: Client
    ) -> None:
        assert shown(coat) == pages[0], "two parts tell more than one"
        card = lead_client.get(coat.subject.get_absolute_url()).content.decode()
        assert f'href="{screen(coat)}"' in card
        page = lead_client.get(screen(coat))
        asked = [f"Show this page: issue {guide.issue.number}, page 7" for guide in (pages[0], pages[2], pages[1])]
        assert [text_of(page).index(words) for words in asked] == sorted(
            text_of(page).index(words) for words in asked
        )
        assert form_of(page, says=asked[1]).press(lead_client).status_code == 302
        assert shown(coat) == pages[2]
        assert best_crops([coat.subject_id], LATEST)[coat.subject_id].of == pages[2], "the sheet shows it too"
        picture = reverse("costume-picture", args=[coat.subject.series.slug, coat.pk])
        assert lead_client.get(picture).status_code == 200

    def test_before_its_issue_the_costume_may_have_been_another(
        self, coat: Costume, pages: list[Guide], lead: Any
    ) -> None:
        choose_page(costume=coat, guide=pages[2].pk, by=lead)
        assert shown(coat, pages[1].issue.position) == pages[0]
        assert shown(coat, pages[2].issue.position) == pages[2]
        pages[2].issue.archived_at = timezone.now()
        pages[2].issue.save()
        assert shown(coat) == pages[0], "an archived issue is in no list"

    def test_an_older_scan_stays_and_says_so(self, coat: Costume, pages: list[Guide], lead: Any) -> None:
        choose_page(costume=coat, guide=pages[2].pk, by=lead)
        make_revision(pages[2])
        crop = costume_crops([coat.pk], LATEST)[coat.pk]
        assert crop.of == pages[2]
        assert crop.where.endswith("page 7, an older scan")

    def test_where_it_is_not_marked_it_cannot_be_shown(
        self, coat: Costume, pages: list[Guide], lead_client: Client
    ) -> None:
        path = reverse("choose-page", args=[coat.subject.series.slug, coat.pk])
        for sent in (str(make_guide(pages[0].issue, page="8").pk), "x", "", "0", "9" * 30):
            answer = lead_client.post(path, {"guide": sent})
            assert answer.status_code == 422, sent
        foreign = make_guide(make_issues(make_series(), 1)[0])
        assert "not marked on this page" in lead_client.post(path, {"guide": foreign.pk}).content.decode()
        assert not CostumePicture.objects.exists()


class TestADrawing:
    def test_it_is_shown_in_every_issue_and_kept_as_it_came(
        self, coat: Costume, pages: list[Guide], lead_client: Client
    ) -> None:
        data = picture_bytes(300, 500, form="PNG")
        assert bring(lead_client, coat, data).status_code == 302
        drawing = CostumePicture.objects.get()
        assert (shown(coat, pages[0].issue.position), (drawing.width, drawing.height)) == (drawing, (300, 500))
        with default_storage.open(str(drawing.original.name)) as kept:
            assert kept.read() == data
        for kind in ("original", "screen", "thumb"):
            path = reverse("model-drawing", args=[drawing.series.slug, drawing.pk, kind])
            assert lead_client.get(path).status_code == 200
        for name in ("costume-picture", "colour-sheet-picture"):
            key = coat.pk if name == "costume-picture" else coat.subject_id
            answer = lead_client.get(reverse(name, args=[drawing.series.slug, key]))
            assert Image.open(io.BytesIO(answer.content)).size == (300, 500)
        for name in ("colour-sheet", "colour-sheet-pdf", "wall-sheets"):
            answer = lead_client.get(reverse(name, args=[drawing.series.slug, coat.subject_id]))
            assert answer.status_code == 200
        sheet = lead_client.get(reverse("colour-sheet", args=[drawing.series.slug, coat.subject_id]))
        assert "A model drawing of" in text_of(sheet)

    def test_a_costume_that_is_marked_nowhere_has_a_picture_then(
        self, series: Series, coat: Costume, lead: Any
    ) -> None:
        make_issues(series, 1)
        assert pictured([coat.pk], LATEST) == set()
        make_drawing(coat, lead)
        assert pictured([coat.pk], LATEST) == {coat.pk}

    def test_what_is_no_picture_is_refused_and_leaves_nothing_behind(
        self, coat: Costume, lead_client: Client
    ) -> None:
        for data, name, words in (
            (b"%PDF-1.7 of no use", "model.pdf", "model.pdf:"),
            (b"", "model.png", "empty"),
            (picture_bytes(form="PNG"), "model.jpg", "model.jpg:"),
        ):
            answer = bring(lead_client, coat, data, name)
            assert answer.status_code == 422
            assert words in text_of(answer)
        assert lead_client.post(screen(coat)).status_code == 422
        assert not CostumePicture.objects.exists()
        assert list(examine()) == []

    def test_damaged_pixels_are_asked_about(self, coat: Costume, lead_client: Client) -> None:
        asked = bring(lead_client, coat, damaged_picture(), "model.jpg")
        assert "The JPEG is damaged: the lower" in text_of(asked)
        assert not CostumePicture.objects.exists()
        form = form_of(asked, has="damaged").attach(drawing=io.BytesIO(damaged_picture()))
        assert form.fill(damaged="on").press(lead_client).status_code == 302
        assert CostumePicture.objects.count() == 1


def test_what_was_chosen_before_can_be_shown_again_and_nothing_at_all(
    coat: Costume, pages: list[Guide], lead_client: Client
) -> None:
    bring(lead_client, coat, picture_bytes(form="PNG"))
    drawing = CostumePicture.objects.get()
    form_of(lead_client.get(screen(coat)), says="Show this page: issue 2, page 7").press(lead_client)
    assert shown(coat) == pages[1]
    again = form_of(lead_client.get(screen(coat)), says=f"Show this one again: {where_of(drawing)}")
    for _ in range(2):
        assert again.press(lead_client).status_code == 302
        assert shown(coat) == drawing
    form_of(lead_client.get(screen(coat)), says="Show the best-marked page").press(lead_client)
    assert shown(coat) == pages[0]
    assert CostumePicture.objects.standing().count() == 0
    assert CostumePicture.objects.count() == 2, "nothing of it is lost"
    assert {row.words["what"] for row in Activity.objects.filter(subject=coat.subject)} == {"picture of"}
    assert [use.name for use in uses_of(coat) if "picture" in use.name] == ["pictures of costumes"]


def where_of(drawing: CostumePicture) -> str:
    return f"model drawing of {timezone.localtime(drawing.chosen_at).strftime('%-d %b %Y')}"


class TestRefusals:
    @pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
    def test_who_may_not_change_the_bible_chooses_nothing_and_is_offered_nothing(
        self, coat: Costume, pages: list[Guide], role: str
    ) -> None:
        client, slug = member_client(coat.subject.series, role), coat.subject.series.slug
        assert client.get(screen(coat)).status_code == 403
        for name in ("choose-picture", "choose-page", "leave-picture"):
            assert client.post(reverse(name, args=[slug, coat.pk]), {"guide": pages[1].pk}).status_code == 403
        assert f'href="{screen(coat)}"' not in client.get(coat.subject.get_absolute_url()).content.decode()
        on_page = reverse("costume-on-page", args=[slug, coat.pk, pages[0].pk])
        assert client.get(on_page).status_code == 200

    def test_pictures_are_for_members_of_the_series(
        self, coat: Costume, pages: list[Guide], lead: Any, lead_client: Client
    ) -> None:
        drawing, slug = make_drawing(coat, lead), coat.subject.series.slug
        stranger = make_series()
        paths = [
            reverse("model-drawing", args=[slug, drawing.pk, "screen"]),
            reverse("chosen-picture", args=[slug, drawing.pk]),
            reverse("costume-on-page", args=[slug, coat.pk, pages[0].pk]),
        ]
        for path in paths:
            assert lead_client.get(path).status_code == 200
            methods_are_refused(lead_client, path, "post", "put", "delete")
            other = path.replace(f"/{slug}/", f"/{stranger.slug}/")
            assert member_client(stranger, "lead").get(path).status_code == 404
            assert member_client(stranger, "lead").get(other).status_code == 404
            assert Client().get(path).headers["Location"].startswith(reverse("login"))
        again = reverse("picture-again", args=[slug, drawing.pk])
        methods_are_refused(lead_client, again, "get", "put")
        assert member_client(stranger, "lead").post(again).status_code == 404
        nowhere = reverse("costume-on-page", args=[slug, coat.pk, 10**6])
        assert lead_client.get(nowhere).status_code == 404
