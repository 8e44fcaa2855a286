"""The screens and the command that bring tables in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from bible.models import Lock, Series
from guides.models import BroughtTable
from tests.factories import make_issues, make_lock, make_part, make_series
from tests.forms import form_of, text_of
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db

TABLE = b"Subject,Costume,Part,Code\nThea,work coat,coat,YR3B2\nThea,work coat,hat,QQ\n"


def send(client: Client, series: Series, data: bytes = TABLE, kind: str = "bible", name: str = "cast.csv") -> Any:
    address = reverse("bring-marks-table" if kind == "marks" else f"bring-{kind}", args=[series.slug])
    return client.post(address, {"file": SimpleUploadedFile(name, data)})


def rows_address(series: Series) -> str:
    return reverse("bring-bible-rows", args=[series.slug, BroughtTable.objects.latest("pk").pk])


def answers(response: Any) -> dict[str, Any]:
    """What the page's own form would send with its yes."""
    form = response.context["form"]
    return {field.name: field.value() or "" for field in form} | {
        "shown": response.context["fates"].token,
        "yes": "1",
    }


def test_enter_takes_the_rows_and_looking_again_says_so(series: Series, lead_client: Client) -> None:
    send(lead_client, series)
    page = lead_client.get(rows_address(series))
    form = form_of(page, has="code")
    submits = form.element.xpath(".//button[@type='submit']")
    assert [(one.get("name"), "main" in one.get("class", "")) for one in submits] == [("yes", True), ("look", False)]
    assert "Looked again" not in text_of(page)
    assert "Looked again" in text_of(form.press(lead_client, "Look again"))
    none = send(lead_client, series, b"Subject,Costume,Part,Code\nThea,work coat,hat,QQ\n")
    submits = form_of(lead_client.get(none.headers["Location"]), has="code").element.xpath(
        ".//button[@type='submit']"
    )
    assert [(one.get("name"), one.get("class")) for one in submits] == [("look", "main")]


def test_from_file_to_bible(series: Series, lead_client: Client) -> None:
    response = send(lead_client, series)
    assert response.headers["Location"] == rows_address(series)
    page = lead_client.get(rows_address(series))
    text = page.content.decode()
    assert "1 of 2 rows would be taken, 1 cannot be." in text_of(page)
    assert "Yes, take 1 row and leave 1 out" in text
    assert "QQ" in text
    assert not Lock.objects.exists()
    done = lead_client.post(rows_address(series), answers(page))
    assert done.status_code == 302
    assert Lock.objects.get().written == "YR3B2"
    after = lead_client.get(rows_address(series)).content.decode()
    assert "Brought in by" in after
    assert "cast.csv" in lead_client.get(reverse("bring-bible", args=[series.slug])).content.decode()


def test_a_column_named_otherwise(series: Series, lead_client: Client) -> None:
    send(lead_client, series, b"a,b,c\nThea,coat,Y\n")
    page = lead_client.get(rows_address(series))
    assert "No headings were recognised" in page.content.decode()
    assert "fates" not in page.context
    assert "Say which column" not in page.content.decode(), "nobody has said anything yet"
    wrong = lead_client.post(rows_address(series), {"subject": "0", "part": "0", "code": "2", "look": "1"})
    assert wrong.status_code == 422
    assert "Column A is named" in wrong.content.decode()
    none = lead_client.post(rows_address(series), {"part": "1", "look": "1"})
    assert "Say which column this is" in none.content.decode()
    shown = lead_client.post(rows_address(series), {"subject": "0", "part": "1", "code": "2", "look": "1"})
    assert shown.status_code == 200
    assert "“c”" in text_of(shown)
    lead_client.post(rows_address(series), answers(shown))
    # Without headings the first line is a row too; its code cannot be read.
    assert Lock.objects.get().part.full_name == "Thea, as drawn: coat"


@pytest.mark.parametrize("line", ["2", "9", "9" * 30, "²", "-1"])
def test_headings_with_nothing_below_are_refused_and_the_table_is_still_there(
    series: Series, lead_client: Client, line: str
) -> None:
    send(lead_client, series, b"Subject,Costume,Part,Code\nThea,coat,coat,Y\n")
    page = lead_client.get(rows_address(series))
    for button in ("look", "yes"):
        said = answers(page) | {"answer-headings": line, button: "1"}
        again = lead_client.post(rows_address(series), said)
        assert again.status_code == 422 if line == "2" else again.status_code in (200, 302)
        assert ("There is nothing below the headings." in again.content.decode()) is (line == "2")
    assert Lock.objects.exists() is (line != "2"), "where no line is named, the headings are those that were shown"
    if line == "2":
        assert form_of(lead_client.get(rows_address(series)), has="code")


def test_a_yes_to_something_else_shows_again(series: Series, lead: User, lead_client: Client) -> None:
    part = make_part(series)
    table = f"Subject,Costume,Part,Code\n{part.costume.subject},{part.costume},{part.name},R\n".encode()
    send(lead_client, series, table)
    page = lead_client.get(rows_address(series))
    make_lock(part, "Y", by=lead)
    again = lead_client.post(rows_address(series), answers(page))
    assert again.status_code == 422
    assert "has changed since this was shown" in again.content.decode()
    assert "over Y locked by" in again.content.decode()
    assert lead_client.post(rows_address(series), answers(again)).status_code == 302


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"Subject,Part\n", "nothing below"),
        (b"\xd0\xcf\x11\xe0", "damaged or none"),
        (b"\x00\x01", "no text"),
    ],
)
def test_files_that_are_no_tables(series: Series, lead_client: Client, data: bytes, why: str) -> None:
    response = send(lead_client, series, data)
    assert response.status_code == 422
    assert why in response.content.decode()
    assert not BroughtTable.objects.exists()


def test_no_file_and_other_methods(series: Series, lead_client: Client) -> None:
    assert lead_client.post(reverse("bring-bible", args=[series.slug])).status_code == 422
    methods_are_refused(lead_client, reverse("bring-bible", args=[series.slug]), "put", "delete")
    send(lead_client, series)
    methods_are_refused(lead_client, rows_address(series), "put", "delete")


def test_a_table_of_one_kind_is_not_opened_as_another(series: Series, lead_client: Client) -> None:
    send(lead_client, series)
    pk = BroughtTable.objects.get().pk
    assert lead_client.get(reverse("bring-marks-rows", args=[series.slug, pk])).status_code == 404


def test_who_may(series: Series) -> None:
    allowed = {"bible": {"lead"}, "marks": {"lead", "fill-in"}, "issues": {"lead", "editor"}}
    for kind, roles in allowed.items():
        address = reverse("bring-marks-table" if kind == "marks" else f"bring-{kind}", args=[series.slug])
        for role in ("lead", "fill-in", "editor", "guest"):
            status = member_client(series, role).get(address).status_code
            assert status == (200 if role in roles else 403), (kind, role)
        assert member_client(make_series(), "lead").get(address).status_code == 404
        assert Client().get(address).status_code == 302


def test_file_names_and_cells_are_never_markup(series: Series, lead_client: Client) -> None:
    nasty = "<script>alert(1)</script>"
    send(lead_client, series, f'Subject,Part,Code\n"{nasty}",coat,Y\n'.encode(), name=f"{nasty}.csv")
    page = lead_client.get(rows_address(series)).content.decode()
    assert nasty not in page
    assert "&lt;script&gt;" in page


def command(*args: Any, capsys: pytest.CaptureFixture[str]) -> tuple[int, Any]:
    status = 0
    try:
        call_command("import_csv", *map(str, args), "--json")
    except SystemExit as stop:
        status = int(str(stop.code))
    return status, json.loads(capsys.readouterr().out)


def test_command(series: Series, lead: User, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "cast.csv"
    path.write_bytes(TABLE)
    status, said = command(series.slug, path, capsys=capsys)
    assert (status, said["taken"], said["counts"]) == (1, False, {"added": 1, "changed": 0, "same": 0, "wrong": 1})
    assert said["columns"]["code"] == "D"
    assert not Lock.objects.exists()
    status, said = command(series.slug, path, "--yes", capsys=capsys)
    assert (status, said["taken"]) == (1, True)
    assert Lock.objects.get().decided_by == lead
    status, said = command(series.slug, path, "--yes", "--column", "note=Z", capsys=capsys)
    assert (status, "names no field" in said["error"]) == (2, True)
    status, said = command(series.slug, path, "--as", "nobody", capsys=capsys)
    assert (status, "not among the people" in said["error"]) == (2, True)
    status, said = command(series.slug, tmp_path / "none.csv", capsys=capsys)
    assert (status, "cannot be read" in said["error"]) == (2, True)
    path.write_bytes(b"a,b\n1,2\n")
    status, said = command(series.slug, path, capsys=capsys)
    assert (status, "No column was recognised for subject" in said["error"]) == (2, True)


def test_command_asks_its_questions_as_json(
    series: Series, lead: User, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "cast.csv"
    path.write_bytes(b"Subject,Costume,Part,Code\nMara / Tom,work coat,coat,YR3B2\n")
    status, answer = command(series.slug, path, capsys=capsys)
    assert (status, answer["taken"]) == (0, False)
    (question,) = answer["questions"]
    assert (question["key"], question["given"]) == ("several-subjects", None)
    assert "line 2: “Mara / Tom”" in question["words"]
    assert list(question["answers"]) == ["each", "one", "costume"]
    status, answer = command(series.slug, path, "--yes", capsys=capsys)
    assert (status, "--answer several-subjects=each" in answer["error"]) == (2, True)
    assert not Lock.objects.exists()
    status, answer = command(series.slug, path, "--yes", "--answer", "several-subjects=each", capsys=capsys)
    assert (status, answer["questions"][0]["given"]) == (0, "each")
    subjects = Lock.objects.values_list("part__costume__subject__name", flat=True)
    assert sorted(subjects) == ["Mara", "Tom"]


def test_command_in_words(series: Series, lead: User, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    make_issues(series, 1)
    path = tmp_path / "issues.csv"
    path.write_bytes("Issue;Title\n1;Café\n2;Net\n".encode("cp1252"))
    call_command("import_csv", series.slug, str(path), "--kind", "issues")
    told = capsys.readouterr().out
    assert "Windows-1252" in told
    assert "Would be taken (say --yes): 1 added, 1 changed, 0 so already, 0 left out." in told
    with pytest.raises(CommandError, match="no series"):
        call_command("import_csv", "nowhere", str(path))
