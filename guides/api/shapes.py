"""What the answers look like; OpenAPI is made from these."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from ninja import Schema
from pydantic import ConfigDict
from pydantic import Field as Described

Percent = Annotated[int, Described(ge=0, le=100)]
Fraction = Annotated[float, Described(ge=0, le=1)]


class Problem(Schema):
    """Why there is no answer."""

    detail: str


class WrongValue(Schema):
    """One value that was asked with and cannot be."""

    type: str
    loc: list[str | int]
    msg: str
    ctx: dict[str, Any] | None = None


class WrongValues(Schema):
    """What cannot be asked like this, value by value."""

    detail: list[WrongValue]


class TintShape(Schema):
    """Ink percentages, and the canonical code in the series' notation."""

    code: str
    cyan: Percent
    magenta: Percent
    yellow: Percent
    key: Percent


class PrintedTint(TintShape):
    """A tint of the chart with its printed colour under the series' press condition: CIE Lab (D50, 2°) and the
    nearest sRGB. A screen is not a proof."""

    lab: Annotated[list[float], Described(min_length=3, max_length=3)]
    srgb: Annotated[str, Described(pattern="^#[0-9a-f]{6}$")]


FadesTo = Annotated[TintShape | None, Described(description="Of a gradient: the tint it fades to.")]
Direction = Annotated[
    str | None, Described(description="Of a gradient: where it runs, down, up, left or right; null: nobody said.")
]


class RoleShape(Schema):
    """A role of the series' own list. Locks and marks name it by its key, which never changes."""

    key: str
    name: str
    sign: str
    archived: bool


class SeriesShape(Schema):
    title: str
    short_name: str
    chart: str
    press: Annotated[str, Described(description="The press condition that printed colours are predicted for.")]
    roles: Annotated[list[RoleShape], Described(description="What a code may stand for on a part, in order.")]


class IssueShape(Schema):
    number: str
    title: str
    cover_date: dt.date | None
    position: Annotated[int, Described(ge=1, description="Running order; only the order means anything.")]
    signed_off: bool


class StretchShape(Schema):
    """A stretch of the running order, both issues included."""

    first: Annotated[str | None, Described(description="Number of its first issue; null: from the beginning.")]
    last: Annotated[str | None, Described(description="Number of its last issue; null: onwards.")]


class LockShape(Schema):
    """A lock in force: the tint a part must carry in a role, or the gradient that begins with it."""

    role: str
    written: str
    tint: TintShape
    fades_to: FadesTo = None
    direction: Direction = None
    holds: StretchShape
    decided_by: str
    decided_at: dt.datetime
    reason: str


class WornShape(Schema):
    """A code that a part has in other issues than the one asked for."""

    role: str
    written: str
    tint: TintShape
    fades_to: FadesTo = None
    direction: Direction = None
    when: Annotated[str, Described(description="The issues, in words.")]


class OwnerShape(StretchShape):
    """Somebody whom something belongs to, for a stretch of issues."""

    owner: str


class PartShape(Schema):
    id: int
    part: str
    costume: str
    subject: str
    in_use: Annotated[bool, Described(description="Whether the costume is worn at the issue asked for.")]
    worn: Annotated[list[StretchShape], Described(description="When the costume is worn; empty: always.")]
    belongs_to: Annotated[list[OwnerShape], Described(description="Whose the subject is, in running order.")]
    locks: list[LockShape]
    wore: Annotated[
        list[WornShape], Described(description="Of a look-up by a code: where it is locked in other issues.")
    ] = []


class MarkShape(Schema):
    """A mark on a current guide. ``tint`` is null where the code cannot be read, ``flag`` where there is none."""

    id: int
    issue: str
    page: str
    number: int
    x: Fraction
    y: Fraction
    written: str
    tint: TintShape | None
    fades_to: TintShape | None
    subject: str | None
    costume: str | None
    part: str | None
    role: str
    scene: Annotated[str | None, Described(description="The scene that holds at its place and falls on it.")]
    expected: TintShape | None
    expected_to: Annotated[
        TintShape | None, Described(description="What it is expected to fade to; null where it should be flat.")
    ]
    printed: Annotated[
        TintShape | None,
        Described(description="In the edition asked for: what it prints in, where that is not what is written."),
    ] = None
    printed_to: Annotated[TintShape | None, Described(description="As `printed`: what that fades to.")] = None
    flag: str | None
    allowed: Annotated[bool, Described(description="A lead colourist has allowed the flag to stand.")]
    let_in: Annotated[bool, Described(description="Found on the page and let in by itself: nobody has looked yet.")]
    made_by: str
    made_at: dt.datetime
    changed_by: str
    changed_at: dt.datetime
    gone: Annotated[
        str | None,
        Described(description="Why it counts no more: taken-off, newer-scan, issue-archived; null: it does."),
    ]


class LitShape(Schema):
    """Something a scene is held to; what is null is any."""

    subject: str | None
    costume: str | None
    part: str | None
    role: str | None


class SceneShape(Schema):
    """A scene as it stands now: its rule, and what that falls on."""

    name: str
    note: str
    rule: Annotated[str, Described(description="In words.")]
    falls_on: Annotated[list[LitShape], Described(description="Empty: on everything.")]


class SceneList(Schema):
    items: list[SceneShape]


class IssueList(Schema):
    items: list[IssueShape]


class ChartList(Schema):
    press: str
    items: list[PrintedTint]


class PartPage(Schema):
    """``next`` goes into ``after`` for the page that follows; null on the last. ``issue``: the one that the locks are
    in force at, null in a series that has none."""

    items: list[PartShape]
    next: str | None
    issue: str | None


class AssignmentShape(Schema):
    """A page given to a colourist. ``given_to`` is null where whoever had it has left."""

    issue: str
    page: str
    given_to: str | None
    to_be_in_by: dt.date | None
    state: Annotated[str, Described(description="How far it is, in words: not in yet, in, with flags, done.")]
    is_in: bool
    late: Annotated[bool, Described(description="Its day has passed and it is not in, or not marked.")]
    marks: int
    open_flags: int
    note: str
    given_at: dt.datetime


class AssignmentList(Schema):
    items: list[AssignmentShape]


Text = Annotated[str, Described(pattern=r"^[^\x00]*$")]


class Sent(Schema):
    """What is sent; a name that is not known here is refused, not passed over."""

    model_config = ConfigDict(extra="forbid")


class NewMarkShape(Sent):
    """A mark to be placed: fractions of the page from its top left corner. A code that cannot be read is kept as
    written and flagged. With ``to_x``, ``to_y`` and ``to_written`` it is a gradient; without ``part`` background."""

    x: Fraction
    y: Fraction
    written: Annotated[Text, Described(max_length=80)]
    to_x: Fraction | None = None
    to_y: Fraction | None = None
    to_written: Annotated[Text, Described(max_length=80)] = ""
    number: Annotated[int | None, Described(ge=1, le=99_999, description="Where it is free; else another.")] = None
    role: Annotated[Text, Described(max_length=40)] = "base"
    subject: Annotated[Text, Described(max_length=200)] = ""
    costume: Annotated[Text, Described(max_length=200)] = ""
    part: Annotated[Text, Described(max_length=200)] = ""


class NewMarks(Sent):
    """Marks for the current guide of a page. First without ``shown``: the answer says what would happen, and nothing
    has. Then again with the ``shown`` of that answer, to have exactly that."""

    issue: Annotated[Text, Described(min_length=1, max_length=30)]
    page: Annotated[Text, Described(min_length=1, max_length=40)]
    marks: Annotated[list[NewMarkShape], Described(min_length=1, max_length=2_000)]
    shown: Annotated[Text, Described(max_length=64)] = ""


class MarksSaid(Schema):
    """What marks would do, or have done."""

    done: bool
    new: Annotated[int, Described(description="Marks that are put on the page.")]
    already: Annotated[int, Described(description="Marks that stand there already, which are not put there again.")]
    troubles: Annotated[list[str], Described(description="Marks that are left out, and why.")]
    opens: Annotated[int, Described(description="Flags that open.")]
    closes: Annotated[int, Described(description="Flags that close.")]
    reopens: Annotated[list[str], Described(description="Issues whose sign-off falls.")]
    shown: Annotated[str, Described(description="Stands for exactly this.")]


class NewProposal(Sent):
    """A code asked for; a lead colourist answers."""

    part: Annotated[int, Described(ge=1, le=2**53, description="The `id` of a part.")]
    code: Annotated[Text, Described(min_length=1, max_length=80)]
    role: Annotated[Text, Described(max_length=40)] = "base"
    from_issue: Annotated[
        Text, Described(max_length=30, description="Number of its first issue; empty: the first.")
    ] = ""
    to_issue: Annotated[Text, Described(max_length=30, description="Number of its last issue; empty: onwards.")] = ""
    note: Annotated[Text, Described(max_length=300)] = ""


class ProposalShape(Schema):
    id: int
    part: int
    role: str
    written: str
    tint: TintShape
    fades_to: FadesTo = None
    note: str
    state: str
