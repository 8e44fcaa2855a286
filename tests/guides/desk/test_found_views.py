"""Answering found codes at the desk: one key for the sure ones, one undo; questions with both readings; refusals."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Part, Series
from bible.tasks.worker import work_off
from guides.core.services import place_mark
from guides.desk.services import redo, undo
from guides.found.asking import in_teaching_order, offer_of
from guides.found.cast import ask_cast
from guides.found.knowing import said_cast
from guides.found.tasks import ask_for_codes
from guides.models import CodeSearch, Deed, FoundCode, Guide, Mark, PageCast
from tests.factories import (
    make_found,
    make_guide,
    make_issue,
    make_lock,
    make_member,
    make_part,
    make_revision,
    make_search,
    make_series,
    make_subject,
)

pytestmark = pytest.mark.django_db

ELSEWHERE = {"x": 9, "y": 9, "area": 3, "panel": 7, "readings": [], "paint": [], "size": 1}
"""What a code of another panel is judged by."""


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


@pytest.fixture
def desk(lead: Any) -> Client:
    client = Client()
    client.force_login(lead)
    return client


def address(name: str, guide: Guide, pk: int | None = None) -> str:
    return reverse(name, args=[guide.series.slug, pk or guide.pk])


def answer(client: Client, found: FoundCode, saying: str, **more: Any) -> Any:
    return client.post(address("answer-code", found.guide, found.pk), {"saying": saying, "key": "k" * 9} | more)


def test_the_page_shows_what_it_proposes_and_asks(desk: Client, guide: Guide) -> None:
    part = make_part(guide.series)
    make_lock(part, "YR3B2")
    make_found(guide, part=part)
    make_found(guide, "RB3", y=0.2, p_part=0.5, part=part, expected="YR3B2", differs=True)
    page = desk.get(guide.get_absolute_url()).content.decode()
    assert "Take the 1 sure one" in page
    assert "Unlike the bible" in page
    assert page.count("data-found=") == 2
    assert not Mark.objects.exists()


def test_whoever_may_not_mark_is_asked_nothing(guide: Guide) -> None:
    make_found(guide)
    client = Client()
    client.force_login(make_member(guide.series, "editor"))
    assert "Codes found on this page" not in client.get(guide.get_absolute_url()).content.decode()


def test_sure_ones_are_taken_by_one_post_and_one_undo(desk: Client, guide: Guide, lead: Any) -> None:
    sure = [make_found(guide, y=0.1 * n) for n in range(1, 5)]
    unlike = make_found(guide, y=0.8, differs=True)
    said = {"saying": ",".join(str(one.pk) for one in [*sure, unlike]), "key": "k" * 9}
    for _ in range(2):  # sent twice, done once
        desk.post(address("take-sure-codes", guide), said)
    assert Mark.objects.live().count() == 4
    assert list(FoundCode.objects.waiting()) == [unlike]
    undo(guide=guide, by=lead, key="")
    assert Mark.objects.live().count() == 0
    assert FoundCode.objects.waiting().count() == 5
    redo(guide=guide, by=lead, key="")
    assert Mark.objects.live().count() == 4
    assert list(FoundCode.objects.waiting()) == [unlike]


def test_only_what_was_shown_is_taken(desk: Client, guide: Guide) -> None:
    shown, _ = make_found(guide, y=0.1), make_found(guide, y=0.2)
    desk.post(address("take-sure-codes", guide), {"saying": str(shown.pk)})
    assert [mark.found for mark in Mark.objects.live()] == [shown]


def test_a_wrong_code_is_taken_by_its_own_yes_and_flagged_on_its_part(desk: Client, guide: Guide) -> None:
    part, other = make_part(guide.series), make_part(guide.series)
    make_lock(part, "YR3B2")
    make_lock(other, "RB3")
    found = make_found(
        guide, "RB3", part=part, expected="YR3B2", differs=True, elsewhere=[[other.pk, "base", 0.03]]
    )  # fmt: skip
    offer = offer_of(guide)
    assert offer.sure == ()
    assert offer.question is not None
    told = [(choice.code, choice.part) for choice in offer.question.choices]
    assert told[:3] == [("RB3", part), ("YR3B2", part), ("RB3", other)]
    answer(desk, found, offer.question.choices[0].saying)
    assert [mark.part for mark in Mark.objects.open()] == [part]


def test_parts_that_carry_the_code_follow_the_likely_ones_up_to_nine_keys(desk: Client, guide: Guide) -> None:
    first, *others = [make_part(guide.series) for _ in range(12)]
    for part in others:
        make_lock(part, "YR3B2")
    carry = [[part.pk, "base", 0.0] for part in others]
    found = make_found(guide, part=first, p_part=0.5, owners=[[first.pk, "base", 0.5]], elsewhere=carry)
    question = offer_of(guide, found.pk).question
    assert question is not None
    assert [choice.part for choice in question.choices] == [first, *others[:8]]
    answer(desk, found, question.choices[8].saying)
    assert Mark.objects.get().part == others[7]


def test_every_choice_can_be_taken(desk: Client, guide: Guide) -> None:
    part = make_part(guide.series)
    found = make_found(guide, part=part, readings=[["YR3B2", 0.6], ["YR3", 0.3]], owners=[[part.pk, "base", 0.7]])
    question = offer_of(guide, found.pk).question
    assert question is not None
    answer(desk, found, question.choices[1].saying, x="0.7", y="0.7")
    mark = Mark.objects.get()
    assert (mark.written, mark.part, mark.x) == ("YR3", part, 0.7)
    found.refresh_from_db()
    assert found.outcome == FoundCode.Outcome.CORRECTED


def along_of(guide: Guide, found: FoundCode, number: int) -> dict[str, str]:
    """What a form of an answer with the codes that go along sends, beside the answer itself."""
    question = offer_of(guide, found.pk).question
    assert question is not None
    choice = question.choices[number - 1]
    return {"saying": choice.saying} | {f"take-{one.found.pk}": one.choice.saying for one in choice.along}


def test_a_figure_is_taken_with_one_yes_and_back_with_one_undo(desk: Client, guide: Guide, lead: Any) -> None:
    coat = make_part(guide.series)
    boots, stranger = make_part(costume=coat.costume), make_part(guide.series)
    first = make_found(guide, part=coat, p_part=0.6)
    make_found(guide, "Y", y=0.7, part=boots, p_part=0.6)
    left = [
        make_found(guide, "R", y=0.2, part=stranger, p_part=0.6),
        make_found(guide, "B", y=0.3, part=boots, p_part=0.6, differs=True),
        make_found(guide, "W", y=0.4, part=boots, p_part=0.6, clue=ELSEWHERE),
        make_found(guide, "K", y=0.9, part=boots, p_part=0.3),
    ]
    shown = desk.get(f"{guide.get_absolute_url()}?found={first.pk}").content.decode()
    assert shown.count("found-along") >= 2, "on the picture and under its answer, before anybody says yes"
    answer(desk, first, **along_of(guide, first, 1))
    assert {mark.part for mark in Mark.objects.live()} == {coat, boots}
    assert set(FoundCode.objects.waiting()) == set(left)
    undo(guide=guide, by=lead, key="")
    assert not Mark.objects.live().exists()
    assert FoundCode.objects.waiting().count() == 6


def test_another_costume_is_said_for_all_codes_of_the_figure(desk: Client, guide: Guide) -> None:
    """Everybody's coat and boots are the same colours: two codes are thought to be one's and are another's."""
    coat, other_coat = make_part(guide.series), make_part(guide.series)
    boots, other_boots = make_part(costume=coat.costume), make_part(costume=other_coat.costume)
    own, other = [coat.pk, "base", 0.5], [other_coat.pk, "base", 0.4]
    first = make_found(guide, part=coat, p_part=0.5, owners=[own, other])
    second = make_found(
        guide, "Y", y=0.7, part=boots, p_part=0.5,
        owners=[[boots.pk, "base", 0.5], [None, "", 0.3]], elsewhere=[[other_boots.pk, "shade", 0.0]],
    )  # fmt: skip
    beside = make_found(guide, "Y", y=0.8, part=boots, p_part=0.5)  # no way to be the other's
    answer(desk, first, **along_of(guide, first, 2))
    told = {mark.found: (mark.part, mark.role) for mark in Mark.objects.live()}
    assert told == {first: (other_coat, "base"), second: (other_boots, "shade")}
    assert list(FoundCode.objects.waiting()) == [beside]


def test_codes_like_it_go_along_from_every_panel(desk: Client, guide: Guide) -> None:
    coat, scarf = make_part(guide.series), make_part(guide.series)
    owners = [[coat.pk, "base", 0.5], [scarf.pk, "base", 0.4]]
    first = make_found(guide, part=coat, p_part=0.5, owners=owners)
    like = make_found(guide, y=0.7, part=coat, p_part=0.3, clue=ELSEWHERE)
    make_found(guide, "Y", y=0.8, part=coat, p_part=0.3, clue=ELSEWHERE)
    answer(desk, first, **along_of(guide, first, 2))
    assert {mark.found for mark in Mark.objects.live().filter(part=scarf)} == {first, like}
    assert Mark.objects.live().count() == 2


def test_nonsense_of_a_code_that_goes_along_takes_none(desk: Client, guide: Guide) -> None:
    first, other = make_found(guide), make_found(guide, y=0.2)
    told = answer(desk, first, "0|base|YR3B2", **{f"take-{other.pk}": "0|emperor|Y"}).headers["Location"]
    assert "That is no answer" in desk.get(told).content.decode()
    assert not Mark.objects.exists()


def test_setting_aside_is_taken_back_like_any_deed(desk: Client, guide: Guide, lead: Any) -> None:
    found = make_found(guide)
    answer(desk, found, "aside")
    assert not FoundCode.objects.waiting().exists()
    assert "setting aside the code YR3B2" in str(Deed.objects.get())
    undo(guide=guide, by=lead, key="")
    assert list(FoundCode.objects.waiting()) == [found]


def test_a_mark_placed_at_the_desk_answers_its_code_until_it_is_taken_back(
    desk: Client, guide: Guide, lead: Any
) -> None:
    found = make_found(guide)
    said = {"x": 0.5, "y": 0.5, "written": "YR3B2", "role": "base", "part": ""}
    page = desk.post(address("new-mark", guide), said, headers={"HX-Request": "true"}).content.decode()
    assert "Every code found on this page is answered" in page
    undo(guide=guide, by=lead, key="")
    assert list(FoundCode.objects.waiting()) == [found]


@pytest.mark.parametrize("saying", ["", "0|base", "0|emperor|Y", "999999|base|Y", "x|base|Y", "0|base|" + "Y" * 99])
def test_nonsense_is_no_answer(desk: Client, guide: Guide, saying: str) -> None:
    answer(desk, make_found(guide), saying)
    assert not Mark.objects.exists()
    assert FoundCode.objects.waiting().exists()


def test_an_answer_off_the_page_is_none(desk: Client, guide: Guide) -> None:
    answer(desk, make_found(guide), "0|base|Y", x="1.5", y="0.5")
    assert not Mark.objects.exists()


def test_an_answered_code_and_an_older_scan_are_refused_in_words(desk: Client, guide: Guide, lead: Any) -> None:
    found = make_found(guide)
    make_mark = answer(desk, found, "0|base|YR3B2")
    assert make_mark.status_code == 302
    told = answer(desk, found, "0|base|Y", key="another-key").headers["Location"]
    assert "meanwhile" in desk.get(told).content.decode()
    old = make_found(guide, y=0.2)
    make_revision(guide)
    answer(desk, old, "0|base|Y", key="a-third-key")
    desk.post(address("take-sure-codes", guide), {"saying": str(old.pk)})
    assert Mark.objects.count() == 1


@pytest.mark.parametrize("name", ["answer-code", "take-sure-codes", "take-likely-codes", "search-codes", "page-cast"])
@pytest.mark.parametrize("role", ["editor", "guest", "nobody", "elsewhere"])
def test_whoever_may_not_mark_changes_nothing(guide: Guide, name: str, role: str) -> None:
    found = make_found(guide)
    client = Client()
    if role != "nobody":
        client.force_login(
            make_member(guide.series if role != "elsewhere" else None, role if role != "elsewhere" else "lead")
        )
    said = {"saying": "0|base|YR3B2" if name == "answer-code" else str(found.pk), f"take-{found.pk}": "on"}
    pk = found.pk if name == "answer-code" else guide.pk
    status = client.post(address(name, guide, pk), said).status_code
    assert status == {"nobody": 302, "elsewhere": 404}.get(role, 403)
    assert not Mark.objects.exists()
    assert not PageCast.objects.exists()


@pytest.mark.parametrize("name", ["answer-code", "take-sure-codes", "take-likely-codes", "search-codes", "page-cast"])
def test_looking_changes_nothing(desk: Client, guide: Guide, name: str) -> None:
    found = make_found(guide)
    assert desk.get(address(name, guide, found.pk if name == "answer-code" else None)).status_code == 405


def test_a_code_that_is_clicked_on_is_asked_about(desk: Client, guide: Guide) -> None:
    first, second = make_found(guide, p_part=0.4), make_found(guide, "Y", y=0.2)
    shown = desk.get(f"{address('found-codes', guide)}?found={second.pk}", headers={"HX-Request": "true"})
    assert f'data-found-asked="{second.pk}"' in shown.content.decode()
    whole = desk.get(f"{address('found-codes', guide)}?found={second.pk}", follow=True).content.decode()
    assert f'data-found-asked="{second.pk}"' in whole
    assert f'data-found-asked="{first.pk}"' in desk.get(f"{guide.get_absolute_url()}?found=x").content.decode()


def test_its_crop_is_a_picture_for_members(desk: Client, guide: Guide) -> None:
    found = make_found(guide)
    crop = desk.get(address("code-crop", guide, found.pk))
    assert crop.headers["Content-Type"] == "image/jpeg"
    assert Client().get(address("code-crop", guide, found.pk)).status_code == 302
    guide.screen.storage.delete(str(guide.screen.name))
    assert desk.get(address("code-crop", guide, found.pk)).status_code == 404


def test_a_page_is_looked_through_on_demand(desk: Client, guide: Guide) -> None:
    desk.post(address("search-codes", guide))
    assert CodeSearch.objects.get(guide=guide).notes


def test_the_most_open_question_comes_first(guide: Guide) -> None:
    """The more parts are in question, the more an answer tells; what differs or can't be read teaches nothing."""
    parts = [make_part(guide.series).pk for _ in range(3)]
    clear = make_found(guide, owners=[[parts[0], "base", 0.88], [parts[1], "base", 0.1]], p_part=0.88)
    open_ = make_found(guide, owners=[[one, "base", 0.33] for one in parts], p_part=0.33, y=0.2)
    unlike = make_found(guide, owners=[[one, "base", 0.33] for one in parts], differs=True, y=0.3)
    unread = make_found(guide, "", unreadable=True, y=0.4)
    assert in_teaching_order([unread, unlike, clear, open_]) == [open_, clear, unlike, unread]


def test_no_mark_is_placed_beside_the_desk(guide: Guide, lead: Any) -> None:
    """The services' own place_mark knows nothing of found codes: files that are brought in answer none."""
    found = make_found(guide)
    place_mark(guide=guide, x=0.1, y=0.1, written="Y", part=None, role="base", by=lead)
    assert list(FoundCode.objects.waiting()) == [found]


def test_a_page_that_is_being_looked_through_says_so_and_shows_what_came_of_it(
    desk: Client, guide: Guide, lead: Any
) -> None:
    ask_for_codes(guide=guide, by=lead)
    page = desk.get(guide.get_absolute_url()).content.decode()
    assert "waiting for its turn to be looked through for codes" in page
    asks = f'hx-get="{address("found-codes", guide)}"'
    assert asks in page
    fragment = desk.get(address("found-codes", guide), headers={"HX-Request": "true"}).content.decode()
    assert asks in fragment
    assert 'id="overlay"' not in fragment, "the picture is left alone until there is something to draw"
    work_off()
    make_found(guide)
    done = desk.get(address("found-codes", guide), headers={"HX-Request": "true"}).content.decode()
    assert asks not in done
    assert 'id="overlay"' in done
    assert done.count("data-found=") == 1


def test_an_older_scan_proposes_nothing(desk: Client, guide: Guide) -> None:
    make_found(guide)
    make_revision(guide)
    shown = desk.get(address("found-codes", guide), headers={"HX-Request": "true"})
    assert shown.headers["Location"].startswith(guide.get_absolute_url())


def test_who_is_said_to_be_on_a_page_is_believed(desk: Client, guide: Guide) -> None:
    """Two coats of one code: the code is his who is said to be there; the page's next scan and the page after it know."""
    hers, his = make_part(guide.series), make_part(guide.series)
    for part in (hers, his):
        make_lock(part, "YR3B2")
    tint = guide.series.read("YR3B2").packed
    clue = {"x": 50, "y": 50, "area": 1, "panel": 0, "readings": [[tint, 1.0]], "paint": [[tint, 1.0]], "size": 9}
    make_search(guide, panels=[[0, 0, 100, 100]])
    found = make_found(guide, clue=clue, owners=[[hers.pk, "base", 0.5], [his.pk, "base", 0.4]])

    def said(*parts: Part) -> str:
        ticks = {f"on-{part.costume.subject_id}": "on" for part in parts}
        return desk.post(address("page-cast", guide), ticks, follow=True).content.decode()

    for part in (hers, his):
        assert f"On this page: {part.costume.subject}. The codes" in said(part)
        found.refresh_from_db()
        assert (found.part, found.p_part > 0.8) == (part, True), found.owners
    said(hers, his)
    assert said_cast(guide) == {part.costume.subject_id for part in (hers, his)}
    said(his)
    page = desk.get(guide.get_absolute_url()).content.decode()
    assert f'name="on-{his.costume.subject_id}"' in page.split("checked")[0], "those that were said stand first"
    again = make_revision(guide)
    assert said_cast(again) == {his.costume.subject_id}
    after = make_guide(guide.issue, page="99999", by=guide.uploaded_by)
    asked = ask_cast(after, [])
    assert (asked.ticked, asked.from_before, said_cast(after)) == ([his.costume.subject], True, None)


def test_nobody_named_is_not_known(desk: Client, guide: Guide) -> None:
    found = make_found(guide)
    desk.post(address("page-cast", guide), {f"on-{make_part(found.series).costume.subject_id}": "on"})
    assert PageCast.objects.count() == 1
    desk.post(address("page-cast", guide), {})
    assert said_cast(guide) is None


def test_strangers_are_on_no_page(desk: Client, guide: Guide) -> None:
    make_found(guide)
    for wrong in (make_subject(make_series()).pk, "x", 2**70):
        desk.post(address("page-cast", guide), {f"on-{wrong}": "on"})
    archived = make_subject(guide.series)
    desk.post(address("page-cast", guide), {f"on-{archived.pk}": "on"})
    archived.archived_at = timezone.now()
    archived.save()
    assert said_cast(guide) is None
    assert PageCast.objects.count() == 1


def test_nobody_says_who_is_on_an_older_scan(desk: Client, guide: Guide) -> None:
    make_revision(guide)
    desk.post(address("page-cast", guide), {f"on-{make_subject(guide.series).pk}": "on"})
    assert not PageCast.objects.exists()
