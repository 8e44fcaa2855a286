"""Tables as small houses keep them, of our own making: every kind of trouble once, written by other people's programs
(openpyxl, pandas, odfpy, xlwt and the csv module)."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pandas
import xlwt
from odf.office import Annotation
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableColumn, TableRow
from odf.text import P
from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from openpyxl.worksheet.worksheet import Worksheet

Held = tuple[str, str, str, str, str, str, str]
"""Subject, costume, part, role, tint in percentages, first issue and last issue ("" where it is open)."""


@dataclass(frozen=True)
class MessyTable:
    """``answers``: what a person fills in, one mapping a look; ``says``: what the page tells before the yes;
    ``held``: what is locked after it; ``issues``: number and date of every issue after it; ``refused``: why it cannot
    be taken, where it cannot."""

    name: str
    filename: str
    data: Callable[[], bytes]
    held: tuple[Held, ...] = ()
    says: tuple[str, ...] = ()
    answers: tuple[dict[str, str], ...] = ()
    kind: str = "bible"
    refused: str = ""
    issues: tuple[tuple[str, str], ...] = ()
    not_said: tuple[str, ...] = field(default=())


def lock(part: str, tint: str, first: str = "", last: str = "", **more: str) -> Held:
    return (
        more.get("subject", "Mara"), more.get("costume", "as drawn"), part, more.get("role", "base"), tint, first, last,
    )  # fmt: skip


def text(rows: list[list[str]], sign: str = ",", encoding: str = "utf-8") -> Callable[[], bytes]:
    def write() -> bytes:
        out = io.StringIO()
        csv.writer(out, delimiter=sign).writerows(rows)
        return out.getvalue().encode(encoding)

    return write


def plain(said: str, encoding: str = "utf-8") -> Callable[[], bytes]:
    return lambda: said.encode(encoding)


def book(draw: Callable[[Workbook, Worksheet], None]) -> Callable[[], bytes]:
    """A workbook drawn by openpyxl."""

    def write() -> bytes:
        made = Workbook()
        sheet = made.active
        assert isinstance(sheet, Worksheet)
        draw(made, sheet)
        out = io.BytesIO()
        made.save(out)
        return out.getvalue()

    return write


def rows(*lines: list[Any]) -> Callable[[Workbook, Worksheet], None]:
    def draw(made: Workbook, sheet: Worksheet) -> None:
        for line in lines:
            sheet.append(line)

    return draw


def merged(made: Workbook, sheet: Worksheet) -> None:
    rows(
        ["Cast of the ferry", None, None], ["Character", "Part", "Code"], ["Mara", "coat", "YR3B2"], [None, "hat", "B2"],
        [None, "boots", "YR3B2"], ["Props", None, None], ["Boat", "hull", "R"],
    )(made, sheet)  # fmt: skip
    sheet.merge_cells("A1:C1")
    sheet.merge_cells("A3:A5")
    sheet.merge_cells("A6:C6")


def merged_codes(made: Workbook, sheet: Worksheet) -> None:
    rows(["Subject", "Part", "Code"], ["Mara", "coat", "YR3B2"], ["Mara", "hat", None], ["Mara", "hair", "Y"])(
        made, sheet
    )
    sheet.merge_cells("C2:C3")


def filled(made: Workbook, sheet: Worksheet) -> None:
    rows(["Subject", "Part", "Colour"], ["Mara", "coat", None], ["Mara", "hat", None])(made, sheet)
    sheet["C2"].fill = PatternFill("solid", fgColor="FF8040")
    sheet["C3"].fill = PatternFill("solid", fgColor="4080FF")


def filled_beside(made: Workbook, sheet: Worksheet) -> None:
    rows(["Subject", "Part", "Swatch", "Code"], ["Mara", "coat", None, "YR"], ["Mara", "hat", None, "B"])(made, sheet)
    sheet["C2"].fill = PatternFill("solid", fgColor="FF8040")
    sheet["C3"].fill = PatternFill("solid", fgColor="4080FF")


def struck(made: Workbook, sheet: Worksheet) -> None:
    rows(["Subject", "Part", "Code"], ["Mara", "coat", "YR"], ["Mara", "hat", "B"])(made, sheet)
    for cell in sheet[3]:
        cell.font = Font(strike=True)


def sheets(made: Workbook, sheet: Worksheet) -> None:
    sheet.title = "Read me"
    sheet.append(["This workbook belongs to the ferry"])
    cast = made.create_sheet("Cast")
    rows(["Subject", "Part", "Code"], ["Mara", "coat", "YR"])(made, cast)
    old = made.create_sheet("Old")
    rows(["Subject", "Part", "Code"], ["Mara", "coat", "B"])(made, old)
    old.sheet_state = "hidden"


def one_a_subject(made: Workbook, sheet: Worksheet) -> None:
    """A sheet for each of them, called by their names."""
    sheet.title = "Mara"
    rows(["Part", "Code"], ["coat", "YR"], ["hat", "B"])(made, sheet)
    rows(["Part", "Code"], ["cap", "Y"])(made, made.create_sheet("Olin"))


def with_formulas(made: Workbook, sheet: Worksheet) -> None:
    rows(["Subject", "Part", "Code"], ["Mara", "coat", '="Y"&"R"'], ["Mara", "hat", "B"])(made, sheet)


def opendocument() -> bytes:
    out = io.BytesIO()
    lines = [["Mara", "coat", 0.25, 0.5, 1, 0], ["Mara", "hat", 0, 0, 1, 0]]
    frame = pandas.DataFrame(lines, columns=["Figur", "Teil", "C", "M", "Y", "K"])
    frame.to_excel(out, index=False, engine="odf")
    return out.getvalue()


def old_workbook() -> bytes:
    made = xlwt.Workbook()
    sheet = made.add_sheet("Cast")
    lines: list[list[Any]] = [
        ["Subject", "Part", "Code", "From"],
        ["Mara", "coat", "YR", 3.0],
        ["Mara", "hat", "B", "#4"],
    ]
    for line, row in enumerate(lines):
        for column, value in enumerate(row):
            sheet.write(line, column, value)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def by_issue(made: Workbook, sheet: Worksheet) -> None:
    rows(["Character", "Part", 1, 2, 3, 4, 5], ["Mara", "coat", "YR3", None, None, "B3", None],
         ["Mara", "hat", "R", "R", "R", "R", "R2"])(made, sheet)  # fmt: skip


def commented(made: Workbook, sheet: Worksheet) -> None:
    rows([*HEAD, "From"], [*COAT, 3])(made, sheet)
    sheet["C2"].comment = Comment("not before issue 14", "house")
    sheet.column_dimensions["D"].hidden = True


def commented_opendocument() -> bytes:
    made = OpenDocumentSpreadsheet()
    sheet = Table(name="Cast")
    sheet.addElement(TableColumn(numbercolumnsrepeated=3))
    sheet.addElement(TableColumn(visibility="collapse"))
    for line in ([*HEAD, "From"], [*COAT, "3"]):
        row = TableRow()
        for said in line:
            cell = TableCell(valuetype="string")
            if said == COAT[2]:
                note = Annotation()
                note.addElement(P(text="not before issue 14"))
                cell.addElement(note)
            cell.addElement(P(text=said))
            row.addElement(cell)
        sheet.addElement(row)
    made.spreadsheet.addElement(sheet)
    out = io.BytesIO()
    made.write(out)
    return out.getvalue()


def side_by_side(made: Workbook, sheet: Worksheet) -> None:
    rows(["Heroes", None, None, None, "Villains"], ["Name", "Part", "Code", None, "Name", "Part", "Code"],
         ["Mara", "cape", "R", None, "Olin", "mask", "B3"], ["Mara", "boots", "Y2R2", None, "Olin", "gloves", "R3B3"],
         ["Mara", "hood", "B2"])(made, sheet)  # fmt: skip


WEB_PAGE = """<html><head><meta charset="utf-8"><style>td{}</style></head><body><table border=1>
<tr><th>Character</th><th>Part</th><th>Colour</th><th>From issue</th></tr>
<tr><td rowspan=2>Mara</td><td>braid</td><td>Y3R2</td><td>1</td></tr>
<tr><td>shawl</td><td>R3B3</td><td>1</td></tr>
<tr><td>Olin</td><td>beard</td><td>YR3&nbsp;</td><td>7</td></tr></table></body></html>"""
DRAWN = """# Palette

| Character | Part | Code | Note |
|-----------|:----:|-----:|------|
| **Mara** | blouse | `R2` | |
| **Mara** | sash | `YR` | ask first |
"""
LINES = """Colours as of May
Mara: hair YR3B2, scarf R, boots Y2R2B3
Olin: hair Y2, coat B3 (shade B); cap W
"""
BRAZIL = """Guia de cores - Casa do Tucano;;;;
Personagem;Peça;Cor;A partir do n.º;Observação
Mara;Cabelo;Y2R2B2;n.º 3;
Mara;Saia;YR3;n.º 3;conferir
Total;;2 cores;;
"""
HEAD = ["Subject", "Part", "Code"]
COAT = ["Mara", "coat", "YR"]
INKS = ["Subject", "Part", "C", "M", "Y", "K"]
ORANGE, BLUE, YELLOW = "M100 Y100", "C100", "Y100"
BROWN = "C25 M50 Y100"

BIBLES = (
    MessyTable("percentages in columns of their own", "a.csv", text([INKS, ["Mara", "coat", "25", "50", "100", "0"]]),
        (lock("coat", BROWN),), ("read as percentages",)),
    MessyTable("percent signs", "a.csv", text([INKS, ["Mara", "coat", "25 %", "50%", "100 %", "0%"]]), (lock("coat", BROWN),)),
    MessyTable("shares with points", "a.csv", text([INKS, ["Mara", "coat", "0.25", "0.5", "1", "0"]]),
        (lock("coat", BROWN),), ("shares of 1",)),
    MessyTable("shares with commas", "a.csv", text([INKS, ["Mara", "coat", "0,25", "0,5", "1", ""]], ";"), (lock("coat", BROWN),)),
    MessyTable("percentages above a hundred", "a.csv", text([INKS, ["Mara", "coat", "255", "50", "100", "0"]]), refused="above 100 %"),
    MessyTable("roles in the names of parts", "a.csv", text([HEAD, ["Mara", "coat", "YR"], ["Mara", "coat (shade)", "YB"],
        ["Mara", "coat highlight", "Y"], ["Mara", "lamp shade", "B"]]), (lock("coat", ORANGE), lock("coat", "C100 Y100", role="shade"),
        lock("coat", YELLOW, role="highlight"), lock("lamp shade", BLUE)),
        ("“coat (shade)”, “coat highlight”. Are they roles",), ({"answer-roles-in-names": "roles"},)),
    MessyTable("parts that are called like roles", "a.csv", text([HEAD, ["Mara", "lamp", "YR"], ["Mara", "lamp shade", "Y"]]),
        (lock("lamp", ORANGE), lock("lamp shade", YELLOW)), ("Are they roles",), ({"answer-roles-in-names": "parts"},)),
    MessyTable("first appearances", "a.csv", text([[*HEAD, "First appearance"], [*COAT, "5"]]), (lock("coat", ORANGE, "5"),)),
    MessyTable("two codes in a cell", "a.csv", text([HEAD, ["Mara", "coat", "YR / YB"]]), refused="YR / YB"),
    MessyTable("a footer in the column of the parts", "a.csv", text([HEAD, COAT, ["Mara", "hat", "B"], ["", "Checked, March", ""]]),
        (lock("coat", ORANGE), lock("hat", BLUE)), ("“Checked, March”",), ({"answer-feet": "leave"},)),
    MessyTable("issues as a run", "a.csv", text([[*HEAD, "Issues"], [*COAT, "12-18"], ["Mara", "hat", "B", "from 3 on"]]),
        (lock("coat", ORANGE, "12", "18"), lock("hat", BLUE, "3"))),
    MessyTable("issues said in the cell", "a.csv", text([[*HEAD, "From"], [*COAT, "Issues 12–18"]]), (lock("coat", ORANGE, "12", "18"),)),
    MessyTable("one issue alone", "a.csv", text([[*HEAD, "Issue"], [*COAT, "No. 07"]]), (lock("coat", ORANGE, "7", "7"),),
        ("names one issue alone",), ({"answer-one-issue": "only"},)),
    MessyTable("an issue there is not", "a.csv", text([[*HEAD, "From"], [*COAT, "99"]]), refused="There is no issue 99"),
    MessyTable("a fill is no code", "a.xlsx", book(filled), says=("a fill is a picture and no code", "No row has a code"),
        refused="No row has a code"),
    MessyTable("a fill beside a code", "a.xlsx", book(filled_beside), (lock("coat", ORANGE), lock("hat", BLUE)),
        ("filled with colours in column C “Swatch”",)),
    MessyTable("columns nobody reads", "a.csv", text([[*HEAD, "Pantone", "Marker"], [*COAT, "165 C", "E-04"]]), (lock("coat", ORANGE),),
        ("Not read:", "D “Pantone” (165 C)", "E “Marker” (E-04)")),
    MessyTable("a list of flags", "a.csv", text([["Issue", "Page", *HEAD, "Expected"], ["3", "7", *COAT, "B"]]),
        says=("looks like a list of flags",), refused="looks like a list of flags"),
    MessyTable("corrections in German", "a.csv", text([["Figur", "Teil", "Ist", "Soll"], ["Mara", "Mantel", "YR", "B"]]),
        says=("looks like a list of flags",), refused="looks like a list of flags"),
    MessyTable("no code at all", "a.csv", text([["Subject", "Part", "Shade of"], ["Mara", "coat", "teal"]]), refused="No row has a code"),
    MessyTable("German", "a.csv", text([["Figur", "Kostüm", "Teil", "Farbe", "ab Heft", "bis Heft"], ["Mara", "Arbeit", "Mantel", "YR", "3", "5"]], ";"),
        (lock("Mantel", ORANGE, "3", "5", costume="Arbeit"),)),
    MessyTable("French", "a.csv", text([["Personnage", "Tenue", "Élément", "Teinte", "Motif"], ["Mara", "travail", "manteau", "YR", "x y z"]], ";"),
        (lock("manteau", ORANGE, costume="travail"),)),
    MessyTable("Spanish", "a.csv", text([["Personaje", "Prenda", "Código"], ["Mara", "abrigo", "YR"]]), (lock("abrigo", ORANGE),)),
    MessyTable("Italian", "a.csv", text([["Personaggio", "Abito", "Parte", "Colore"], ["Mara", "lavoro", "cappotto", "YR"]]),
        (lock("cappotto", ORANGE, costume="lavoro"),)),
    MessyTable("Japanese in Shift-JIS", "a.csv", text([["キャラクター", "部位", "色"], ["マラ", "上着", "YR"]], encoding="cp932"),
        (lock("上着", ORANGE, subject="マラ"),), ("Which of these reads right?",), ({"answer-encoding": "shift_jis"},)),
    MessyTable("a language nobody taught us", "a.csv", text([["Hahmo", "Osa", "Sävy"], ["Mara", "takki", "YR"], ["Mara", "hattu", "B2"]]),
        (lock("takki", ORANGE), lock("hattu", "C25")), (), ({"subject": "0", "part": "1", "code": "2"},)),
    MessyTable("titles above", "a.csv", plain("The Ferry\nas of March\n\nSubject,Part,Code\nMara,coat,YR\n"), (lock("coat", ORANGE),),
        ("found on line 4",)),
    MessyTable("headings in two lines", "a.csv", text([["Character", "Part", "Colour", "", "", ""], ["", "", "C", "M", "Y", "K"],
        ["Mara", "coat", "25", "50", "100", "0"]]), (lock("coat", BROWN),), ("on lines 1 and 2",)),
    MessyTable("lying on its side", "a.csv", text([["Subject", "Mara", "Mara"], ["Part", "coat", "hat"], ["Code", "YR", "B"]]),
        (lock("coat", ORANGE), lock("hat", BLUE)), ("one below the other",)),
    MessyTable("subjects across", "a.csv", text([["", "Mara", "Olin"], ["coat", "YR", "B"], ["hat", "Y", ""]]),
        (lock("coat", ORANGE), lock("hat", YELLOW), lock("coat", BLUE, subject="Olin")), ("Codes stand below several headings",),
        ({"answer-across": "subject"},)),
    MessyTable("parts across", "a.csv", text([["Character", "coat", "hat"], ["Mara", "YR", "Y"], ["Olin", "B", "-"]]),
        (lock("coat", ORANGE), lock("hat", YELLOW), lock("coat", BLUE, subject="Olin")), (), ({"answer-across": "part"},)),
    MessyTable("roles across", "a.csv", text([["Character", "Part", "Base", "Shade"], ["Mara", "coat", "YR", "YRB2"]]),
        (lock("coat", ORANGE), lock("coat", "C25 M100 Y100", role="shade")), ("a code of its own role",)),
    MessyTable("blanks under a name", "a.csv", text([["Subject", "Costume", "Part", "Code"], ["Mara", "work", "coat", "YR"], ["", "", "hat", "B"],
        ["Olin", "", "cap", "Y"]]), (lock("coat", ORANGE, costume="work"), lock("hat", BLUE, costume="work"), lock("cap", YELLOW, subject="Olin")),
        ("Where the subject was blank, the one above counts: line 3",)),
    MessyTable("merged cells", "a.xlsx", book(merged), (lock("coat", BROWN), lock("hat", "C25"), lock("boots", BROWN),
        lock("hull", "M100", subject="Boat")), ("Merged cells (A3:A5)", "“Props” (line 6)")),
    MessyTable("merged codes", "a.xlsx", book(merged_codes), (lock("coat", BROWN), lock("hat", BROWN), lock("hair", YELLOW)),
        ("Merged cells (C2:C3)",)),
    MessyTable("totals and a legend", "a.csv", text([HEAD, COAT, ["Total", "", "1"], ["Legend:", "", ""], ["Y = yellow", "", ""]]),
        (lock("coat", ORANGE),), ("Totals are left out: line 3", "What explains the table is left out: lines 4-5")),
    MessyTable("dashes and n/a", "a.csv", text([[*HEAD, "Costume", "From"], [*COAT, "-", "n/a"], ["Mara", "hat", "—", "", ""]]),
        (lock("coat", ORANGE),), ("counts as blank",)),
    MessyTable("several sheets, one hidden", "a.xlsx", book(sheets), (lock("coat", ORANGE),),
        ("Hidden sheets are not read: “Old”", "“Cast” was read, not “Read me”")),
    MessyTable("a sheet a subject", "a.xlsx", book(one_a_subject), (lock("coat", ORANGE), lock("hat", BLUE), lock("cap", YELLOW, subject="Olin")),
        ("Which sheet is the table?",), ({"answer-sheets": "*"}, {"subject": "2", "part": "0", "code": "1"})),
    MessyTable("struck through", "a.xlsx", book(struck), (lock("coat", ORANGE),), ("It is struck through",)),
    MessyTable("formulas without a value", "a.xlsx", book(with_formulas), (lock("hat", BLUE),), ("C2 holds a formula that came to nothing",)),
    MessyTable("codes as people write them", "a.csv", text([HEAD, ["Mara", "coat", "C=25 M=50 Y=100"], ["Mara", "hat", "Y R3 B2"],
        ["Mara", "hair", "YR3 (check!)"], ["Mara", "belt", "100Y 50M"], ["Mara", "sash", "25/50/100/0"], ["Mara", "boots", "ＹＲ３"]]),
        (lock("coat", BROWN), lock("hat", BROWN), lock("hair", "M50 Y100"), lock("belt", "M50 Y100"), lock("sash", BROWN), lock("boots", "M50 Y100")),
        ("the note “check!” is kept", "is read as")),
    MessyTable("codes that are none", "a.csv", text([HEAD, ["Mara", "coat", "#FFCC00"], ["Mara", "hat", "255,204,0"], ["Mara", "hair", "YR3 or YR2"],
        ["Mara", "belt", "YR3/YR2"], ["Mara", "boots", "R4"]]), refused="0 of 5 rows would be taken"),
    MessyTable("twins by letters nobody can tell apart", "a.csv", text([HEAD, ["Zoë", "coat", "YR"], ["Zoe\u0308", "hat", "B"], ["Zoë\u00a0", "belt", "Y"]]),
        (lock("coat", ORANGE, subject="Zoë"), lock("hat", BLUE, subject="Zoë"), lock("belt", YELLOW, subject="Zoë"))),
    MessyTable("curly quotes", "a.csv", text([HEAD, ["O'Dell", "coat", "YR"], ["O’Dell", "hat", "B"]]),
        (lock("coat", ORANGE, subject="O'Dell"), lock("hat", BLUE, subject="O'Dell"))),
    MessyTable("a typo", "a.csv", text([HEAD, ["Marabel", "coat", "YR"], ["Marabel", "hat", "B"], ["Marabell", "belt", "Y"]]),
        (lock("coat", ORANGE, subject="Marabel"), lock("hat", BLUE, subject="Marabel"), lock("belt", YELLOW, subject="Marabel")),
        ("“Marabell” would be new",), ({"answer-near": "same"},)),
    MessyTable("UTF-16 with tabs", "a.txt", text([HEAD, ["Mära", "coat", "YR"]], "\t", "utf-16"), (lock("coat", ORANGE, subject="Mära"),)),
    MessyTable("Windows-1252", "a.csv", text([HEAD, ["Renée", "coat", "YR"]], ";", "cp1252"), (lock("coat", ORANGE, subject="Renée"),),
        ("Windows-1252",)),
    MessyTable("OpenDocument with shares", "a.ods", opendocument, (lock("coat", BROWN), lock("hat", YELLOW)), ("shares of 1",)),
    MessyTable("an old workbook", "a.xls", old_workbook, (lock("coat", ORANGE, "3"), lock("hat", BLUE, "4")), ("Of an .xls",)),
    MessyTable("fills that are the colour", "a.xlsx", book(filled), (lock("coat", "M50 Y100"), lock("hat", "C100 M50")),
        ("filled with a colour and say nothing", "Its fill #FF8040 is nearest to", "CIEDE2000"), ({"answer-fills": "nearest"},)),
    MessyTable("Portuguese in Windows-1252", "a.csv", plain(BRAZIL, "cp1252"), (lock("Cabelo", "C25 M25 Y25", "3"), lock("Saia", "M50 Y100", "3")),
        ("Totals are left out",), ({"answer-encoding": "cp1252"},)),
    MessyTable("Dutch with a column a role", "a.csv", text([["Figuur", "Onderdeel", "Basis", "Schaduw", "Hooglicht"], ["Mara", "jas", "YR3", "YR3B2", ""],
        ["Mara", "muts", "B2", "-", "W"]]), (lock("jas", "M50 Y100"), lock("jas", BROWN, role="shade"), lock("muts", "C25"),
        lock("muts", "paper", role="highlight")), ("a code of its own role",)),
    MessyTable("names in one cell", "a.csv", text([["What", "Code", "Since"], ["Mara – night coat – collar", "YB2", "4"], ["Mara – hair", "Y2R3B2", ""]]),
        (lock("collar", "C25 Y100", "4", costume="night coat"), lock("hair", "C25 M50 Y25")), ("says subject, costume and part in one",),
        ({"answer-costumes": "drawn"},)),
    MessyTable("running lines", "a.txt", plain(LINES), (lock("hair", BROWN), lock("scarf", "M100"), lock("boots", "C50 M25 Y25"),
        lock("hair", "Y25", subject="Olin"), lock("coat", "C50", subject="Olin"), lock("cap", "paper", subject="Olin")),
        ("running lines", "left out: line 1", "the note “shade B” is kept")),
    MessyTable("Russian in Windows-1251", "a.csv", text([["Персонаж", "Костюм", "Деталь", "Код", "С выпуска", "По выпуск"],
        ["Варя", "рабочий", "фартук", "B2", "2", "5"]], ";", "cp1251"), (lock("фартук", "C25", "2", "5", subject="Варя", costume="рабочий"),),
        (), ({"answer-encoding": "cp1251"},)),
    MessyTable("a web page called .xls", "a.xls", plain(WEB_PAGE), (lock("braid", "M25 Y50"), lock("shawl", "C50 M50"),
        lock("beard", "M50 Y100", "7", subject="Olin")), ("The file is a web page",)),
    MessyTable("a table drawn with bars", "a.md", plain(DRAWN), (lock("blouse", "M25"), lock("sash", ORANGE)), ("drawn with bars",)),
    MessyTable("a column an issue", "a.xlsx", book(by_issue), (lock("coat", "M50 Y100", "", "3"), lock("coat", "C50", "4"),
        lock("hat", "M100", "", "4"), lock("hat", "M25", "5")), (), ({"answer-across": "first"},)),
    MessyTable("inks in an order of their own", "a.csv", text([["Character", "Part", "Y/M/C", "From"], ["Mara", "robe", "100/50/25", "1"],
        ["Mara", "veil", "0/25/50", "3"]]), (lock("robe", BROWN), lock("veil", "C50 M25", "3")), ("is read in that order: 100/50/25 is Y100% M50% C25%",)),
    MessyTable("tables side by side", "a.xlsx", book(side_by_side), (lock("cape", "M100"), lock("boots", "M25 Y25"), lock("hood", "C25"),
        lock("mask", "C50", subject="Olin"), lock("gloves", "C50 M50", subject="Olin")), ("2 tables stand side by side",)),
    MessyTable("comments on cells and hidden columns", "a.xlsx", book(commented), (lock("coat", ORANGE, "3"),),
        ("Comments hang on cells and are not read: C2 “not before issue 14”", "Columns of “Sheet” that are hidden are read as well: D")),
    MessyTable("comments in OpenDocument", "a.ods", commented_opendocument, (lock("coat", ORANGE, "3"),),
        ("Comments hang on cells and are not read: C2 “not before issue 14”", "hidden are read as well: D")),
    MessyTable("twins by accents, alphabets, swapped letters and old encodings", "a.csv", text([HEAD, ["Zoë", "cuff", "YR"], ["Zoë", "hat", "B"],
        ["Zoe", "belt", "Y"], ["Mara", "coat", "YR"], ["Mara", "hat", "B"], ["M\u0430ra", "belt", "Y"], ["Mraa", "sash", "Y"],
        ["Mara", "Müff", "YR"], ["Mara", "MÃ¼ff", "YR"]]),
        (lock("cuff", ORANGE, subject="Zoë"), lock("hat", BLUE, subject="Zoë"), lock("belt", YELLOW, subject="Zoë"), lock("coat", ORANGE),
        lock("hat", BLUE), lock("belt", YELLOW), lock("sash", YELLOW), lock("Müff", ORANGE)),
        ("4 new names are nearly others", "“Zoe” would be new", "“Mraa” would be new", "“MÃ¼ff” would be new"), ({"answer-near": "same"},)),
    MessyTable("a remark in brackets behind a name", "a.csv", text([HEAD, COAT, ["Mara", "hat", "B"], ["Mara (the cook)", "belt", "Y"],
        ["Olin", "cap (day)", "Y"], ["Olin", "cap (night)", "B"]]), (lock("coat", ORANGE), lock("hat", BLUE), lock("belt", YELLOW),
        lock("cap (day)", YELLOW, subject="Olin"), lock("cap (night)", BLUE, subject="Olin")),
        ("brackets behind a subject (line 4: “Mara (the cook)”)",), ({"answer-looks": "remark", "answer-part-looks": "name"},)),
    MessyTable("ditto signs", "a.csv", text([[*HEAD, "From"], [*COAT, "3"], ['"', "hat", "B", "〃"], [",,", "belt", "ditto", '"'], ["s.o.", "sash", "Y", ""]]),
        (lock("coat", ORANGE, "3"), lock("hat", BLUE, "3"), lock("belt", BLUE, "3"), lock("sash", YELLOW)),
        ("Ditto signs and words count as what stands above them: lines 3-5",)),
    MessyTable("printed pages", "a.csv", plain("The Ferry,,\nas of 12.3.,,\nFigur,Teil,Code\nMara,coat,YR\nSeite 1 von 2,,\nThe Ferry,,\n"
        "as of 12.3.,,\nFigur,Teil,Code\n,hat,B\nSeite 2 von 2,,\n"), (lock("coat", ORANGE), lock("hat", BLUE)),
        ("A name stands alone, without part and code (lines 5-7, 10): “Seite 1 von 2”",), ({"answer-alone": "page"},)),
    MessyTable("groups named above their parts", "a.csv", text([HEAD, ["Mara", "", ""], ["", "coat", "YR"], ["Olin", "", ""], ["", "cap", "Y"]]),
        (lock("coat", ORANGE), lock("cap", YELLOW, subject="Olin"))),
    MessyTable("codes in two columns", "a.csv", text([["Subject", "Part", "Code day", "Code night"], ["Mara", "coat", "YR", "YRB2"], ["Mara", "hat", "B", "Y"]]),
        (lock("coat", "C25 M100 Y100"), lock("hat", YELLOW)), ("Codes stand in several columns: C “Code day”, D “Code night”",), ({"answer-counts": "3"},)),
    MessyTable("old and new codes", "a.csv", text([[*HEAD[:2], "Old code", "New code"], ["Mara", "coat", "B", "YR"]]), (lock("coat", ORANGE),),
        ("looks like a list of flags", "Not read: column C “Old code”"), ({"answer-kind": "as-asked"}, {"answer-counts": "3"})),
    MessyTable("light and dark beside the colour", "a.csv", text([["Subject", "Part", "Colour", "Dark", "Light"], ["Mara", "coat", "YR", "YRB2", "Y2"]]),
        (lock("coat", ORANGE), lock("coat", "C25 M100 Y100", role="shade"), lock("coat", "Y25", role="highlight")), ("a code of its own role",)),
    MessyTable("roles by other words", "a.csv", text([["Subject", "Part", "Tone", "Code"], ["Mara", "coat", "base", "YR"], ["Mara", "coat", "dark", "YRB2"]]),
        (lock("coat", ORANGE), lock("coat", "C25 M100 Y100", role="shade"))),
    MessyTable("an issue with a word that holds a word", "a.csv", text([[*HEAD, "From"], [*COAT, "Annual 1"]]), refused="There is no issue Annual 1"),
    MessyTable("the delimiter said on top", "a.csv", plain("sep=;\r\nSubject;Part;Code\r\nMara;coat;YR\r\n"), (lock("coat", ORANGE),)),
    MessyTable("a column that says what holds no more", "a.csv", text([[*HEAD, "Status"], [*COAT, "current"], ["Mara", "hat", "B", "old"],
        ["Mara", "belt", "Y", "rejected by the editor"], ["Mara", "sash", "Y2", ""]]), (lock("coat", ORANGE), lock("sash", "Y25")),
        ("do not hold, or not yet (lines 3-4): “old”", "left out: lines 3-4"), ({"answer-retired": "leave"},), not_said=("Not read",)),
    MessyTable("what holds no more, in German", "a.csv", text([["Figur", "Teil", "Farbe", "Gültig"], ["Mara", "Mantel", "YR", "ja"], ["Mara", "Hut", "B", "nein"]], ";"),
        (lock("Mantel", ORANGE),), ("“Gültig: nein”",), ({"answer-retired": "leave"},)),
    MessyTable("what is not chosen, in Japanese", "a.csv", text([["キャラクター", "部位", "色", "状態"], ["マラ", "上着", "YR", "採用"], ["マラ", "帽子", "B", "ボツ"]]),
        (lock("上着", ORANGE, subject="マラ"),), ("“ボツ”",), ({"answer-retired": "leave"},)),
    MessyTable("what holds no more, in remarks and brackets", "a.csv", text([[*HEAD, "Remarks"], ["Mara", "coat (old)", "YR", ""], ["Mara", "hat", "B", "cancelled, see mail"],
        ["Mara", "belt", "Y", "old leather"]]), (lock("coat (old)", ORANGE), lock("hat", BLUE), lock("belt", YELLOW)),
        ("(lines 2-3): “old”, “cancelled, see mail”",), ({"answer-retired": "take"},)),
    MessyTable("several subjects in a cell", "a.csv", text([HEAD, ["Mara / Olin", "coat", "YR"], ["Mara, Olin", "hat", "B"], ["Olin & Mara", "belt", "Y"]]),
        tuple(lock(part, tint, subject=who) for who in ("Mara", "Olin") for part, tint in (("coat", ORANGE), ("hat", BLUE), ("belt", YELLOW))),
        ("Several subjects seem to stand in one cell (lines 2-4: “Mara / Olin”",), ({"answer-several-subjects": "each"},)),
    MessyTable("a costume behind a comma", "a.csv", text([HEAD, ["Mara, night watch", "coat", "YR"], ["", "hat", "B"]]),
        (lock("coat", ORANGE, costume="night watch"), lock("hat", BLUE, costume="night watch")), (), ({"answer-several-subjects": "costume"},)),
)  # fmt: skip
