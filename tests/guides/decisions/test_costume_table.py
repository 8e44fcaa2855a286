"""A whole costume typed as a table: what is typed is locked in one decision, shown before and undone as one."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.locks.costume_codes import newest_decision
from bible.models import Costume, Issue, Lock, Part, Series
from guides.core.continuity import discrepancies
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
from tests.forms import PageForm, form_of, link_of, text_of
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 3)


@pytest.fixture
def costume(series: Series, issues: list[Issue]) -> Costume:
    return make_costume(make_subject(series, name="Ada Penn"), name="work coat")


@pytest.fixture
def coat(costume: Costume, lead: Any) -> Part:
    part = make_part(costume=costume, name="coat")
    make_lock(part, "YR3B2", by=lead)
    make_lock(part, "YR3B", by=lead, role="shade")
    return part


def table_of(client: Client, costume: Costume, link: str = "All codes as a table") -> PageForm:
    subject = client.get(costume.subject.get_absolute_url())
    return form_of(client.get(link_of(subject, f"{link} {costume.name}")), has="form-0-part")


def filled(form: PageForm, rows: list[tuple[str, str, str]], **said: str) -> PageForm:
    cells: dict[str, str] = {}
    for at, (part, base, shade) in enumerate(rows):
        cells |= {f"form-{at}-part": part, f"form-{at}-base": base, f"form-{at}-shade": shade}
    return form.fill(**cells, **said)


def locked(costume: Costume) -> dict[tuple[str, str], str]:
    locks = Lock.objects.filter(part__costume=costume).standing().select_related("part")
    return {(lock.part.name, lock.role): lock.written for lock in locks if lock.to_position is None}


SEVEN = [(name, "YR3B2", "YR3B") for name in ("hair", "face", "coat", "shirt", "belt", "trousers", "boots")]


def test_seven_parts_are_one_page_and_one_decision(lead_client: Client, costume: Costume) -> None:
    answer = filled(table_of(lead_client, costume), SEVEN, from_issue="1").press(lead_client, "Lock all of it")
    assert answer.status_code == 302
    assert list(costume.parts.values_list("name", flat=True)) == [name for name, _, _ in SEVEN]
    made = Lock.objects.filter(part__costume=costume)
    assert made.count() == 14
    assert made.values("decided_at").distinct().count() == 1
    assert {str(written) for written in locked(costume).values()} == {"YR3B2", "YR3B"}


def test_only_what_differs_is_locked(lead_client: Client, costume: Costume, coat: Part) -> None:
    form = table_of(lead_client, costume)
    assert (form.value("form-0-part"), form.value("form-0-base"), form.value("form-0-shade")) == (
        "coat",
        "YR3B2",
        "YR3B",
    )
    before = Lock.objects.count()
    filled(form, [("coat", "YR", "YR3B"), ("belt", "b2y", "")], from_issue="2").press(lead_client)
    assert Lock.objects.filter(role="shade").count() == 1
    assert locked(costume) == {("coat", "base"): "YR", ("coat", "shade"): "YR3B", ("belt", "base"): "b2y"}
    assert Lock.objects.count() == before + 3  # the two, and what is left of the old base before issue 2


def test_nothing_changed_is_said(lead_client: Client, costume: Costume, coat: Part) -> None:
    answer = table_of(lead_client, costume).press(lead_client)
    assert answer.status_code == 422
    assert "Nothing is changed" in text_of(answer)


def test_what_it_does_to_marks_is_shown_first_and_saved_only_as_shown(
    lead_client: Client, series: Series, costume: Costume, coat: Part, issues: list[Issue], lead: Any
) -> None:
    mark = make_mark(make_guide(issues[2]), written="YR3B2", part=coat)
    form = filled(table_of(lead_client, costume), [("coat", "YR", "YR3B"), ("hat", "B", "")], from_issue="2")
    answer = form.press(lead_client)
    assert answer.status_code == 422
    assert "Nothing is saved yet" in text_of(answer)
    assert locked(costume)["coat", "base"] == "YR3B2"
    assert not costume.parts.filter(name="hat").exists()
    again = form_of(answer, has="form-0-part")
    assert again.press(lead_client, "Lock with these consequences").status_code == 302
    assert locked(costume)["coat", "base"] == "YR"
    assert Mark.objects.flagged().get() == mark
    assert discrepancies(series) == []


def test_it_is_undone_as_one(lead_client: Client, costume: Costume, coat: Part) -> None:
    was = locked(costume)
    filled(table_of(lead_client, costume), [("coat", "YR", "Y"), ("hat", "B", "")], from_issue="1").press(lead_client)
    newest = Lock.objects.get(pk=newest_decision(costume))
    page = reverse("undo-lock", args=[costume.subject.series.slug, newest.pk])
    form_of(lead_client.get(page, {"together": "True"}), says="Undo it").press(lead_client)
    assert locked(costume) == was


def test_a_copy_with_three_codes_changed(lead_client: Client, costume: Costume, coat: Part) -> None:
    for name in ("hat", "boots"):
        make_lock(make_part(costume=costume, name=name), "B")
    form = table_of(lead_client, costume, "Copy").fill(name="storm coat", from_issue="2")
    form.fill(**{"form-0-base": "Y", "form-0-shade": "Y2", "form-1-base": "R"}).press(lead_client)
    made = costume.subject.costumes.get(name="storm coat")
    assert made.worn[0].from_position == costume.subject.series.issues.get(number="2").position
    assert locked(made) == {
        ("coat", "base"): "Y",
        ("coat", "shade"): "Y2",
        ("hat", "base"): "R",
        ("boots", "base"): "B",
    }
    assert locked(costume)["coat", "base"] == "YR3B2"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([("coat", "Q9", "")], "Q9"),
        ([("", "B", "")], "Which part has these codes?"),
        ([("coat", "B", ""), ("Coat", "R", "")], "Two rows are called coat."),
    ],
)
def test_what_cannot_be_locked_is_told_beside_what_was_typed(
    lead_client: Client, costume: Costume, rows: list[tuple[str, str, str]], said: str
) -> None:
    answer = filled(table_of(lead_client, costume), rows).press(lead_client)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert form_of(answer, has="form-0-part").value("form-0-base") == rows[0][1]
    assert not costume.parts.exists()


def test_somebody_who_decided_meanwhile_is_told(lead_client: Client, costume: Costume, coat: Part, lead: Any) -> None:
    form = filled(table_of(lead_client, costume), [("coat", "YR", "YR3B")])
    make_lock(make_part(costume=costume, name="belt"), "B", by=lead)
    answer = form.press(lead_client)
    assert answer.status_code == 422
    assert "meanwhile" in text_of(answer)
    assert locked(costume)["coat", "base"] == "YR3B2"
    form_of(answer, has="form-0-part").press(lead_client)
    assert locked(costume)["coat", "base"] == "YR", "what is sent again has seen it"


def test_a_part_is_known_in_whatever_letters(lead_client: Client, costume: Costume, coat: Part) -> None:
    filled(table_of(lead_client, costume), [("COAT", "YR", "YR3B")]).press(lead_client)
    assert costume.parts.get() == coat
    assert locked(costume)["coat", "base"] == "YR"


def test_a_name_that_is_taken_is_refused(lead_client: Client, costume: Costume, coat: Part) -> None:
    answer = table_of(lead_client, costume, "Copy").fill(name="Work Coat").press(lead_client)
    assert answer.status_code == 422
    assert "There is a costume of this name already." in text_of(answer)


@pytest.mark.parametrize("page", ["costume-codes", "copy-costume"])
def test_refusals(page: str, lead_client: Client, fill_in_client: Client, series: Series, costume: Costume) -> None:
    path = reverse(page, args=[series.slug, costume.pk])
    methods_are_refused(lead_client, path, "put", "delete")
    assert fill_in_client.get(path).status_code == 403
    assert fill_in_client.post(path, {}).status_code == 403
    assert member_client(make_series(), "lead").get(path).status_code == 404
    assert Client().get(path).headers["Location"].startswith(reverse("login"))
    answer = lead_client.post(path, {"form-TOTAL_FORMS": "x"})
    assert answer.status_code == 422
