"""Placing, rewriting, moving, deleting and restoring marks through their pages, with and without htmx."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.tints import Tint
from bible.models import Series
from bible.models.fields import NoTint
from guides.core import continuity
from guides.core.services import delete_mark, rewrite_mark
from guides.models import FlagKind, Guide, Mark
from tests.factories import (
    make_costume,
    make_guide,
    make_issue,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.forms import text_of
from tests.pages import HTMX, htmx, member_client, methods_are_refused

pytestmark = pytest.mark.django_db

PANEL = htmx("panel")


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


@pytest.fixture
def coat(series: Series) -> Any:
    subject = make_subject(series, name="Ada Penn")
    part = make_part(costume=make_costume(subject, name="work coat"), name="coat")
    make_lock(part, "YR3B2")
    return part


def saying(**changes: Any) -> dict[str, Any]:
    return {"x": "0.25", "y": "0.75", "written": "YR3B2", "part": "ad coa", "role": "base"} | changes


def place(client: Client, guide: Guide, *, headers: dict[str, str] | None = None, **changes: Any) -> Any:
    url = reverse("new-mark", args=[guide.series.slug, guide.pk])
    return client.post(url, saying(**changes), headers=headers)


def address(mark: Mark, deed: str) -> str:
    return reverse(deed, args=[mark.series.slug, mark.pk])


def superseded(guide: Guide) -> Guide:
    """The guide, after a newer revision has come in."""
    Guide.objects.filter(pk=guide.pk).update(is_current=False)
    guide.marks.update(live=False)
    make_guide(guide.issue, page=guide.page, revision=2)
    guide.refresh_from_db()
    return guide


class TestPlacing:
    def test_the_answer_is_the_panel_and_all_marks(self, fill_in_client: Client, guide: Guide, coat: Any) -> None:
        answer = place(fill_in_client, guide, headers=PANEL)
        assert answer.status_code == 200
        text = answer.content.decode()
        assert "Agrees with the bible" in text
        assert "<html" not in text
        for element in ('id="overlay"', 'id="mark-list"'):
            assert element in text
        assert text.count('hx-swap-oob="true"') == 2
        mark = Mark.objects.get()
        assert (mark.x, mark.y, mark.part, mark.number) == (0.25, 0.75, coat, 1)
        assert mark.tint == mark.expected == Tint(25, 50, 100)

    def test_without_htmx_it_leads_back_to_the_mark(self, fill_in_client: Client, guide: Guide, coat: Any) -> None:
        answer = place(fill_in_client, guide)
        assert answer.status_code == 302
        assert answer["Location"] == Mark.objects.get().get_absolute_url()
        page = fill_in_client.get(answer["Location"]).content.decode()
        assert "Agrees with the bible" in page
        assert "Saved." in page

    def test_another_code_is_told_with_both_codes_and_the_difference(
        self, fill_in_client: Client, guide: Guide, coat: Any
    ) -> None:
        text = place(fill_in_client, guide, headers=PANEL, written="y r b2").content.decode()
        assert "Differs from the bible" in text
        assert "the page says" in text
        assert "YRB2" in text
        assert "YR3B2" in text
        assert "ΔE₀₀" in text

    @pytest.mark.parametrize("written", ["YR4", "??", "Y3Y2", "C37 M12", "WY", "<b>YR</b>"])
    def test_a_code_that_cannot_be_read_is_kept_as_written_and_flagged(
        self, fill_in_client: Client, guide: Guide, coat: Any, written: str
    ) -> None:
        answer = place(fill_in_client, guide, headers=PANEL, written=written)
        assert answer.status_code == 200
        mark = Mark.objects.get()
        assert (mark.written, mark.tint, mark.flag_kind) == (written, NoTint.UNREADABLE, FlagKind.UNREADABLE)
        text = answer.content.decode()
        assert "Cannot be read" in text
        assert "It is kept as written." in text
        assert "<b>YR" not in text, "what people write is never markup"

    def test_without_a_part_it_is_background_and_never_flagged(self, fill_in_client: Client, guide: Guide) -> None:
        text = place(fill_in_client, guide, headers=PANEL, part="").content.decode()
        assert "Background" in text
        assert Mark.objects.flagged().count() == 0

    @pytest.mark.parametrize(
        ("changes", "said"),
        [
            ({"x": "1.2"}, "less than or equal to 1"),
            ({"y": "-0.1"}, "greater than or equal to 0"),
            ({"x": "nan"}, "Enter a number"),
            ({"x": ""}, "required"),
            ({"written": "  "}, "required"),
            ({"written": "Y" * 81}, "at most 80"),
            ({"part": "nobody at all"}, "No part is called"),
            ({"role": "gloss"}, "Select a valid choice"),
        ],
    )
    @pytest.mark.parametrize("headers", [{}, PANEL])
    def test_bad_input_is_told_beside_its_field_and_what_was_typed_stays(
        self,
        fill_in_client: Client,
        guide: Guide,
        coat: Any,
        changes: dict[str, str],
        said: str,
        headers: dict[str, str],
    ) -> None:
        answer = place(fill_in_client, guide, headers=headers, **changes)
        assert answer.status_code == 422
        text = answer.content.decode()
        assert said in text
        assert 'role="alert"' in text
        kept = saying(**changes)
        for name in ("part", "written"):
            if kept[name].strip():
                assert f'value="{kept[name]}"' in text
        assert Mark.objects.count() == 0

    def test_words_that_fit_two_parts_are_asked_back(self, fill_in_client: Client, guide: Guide, coat: Any) -> None:
        make_part(costume=coat.costume, name="coat lining")
        answer = place(fill_in_client, guide, headers=PANEL, part="ad lining")
        assert answer.status_code == 200
        answer = place(fill_in_client, guide, headers=PANEL, part="ad oat")
        assert answer.status_code == 422
        text = answer.content.decode()
        assert "Which one? Ada Penn, work coat: coat; Ada Penn, work coat: coat lining." in text
        assert place(fill_in_client, guide, headers=PANEL, part="ada penn, WORK coat: coat").status_code == 200
        assert Mark.objects.latest("pk").part == coat

    def test_the_costume_in_use_at_the_issue_wins_a_tie(
        self, fill_in_client: Client, guide: Guide, coat: Any
    ) -> None:
        later = make_costume(coat.costume.subject, name="new coat", from_position=guide.issue.position + 1)
        make_part(costume=later, name="coat")
        assert place(fill_in_client, guide, headers=PANEL, part="ada coat").status_code == 200
        assert Mark.objects.get().part == coat

    def test_parts_of_another_series_do_not_exist(self, fill_in_client: Client, guide: Guide) -> None:
        make_part(costume=make_costume(make_subject(make_series(), name="Zeno")), name="cloak")
        answer = place(fill_in_client, guide, headers=PANEL, part="zeno cloak")
        assert answer.status_code == 422
        assert "No part is called" in answer.content.decode()

    def test_numbers_are_never_given_twice(self, fill_in_client: Client, guide: Guide, lead: Any) -> None:
        place(fill_in_client, guide, part="")
        place(fill_in_client, guide, part="")
        delete_mark(mark=Mark.objects.get(number=2), by=lead)
        place(fill_in_client, guide, part="")
        assert sorted(Mark.objects.values_list("number", flat=True)) == [1, 2, 3]

    @pytest.mark.parametrize("headers", [{}, PANEL])
    def test_the_empty_form_knows_the_place(
        self, fill_in_client: Client, guide: Guide, headers: dict[str, str]
    ) -> None:
        url = reverse("new-mark", args=[guide.series.slug, guide.pk])
        text = fill_in_client.get(url, {"x": "0.31", "y": "0.62"}, headers=headers).content.decode()
        assert 'value="0.31"' in text
        assert 'value="0.62"' in text
        assert ("<html" in text) == (not headers)

    @pytest.mark.parametrize("headers", [{}, PANEL])
    def test_an_older_revision_takes_no_mark_and_what_was_typed_is_not_lost(
        self, fill_in_client: Client, guide: Guide, headers: dict[str, str]
    ) -> None:
        answer = place(fill_in_client, superseded(guide), headers=headers, written="YR2", part="")
        assert answer.status_code == 422
        text = answer.content.decode()
        assert "A newer revision of this page has come in" in text
        assert 'value="YR2"' in text
        assert Mark.objects.count() == 0


class TestRewriting:
    def test_it_answers_anew(self, fill_in_client: Client, guide: Guide, coat: Any) -> None:
        mark = make_mark(guide, "YRB2", part=coat)
        answer = fill_in_client.post(address(mark, "rewrite-mark"), saying(seen=mark.version), headers=PANEL)
        assert answer.status_code == 200
        assert "Agrees with the bible" in answer.content.decode()
        assert Mark.objects.flagged().count() == 0
        assert (mark.x, mark.y) == (0.5, 0.5), "the form's place does not move a mark"

    @pytest.mark.parametrize("headers", [{}, PANEL])
    def test_bad_input_keeps_the_mark_and_the_typing(
        self, fill_in_client: Client, guide: Guide, coat: Any, headers: dict[str, str]
    ) -> None:
        mark = make_mark(guide, "YRB2", part=coat)
        answer = fill_in_client.post(address(mark, "rewrite-mark"), saying(part="no one"), headers=headers)
        assert answer.status_code == 422
        assert 'value="no one"' in answer.content.decode()
        mark.refresh_from_db()
        assert (mark.written, mark.part) == ("YRB2", coat)

    @pytest.mark.parametrize("headers", [{}, PANEL])
    def test_somebody_elses_change_is_not_overwritten_unseen(
        self, fill_in_client: Client, guide: Guide, coat: Any, lead: Any, headers: dict[str, str]
    ) -> None:
        mark = make_mark(guide, "YRB2", part=coat)
        rewrite_mark(mark=mark, written="Y", part=coat, role="base", by=lead)
        url = address(mark, "rewrite-mark")
        answer = fill_in_client.post(url, saying(seen=mark.version, written="YR"), headers=headers)
        assert answer.status_code == 422
        text = answer.content.decode()
        assert "lead changed this mark meanwhile" in text
        assert 'value="YR"' in text
        mark.refresh_from_db()
        assert mark.written == "Y"
        assert f'name="seen" value="{mark.version}"' in text, "sent again, it has seen the change"
        assert fill_in_client.post(url, saying(seen=mark.version, written="YR")).status_code == 302
        mark.refresh_from_db()
        assert mark.written == "YR"

    @pytest.mark.parametrize("headers", [{}, PANEL])
    def test_an_older_revision_and_a_deleted_mark_stay_as_they_are(
        self, fill_in_client: Client, guide: Guide, coat: Any, lead: Any, headers: dict[str, str]
    ) -> None:
        mark = make_mark(guide, "Y", part=coat)
        delete_mark(mark=mark, by=lead)
        answer = fill_in_client.post(address(mark, "rewrite-mark"), saying(part=""), headers=headers)
        assert answer.status_code == 422
        assert "was deleted meanwhile" in answer.content.decode()
        assert "bring mark 1 back" in answer.content.decode()
        assert "Deleted: not compared with the bible" in text_of(answer)
        other = make_mark(guide, "Y", part=coat)
        superseded(guide)
        assert "not compared with the bible" in text_of(fill_in_client.get(other.get_absolute_url()))
        assert "agrees" not in text_of(fill_in_client.get(other.get_absolute_url())).casefold()
        for deed in ("rewrite-mark", "move-mark"):
            answer = fill_in_client.post(address(other, deed), saying(part=""), headers=PANEL)
            assert answer.status_code == 422
            assert "A newer revision" in answer.content.decode()
        fill_in_client.post(address(other, "delete-mark"), headers=headers)
        assert list(Mark.objects.order_by("pk").values_list("written", "x", "deleted_at")) == [
            ("Y", 0.5, Mark.objects.get(pk=mark.pk).deleted_at),
            ("Y", 0.5, None),
        ]


class TestMoving:
    def test_it_goes_and_says_so(self, fill_in_client: Client, guide: Guide) -> None:
        mark = make_mark(guide)
        where = {"x": "0.1", "y": "0.9", "seen": mark.version}
        answer = fill_in_client.post(address(mark, "move-mark"), where, headers=PANEL)
        assert "Moved." in answer.content.decode()
        mark.refresh_from_db()
        assert (mark.x, mark.y) == (0.1, 0.9)

    @pytest.mark.parametrize("where", [{"x": "1.01", "y": "0"}, {"x": "a", "y": "0"}, {"x": "0.5"}])
    def test_off_the_page_it_stays(self, fill_in_client: Client, guide: Guide, where: dict[str, str]) -> None:
        mark = make_mark(guide)
        assert fill_in_client.post(address(mark, "move-mark"), where, headers=PANEL).status_code == 422
        mark.refresh_from_db()
        assert (mark.x, mark.y) == (0.5, 0.5)

    def test_a_stale_move_is_told_and_the_mark_drawn_where_it_is(
        self, fill_in_client: Client, guide: Guide, lead: Any
    ) -> None:
        mark = make_mark(guide)
        rewrite_mark(mark=mark, written="Y", part=None, role="base", by=lead)
        where = {"x": "0.1", "y": "0.9", "seen": mark.version}
        answer = fill_in_client.post(address(mark, "move-mark"), where, headers=PANEL)
        assert answer.status_code == 422
        text = answer.content.decode()
        assert "lead changed this mark meanwhile" in text
        assert "translate(200.0 300.0)" in text


class TestDeleting:
    def test_delete_and_undo_with_htmx(self, fill_in_client: Client, guide: Guide, coat: Any) -> None:
        mark = make_mark(guide, "YRB2", part=coat)
        text = fill_in_client.post(address(mark, "delete-mark"), headers=PANEL).content.decode()
        assert "Undo: bring mark 1 back" in text
        assert 'data-mark="' not in text
        assert Mark.objects.flagged().count() == 0
        text = fill_in_client.post(address(mark, "restore-mark"), headers=PANEL).content.decode()
        assert "Mark 1 is back." in text
        assert "Differs from the bible" in text
        assert Mark.objects.flagged().count() == 1

    def test_delete_and_undo_without_scripts(self, fill_in_client: Client, guide: Guide) -> None:
        mark = make_mark(guide)
        answer = fill_in_client.post(address(mark, "delete-mark"), follow=True)
        text = answer.content.decode()
        assert "Mark 1 deleted." in text
        assert f'action="{address(mark, "restore-mark")}"' in text
        text = fill_in_client.post(address(mark, "restore-mark"), follow=True).content.decode()
        assert "Mark 1 is back." in text
        assert Mark.objects.live().get() == mark

    def test_twice_is_once(self, fill_in_client: Client, guide: Guide) -> None:
        mark = make_mark(guide)
        for _ in range(2):
            assert fill_in_client.post(address(mark, "delete-mark"), headers=PANEL).status_code == 200
        mark.refresh_from_db()
        version = mark.version
        for _ in range(2):
            assert fill_in_client.post(address(mark, "restore-mark"), headers=PANEL).status_code == 200
        mark.refresh_from_db()
        assert mark.version == version + 1

    def test_a_deleted_mark_is_not_shown_as_if_it_stood(
        self, fill_in_client: Client, guide: Guide, lead: Any
    ) -> None:
        mark = make_mark(guide)
        delete_mark(mark=mark, by=lead)
        for url in (address(mark, "mark"), mark.get_absolute_url()):
            text = fill_in_client.get(url).content.decode()
            assert 'class="mark-form"' not in text
            assert "rewrite" not in text
        assert "Mark 1 is deleted." in fill_in_client.get(address(mark, "mark"), headers=PANEL).content.decode()


class TestReading:
    def test_whoever_may_not_mark_sees_what_a_mark_says_and_no_form(self, series: Series, guide: Guide) -> None:
        mark = make_mark(guide, "YRB2", part=make_part(series))
        for role in ("editor", "guest"):
            client = member_client(series, role)
            for url in (address(mark, "mark"), mark.get_absolute_url()):
                text = client.get(url, headers=HTMX).content.decode()
                assert "Nothing is locked for this part here" in text
                assert '<form method="post" class="stacked' not in text
                assert "Delete this mark" not in text

    def test_wrong_methods(self, fill_in_client: Client, guide: Guide) -> None:
        mark = make_mark(guide)
        for deed in ("rewrite-mark", "move-mark", "delete-mark", "restore-mark"):
            methods_are_refused(fill_in_client, address(mark, deed), "get", "put", "delete")
        methods_are_refused(fill_in_client, address(mark, "mark"), "post", "delete")
        methods_are_refused(fill_in_client, reverse("new-mark", args=[guide.series.slug, guide.pk]), "put", "delete")

    def test_a_mark_answers_with_as_many_queries_whatever_stands_around_it(
        self, fill_in_client: Client, guide: Guide, coat: Any, lead: Any
    ) -> None:
        def queries() -> int:
            with CaptureQueriesContext(connection) as asked:
                assert place(fill_in_client, guide, headers=PANEL, written="YB").status_code == 200
            # Old deeds are forgotten with some marks and not with others, by their number.
            return sum(not query["sql"].startswith("DELETE") for query in asked.captured_queries)

        queries()
        few = queries()
        for n in range(30):
            make_mark(guide, "YRB2", part=coat, x=n / 30)
        assert queries() == few
        assert continuity.discrepancies(guide.series) == []
