"""``manage.py import_csv SERIES FILE``: subjects and locks, issues or marks from a table."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.contrib.auth import get_user_model
from django.core.management.base import CommandParser

from bible.management.output import JsonCommand
from bible.models import Issue, Series
from guides.imports.fates import Fates, State
from guides.imports.formats import ACCEPTED_WORDS
from guides.imports.opening import FIELDS, Columns, Opened
from guides.imports.questions import Answers, Question
from guides.imports.services import Unanswered, missing, open_for, take, try_out
from guides.imports.workbooks import UnreadableTable, column_name
from guides.models import BroughtTable

SHOWN = 50
"""Rows told on a terminal, of those that cannot be taken."""


def told(question: Question) -> dict[str, Any]:
    """A question as JSON says it."""
    asked = {"key": question.key, "words": question.words, "about": list(question.about)}
    return asked | {"answers": dict(question.choices), "given": question.given or None}


def asked_for(questions: tuple[Question, ...]) -> str:
    """Open questions for a terminal, with what can be answered."""
    lines = []
    for question in questions:
        answers = " or ".join(f"--answer {question.key}={value} ({words})" for value, words in question.choices)
        lines += [question.words, *(f"  {case}" for case in question.about), f"  {answers}"]
    return "\n".join(lines)


class Command(JsonCommand):
    help = (
        "Bring subjects, parts and locks, issues, or marks in from a table. Without --yes it only says what"
        " would happen. Exits 1 when rows cannot be taken: the others are."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("series", help="short name of the series")
        parser.add_argument("file", type=Path, help=ACCEPTED_WORDS)
        parser.add_argument("--kind", choices=BroughtTable.Kind.values, default=BroughtTable.Kind.BIBLE.value)
        parser.add_argument(
            "--column", action="append", default=[], metavar="FIELD=LETTER", help="which column says what: code=C"
        )
        parser.add_argument("--as", dest="person", help="user name that the rows are taken for; else the lead's")
        parser.add_argument(
            "--changes-from",
            metavar="ISSUE",
            help="from which issue codes hold that rows without an issue change",
        )
        parser.add_argument(
            "--answer",
            action="append",
            default=[],
            metavar="QUESTION=ANSWER",
            help="what the table leaves open, as it is asked without --yes: near=same",
        )
        parser.add_argument("--yes", action="store_true", help="take the rows")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, kind = options["json"], options["kind"]
        series = self.series(options["series"], as_json=as_json)
        try:
            answers = self._answers(options["answer"], as_json=as_json)
            opened = open_for(series, kind, options["file"].read_bytes(), options["file"].name, answers)
        except OSError as error:
            self.refuse(f"{options['file']} cannot be read: {error.strerror}.", as_json=as_json)
        except UnreadableTable as error:
            self.refuse(str(error), as_json=as_json)
        columns = self._columns(kind, opened, options["column"], as_json=as_json)
        person = self._person(series, options["person"], as_json=as_json)
        since = self._issue(series, options["changes_from"], as_json=as_json)
        if options["yes"]:
            terms: dict[str, Any] = {"columns": columns, "by": person, "changes_from": since, "answers": answers}
            try:
                fates = take(series=series, kind=kind, opened=opened, **terms)
            except Unanswered as error:
                self.refuse(f"{error} {asked_for(error.questions)}", as_json=as_json)
        else:
            fates = try_out(series, kind, opened, columns, person, since, answers).fates
        self._tell(fates, opened, columns, taken=options["yes"], as_json=as_json)
        if fates.count(State.WRONG):
            sys.exit(1)

    def _columns(self, kind: str, opened: Opened, pairs: list[str], *, as_json: bool) -> Columns:
        columns = dict(opened.headings.guess)
        letters = {column_name(at): at for at in range(opened.grid.width)}
        for pair in pairs:
            field, _, letter = pair.partition("=")
            if field not in columns or letter.upper() not in letters:
                known = ", ".join(field.name for field in FIELDS[kind])
                self.refuse(f"“{pair}” names no field or no column. Fields: {known}.", as_json=as_json)
            columns[field] = letters[letter.upper()]
        if lacking := missing(kind, columns):
            named = ", ".join(f"{field.name} ({field.label})" for field in lacking)
            self.refuse(f"No column was recognised for {named}: say it with --column.", as_json=as_json)
        return columns

    def _answers(self, answers: list[str], *, as_json: bool) -> Answers:
        pairs = [answer.partition("=")[::2] for answer in answers]
        if any(not (key and value) for key, value in pairs):
            self.refuse("An answer is written as QUESTION=ANSWER, such as near=same.", as_json=as_json)
        return dict(pairs)

    def _person(self, series: Series, name: str | None, *, as_json: bool) -> Any:
        people = get_user_model().objects.filter(memberships__series=series)
        person = (
            people.filter(username=name).first()
            if name
            else people.filter(memberships__role="lead", memberships__series=series).order_by("pk").first()
        )
        if person is None:
            self.refuse(f"{name or 'A lead colourist'} is not among the people of {series}.", as_json=as_json)
        return person

    def _issue(self, series: Series, number: str | None, *, as_json: bool) -> Issue | None:
        issue = series.issues.called(number).first() if number else None
        if number and issue is None:
            self.refuse(f"There is no issue {number} in {series}.", as_json=as_json)
        return issue

    def _tell(self, fates: Fates, opened: Opened, columns: Columns, *, taken: bool, as_json: bool) -> None:
        if as_json:
            rows = [
                {"line": fate.line, "fate": fate.state.value, "words": fate.words}
                | {"names": list(fate.names), "new": [fate.names[place] for place in sorted(fate.new)]}
                for fate in fates.rows
            ]
            named = {name: None if at is None else column_name(at) for name, at in columns.items()}
            self.say(
                {"taken": taken, "columns": named, "counts": fates.counts, "rows": rows}
                | {"notices": [*opened.notices, *fates.told, *fates.notes], "not_read": list(fates.unread)}
                | {"questions": [told(question) for question in fates.questions if question.key != "headings"]}
            )
            return
        for notice in (*opened.notices, *fates.told, *fates.notes):
            self.stdout.write(notice)
        for column in fates.unread:
            self.stdout.write(f"Not read: column {column}.")
        if fates.open:
            self.stdout.write(asked_for(fates.open))
        for fate in fates.in_state(State.WRONG)[:SHOWN]:
            self.stdout.write(f"line {fate.line}: {fate.words}")
        counts = fates.counts
        done = "Taken" if taken else "Would be taken (say --yes)"
        self.stdout.write(
            f"{done}: {counts['added']} added, {counts['changed']} changed, {counts['same']} so already,"
            f" {counts['wrong']} left out."
        )
