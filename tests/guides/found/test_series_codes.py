"""The codes of a series that wait, how often they were right, and letting sure ones in by themselves."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Part, Series
from guides.found import services
from guides.found.asking_again import PageLayout
from guides.found.queries import tallies_by_colourist, tallies_by_issue
from guides.found.searching import PageSearch
from guides.found.services import CodeAnswer
from guides.found.tasks import ask_for_codes
from guides.models import FoundCode, Guide, Mark
from tests.factories import (
    make_costume,
    make_found,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_revision,
    make_subject,
)
from tests.pages import client_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any, fill_in: Any) -> Guide:
    return make_guide(make_issue(series), by=lead, colourist=fill_in)


@pytest.fixture
def coat(guide: Guide) -> Part:
    part = make_part(guide.series)
    make_lock(part, "YR3B2")
    return part


def codes_of(series: Series) -> str:
    return reverse("series-codes", args=[series.slug])


def answered(guide: Guide, coat: Part, lead: Any) -> None:
    """Five codes: one taken, one moved, one corrected, one set aside, one that waits; and a mark that was missed."""
    taken, moved, corrected, aside = (make_found(guide, part=coat, x=0.2 * n, y=0.1) for n in range(1, 5))
    make_found(guide, y=0.9)
    for found, x, written in ((taken, taken.x, "YR3B2"), (moved, 0.99, "YR3B2"), (corrected, corrected.x, "B")):
        answer = CodeAnswer(found, x, found.y, written, coat, "base")
        services.take_codes(guide=guide, answers=[answer], by=lead)
    services.set_aside(found_code=aside, by=lead)
    make_mark(guide, "Y", x=0.01, y=0.01)


def test_the_lead_sees_how_often_they_were_right(guide: Guide, coat: Part, lead: Any, fill_in: Any) -> None:
    answered(guide, coat, lead)
    (by_hand,), (by_issue,) = tallies_by_colourist(guide.series), tallies_by_issue(guide.series)
    for told in (by_hand, by_issue):
        assert (told.proposed, told.taken, told.moved, told.corrected, told.set_aside) == (4, 1, 1, 1, 1)
        assert (told.missed, told.let_in, told.right) == (1, 0, 25.0)
    assert by_issue.about == f"issue {guide.issue.number}"
    page = client_of(lead).get(codes_of(guide.series)).content.decode()
    assert "How often they were right" in page
    assert "25 %" in page
    assert "How often they were right" not in client_of(fill_in).get(codes_of(guide.series)).content.decode()


def test_pages_that_wait_to_be_looked_through_are_said(guide: Guide, lead: Any) -> None:
    address = codes_of(guide.series)
    assert "to be looked through" not in client_of(lead).get(address).content.decode()
    ask_for_codes(guide=guide, by=lead)
    page = " ".join(client_of(lead).get(address).content.decode().split())
    assert "1 page waits to be looked through" in page
    assert reverse("work", args=[guide.series.slug]) in page


def test_nobody_has_answered_and_nothing_is_said_of_it(guide: Guide, lead: Any) -> None:
    make_found(guide)
    assert tallies_by_colourist(guide.series) == tallies_by_issue(guide.series) == []
    assert "Nobody has answered a found code yet" in client_of(lead).get(codes_of(guide.series)).content.decode()


def test_what_is_unlike_the_bible_stands_first(guide: Guide, coat: Part, fill_in: Any) -> None:
    make_found(guide, part=coat, y=0.2)
    unlike = make_found(guide, "B", part=coat, y=0.4, differs=True, expected="YR3B2")
    told = json.loads(b"".join(client_of(fill_in).get(f"{codes_of(guide.series)}?as=json")))
    rows = next(value for value in told.values() if isinstance(value, list) and isinstance(value[0], dict))
    assert [row["unlike_the_bible"] for row in rows] == [True, False]
    page = client_of(fill_in).get(codes_of(guide.series)).content.decode()
    assert page.index(f"?found={unlike.pk}") < page.rindex("?found=")
    assert "2 codes found and no mark yet, 1 of them unlike the bible" in " ".join(page.split())


@pytest.mark.parametrize(("chance", "named"), [(0.3, True), (0.001, False)], ids=["it may be", "hardly"])
def test_a_code_unlike_the_bible_is_listed_with_the_part_that_carries_it(
    guide: Guide, coat: Part, fill_in: Any, chance: float, named: bool
) -> None:
    hat = make_part(costume=make_costume(make_subject(guide.series, name="Odd Hatter")), name="brim")
    make_found(guide, "B", part=coat, differs=True, expected="YR3B2", elsewhere=[[hat.pk, "shade", chance]])
    page = " ".join(client_of(fill_in).get(codes_of(guide.series)).content.decode().split())
    assert "<strong>unlike the bible</strong>, which has" in page
    assert (f"right if it is {hat.full_name}, shade" in page) is named


def listed(client: Client, series: Series) -> list[list[str]]:
    """The codes of each page of the list, following “More found codes” to its end."""
    pages, here = [], codes_of(series)
    while here:
        page = client.get(here).content.decode()
        pages.append(re.findall(r"[?]found=(\d+)", page))
        more = re.search(r'href="([?]after=\d+)"', page)
        here = codes_of(series) + more[1] if more else ""
    return pages


def test_the_list_has_pages_and_each_code_once(guide: Guide, coat: Part, fill_in: Any) -> None:
    second = make_guide(make_issue(guide.series), by=fill_in)
    for n in range(60):
        place: dict[str, Any] = {"x": 0.01 * n, "y": 0.1, "p_part": 0.5 + 0.1 * (n % 3)}
        make_found(second if n % 2 else guide, part=coat, differs=n % 7 == 0, expected="B", **place)
    pages = listed(client_of(fill_in), guide.series)
    assert [len(page) for page in pages] == [25, 25, 10]
    wanted = FoundCode.objects.filter(series=guide.series).most_unlike_first()
    assert [int(key) for page in pages for key in page] == [found.pk for found in wanted]


def test_a_page_of_the_list_goes_on_where_its_last_code_was_answered(guide: Guide, lead: Any, fill_in: Any) -> None:
    for n in range(30):
        make_found(guide, x=0.01 * n, y=0.1)
    client = client_of(fill_in)
    first = listed(client, guide.series)[0]
    services.set_aside(found_code=FoundCode.objects.get(pk=first[-1]), by=lead)
    rest = client.get(f"{codes_of(guide.series)}?after={first[-1]}").content.decode()
    assert len(re.findall(r"[?]found=(\d+)", rest)) == 5


@pytest.mark.parametrize("after", ["x", "-1", "99999999999999999999", "%00", "²"])
def test_a_place_in_the_list_that_is_none_is_its_beginning(guide: Guide, fill_in: Any, after: str) -> None:
    found = make_found(guide)
    page = client_of(fill_in).get(f"{codes_of(guide.series)}?after={after}")
    assert page.status_code == 200
    assert f"?found={found.pk}" in page.content.decode()


@pytest.mark.parametrize("role", ["editor", "guest", "nobody", "elsewhere"])
def test_whoever_may_not_mark_sees_none_of_it(guide: Guide, role: str) -> None:
    make_found(guide)
    client = Client()
    if role != "nobody":
        home = None if role == "elsewhere" else guide.series
        client.force_login(make_member(home, "lead" if role == "elsewhere" else role))
    status = {"nobody": 302, "elsewhere": 404}.get(role, 403)
    assert client.get(codes_of(guide.series)).status_code == status
    said = reverse("let-in", args=[guide.series.slug, guide.pk])
    assert client.post(said, {"saying": "back"}).status_code == status


def test_only_a_lead_lets_codes_in(series: Series, lead: Any, fill_in: Any) -> None:
    address = reverse("letting-codes-in", args=[series.slug])
    assert client_of(lead).get(address).status_code == 405
    assert client_of(fill_in).post(address, {"lets": "yes"}).status_code == 403
    for lets in ("yes", "no"):
        page = client_of(lead).post(address, {"lets": lets}, follow=True).content.decode()
        series.refresh_from_db()
        assert series.lets_codes_in == (lets == "yes")
        assert ("<strong>On.</strong>" in page) == series.lets_codes_in


@pytest.fixture
def let_in(guide: Guide, coat: Part) -> list[Mark]:
    """Two marks that were let in by themselves."""
    rows = [make_found(guide, part=coat, role=role, y=y) for role, y in (("base", 0.2), ("shade", 0.4))]
    FoundCode.objects.all().delete()
    for row in rows:
        row.pk = None
    Series.objects.update(lets_codes_in=True)
    services.keep_search(guide=guide, page_search=PageSearch(tuple(rows), PageLayout([[0, 0, 1, 1]], [])))
    marks = list(Mark.objects.live())
    assert [mark.let_in for mark in marks] == [True, True]
    return marks


def test_what_was_let_in_is_said_wherever_it_is_listed(guide: Guide, let_in: list[Mark], lead: Any) -> None:
    page = client_of(lead).get(guide.get_absolute_url()).content.decode()
    assert "2 codes let in" in page
    assert page.count("let in by itself, nobody has looked") == 2
    chosen = client_of(lead).get(f"{guide.get_absolute_url()}?mark={let_in[0].pk}").content.decode()
    assert "Let in by itself: found on the page" in chosen
    told = b"".join(client_of(lead).get(f"{guide.get_absolute_url()}?as=json"))
    assert told.count(b'"let_in": true') + told.count(b'"let_in":true') == 2


def test_what_was_let_in_is_taken_back_together(guide: Guide, let_in: list[Mark], lead: Any) -> None:
    address = reverse("let-in", args=[guide.series.slug, guide.pk])
    assert client_of(lead).get(address).status_code == 405
    for _ in range(2):  # sent twice, done once
        client_of(lead).post(address, {"saying": "back"})
    assert not Mark.objects.live().exists()
    assert FoundCode.objects.waiting().count() == 2


@pytest.mark.parametrize("saying", ["", "wrong", "RIGHT", "right\x00"])
def test_an_odd_answer_leaves_what_was_let_in(guide: Guide, let_in: list[Mark], lead: Any, saying: str) -> None:
    address = reverse("let-in", args=[guide.series.slug, guide.pk])
    for sent in ({"saying": saying}, {}):
        assert client_of(lead).post(address, sent, headers={"HX-Request": "true"}).status_code in (400, 422)
    assert Mark.objects.live().filter(let_in=True).count() == 2


def test_what_was_let_in_becomes_somebodys(guide: Guide, let_in: list[Mark], lead: Any) -> None:
    client_of(lead).post(reverse("let-in", args=[guide.series.slug, guide.pk]), {"saying": "right"})
    assert not Mark.objects.filter(let_in=True).exists()
    assert set(FoundCode.objects.values_list("outcome", "decided_by")) == {("taken", lead.pk)}
    assert Mark.objects.live().count() == 2


def test_of_an_older_scan_nothing_is_taken_back(guide: Guide, let_in: list[Mark], lead: Any) -> None:
    make_revision(guide)
    client_of(lead).post(reverse("let-in", args=[guide.series.slug, guide.pk]), {"saying": "back"})
    assert Mark.objects.filter(guide=guide, deleted_at=None).count() == 2
