"""Somebody who knows only what a page shows walks about for a while, in each role. ``python -m tests.walker`` goes on for long."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.http import Http404, HttpResponse

from bible.models import Membership
from bible.series.edits import save_edit
from bible.series.refusals import Refused
from tests.built_once import built_once, own_files
from tests.walker.ground import Ground
from tests.walker.sight import see, slips
from tests.walker.walker import Walker

pytestmark = pytest.mark.django_db

WALKS = {"lead": (350, 70, 60), "fill-in": (150, 25, 20), "editor": (120, 30, 20), "guest": (50, 15, 5)}
"""Requests of a role, and how many kinds of links and of presses they come to at least."""
STILL_OPEN: tuple[str, ...] = ()
"""Words of faults that are known and not mended yet."""


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: Any, built_files: Path) -> Iterator[Ground]:
    yield from built_once(Ground, django_db_blocker, built_files)


@pytest.fixture
def ground(built: Ground, db: None, settings: Any, built_files: Path) -> Ground:
    own_files(built_files, settings.MEDIA_ROOT)
    return built


def walked(ground: Ground, role: str, requests: int, seed: int = 1) -> Walker:
    walker = Walker(ground.name_of[role], ground.password, seed)
    walker.walk(requests)
    return walker


@pytest.mark.parametrize("role", Membership.Role.values)
def test_a_walk_finds_no_fault(ground: Ground, role: str) -> None:
    requests, kinds, presses = WALKS[role]
    walker = walked(ground, role, requests)
    found = [str(fault) for fault in walker.faults.values()]
    found = [said for said in found if not any(words in said for words in STILL_OPEN)]
    assert not found, "\n\n".join(found)
    assert len(walker.pages_seen) >= kinds
    assert len(walker.forms_sent) >= presses


class TestWhatAWalkNotices:
    """A page that is wrong on purpose, the series' settings: each kind of fault is one that the walk tells of."""

    VIEW = "bible.series.views"

    def kinds(self, ground: Ground, monkeypatch: pytest.MonkeyPatch, title: str, **wrong: Any) -> set[str]:
        """The kinds of faults found when the title is typed and Save pressed, with pieces of the view replaced."""
        walker = Walker(ground.name_of["lead"], ground.password)
        walker.sign_in()
        page = walker.ask("get", f"/s/{ground.series.slug}/settings/").page
        for name, instead in wrong.items():
            monkeypatch.setattr(f"{self.VIEW}.{name.replace('__', '.')}", instead)
        form = next(one for one in page.forms if one.action.endswith("/settings/"))
        sent = [(one.name, title if one.name == "title" else one.value) for one in form.fields]
        monkeypatch.setattr(walker.fingers, "fill", lambda form: (sent, [], {"title": title}))
        monkeypatch.setattr("tests.walker.walker.MEDDLES", 0)
        walker.send(form, "button Save", form.buttons[0])
        return {fault.kind for fault in walker.faults.values()}

    def test_an_honest_yes_and_an_honest_no(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        assert self.kinds(ground, monkeypatch, "walked far") == set()
        assert self.kinds(ground, monkeypatch, "") == set()

    def test_a_page_that_breaks(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        def broken(**edit: Any) -> None:
            raise RuntimeError("hush")

        assert self.kinds(ground, monkeypatch, "walked far", save_edit=broken) == {"broken"}

    def test_a_yes_to_nothing(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        found = self.kinds(ground, monkeypatch, "walked far", save_edit=lambda **edit: None)
        assert found == {"said and not done"}

    def test_a_blank_more_is_nothing_typed(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        found = self.kinds(ground, monkeypatch, f" {ground.series.title} ", save_edit=lambda **edit: None)
        assert found == set()

    def test_neither_yes_nor_no(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        wrong = {"save_edit": lambda **edit: None, "messages__success": lambda *said: None}
        assert self.kinds(ground, monkeypatch, "walked far", **wrong) == {"silent"}

    def test_a_no_without_a_word(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        mute = lambda *said, **more: HttpResponse("<p>So.", status=422)  # noqa: E731
        assert self.kinds(ground, monkeypatch, "", render=mute) == {"refused without words"}

    def test_a_no_that_saved(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        def late(**edit: Any) -> None:
            save_edit(**edit)
            raise Refused("No.")

        assert self.kinds(ground, monkeypatch, "walked far", save_edit=late) == {"refused and changed"}

    def test_what_was_typed_is_dropped(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        def forgetful(**edit: Any) -> None:
            edit["row"].title = "Another"
            save_edit(**edit)

        assert self.kinds(ground, monkeypatch, "walked far", save_edit=forgetful) == {"typed and lost"}

    def test_a_form_that_its_address_refuses(self, ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
        closed = lambda **edit: (_ for _ in ()).throw(Http404)  # noqa: E731
        assert self.kinds(ground, monkeypatch, "walked far", save_edit=closed) == {"offered and refused"}


def test_what_is_pasted_stands_in_the_table_that_is_kept(ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file is bytes to a database, and what stands in it was not lost."""
    walker = Walker(ground.name_of["lead"], ground.password)
    walker.sign_in()
    page = walker.ask("get", f"/s/{ground.series.slug}/bring-in/scenes").page
    form = next(one for one in page.forms if any(each.name == "pasted" for each in one.fields))
    sent = [(one.name, "walked far" if one.name == "pasted" else one.value) for one in form.fields]
    monkeypatch.setattr(walker.fingers, "fill", lambda form: (sent, [], {"pasted": "walked far"}))
    monkeypatch.setattr("tests.walker.walker.MEDDLES", 0)
    answer = walker.send(form, "button Look at it", form.buttons[0])
    assert "walked far" in answer.page.text
    assert not walker.faults


def test_what_is_seen_of_a_page() -> None:
    page = see(
        "/s/a/",
        200,
        '<main><a href="x?b=1#c">x</a><a href="https://elsewhere.example/">y</a><section inert><a href="/z">z</a></section>'
        '<form method="post" action="save"><input name="n" value="1"><select name="s"><option value="a">A<option selected>B</select>'
        '<input type="checkbox" name="c"><button type="button">no</button><button formaction="other" name="w" value="2">Go</button>'
        '</form><p class="wrong">Not so.</p></main>',
    )
    assert [link.address for link in page.links] == ["/s/a/x?b=1"]
    [form] = page.forms
    assert (form.action, form.method, form.has_text) == ("/s/a/save", "post", True)
    assert [(one.name, one.value, one.choices) for one in form.fields] == [
        ("n", "1", ()),
        ("s", "B", ("a", "B")),
        ("c", "on", ()),
    ]
    assert [(one.words, one.action, one.name, one.value) for one in form.buttons] == [("Go", "/s/a/other", "w", "2")]
    assert page.alerts == ["Not so."]


def test_slips_of_the_pen() -> None:
    assert slips("There are 1 marks here")
    assert slips("{{ mark.number }}")
    assert not slips("There are 11 marks, 1 mark, 0.1 marks and issue 21 flags; page 1 marks 6 and 7")
