"""Changing how codes read, with its consequences said first; and the chart audit."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.chart.forms import fingerprint
from bible.colour.charts import CHART_64
from bible.colour.notation import LETTERS_64
from bible.colour.tints import Tint
from bible.models.fields import NoTint
from guides.core.continuity import discrepancies
from guides.models import Mark
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series


def address(name: str) -> str:
    return reverse(name, args=["slow-river"])


def settings(**overrides: Any) -> dict[str, Any]:
    """The classic notation as its form is sent."""
    return {
        "letters": "BRYK",
        "paper": "W",
        "steps": "alone = 100\n3 = 50\n2 = 25",
        "aliases": "",
        "order": "ymck",
        "style": "letters",
        "chart_kind": "64",
        "seen": fingerprint(LETTERS_64, "64"),
    } | overrides


def shown(answer: Any) -> dict[str, Any]:
    """What the shown form would send again, hidden fields and all, with a yes."""
    form = answer.context["form"]
    return {name: form[name].value() or "" for name in form.fields} | {"yes": "1"}


@pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
def test_only_leads_change_the_notation_or_the_chart(series: Any, client: Client, role: str) -> None:
    client.force_login(make_member(series, role))
    assert client.get(address("notation")).status_code == 200
    assert client.get(address("edit-notation")).status_code == 403
    assert client.post(address("edit-notation"), settings(style="percent", yes="1")).status_code == 403
    assert client.post(address("house-chart"), {"table": "Y;0;0;100", "yes": "1"}).status_code == 403
    series.refresh_from_db()
    assert series.notation == LETTERS_64
    assert series.chart_kind == "64"


def test_people_of_other_series_and_nobody_at_all_get_nowhere(series: Any, client: Client) -> None:
    for status in (302, 404):
        for name in ("edit-notation", "house-chart", "chart-audit"):
            assert client.post(address(name), settings(yes="1")).status_code == status
        client.force_login(make_member(make_series()))


def test_what_would_change_is_said_and_nothing_saved(series: Any, lead_client: Client) -> None:
    issues = [make_issue(series), make_issue(series)]
    part = make_part(series)
    make_lock(part, "R")
    for issue in issues:
        guide = make_guide(issue)
        make_mark(guide, "R4", part=part)
        make_mark(guide, "YR3B2")
    make_mark(make_guide(issues[1]), "R4")
    answer = lead_client.post(address("edit-notation"), settings(aliases="R4 = 100"))
    assert answer.status_code == 200
    preview = answer.context["preview"]
    [change] = preview.changes
    assert (change.text, change.before, change.after, change.marks) == ("R4", NoTint.UNREADABLE, Tint(m=100), 3)
    assert preview.issues == ((issues[1].number, 2), (issues[0].number, 1))
    assert (preview.opens, preview.closes) == (0, 2)
    series.refresh_from_db()
    assert series.notation.aliases == ()
    assert Mark.objects.filter(written="R4", tint=NoTint.UNREADABLE.value).count() == 3


def test_a_series_gives_black_codes_of_its_own(series: Any, lead_client: Client) -> None:
    part = make_part(series)
    make_lock(part, "YR")
    guide = make_guide(make_issue(series))
    coat, held = (make_mark(guide, text, part=part) for text in ("YRK3", "YR"))
    assert coat.tint is NoTint.UNREADABLE
    asked = settings(key_steps="alone = 100\n3 = 50")
    answer = lead_client.post(address("edit-notation"), asked)
    assert [(change.text, change.after) for change in answer.context["preview"].changes] == [
        ("YRK3", Tint(m=100, y=100, k=50))
    ]
    assert not answer.context["preview"].unwritten
    assert lead_client.post(address("edit-notation"), shown(answer)).status_code == 302
    series.refresh_from_db()
    assert (len(series.chart), series.chart_kind) == (192, "64")
    coat.refresh_from_db()
    assert (coat.written, series.write(coat.tint)) == ("YRK3", "YRK3")
    assert [mark.pk for mark in Mark.objects.flagged()] == [coat.pk]
    assert held.tint == Tint(m=100, y=100)
    assert not discrepancies(series)
    sheets = lead_client.get(address("chart")).context["layout"].sheets
    assert [sheet.key for sheet in sheets] == [0] * 4 + [50] * 4 + [100] * 4
    assert "key" in lead_client.get(reverse("tint", args=["slow-river", coat.tint])).content.decode()
    rows = lead_client.get(address("chart"), {"as": "csv"}).getvalue().decode()
    assert "YRK3" in rows
    answer = lead_client.post(address("edit-notation"), {**asked, "seen": "", "key_steps": "alone = 50"})
    assert answer.context["form"].errors["key_steps"] == [
        "Solid key is its letter alone, and its letter alone is solid."
    ]


def test_a_house_list_keeps_to_what_it_lists_whatever_key_is_coded(series: Any, lead_client: Client) -> None:
    table = "paper;0;0;0;0\nY;0;0;100;0\nblack;0;0;0;100"
    answer = lead_client.post(address("house-chart"), {"table": table})
    lead_client.post(address("house-chart"), {"table": table, "yes": "1", "previewed": answer.context["previewed"]})
    asked = settings(chart_kind="house", key_steps="alone = 100\n3 = 50", seen=fingerprint(LETTERS_64, "house"))
    assert lead_client.post(address("edit-notation"), shown(lead_client.post(address("edit-notation"), asked)))
    series.refresh_from_db()
    assert series.notation.key_levels == (100, 50)
    assert series.chart.tints == (Tint(), Tint(y=100), Tint(k=100))


def test_a_yes_saves_and_never_rewrites_what_was_written(series: Any, lead_client: Client) -> None:
    part = make_part(series)
    make_lock(part, "R")
    mark = make_mark(make_guide(make_issue(series)), "r 4", part=part)
    answer = lead_client.post(address("edit-notation"), settings(aliases="R4 = 100"))
    assert lead_client.post(address("edit-notation"), shown(answer)).status_code == 302
    series.refresh_from_db()
    mark.refresh_from_db()
    assert series.notation.aliases == (("R4", 100),)
    assert mark.written == "r 4"
    assert mark.tint == Tint(m=100)
    assert not Mark.objects.flagged().exists()
    assert not discrepancies(series)


def test_the_preview_is_what_saving_does(series: Any, lead_client: Client) -> None:
    """Each kind of change: another tint, no reading any more, a reading at last."""
    part = make_part(series)
    make_lock(part, "Y3")
    guide = make_guide(make_issue(series))
    for text in ("Y3", "Y2", "R4", "YR3B2", "W", "", "G7"):
        make_mark(guide, text, part=part)
    before = {mark.pk: mark.tint for mark in Mark.objects.all()}
    flagged = Mark.objects.flagged().count()
    answer = lead_client.post(address("edit-notation"), settings(steps="alone = 100\n2 = 50\n4 = 25"))
    preview = answer.context["preview"]
    lead_client.post(address("edit-notation"), shown(answer))
    changed = {mark.written for mark in Mark.objects.all() if mark.tint != before[mark.pk]}
    assert changed == {change.text for change in preview.changes} == {"Y3", "Y2", "R4", "YR3B2"}
    assert {change.text: change.after for change in preview.changes} == {
        mark.written: mark.tint for mark in Mark.objects.all() if mark.written in changed
    }
    assert Mark.objects.flagged().count() == flagged + preview.opens - preview.closes


def test_the_second_code_of_a_gradient_counts_too(series: Any, lead_client: Client) -> None:
    issue = make_issue(series)
    guide = make_guide(issue)
    make_mark(guide, "YR", to=(0.6, 0.6), to_written="R4")
    make_mark(guide, "R4", to=(0.6, 0.6), to_written="R4")
    make_mark(guide, "Y", to=(0.6, 0.6), to_written="W")
    preview = lead_client.post(address("edit-notation"), settings(aliases="R4 = 50")).context["preview"]
    [change] = preview.changes
    assert (change.text, change.marks) == ("R4", 2)
    assert preview.marks == 2
    assert preview.issues == ((issue.number, 2),)


def test_a_yes_to_something_else_than_was_shown_shows_that_first(series: Any, lead_client: Client) -> None:
    answer = lead_client.post(address("edit-notation"), settings(aliases="R4 = 100"))
    answer = lead_client.post(address("edit-notation"), shown(answer) | {"aliases": "R4 = 50"})
    assert answer.status_code == 200
    series.refresh_from_db()
    assert series.notation.aliases == ()
    lead_client.post(address("edit-notation"), shown(answer))
    series.refresh_from_db()
    assert series.notation.aliases == (("R4", 50),)


def test_a_yes_without_a_preview_saves_nothing(series: Any, lead_client: Client) -> None:
    assert lead_client.post(address("edit-notation"), settings(style="percent", yes="1")).status_code == 200
    series.refresh_from_db()
    assert series.notation.style == "letters"


def test_settings_changed_meanwhile_are_not_undone_unseen(series: Any, lead_client: Client) -> None:
    mine = lead_client.post(address("edit-notation"), settings(aliases="R4 = 100"))
    theirs = lead_client.post(address("edit-notation"), settings(style="percent"))
    lead_client.post(address("edit-notation"), shown(theirs))
    answer = lead_client.post(address("edit-notation"), shown(mine))
    assert answer.status_code == 422
    assert "meanwhile" in answer.content.decode()
    series.refresh_from_db()
    assert series.notation.style == "percent"
    assert lead_client.post(address("edit-notation"), shown(answer)).status_code == 302


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("letters", "BRRK"),
        ("letters", "BRY"),
        ("letters", "CRYK1"),
        ("letters", "MRYK"),
        ("paper", "Y"),
        ("paper", "7"),
        ("steps", "3 = 50\n3 = 25"),
        ("steps", "3 = 50\n2 = 50"),
        ("steps", "3 = 0"),
        ("steps", "50 = 25"),
        ("steps", "3"),
        ("steps", "x = 20"),
        ("steps", "3 = 2.5"),
        ("steps", ""),
        ("aliases", "R3 = 25"),
        ("aliases", "Q4 = 100"),
        ("aliases", "R4 = 101"),
        ("aliases", "R4 = 100\nr4 = 50"),
        ("order", "ymc"),
        ("style", "runes"),
        ("chart_kind", "house"),
        ("chart_kind", "999"),
    ],
)
def test_contradictions_are_refused_beside_their_field(
    series: Any, lead_client: Client, field: str, value: str
) -> None:
    answer = lead_client.post(address("edit-notation"), settings(**{field: value}) | {"yes": "1"})
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]
    assert 'class="wrong"' in answer.content.decode()
    assert answer.context["form"][field].value() == value
    series.refresh_from_db()
    assert series.notation == LETTERS_64


def test_another_chart_says_which_locks_it_leaves_out(series: Any, lead_client: Client) -> None:
    series.chart_kind = "125-75"
    series.save()
    make_lock(make_part(series), "C75 M0 Y0")
    asked = settings(seen=fingerprint(series.notation, "125-75"))
    preview = lead_client.post(address("edit-notation"), asked).context["preview"]
    assert preview.locks_off == (Tint(c=75),)


def test_a_chart_with_a_strength_that_has_no_figure_is_said(series: Any, lead_client: Client) -> None:
    answer = lead_client.post(address("edit-notation"), settings(chart_kind="125-70"))
    assert answer.context["preview"].unwritten == (70,)
    assert "written in percentages" in answer.content.decode()


def test_the_preview_asks_the_same_however_many_marks(series: Any, lead_client: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            lead_client.post(address("edit-notation"), settings(aliases="R4 = 100"))
        return len(caught)

    make_mark(make_guide(make_issue(series)), "R4")
    before = queries()
    for _ in range(3):
        guide = make_guide(make_issue(series))
        for text in ("R4", "YR4", "B2R4"):
            make_mark(guide, text)
    assert queries() == before


def test_how_codes_are_written_is_there_for_everybody(series: Any, fill_in_client: Client) -> None:
    page = fill_in_client.get(address("notation")).content.decode()
    assert "letter alone = 100 %" in page
    assert "yellow, magenta, cyan, key" in page
    assert "Change it" not in page


MISPRINT = "label;c;m;y\nW;0;0;0\nY;0;0;100\nB;100;0;0\nYR3;0;50;50\nYRB;100;100;100\n"
"""Printed charts have had 50 % yellow + 50 % red labelled as solid yellow + 50 % red (common practice, no source)."""


def test_the_audit_finds_the_known_misprint_for_everybody(series: Any, fill_in_client: Client) -> None:
    answer = fill_in_client.post(address("chart-audit"), {"table": MISPRINT})
    [finding] = answer.context["findings"]
    assert (finding.line, finding.label, finding.tint) == (5, "YR3", Tint(m=50, y=50))
    page = answer.content.decode()
    assert "label says another tint" in page
    assert "house chart" not in page


def test_the_audit_takes_a_file_and_an_ink_limit(series: Any, lead_client: Client) -> None:
    rows = "\n".join(",".join([LETTERS_64.write(tint), *map(str, tint.percentages[:3])]) for tint in CHART_64.tints)
    file = SimpleUploadedFile("chart.csv", rows.encode("utf-16"))
    answer = lead_client.post(address("chart-audit"), {"file": file, "ink_limit": "250"})
    assert [finding.tint.total_ink for finding in answer.context["findings"]] == [300]
    assert answer.context["audit"].swatch_count == 64


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({}, "__all__"),
        ({"table": "   "}, "__all__"),
        ({"table": "label;c;m;y"}, "table"),
        ({"table": MISPRINT, "ink_limit": "many"}, "ink_limit"),
        ({"table": MISPRINT, "ink_limit": "401"}, "ink_limit"),
    ],
)
def test_an_audit_of_nothing_is_refused(series: Any, lead_client: Client, data: dict[str, str], field: str) -> None:
    answer = lead_client.post(address("chart-audit"), data)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]


def test_files_that_are_no_table_are_refused(series: Any, lead_client: Client) -> None:
    for content in (b"\x00\x01\x02", b"x" * 1_000_001):
        answer = lead_client.post(address("chart-audit"), {"file": SimpleUploadedFile("c.csv", content)})
        assert answer.status_code == 422
        assert list(answer.context["form"].errors) == ["file"]


def test_bad_rows_are_told_by_line_and_the_good_ones_wait_for_a_yes(series: Any, lead_client: Client) -> None:
    make_mark(make_guide(make_issue(series)), "YR3B2")
    answer = lead_client.post(address("chart-audit"), {"table": MISPRINT + "Q;x;0;0\n"})
    assert "line 7" in answer.content.decode()
    asked = lead_client.post(address("house-chart"), {"table": answer.context["text"]})
    assert asked.context["preview"].changes[0].text == "YR3B2"
    series.refresh_from_db()
    assert series.chart_kind == "64"
    said = {"table": asked.context["text"], "previewed": asked.context["previewed"], "yes": "1"}
    assert lead_client.post(address("house-chart"), said).status_code == 302
    series.refresh_from_db()
    assert series.chart_kind == "house"
    assert series.chart.tints == (Tint(), Tint(y=100), Tint(c=100), Tint(m=50, y=50), Tint(100, 100, 100))
    assert Mark.objects.get().tint == NoTint.UNREADABLE
    assert lead_client.get(address("chart")).status_code == 200


@pytest.mark.parametrize("table", ["", "no chart at all", "Y;0;0;400", "\x00"])
def test_a_house_chart_of_nothing_is_refused(series: Any, lead_client: Client, table: str) -> None:
    answer = lead_client.post(address("house-chart"), {"table": table, "yes": "1"})
    assert answer.status_code == 422
    series.refresh_from_db()
    assert series.chart_kind == "64"


def test_a_yes_to_a_house_chart_that_was_not_shown_shows_it_first(series: Any, lead_client: Client) -> None:
    said = {"table": MISPRINT, "previewed": "0123456789abcdef", "yes": "1"}
    assert lead_client.post(address("house-chart"), said).status_code == 200
    series.refresh_from_db()
    assert series.chart_kind == "64"


def test_the_house_chart_is_kept_while_another_one_is_chosen(series: Any, lead_client: Client) -> None:
    series.chart_kind, series.chart_data = "house", [Tint().packed, Tint(y=100).packed]
    series.save()
    asked = settings(seen=fingerprint(series.notation, "house"))
    answer = lead_client.post(address("edit-notation"), asked)
    lead_client.post(address("edit-notation"), shown(answer))
    series.refresh_from_db()
    assert series.chart_kind == "64"
    answer = lead_client.post(address("edit-notation"), settings(chart_kind="house"))
    lead_client.post(address("edit-notation"), shown(answer))
    series.refresh_from_db()
    assert series.chart.tints == (Tint(), Tint(y=100))


def test_a_tint_counts_its_standing_marks_by_issue(series: Any, lead_client: Client) -> None:
    issues = [make_issue(series) for _ in range(2)]
    for issue in issues:
        make_mark(make_guide(issue), "YR3B2")
    gone = make_mark(make_guide(issues[0]), "YR3B2")
    Mark.objects.filter(pk=gone.pk).update(live=False)
    url = reverse("tint-marks", args=["slow-river", Tint(25, 50, 100, 0)])
    page = lead_client.get(url, headers={"HX-Request": "true"}).content.decode()
    assert "On <strong>2</strong> marks in 2 issues" in page
    assert "<html" not in page
    assert "<html" in lead_client.get(url).content.decode()
    none = reverse("tint-marks", args=["slow-river", Tint(0, 0, 0, 0)])
    assert "No mark" in lead_client.get(none).content.decode()
