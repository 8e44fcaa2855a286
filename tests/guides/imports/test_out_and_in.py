"""What a page's own file says, brought in again where its form asks for it: by what the pages show."""

from __future__ import annotations

import csv
import io
from typing import Any

import lxml.html
import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bible.models import Costume, Lock, Series, Subject
from bible.models.stretches import Stretch
from tests.factories import (
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    make_subject,
)
from tests.pages import client_of

pytestmark = pytest.mark.django_db


def taken_along(client: Client, series: Series, page: str) -> str:
    """The page's list as CSV, from the link on it."""
    address = reverse(page, args=[series.slug])
    links = lxml.html.fromstring(client.get(address).content.decode()).xpath("//a[contains(@href, 'as=csv')]/@href")
    file: Any = client.get(address + links[0] if links[0].startswith("?") else links[0])
    return b"".join(file.streaming_content).decode("utf-8-sig")


def brought(client: Client, series: Series, kind: str, text: str) -> Any:
    """The page that shows what would become of a file's rows."""
    address = reverse(f"bring-{kind}", args=[series.slug])
    [field] = lxml.html.fromstring(client.get(address).content.decode()).xpath("//input[@type='file']")
    return client.post(address, {field.name: SimpleUploadedFile("list.csv", text.encode())}, follow=True)


def press(client: Client, page: Any, button: str, **said: str) -> Any:
    """Fill the page's form of columns in and press one of its buttons."""
    [form] = [form for form in lxml.html.fromstring(page.content.decode()).forms if "shown" in form.fields]
    assert form.xpath(f".//button[@name='{button}']"), f"no button {button}"
    for name, value in said.items():
        assert name in form.fields, name
        form.fields[name] = value
    return client.post(page.request["PATH_INFO"], dict(form.form_values()) | {button: "1"}, follow=True)


def cells(page: Any, heading: str) -> list[list[str]]:
    """The rows below a heading, each cell's text."""
    [section] = lxml.html.fromstring(page.content.decode()).xpath(f"//section[contains(h2, '{heading}')]")
    rows = section.xpath(".//tbody/tr")
    return [[" ".join(cell.text_content().split()) for cell in row.xpath("th|td")] for row in rows]


def standing(series: Series) -> list[tuple[str, int, int | None]]:
    locks = Lock.objects.filter(series=series).standing().order_by("part__name", "role", "from_position")
    return list(locks.values_list("written", "from_position", "to_position"))


def test_a_series_issues_run_in_another_series_as_they_ran(series: Series, lead: User, lead_client: Client) -> None:
    make_issues(series, 4)
    text = taken_along(lead_client, series, "issues")
    other = make_series(slug="other")
    client = client_of(make_member(other, "lead"))
    page = brought(client, other, "issues", text)
    assert "Issue 2 comes behind issue 1." in page.content.decode()
    press(client, page, "yes")
    assert [issue.number for issue in other.issues.in_order()] == ["1", "2", "3", "4"]


def test_an_issue_that_is_missing_comes_where_it_ran(series: Series, lead_client: Client) -> None:
    make_issues(series, 4)
    text = taken_along(lead_client, series, "issues")
    series.issues.filter(number="2").delete()
    press(lead_client, brought(lead_client, series, "issues", text), "yes")
    assert [issue.number for issue in series.issues.in_order()] == ["1", "2", "3", "4"]


def test_dates_that_run_backwards_are_said(series: Series, lead_client: Client) -> None:
    rows = "issue,date\n3,2026-03-01\n2,2026-02-01\n1,2026-01-01\n"
    assert "begin with the newest issue" in brought(lead_client, series, "issues", rows).content.decode()
    forwards = "issue,date\n1,2026-01-01\n2,2026-02-01\n"
    assert "begin with the newest issue" not in brought(lead_client, series, "issues", forwards).content.decode()


def test_a_place_in_the_running_order_is_a_number(series: Series, lead_client: Client) -> None:
    page = brought(lead_client, series, "issues", "issue,running order\n1,²\n2,2\n3,1\n")
    assert "“²” is no place in the running order" in page.content.decode()
    press(lead_client, page, "yes")
    assert [issue.number for issue in series.issues.in_order()] == ["3", "2"]


@pytest.fixture
def coats(series: Series, lead: User) -> Series:
    """A coat locked from the first issue's position on and changed with the third, boots always the same."""
    one, _, three = make_issues(series, 3)
    coat, boots = make_part(series, name="coat"), make_part(series, name="boots")
    make_lock(coat, "YR2", by=lead, from_position=one.position)
    make_lock(coat, "YR", by=lead, from_position=three.position)
    make_lock(boots, "B2", by=lead, from_position=one.position)
    make_mark(make_guide(one, by=lead), "YR2", part=coat)
    return series


def changed(text: str, part: str, code: str) -> str:
    """The file with one code changed, as in a spreadsheet."""
    rows = list(csv.DictReader(io.StringIO(text)))
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows(row | ({"code": code} if row["part"] == part else {}) for row in rows)
    return out.getvalue()


def test_the_bibles_own_table_says_what_holds_already(coats: Series, lead_client: Client) -> None:
    before = standing(coats)
    page = brought(lead_client, coats, "bible", taken_along(lead_client, coats, "bible"))
    assert [row[3] for row in cells(page, "So already")] == ["coat", "coat", "boots"]
    assert "0</strong> of 3 rows would be taken" in page.content.decode()
    assert standing(coats) == before


def test_a_code_changed_in_a_spreadsheet_asks_from_which_issue(coats: Series, lead_client: Client) -> None:
    first, _, third = coats.issues.in_order()
    text = changed(taken_along(lead_client, coats, "bible"), "boots", "B")
    page = brought(lead_client, coats, "bible", text)
    [row] = cells(page, "Cannot be taken")
    assert row[3:5] == ["boots", "base"]
    assert "B2 is locked for boots: say from which issue B holds." in row[5]
    assert "Its columns of inks say C25: the code counts." in row[5]
    assert not lxml.html.fromstring(page.content).xpath("//details//*[@name='changes_from']"), "asked, so in sight"
    again = press(lead_client, page, "look", changes_from="3")
    [row] = cells(again, "Would supersede")
    assert "locked to B from issue 3 on, over B2" in row[-1]
    press(lead_client, again, "yes", changes_from="3")
    assert standing(coats) == [
        ("B2", first.position, third.position),
        ("B", third.position, None),
        ("YR2", first.position, third.position),
        ("YR", third.position, None),
    ]
    settled = brought(lead_client, coats, "bible", text)
    assert [row[3] for row in cells(settled, "So already")] == ["coat", "coat", "boots"], "nothing is asked again"


def test_an_unknown_issue_for_changes_is_refused(coats: Series, lead_client: Client) -> None:
    page = brought(lead_client, coats, "bible", changed(taken_along(lead_client, coats, "bible"), "boots", "B"))
    refused = press(lead_client, page, "look", changes_from="99")
    assert refused.status_code == 422
    assert "There is no issue 99" in refused.content.decode()


def test_a_row_from_the_first_issue_on_replaces_what_holds_from_there(coats: Series, lead_client: Client) -> None:
    part = coats.locks.get(written="B2").part
    row = f"subject,costume,part,code,from\n{part.costume.subject},{part.costume},boots,Y,1\n"
    press(lead_client, brought(lead_client, coats, "bible", row), "yes")
    assert [code for code, _, _ in standing(coats)] == ["Y", "YR2", "YR"]


def test_what_is_new_is_seen_before_the_yes(coats: Series, lead_client: Client) -> None:
    there, typed = "Tamsin Wherry", "Tamsin Wherrie"
    Subject.objects.filter(series=coats, costumes__parts__name="coat").update(name=there)
    page = brought(lead_client, coats, "bible", f"subject,part,code\n{typed},coat,Y\n{there},scarf,Y\n")
    rows = cells(page, "Would be added")
    assert rows[0][1:5] == [f"{typed} new", "as drawn new", "coat new", "base"]
    assert rows[1][1] == there
    assert f"the subject “{typed}” would be new, and “{there}” is there already" in page.content.decode()
    assert not Subject.objects.filter(name=typed).exists()


def test_costumes_come_back_in_another_series_when_they_did(series: Series, lead: User, lead_client: Client) -> None:
    issues = make_issues(series, 6)
    costume = make_costume(
        make_subject(series, name="Ada"),
        name="work coat",
        worn=[
            Stretch(0, issues[2].position),
            Stretch(issues[3].position, issues[4].position),
            Stretch(issues[5].position),
        ],
    )
    make_lock(make_part(costume=costume, name="coat"), "YR", by=lead)
    text = taken_along(lead_client, series, "bible")
    assert "- 2; 4; 6 -" in text
    other = make_series()
    there = make_issues(other, 6)
    client = client_of(make_member(other))
    press(client, brought(client, other, "bible", text), "yes")
    made = Costume.objects.get(subject__series=other)
    assert made.worn == (
        Stretch(0, there[2].position),
        Stretch(there[3].position, there[4].position),
        Stretch(there[5].position),
    )
    again = brought(client, other, "bible", text)
    assert "is locked to YR already" in again.content.decode()
    another = brought(client, other, "bible", text.replace("- 2; 4; 6 -", "1 - 3"))
    assert "that is changed on its own page" in another.content.decode()
    unknown = brought(client, other, "bible", text.replace("- 2; 4; 6 -", "1 - 77"))
    assert "names no issues of this series" in unknown.content.decode()
