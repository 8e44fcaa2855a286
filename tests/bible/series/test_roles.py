"""A series' own roles and kinds: named, ordered and archived on a page; locks, marks, lists and files go by them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from bible.locks.services import lock_tint
from bible.models import Activity, Lock, Part, Series
from bible.models.roles import (
    FIRST_KINDS,
    FIRST_ROLES,
    BadOwnList,
    KindList,
    Role,
    RoleList,
    SubjectKind,
)
from bible.series.refusals import Refused
from guides.core.services import place_mark
from guides.found.asking import choices_of
from guides.handoff.exports import read_marks_csv
from guides.handoff.services import FileMark, fit
from guides.imports.fates import State
from guides.imports.mark_rows import PageMark, take_marks
from guides.models import FlagKind, Mark
from tests.factories import make_costume, make_found, make_guide, make_issue, make_part, make_series, make_subject
from tests.forms import form_of, text_of
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db

LINE_HOLD = Role("line-hold", "line hold", sign="LH")


def with_roles(series: Series, *more: Role) -> Series:
    series.roles_data = RoleList((*FIRST_ROLES, *more)).to_data()
    series.save(update_fields=["roles_data"])
    series.refresh_from_db()
    return series


class TestTheList:
    def test_it_comes_back_from_json_as_it_was(self) -> None:
        roles = RoleList((*FIRST_ROLES, LINE_HOLD, Role("glow", "glow", True, "G", ("prop",))))
        assert RoleList.from_data(roles.to_data()) == roles
        kinds = KindList((*FIRST_KINDS, SubjectKind("lettering", "lettering", True)))
        assert KindList.from_data(kinds.to_data()) == kinds

    @pytest.mark.parametrize(
        "data",
        [
            None,
            [],
            ["base"],
            [{"key": "base"}],
            [{"key": "shade", "name": "shade"}],
            [{"key": "base", "name": "base", "archived": True}],
            [{"key": "base", "name": "base", "kinds": ["prop"]}],
            [{"key": "base", "name": "base"}, {"key": "base", "name": "other"}],
            [{"key": "base", "name": "base"}, {"key": "b", "name": "Base"}],
            [{"key": "base", "name": "base"}, {"key": "No Key", "name": "x"}],
            [{"key": "base", "name": "base"}, {"key": "b", "name": "x" * 31}],
            [{"key": "base", "name": "base", "sign": "B"}, {"key": "b", "name": "b", "sign": "b"}],
            [{"key": "base", "name": "base"}, *({"key": f"k{n}", "name": f"n{n}"} for n in range(40))],
        ],
    )
    def test_what_can_be_no_list_is_refused(self, data: Any) -> None:
        with pytest.raises(BadOwnList):
            RoleList.from_data(data)

    def test_an_entry_is_found_by_key_name_or_sign(self) -> None:
        roles = RoleList((*FIRST_ROLES, LINE_HOLD))
        assert [roles.found(said) for said in ("line-hold", " Line  HOLD ", "lh")] == [LINE_HOLD] * 3
        assert roles.found("stripe") is None
        assert roles.found("") is None
        assert (roles.name("gone"), roles.rank("gone")) == ("gone", 4)

    def test_a_new_key_is_like_nothing_that_is_there(self) -> None:
        assert FIRST_ROLES.free_key("Second stripe") == "second-stripe"
        assert FIRST_ROLES.free_key("Base") == "base-2"
        assert FIRST_ROLES.free_key("part") == "part-2"
        assert FIRST_ROLES.free_key("!") == "own"
        assert FIRST_ROLES.free_key("glow", "glow", "glow-2") == "glow-3"


class TestThePage:
    def test_a_lead_adds_renames_orders_and_archives(self, series: Series, lead: Any) -> None:
        client = client_of(lead)
        assert (
            reverse("edit-roles", args=[series.slug])
            in client.get(reverse("roles", args=[series.slug])).content.decode()
        )
        form = form_of(client.get(reverse("edit-roles", args=[series.slug])), has="seen")
        said: dict[str, Any] = {"role-3-name": "line hold", "role-3-sign": "LH", "role-3-kinds": ["character"]}
        said |= {"role-1-order": "3", "role-3-order": "2", "role-1-name": "shadow", "role-2-archived": "on"}
        form = form.fill(**said, **{"kind-3-name": "lettering"})
        assert form.press(client, "Save the lists").status_code == 302
        series.refresh_from_db()
        assert [one.name for one in series.roles.current] == ["base", "line hold", "shadow"]
        assert series.roles.get("line-hold") == Role("line-hold", "line hold", False, "LH", ("character",))
        assert series.roles.name("shade") == "shadow"
        assert [one.key for one in series.kinds] == ["character", "prop", "place", "lettering"]
        assert Activity.objects.latest("pk").words == {"what": "roles and kinds of subject"}
        page = client.get(reverse("roles", args=[series.slug])).content.decode()
        assert "line hold" in page
        assert "archived" in page

    @pytest.mark.parametrize(
        ("said", "words"),
        [
            ({"role-1-name": ""}, "keeps a name"),
            ({"role-3-sign": "X"}, "Say what it is called"),
            ({"role-3-name": "Shade"}, "is there twice"),
            ({"role-3-name": "glow", "role-1-sign": "g", "role-3-sign": "G"}, "is there twice"),
            ({"role-3-name": "x" * 31}, "at most 30"),
            ({"role-3-name": "glow", "role-3-order": "0"}, "greater than or equal to 1"),
            ({"kind-0-archived": "on", "kind-1-archived": "on", "kind-2-archived": "on"}, "can be chosen"),
        ],
    )
    def test_what_can_be_no_list_is_shown_again(
        self, series: Series, lead: Any, said: dict[str, str], words: str
    ) -> None:
        client = client_of(lead)
        response = (
            form_of(client.get(reverse("edit-roles", args=[series.slug])), has="seen").fill(**said).press(client)
        )
        assert response.status_code == 422
        assert words in response.content.decode()
        series.refresh_from_db()
        assert series.roles == FIRST_ROLES

    def test_nothing_stored_can_be_left_out_and_base_stays(self, series: Series, lead: Any) -> None:
        client, url = client_of(lead), reverse("edit-roles", args=[series.slug])
        told = dict(form_of(client.get(url), has="seen").entries)
        assert client.post(url, told | {"role-1-key": "other"}).status_code == 422
        assert client.post(url, told | {"role-1-key": ""}).status_code == 422
        client.post(url, told | {"role-0-archived": "on", "role-0-kinds": "prop"})
        series.refresh_from_db()
        assert series.roles == FIRST_ROLES

    def test_the_second_sees_what_the_first_made_of_it(self, series: Series, lead: Any) -> None:
        one, two, url = client_of(lead), member_client(series, "lead"), reverse("edit-roles", args=[series.slug])
        mine, theirs = form_of(one.get(url), has="seen"), form_of(two.get(url), has="seen")
        assert mine.fill(**{"role-3-name": "glow"}).press(one).status_code == 302
        stale = theirs.fill(**{"role-1-name": "shadow"}).press(two)
        assert stale.status_code == 422
        assert "glow" in stale.content.decode()

    @pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
    def test_only_a_lead_changes_them_and_all_may_look(self, series: Series, role: str) -> None:
        client = member_client(series, role)
        assert client.get(reverse("roles", args=[series.slug])).status_code == 200
        assert "Change them" not in client.get(reverse("roles", args=[series.slug])).content.decode()
        assert client.get(reverse("edit-roles", args=[series.slug])).status_code == 403
        assert client.post(reverse("edit-roles", args=[series.slug]), {}).status_code == 403

    def test_other_series_nobody_and_other_methods(self, series: Series, lead: Any, client: Any) -> None:
        addresses = [reverse(name, args=[series.slug]) for name in ("roles", "edit-roles")]
        for url in addresses:
            assert client.get(url).status_code == 302
            assert member_client(make_series(), "lead").get(url).status_code == 404
        methods_are_refused(client_of(lead), addresses[0], "post", "put", "delete")
        methods_are_refused(client_of(lead), addresses[1], "put", "delete")


class TestARoleOfTheSeriesOwn:
    def test_it_is_locked_marked_flagged_and_listed(self, series: Series, lead: Any) -> None:
        with_roles(series, LINE_HOLD)
        part, client = make_part(costume=make_costume(make_subject(series, name="Ada"))), client_of(lead)
        issue = make_issue(series)
        url = reverse("lock", args=[series.slug, part.pk])
        form = form_of(client.get(url), has="role").fill(role="line-hold", code="R")
        assert form.press(client).status_code == 302
        lock = Lock.objects.get()
        assert (lock.role, lock.written) == ("line-hold", "R")
        guide = make_guide(issue)
        said = {"guide": guide, "x": 0.5, "part": part, "by": lead}
        place_mark(**said, y=0.1, written="R", role="line-hold")
        place_mark(**said, y=0.2, written="Y", role="line-hold")
        place_mark(**said, y=0.3, written="R", role="base")
        assert [mark.flag_kind for mark in Mark.objects.order_by("number")] == [
            None,
            FlagKind.DIFFERS,
            FlagKind.NO_LOCK,
        ]
        for name, words in (("subject", [part.costume.subject_id]), ("guide", [guide.pk]), ("flags", [])):
            assert "line hold" in client.get(reverse(name, args=[series.slug, *words])).content.decode()

    def test_one_that_is_for_other_kinds_or_archived_is_not_offered(self, series: Series, lead: Any) -> None:
        with_roles(series, Role("glow", "glow", kinds=("prop",)), Role("old", "old", True))
        client = client_of(lead)
        for kind, offered in (("character", False), ("prop", True)):
            part = make_part(costume=make_costume(make_subject(series, kind=kind)))
            form = form_of(client.get(reverse("lock", args=[series.slug, part.pk])), has="role")
            assert ("glow" in form.choices("role"), "old" in form.choices("role")) == (offered, False)

    def test_one_that_is_for_other_kinds_is_refused_wherever_it_is_said(self, series: Series, lead: Any) -> None:
        """A lock, tables of codes and of marks, a mark, a found code; what has had the role before its kinds were named
        keeps it."""
        glow = Role("glow", "glow", kinds=("prop",))
        why = "Glow is a role for prop, not for character."
        part, guide, client = make_part(series, name="coat"), make_guide(make_issue(series)), client_of(lead)
        with_roles(series, replace(glow, kinds=()))
        old = make_part(costume=part.costume, name="eyes")
        said = {"role": "glow", "tint": series.read("R"), "written": "R", "from_position": 0, "by": lead}
        lock_tint(part=old, **said)
        with_roles(series, glow)
        part, old = (Part.objects.select_related("costume__subject__series").get(pk=one.pk) for one in (part, old))
        with pytest.raises(Refused, match=why):
            lock_tint(part=part, **said)
        lock_tint(part=old, **said | {"tint": series.read("B"), "written": "B"})
        table = f"subject,costume,part,role,code\n{part.costume.subject.name},{part.costume.name},coat,glow,Y\n"
        page = form_of(client.get(reverse("bring-bible", args=[series.slug])), has="file")
        seen = page.attach(file=SimpleUploadedFile("t.csv", table.encode())).press(client, follow=True)
        assert why in text_of(seen)
        place = reverse("new-mark", args=[series.slug, guide.pk], query={"x": "0.5", "y": "0.5"})
        form = form_of(client.get(place), has="role")
        answer = form.fill(written="R", part=part.full_name, role="glow").press(client)
        assert answer.status_code == 422
        assert why in text_of(answer)
        found = make_found(guide, "Y", part=part, role="glow")
        assert [choice.role for choice in choices_of(found, {part.pk: part})] == []
        code = reverse("answer-code", args=[series.slug, found.pk])
        answer = client.post(code, {"saying": f"{part.pk}|glow|Y"}, headers={"HX-Request": "true"})
        assert answer.status_code == 422
        assert why in text_of(answer)
        mark = FileMark(0.5, 0.5, "Y", names=part.names, role="glow")
        (fate,) = take_marks([PageMark(2, guide, part, mark)], lead)
        assert (fate.state, why in fate.words) == (State.WRONG, True)
        assert why in str(fit(guide, [mark], []).troubles[0])
        assert not Mark.objects.exists()
        assert form.fill(written="R", part=old.full_name, role="glow").press(client).status_code == 302
        rewritten = form_of(client.get(Mark.objects.get().get_absolute_url()), has="role", action="rewrite")
        answer = rewritten.fill(part=part.full_name).press(client)
        assert why in text_of(answer), "a mark that changes its part does not take the role along"

    def test_a_mark_of_an_archived_role_keeps_it(self, series: Series, lead: Any) -> None:
        with_roles(series, LINE_HOLD)
        part, guide, client = make_part(series), make_guide(make_issue(series)), client_of(lead)
        mark = place_mark(guide=guide, x=0.5, y=0.5, written="R", part=part, role="line-hold", by=lead)
        series.roles_data[3]["archived"] = True
        series.save(update_fields=["roles_data"])
        new = form_of(client.get(reverse("new-mark", args=[series.slug, guide.pk])), has="role")
        old = form_of(client.get(mark.get_absolute_url()), has="role", action="rewrite")
        assert "line-hold" not in new.choices("role")
        assert old.value("role") == "line-hold"

    def test_a_table_of_marks_says_it_by_key_name_or_sign(self) -> None:
        roles = RoleList((*FIRST_ROLES, LINE_HOLD))
        lines = "".join(f"0.5,0.{at},R,{said}\r\n" for at, said in enumerate(("line-hold", "Line hold", "LH", ""), 1))
        rows, troubles = read_marks_csv(f"x,y,written,role\r\n{lines}0.5,0.9,R,stripe\r\n", roles)
        assert [row.role for row in rows] == ["line-hold"] * 3 + ["base"]
        assert len(troubles) == 1
        assert "known are base, shade, highlight, line hold" in troubles[0].what

    def test_looked_up_in_the_series_order(self, series: Series, lead: Any) -> None:
        series.roles_data = [{"key": "line-hold", "name": "line hold"}, *FIRST_ROLES.to_data()]
        series.save(update_fields=["roles_data"])
        series.refresh_from_db()
        part = make_part(series)
        for role in ("shade", "line-hold", "base"):
            lock_tint(part=part, role=role, tint=series.read("R"), written="R", from_position=0, by=lead)
        assert [lock.role for lock in Lock.objects.by_role(series.roles)] == ["line-hold", "base", "shade"]
        assert [lock.role for lock in Lock.objects.by_part([part.pk], series.roles)[part.pk]] == [
            "line-hold",
            "base",
            "shade",
        ]
