"""What each row of a table says, field by field: blanks under a name filled from above, inks in columns of their own
made one code, notes beside a code kept apart, totals and legends left out. All of it is told. No Django in here."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from guides.imports.codes import plain_code, raised
from guides.imports.columns import repeats_headings
from guides.imports.dates import in_words, order_of, read_date
from guides.imports.feet import alone_of, asked_of_feet, asked_of_the_alone, feet_of, issue_in
from guides.imports.filling import Filler
from guides.imports.grid import GridRow
from guides.imports.inks import INK_FIELDS, InkScale, ink_code
from guides.imports.misplaced import Misplaced
from guides.imports.named_roles import NamedRoles
from guides.imports.opening import Columns, Opened
from guides.imports.parted_codes import PartedCodes
from guides.imports.questions import NO_ANSWERS, Answers, Question, ask
from guides.imports.retired import Retired
from guides.imports.series_words import SeriesWords
from guides.imports.several import SeveralNames
from guides.imports.texts import DITTO, alike, listed, normal, says_nothing
from guides.imports.workbooks import column_name

Said = dict[str, str]
"""A row by the names of its fields; what is not mapped is empty."""

_TOTALS = frozenset((
    "total", "totals", "sum", "sums", "subtotal", "summe", "gesamt", "gesamtsumme", "totaux", "somme", "suma",
    "totale", "somma", "合計", "小計", "計",
))  # fmt: skip
_LEGENDS = frozenset((
    "legend", "legende", "légende", "leyenda", "leggenda", "凡例", "key", "footnote", "footnotes", "fußnote",
))  # fmt: skip
CODE_FIELDS = {"bible": "code", "marks": "written"}
DATE_FIELDS = {"issues": ("published", "Cover date"), "assignments": ("due", "To be in by")}


@dataclass(frozen=True, slots=True)
class SaidRow:
    """A row as it is understood. ``at`` tells rows of one line apart; ``told`` is added to what becomes of it;
    ``wrong`` is why it cannot be taken at all."""

    at: int
    row: GridRow
    said: Said
    told: tuple[str, ...] = ()
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class FilledCell:
    """A fill where a code would stand: the nearest code, or none, and what is told of it."""

    code: str
    told: str


@dataclass(slots=True)
class Sayings:
    """A table's rows, what was assumed about them, which columns were not read, and what is asked."""

    rows: list[SaidRow] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)


class Sayer:
    """Reads the rows of one table with the columns as they are named."""

    def __init__(
        self,
        opened: Opened,
        kind: str,
        columns: Columns,
        words: SeriesWords,
        answers: Answers = NO_ANSWERS,
    ) -> None:
        self.opened, self.kind, self.answers = opened, kind, answers
        self.reads, self.role_words, self.words = words.reads, words.roles, words
        self.columns = {name: columns.get(name) for name in columns}
        self.used = {column for column in self.columns.values() if column is not None}
        self.spread = self._spread_columns()
        self.scale = InkScale.of(row.cell(self.columns.get(name)) for row in opened.rows for name in INK_FIELDS)
        self.filler = Filler(kind, answers)
        bible = opened.rows if kind == "bible" else ()
        self.alone = alone_of(bible, self.columns, self._coded)
        self.named_roles = self._named_roles()
        self.issue = ""
        self.feet = feet_of(bible, self.columns, self._coded)
        theirs = () if opened.ours else bible
        named = [row for row in theirs if row.line not in self.feet and row.line not in self.alone]
        self.several = SeveralNames.of(named, self.columns, words.known, words.roles)
        self.misplaced = Misplaced.of(named, self.columns, words.known, self.several)
        self.retired = Retired.of(theirs, self.columns, opened.headings)
        self.parted = PartedCodes.of(theirs, self.columns.get("code"), self.reads)
        self.lines: dict[str, list[int]] = defaultdict(list)
        self.nothing: Counter[str] = Counter()
        self.above: dict[int, str] = {}
        self.found = Sayings()
        self.fills = self._fills()

    def say(self) -> Sayings:
        """All rows."""
        date_order = self._date_order()
        below = False
        for row in self.opened.rows:
            below = below or self._begins_legend(row)
            if (below and sum(map(bool, row.cells)) <= 2) or self._is_total(row):
                self.lines["legend" if below else "total"].append(row.line)
                continue
            if row.line in self.alone and self.answers.get("alone") != "subjects":
                self.lines["alone"].append(row.line)
                self.issue = issue_in(self.alone[row.line]) or self.issue
                continue
            if row.line in self.feet and self.answers.get("feet") != "parts":
                continue
            for values, wrong in self._said(row):
                if self.retired.left_out(row.line, self.answers):
                    continue
                notices = [self.fills[row.line].told] if row.line in self.fills and self._takes_fills else []
                if not wrong:
                    wrong = self._code(values, notices)
                    self._date(values, notices, date_order)
                self.found.rows.append(SaidRow(len(self.found.rows), row, values, tuple(notices), wrong))
        self._tell()
        return self.found

    def _spread_columns(self) -> dict[int, str]:
        """Columns of codes whose headings are said across, by what their headings are."""
        opened = self.opened
        free = [at for at in opened.codes if at not in self.used]
        if self.kind != "bible" or opened.headings.row is None:
            return {}
        if opened.across not in ("", "none"):
            return {at: opened.across for at in free if opened.headings.row.cell(at)}
        return {at: "role" for at in free if normal(opened.headings.row.cell(at)) in self.role_words}

    def _said(self, row: GridRow) -> Iterator[tuple[Said, str]]:
        """What a line says: once, or once for each column of codes with something in it."""
        if repeats_headings(row, self.opened.headings):
            yield {}, "It repeats the headings."
            return
        wrong = self._looks_wrong(row)
        values = {name: self._cell(row, at) for name, at in self.columns.items()}
        if values.get("role"):
            values["role"] = self.role_words.get(normal(values["role"]), values["role"])
        if self._takes_fills and (fill := self.fills.get(row.line)):
            values["code"] = fill.code
            wrong = wrong or ("" if fill.code else fill.told)
        self.filler.fill(row.line, values, codes=[self._cell(row, at) for at in self.spread])
        self.named_roles.say(values, self.answers)
        self._say_issue(values)
        across = [(at, name) for at, name in self.spread.items() if self._cell(row, at)]
        meant = self.misplaced.say(values, row.line, self.answers)
        meant = (each for first in meant for each in self.several.say(first, self.answers))
        for meaning in (each for first in meant for each in self.parted.say(first, row.line, self.answers)):
            if values.get("code") or not across:
                yield dict(meaning), wrong
            before = ""
            for at, name in across:
                code = self._cell(row, at)
                if name != "first" or code != before:
                    yield meaning | {"code": code, name: self._heading(at, name)}, wrong
                before = code

    def _say_issue(self, values: Said) -> None:
        """The issue that a line of its own names above, where the row names none."""
        how = self.answers.get("alone")
        if (
            self.issue
            and how in ("issue", "issues")
            and not any(values.get(at) for at in ("issues", "first", "last"))
        ):
            values["first"] = self.issue
            values["last"] = self.issue if how == "issue" else ""

    @property
    def _takes_fills(self) -> bool:
        return self.answers.get("fills") == "nearest"

    def _fills(self) -> dict[int, FilledCell]:
        """By line, the fills that stand where a code would and nothing is written: of the column of codes, else of
        the only column that is filled and says nothing."""
        if self.kind != "bible" or self.opened.lying or self.words.nearest is None:
            return {}
        below = {row.line: row for row in self.opened.rows}
        blank = [fill for fill in self.opened.grid.fills if fill[0] in below and not below[fill[0]].cell(fill[1])]
        code = self.columns.get("code")
        columns = {
            at for _, at, _ in blank if at not in self.used and not any(row.cell(at) for row in below.values())
        }
        at = code if code is not None else columns.pop() if len(columns) == 1 else None
        filled = {}
        for line, column, colour in blank:
            if column == at:
                near = self.words.nearest(colour)
                notice = (
                    f"Its fill #{colour} is nearest to {near[0]}, CIEDE2000 {near[1]:.1f} away."
                    if near
                    else (
                        f"Its fill ({colour}) is a colour of the workbook's theme: give the cell a colour of its own."
                    )
                )
                filled[line] = FilledCell(near[0] if near else "", notice)
        return filled

    def _heading(self, column: int, name: str) -> str:
        row = self.opened.headings.row
        heading = row.cell(column) if row else ""
        return self.role_words.get(normal(heading), heading) if name == "role" else heading

    def _cell(self, row: GridRow, column: int | None) -> str:
        text = row.cell(column)
        if text and says_nothing(text):
            self.nothing[text] += 1
            return ""
        if text and column is not None and alike(text) in DITTO:
            self.lines["ditto"].append(row.line)
            return self.above.get(column, "")
        if text and column is not None:
            self.above[column] = text
        return text

    def _looks_wrong(self, row: GridRow) -> str:
        used = self.used | set(self.spread)
        if row.struck & used and row.struck >= {at for at in used if row.cell(at)}:
            return "It is struck through: if it still holds, take the stroke away."
        formulas = sorted(row.formulas & used)
        if empty := [at for at in formulas if not row.cell(at)]:
            cells = ", ".join(f"{column_name(at)}{row.line}" for at in empty)
            return f"{cells} holds a formula that came to nothing: open the file once in its own program and save it."
        if formulas:
            self.lines["formula"].append(row.line)
        if struck := sorted(row.struck & used):
            cells = ", ".join(f"{column_name(at)}{row.line}" for at in struck)
            return f"{cells} is struck through: empty it if it does not hold, else take the stroke away."
        return ""

    def _code(self, values: Said, notices: list[str]) -> str:
        """Makes the row's code one that the notation reads; why that cannot be."""
        name = CODE_FIELDS.get(self.kind)
        if name is None:
            return ""
        inks, wrong = ink_code(values, self.scale) if any(values.get(ink) for ink in INK_FIELDS) else ("", "")
        if not values.get(name) and (inks or wrong):
            values[name] = inks
            return wrong
        if not values.get(name):
            return ""
        if wrong := raised(values[name]):
            return wrong
        cell = plain_code(values[name], self.reads)
        if values.get("fades"):
            cell = replace(cell, code=f"{cell.code} to {plain_code(values['fades'], self.reads).code}")
        values[name] = cell.code
        if cell.told:
            notices.append(cell.told)
        if cell.note and "reason" in values:
            values["reason"] = "; ".join(filter(None, (values["reason"], cell.note)))
        if inks:
            values["inks"] = inks
        return ""

    def _date_order(self) -> str:
        column = self.columns.get(DATE_FIELDS[self.kind][0]) if self.kind in DATE_FIELDS else None
        if column is None:
            return ""
        order = order_of(row.cell(column) for row in self.opened.rows)
        if order is not None:
            return order
        example = next(row.cell(column) for row in self.opened.rows if row.cell(column))
        choices = (("day", "day, month, year"), ("month", "month, day, year"))
        asked = ask("dates", f"In which order are the dates written, as in {example}?", choices, self.answers)
        self.found.questions.append(asked)
        return asked.given or "day"

    def _date(self, values: Said, notices: list[str], order: str) -> None:
        name, words = DATE_FIELDS.get(self.kind, ("", ""))
        if not (cell := values.get(name, "")):
            return
        read = read_date(cell, order)
        values[name] = read.date.isoformat() if read else ""
        if read is None:
            notices.append(f"“{cell[:30]}” is no date that can be read: it has none.")
        elif cell != values[name] or read.guessed:
            notices.append(f"{words} {in_words(read.date)}{f' ({read.guessed})' if read.guessed else ''}.")

    def _is_total(self, row: GridRow) -> bool:
        first = normal(next((cell for cell in row.cells if cell), ""))
        word, _, rest = first.partition(" ")
        return first in _TOTALS or (word in _TOTALS and sum(map(bool, row.cells)) <= 3 and len(rest) < 30)

    def _begins_legend(self, row: GridRow) -> bool:
        """A line of one or two cells that explains the table: “Legend:”, “* see the model sheet”, “Y = yellow”."""
        cells = [cell for cell in row.cells if cell]
        if len(cells) > 2:
            return False
        first = alike(cells[0]) if cells else ""
        word = normal(first).partition(" ")[0]
        return (word in _LEGENDS and (first.rstrip().endswith(":") or normal(first) == word)) or (
            len(cells) == 1 and (first.startswith(("*", "†", "※")) or " = " in first)
        )

    @property
    def _coded(self) -> set[int | None]:
        return {self.columns.get(name) for name in ("code", *INK_FIELDS)} | set(self.opened.codes)

    def _named_roles(self) -> NamedRoles:
        if self.kind != "bible" or self.columns.get("part") is None:
            return NamedRoles()
        return NamedRoles.of((row.cell(self.columns["part"]) for row in self.opened.rows), self.role_words)

    def _tell(self) -> None:
        notices, lines = self.found.told, self.lines
        left_out = {*lines["legend"], *lines["total"]}
        self.found.questions += asked_of_the_alone(self.alone, left_out, self.answers)
        notices += self.retired.told(self.answers)
        if lines["total"]:
            notices.append(f"Totals are left out: {listed(lines['total'])}.")
        if lines["legend"]:
            notices.append(f"What explains the table is left out: {listed(lines['legend'])}.")
        if lines["ditto"]:
            notices.append(f"Ditto signs and words count as what stands above them: {listed(lines['ditto'])}.")
        if lines["formula"]:
            notices.append(f"Formulas: what they last came to was read ({listed(lines['formula'])}).")
        if self.nothing:
            named = ", ".join(f"“{word}”" for word, _ in self.nothing.most_common(5))
            cells = sum(self.nothing.values())
            notices.append(f"{named} counts as blank, in {cells} cell{'' if cells == 1 else 's'}.")
        notices += self.filler.told()
        self.found.questions += self.filler.questions() + self.named_roles.questions(self.answers)
        for asks in (self.misplaced, self.several, self.parted, self.retired):
            self.found.questions += asks.questions(self.answers)
        self.found.questions += asked_of_feet(self.feet, self.answers)
        if roles := [self.opened.label(at) for at, name in self.spread.items() if name == "role"]:
            notices.append(f"Each of these columns holds a code of its own role: {', '.join(roles)}.")
        if self.used & set(filter(None, (self.columns.get(name) for name in INK_FIELDS))):
            notices += self._told_inks()
        self._tell_unread()
        self._ask_for_codes()

    def _told_inks(self) -> list[str]:
        named = ", ".join(
            f"{self.opened.label(at)} as {name}" for name in INK_FIELDS if (at := self.columns.get(name)) is not None
        )
        how = "shares of 1 (0.25 is 25 %)" if self.scale.shares else "percentages"
        notices = [f"The inks are read as {how}: {named}."]
        apart = [
            row.row.line
            for row in self.found.rows
            if row.said.get("inks") and self.reads(row.said["inks"]) and self.reads(row.said.get("code", ""))
        ]
        both = bool(apart) and self.columns.get("code") is not None
        return [*notices, "Where a code stands as well, the code counts."] if both else notices

    def _tell_unread(self) -> None:
        read = self.used | set(self.spread) | self.retired.columns
        for column in range(self.opened.grid.width):
            example = next((row.cell(column) for row in self.opened.rows if row.cell(column)), "")
            if column not in read and example:
                self.found.unread.append(f"{self.opened.label(column)} ({example[:30]})")
        below = {row.line for row in self.opened.rows}
        colours: dict[int, set[str]] = defaultdict(set)
        for line, column, colour in self.opened.grid.fills:
            if line in below and not self.opened.lying:
                colours[column].add(colour)
        many = [self.opened.label(at) for at in sorted(colours) if len(colours[at]) > 1]
        if many and not self._takes_fills:
            self.found.told.append(
                f"Cells are filled with colours in column {', '.join(many)}: a fill is a picture and no code, so it"
                " is not read. What counts is what is written."
            )

    def _ask_for_fills(self) -> None:
        words = f"Cells are filled with a colour and say nothing ({listed(self.fills)}). What is such a fill?"
        choices = (
            (
                "nearest",
                f"The fill is the colour: take the nearest code as {self.words.press} prints it, with how far",
            ),
            ("no", "No: what counts is what is written"),
        )
        self.found.questions.append(ask("fills", words, choices, self.answers))

    def _ask_for_codes(self) -> None:
        if self.fills:
            self._ask_for_fills()
        if self.kind != "bible" or any(row.said.get("code") for row in self.found.rows):
            return
        words = (
            "No row has a code, so nothing would be locked. Name the column of the codes above, or bring the names in"
            " alone."
        )
        choices = (("names", "Bring the names in alone, without codes"),)
        self.found.questions.append(ask("codes", words, choices, self.answers))
