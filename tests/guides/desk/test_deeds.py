"""The desk's deeds: done once however often they are sent, taken back step by step, refused where somebody was there."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.colour.shifts import Op, Shift, Step
from bible.models import Issue, Scene, Series
from bible.scenes.services import set_scene
from bible.series.refusals import Refused
from guides.core import continuity
from guides.core import once as core_once
from guides.core.scene_areas import apply_scene
from guides.core.services import move_mark, place_mark
from guides.core.waivers import waive
from guides.desk import services as deeds
from guides.models import Deed, Guide, Mark, PageNote, SceneArea
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part
from tests.forms import form_of, text_of
from tests.pages import client_of, htmx, methods_are_refused

pytestmark = pytest.mark.django_db

PANEL = htmx("panel")
KEY = "0123456789abcdef"


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


@pytest.fixture
def coat(series: Series) -> Any:
    part = make_part(series, name="coat")
    make_lock(part, "YR3B2")
    return part


def ask(client: Client, name: str, thing: Any, key: str = "", **said: Any) -> Any:
    url = reverse(name, args=[thing.series.slug, thing.pk])
    return client.post(url, said | {"key": key or core_once.new_key()}, headers=PANEL)


def place(client: Client, guide: Guide, key: str = "", **changes: Any) -> Any:
    said = {"x": "0.25", "y": "0.75", "written": "YR3B2", "part": "", "role": "base"} | changes
    return ask(client, "new-mark", guide, key, **said)


def back(client: Client, guide: Guide, key: str = "") -> Any:
    return ask(client, "undo", guide, key)


def again(client: Client, guide: Guide, key: str = "") -> Any:
    return ask(client, "redo", guide, key)


def agreed_step(client: Client, guide: Guide, name: str, says: str) -> Any:
    """A step that shows what it would do, and changes nothing until somebody says yes to exactly that."""
    standing = list(SceneArea.objects.standing())
    answer = ask(client, name, guide)
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert list(SceneArea.objects.standing()) == standing
    form = form_of(answer, has="shown")
    return form.press(client, headers=PANEL)


class TestOnce:
    def test_the_same_request_places_one_mark(self, fill_in_client: Client, guide: Guide) -> None:
        first, second = place(fill_in_client, guide, KEY), place(fill_in_client, guide, KEY)
        assert (first.status_code, second.status_code) == (200, 200)
        assert Mark.objects.count() == Deed.objects.count() == 1
        assert "nothing was done twice" in second.content.decode()
        assert "Mark 1" in second.content.decode()

    def test_it_is_not_done_again_after_the_mark_was_deleted(self, fill_in_client: Client, guide: Guide) -> None:
        place(fill_in_client, guide, KEY)
        ask(fill_in_client, "delete-mark", Mark.objects.get())
        place(fill_in_client, guide, KEY)
        assert Mark.objects.count() == 1
        assert Mark.objects.live().count() == 0

    def test_a_form_that_was_gone_back_to_and_changed_is_another_deed(
        self, fill_in_client: Client, guide: Guide
    ) -> None:
        place(fill_in_client, guide, KEY)
        place(fill_in_client, guide, KEY, written="YR")
        assert sorted(Mark.objects.values_list("written", flat=True)) == ["YR", "YR3B2"]

    def test_another_person_with_the_same_key_is_another_person(
        self, series: Series, fill_in_client: Client, guide: Guide
    ) -> None:
        place(fill_in_client, guide, KEY)
        place(client_of(make_member(series, "lead", username="else")), guide, KEY)
        assert Mark.objects.count() == 2

    @pytest.mark.parametrize("key", ["", "short", "x" * 500, "a b c d e f g h", "<script>alert</script>"])
    def test_a_key_that_is_none_counts_as_none(self, fill_in_client: Client, guide: Guide, key: str) -> None:
        url = reverse("new-mark", args=[guide.series.slug, guide.pk])
        said = {"x": "0.2", "y": "0.2", "written": "Y", "part": "", "role": "base", "key": key}
        for _ in range(2):
            assert fill_in_client.post(url, said, headers=PANEL).status_code == 200
        assert Mark.objects.count() == 2

    def test_a_refused_request_may_come_again(self, fill_in_client: Client, guide: Guide) -> None:
        assert place(fill_in_client, guide, KEY, part="nobody").status_code == 422
        assert Deed.objects.count() == 0
        make_part(guide.series, name="nobody")
        assert place(fill_in_client, guide, KEY, part="nobody").status_code == 200

    @pytest.mark.parametrize(
        ("name", "said"),
        [
            ("rewrite-mark", {"x": "0.5", "y": "0.5", "written": "YB", "part": "", "role": "base"}),
            ("move-mark", {"x": "0.1", "y": "0.1"}),
        ],
    )
    def test_a_change_sent_twice_is_done_once(
        self, fill_in_client: Client, guide: Guide, name: str, said: dict[str, str]
    ) -> None:
        """The second time the mark's version is no longer the one that was seen; that is no conflict."""
        mark = make_mark(guide, "YR")
        for _ in range(2):
            assert ask(fill_in_client, name, mark, KEY, seen="1", **said).status_code == 200
        mark.refresh_from_db()
        assert mark.version == 2

    def test_two_at_once(
        self, guide: Guide, fill_in: Any, fill_in_client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The other request is through between our looking and our writing: ours is rolled back."""
        place(fill_in_client, guide, KEY)
        key = Deed.objects.get().key
        monkeypatch.setattr(deeds.Deed.objects, "filter", _blind_once(deeds.Deed.objects.filter))
        new: dict[str, Any] = {"x": 0.5, "y": 0.5, "written": "Y", "part": None, "role": "base"}
        done = place_mark.once(core_once.AtDesk(guide, fill_in, key), guide=guide, by=fill_in, **new)
        assert done.again
        assert Mark.objects.count() == 1


def _blind_once(look: Any) -> Any:
    looks: list[Any] = []

    def filter_(*args: Any, **said: Any) -> Any:
        looks.append(said)
        return Deed.objects.none() if len(looks) == 1 else look(*args, **said)

    return filter_


class TestSteps:
    def test_everything_a_mark_goes_through_is_taken_back_and_done_again(
        self, fill_in_client: Client, guide: Guide, coat: Any
    ) -> None:
        place(fill_in_client, guide, written="YR3B2 > Y2", part="coat", to_x="0.4", to_y="0.5")
        mark = Mark.objects.get()

        def state() -> tuple[Any, ...]:
            mark.refresh_from_db()
            end = (mark.to_written, mark.to_x, mark.to_y)
            return (mark.x, mark.y, mark.written, mark.tint, *end, mark.part_id, mark.role, mark.live)

        states = [state()]
        deeds_done: list[tuple[str, dict[str, str]]] = [
            ("rewrite-mark", {"x": "0", "y": "0", "written": "YB", "part": "", "role": "shade"}),
            ("move-mark", {"x": "0.6", "y": "0.7"}),
            ("rewrite-mark", {"x": "0", "y": "0", "written": "R", "to_written": "Y", "part": "coat", "role": "base"}),
            ("point-mark", {"x": "0.9", "y": "0.9"}),
            ("delete-mark", {}),
            ("restore-mark", {}),
        ]
        for name, said in deeds_done:
            assert ask(fill_in_client, name, mark, **said).status_code == 200
            states.append(state())
        for expected in reversed(states[:-1]):
            assert back(fill_in_client, guide).status_code == 200
            assert state() == expected
            assert continuity.discrepancies(guide.series) == []
        assert back(fill_in_client, guide).status_code == 200
        assert Mark.objects.live().count() == 0
        answer = back(fill_in_client, guide)
        assert answer.status_code == 422
        assert "Nothing is left to undo." in answer.content.decode()
        for expected in states:
            assert again(fill_in_client, guide).status_code == 200
            assert state() == expected
        assert again(fill_in_client, guide).status_code == 422
        assert continuity.discrepancies(guide.series) == []

    def test_a_new_deed_is_the_newest_state(self, fill_in_client: Client, guide: Guide) -> None:
        place(fill_in_client, guide, written="Y")
        back(fill_in_client, guide)
        place(fill_in_client, guide, written="R")
        assert again(fill_in_client, guide).status_code == 422
        back(fill_in_client, guide)
        assert Mark.objects.live().count() == 0

    def test_somebody_elses_change_is_not_lost(
        self, fill_in_client: Client, guide: Guide, lead: Any, fill_in: Any
    ) -> None:
        place(fill_in_client, guide)
        mark = Mark.objects.get()
        ask(fill_in_client, "move-mark", mark, x="0.5", y="0.5")
        move_mark(mark=mark, x=0.9, y=0.9, by=lead)
        answer = back(fill_in_client, guide)
        assert answer.status_code == 422
        assert f"{lead} changed mark 1 after that" in answer.content.decode()
        mark.refresh_from_db()
        assert (mark.x, mark.live) == (0.9, True)

    def test_what_is_not_done_again_is_told_as_that(self, fill_in_client: Client, guide: Guide, lead: Any) -> None:
        place(fill_in_client, guide)
        ask(fill_in_client, "move-mark", Mark.objects.get(), x="0.5", y="0.5")
        back(fill_in_client, guide)
        move_mark(mark=Mark.objects.get(), x=0.9, y=0.9, by=lead)
        said = text_of(again(fill_in_client, guide))
        assert "again would lose it" in said
        assert "aking back" not in said

    def test_each_takes_back_only_what_is_theirs(
        self, fill_in_client: Client, lead_client: Client, guide: Guide
    ) -> None:
        place(fill_in_client, guide, written="Y")
        place(lead_client, guide, written="R")
        assert back(fill_in_client, guide).status_code == 200
        assert Mark.objects.live().get().written == "R"
        assert back(fill_in_client, guide).status_code == 422

    def test_taking_back_lets_the_others_go_on_taking_back(
        self, fill_in_client: Client, lead_client: Client, guide: Guide
    ) -> None:
        place(fill_in_client, guide, written="Y")
        ask(lead_client, "move-mark", Mark.objects.get(), x="0.5", y="0.5")
        assert back(lead_client, guide).status_code == 200
        assert back(fill_in_client, guide).status_code == 200
        assert Mark.objects.live().count() == 0

    def test_a_step_sent_twice_is_one_step(self, fill_in_client: Client, guide: Guide) -> None:
        for code in ("Y", "R", "B"):
            place(fill_in_client, guide, written=code)
        for _ in range(3):
            assert back(fill_in_client, guide, KEY).status_code == 200
        assert Mark.objects.live().count() == 2

    def test_an_older_revision_stays_as_it_is(self, fill_in_client: Client, guide: Guide) -> None:
        place(fill_in_client, guide)
        Guide.objects.filter(pk=guide.pk).update(is_current=False)
        answer = back(fill_in_client, guide)
        assert answer.status_code == 422
        assert "newer revision" in answer.content.decode()

    def test_without_htmx_it_leads_back_to_the_page(self, fill_in_client: Client, guide: Guide) -> None:
        place(fill_in_client, guide)
        answer = fill_in_client.post(reverse("undo", args=[guide.series.slug, guide.pk]), follow=True)
        assert "Undone: placing mark 1." in answer.content.decode()

    def test_only_by_post(self, fill_in_client: Client, guide: Guide) -> None:
        for name in ("undo", "redo"):
            methods_are_refused(fill_in_client, reverse(name, args=[guide.series.slug, guide.pk]), "get", "put")

    def test_scenes_and_notes(self, fill_in_client: Client, guide: Guide, lead: Any, coat: Any) -> None:
        night = set_scene(
            scene=Scene(series=guide.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead
        )
        mark = make_mark(guide, "YR3B2", part=coat, x=0.2, y=0.2)
        drawn: dict[str, Any] = {"scene": night.pk, "left": "0", "right": "50", "top": "0", "bottom": "50"}
        answer = ask(fill_in_client, "draw-scene", guide, **drawn)
        assert answer.status_code == 422, "it opens a flag: first that is shown"
        shown = answer.context["shown"].impact.token
        answer = ask(fill_in_client, "draw-scene", guide, shown=shown, **drawn)
        assert answer.status_code == 200
        assert "Night" in answer.content.decode(), "it stands on the page"
        mark.refresh_from_db()
        assert mark.scene == night
        agreed_step(fill_in_client, guide, "undo", "0 flags would open, 1 would close")
        mark.refresh_from_db()
        assert mark.scene is None
        agreed_step(fill_in_client, guide, "redo", "1 flag would open, 0 would close")
        mark.refresh_from_db()
        assert mark.scene == night
        ask(fill_in_client, "page-note", guide, text="All skin is night", first_page="7", last_page="9")
        note = PageNote.objects.get()
        url = reverse("remove-page-note", args=[guide.series.slug, guide.pk, note.pk])
        fill_in_client.post(url, {"key": core_once.new_key()}, headers=PANEL)
        assert PageNote.objects.standing().count() == 0
        for expected in (1, 0):
            back(fill_in_client, guide)
            assert PageNote.objects.standing().count() == expected
        agreed_step(fill_in_client, guide, "undo", "0 flags would open, 1 would close")
        assert SceneArea.objects.standing().count() == 0
        assert continuity.discrepancies(guide.series) == []

    def test_old_deeds_are_forgotten(self, fill_in_client: Client, guide: Guide) -> None:
        place(fill_in_client, guide)
        Deed.objects.update(at=timezone.now() - core_once.KEPT * 2)
        for number in range(core_once.FORGET_EVERY):
            place(fill_in_client, guide, key=f"forgotten-{number}", written="R")
        assert Deed.objects.count() == core_once.FORGET_EVERY

    def test_what_is_kept_of_deeds_refuses_nothing(self, guide: Guide, fill_in: Any) -> None:
        with pytest.raises(Refused):
            deeds.undo(guide=guide, by=fill_in, key="")


def test_a_scene_taken_away_on_its_own_page_is_taken_back_at_the_desk(
    series: Series, fill_in: Any, fill_in_client: Client, lead: Any
) -> None:
    guide = make_guide(make_issue(series))
    night = set_scene(scene=Scene(series=series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead)
    fill_in_client.post(reverse("page-scenes", args=[series.slug, guide.pk]), {"scene": night.pk})
    area = SceneArea.objects.get()
    fill_in_client.post(reverse("remove-area", args=[series.slug, area.pk]))
    assert not SceneArea.objects.standing().exists()
    for words in ("taking away scene Night", "scene Night"):
        standing = SceneArea.objects.standing().exists()
        assert f"Undone: {words}." in text_of(back(fill_in_client, guide)), "it moves no flag: nothing to show"
        assert SceneArea.objects.standing().exists() != standing
    again(fill_in_client, guide)
    again(fill_in_client, guide)
    assert SceneArea.objects.exists()
    assert not SceneArea.objects.standing().exists()


class TestAScenesWayBack:
    """A scene that holds on a signed-off page with one mark: what taking a step does is seen first."""

    @pytest.fixture
    def drawn(self, guide: Guide, coat: Any, fill_in: Any, lead: Any) -> SceneArea:
        night = set_scene(
            scene=Scene(series=guide.series, name="Night"), rule=Shift((Step(Op.ADD, "c", 25),)), by=lead
        )
        make_mark(guide, "YR3B2", part=coat, by=fill_in)
        apply_scene.once(core_once.AtDesk(guide, fill_in, KEY), guide=guide, scene=night, by=fill_in)
        return SceneArea.objects.get()

    def test_the_sign_off_that_falls_is_named(
        self, drawn: SceneArea, guide: Guide, fill_in_client: Client, lead: Any
    ) -> None:
        waive(marks=list(Mark.objects.all()), reason="a lamp", by=lead)
        sign_off(issue=guide.issue, by=lead, words="as it is")
        answer = agreed_step(fill_in_client, guide, "undo", "Saving opens 1 signed-off issue again")
        assert "Undone: scene Night." in text_of(answer)
        assert not Issue.objects.signed_off().exists()

    def test_what_moved_since_is_shown_again(self, drawn: SceneArea, guide: Guide, fill_in_client: Client) -> None:
        seen = form_of(ask(fill_in_client, "undo", guide), has="shown")
        make_mark(guide, "YR3B2", part=Mark.objects.get().part)
        answer = seen.press(fill_in_client, headers=PANEL)
        assert answer.status_code == 422
        assert "It has moved meanwhile" in text_of(answer)
        assert SceneArea.objects.standing().exists()

    def test_a_yes_that_comes_twice_is_one_step(self, drawn: SceneArea, guide: Guide, fill_in_client: Client) -> None:
        seen = form_of(ask(fill_in_client, "undo", guide), has="shown")
        for _ in range(2):
            assert "Undone: scene Night." in text_of(seen.press(fill_in_client, headers=PANEL))
        assert Deed.objects.filter(undone=True).count() == 1

    def test_another_step_than_the_one_looked_at_is_not_taken(
        self, drawn: SceneArea, guide: Guide, fill_in: Any
    ) -> None:
        with pytest.raises(Refused, match="Another step"):
            deeds.undo(guide=guide, by=fill_in, key="another-key-1")
        asked = deeds.next_step(guide=guide, by=fill_in, key="another-key-2", back=True)
        desk = core_once.AtDesk(guide, fill_in, "1" * 16)
        place_mark.once(desk, guide=guide, x=0.8, y=0.9, written="Y", part=None, role="base", by=fill_in)
        with pytest.raises(Refused, match="Another step"):
            deeds.undo(guide=guide, by=fill_in, key="another-key-3", agreed=asked)
        assert SceneArea.objects.standing().exists()
        assert not Deed.objects.filter(undone=True).exists()

    def test_without_script_the_page_asks(self, drawn: SceneArea, guide: Guide, fill_in_client: Client) -> None:
        answer = fill_in_client.post(reverse("undo", args=[guide.series.slug, guide.pk]))
        assert answer.status_code == 422
        followed = form_of(answer, has="shown").press(fill_in_client, follow=True)
        assert "Undone: scene Night." in text_of(followed)
