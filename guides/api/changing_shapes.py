"""What the lists that grow look like: decisions, proposals, proofs, sign-offs, what happened. OpenAPI follows."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from ninja import Schema
from pydantic import Field as Described

from guides.api.shapes import Direction, FadesTo, MarkShape, Percent, Sent, StretchShape, Text, TintShape

SinceNext = Annotated[
    dt.datetime | None,
    Described(
        description="Of a question with `since`: what to ask with next time, taken from the first page of an answer."
        " It lies two minutes back, so that nothing is missed that was being written; a row may come twice."
    ),
]
Next = Annotated[str | None, Described(description="Goes into `after` for the page that follows; null on the last.")]


class MarkPage(Schema):
    """Marks, by issue and page."""

    items: list[MarkShape]
    next: Next
    since_next: SinceNext = None


class DecidedShape(Schema):
    """A decision. It is never edited: a later one withdraws it, and what is left of its time stands on as a new one.
    Nor is it ever deleted: ``withdrawn_at`` says that it holds no more."""

    id: int
    part: Annotated[int, Described(description="The `id` of its part.")]
    subject: str
    costume: str
    part_name: str
    role: str
    edition: Annotated[str | None, Described(description="The edition it holds in alone; null: the first printing.")]
    written: str
    tint: TintShape
    fades_to: FadesTo = None
    direction: Direction = None
    holds: StretchShape
    reason: str
    decided_by: str
    decided_at: dt.datetime
    follows: Annotated[int | None, Described(description="The decision that it follows, by `id`.")]
    withdrawn_at: dt.datetime | None
    withdrawn_by: str | None
    withdrawn_reason: str


class DecidedPage(Schema):
    """Decisions in the order they were made."""

    items: list[DecidedShape]
    next: Next
    since_next: SinceNext = None


class AskedShape(Schema):
    """A proposal and what became of it."""

    id: int
    part: int
    role: str
    written: str
    tint: TintShape
    fades_to: FadesTo = None
    direction: Direction = None
    asked_for: StretchShape
    note: str
    state: str
    proposed_by: str
    proposed_at: dt.datetime
    answer: str
    answered_by: str | None
    answered_at: dt.datetime | None
    decided: Annotated[int | None, Described(description="The decision that answered it, by `id`.")]


class AskedPage(Schema):
    """Proposals in the order they were made."""

    items: list[AskedShape]
    next: Next
    since_next: SinceNext = None


class HappenedShape(Schema):
    """A deed. Marks made, rewritten or taken off are one a page, person and day, and are told anew when it grows."""

    id: int
    at: dt.datetime
    by: Annotated[str | None, Described(description="null: nobody did it, it followed.")]
    about: str
    deed: str
    count: int
    subject: str | None
    part: str | None
    role: str | None
    code: str | None
    scene: str | None
    issue: str | None
    page: str | None
    mark: int | None
    concerning: str | None
    words: Annotated[dict[str, str], Described(description="Names and reasons, as they were then.")]


class HappenedPage(Schema):
    """What happened, newest first."""

    items: list[HappenedShape]
    next: Next
    since_next: SinceNext = None


class NewProof(Sent):
    """Which page a scan is a proof of. It is laid over the page's current guide, in the background."""

    issue: Annotated[Text, Described(min_length=1, max_length=30)]
    page: Annotated[Text, Described(min_length=1, max_length=40)]
    damaged: Annotated[bool, Described(description="Take it though not all of its pixels can be read.")] = False


class ProofShape(Schema):
    """The scan of a printed page. ``state``: waiting, read or refused (``refusal`` says why). Proofs are never
    deleted: an older one of a page is not ``current``."""

    id: int
    issue: str
    page: str
    revision: Annotated[int, Described(description="Of the guide that it was laid over.")]
    number: int
    state: str
    refusal: str
    current: bool
    press: str
    shift: Annotated[str, Described(description="What is the press and not the plates, in words.")]
    filename: str
    sha256: str
    width: int
    height: int
    sent_by: str
    sent_at: dt.datetime
    changed_at: Annotated[dt.datetime, Described(description="Sent, read, replaced or decided on.")]
    marks: int
    undecided: Annotated[int, Described(description="Faults that the program names and nobody has decided on.")]
    faults: Annotated[int, Described(description="What somebody has called a fault.")]
    cannot_tell: int


class ProofPage(Schema):
    """Proofs in the order they came."""

    items: list[ProofShape]
    next: Next
    since_next: SinceNext = None


class ReadingShape(Schema):
    """One mark as a proof shows it, and what somebody decided. A screen is not a proof, and no reading decides."""

    mark: Annotated[int, Described(description="The `id` of the mark.")]
    number: int
    part: str | None
    x: float
    y: float
    called: TintShape | None
    called_to: TintShape | None
    verdict: str
    ink: str
    printed: Annotated[TintShape | None, Described(description="The tint of the chart it prints most like.")]
    amount: Annotated[Percent | None, Described(description="What `ink` prints like.")]
    probability: float
    delta_e: Annotated[float | None, Described(description="CIEDE2000 from what was called.")]
    why: str
    decision: str
    note: str
    decided_by: str | None
    decided_at: dt.datetime | None


class ProofRead(ProofShape):
    """A proof with its readings, the surest and most visible first."""

    readings: list[ReadingShape]


class EditionShape(Schema):
    """A printing after the first. Locks that name it hold in it alone."""

    name: str
    press: Annotated[str, Described(description="The press condition that it is printed in.")]
    published: dt.date | None
    note: str
    archived: bool
    issues: Annotated[list[str], Described(description="Numbers of those it collects, in running order.")]


class EditionList(Schema):
    items: list[EditionShape]


class StepShape(Schema):
    """A step of an issue on its way out; never edited."""

    id: int
    issue: str
    step: Annotated[str, Described(description="in-check, taken-back, signed-off, reopened, stands or handed-off.")]
    by: Annotated[str | None, Described(description="null: it fell or stood again by itself.")]
    at: dt.datetime
    words: str
    facts: Annotated[dict[str, Any], Described(description="What was counted and named at that moment.")]
    kept: Annotated[bool, Described(description="Whether its content was kept: `sign-offs/{id}` gives it.")]


class StepPage(Schema):
    """Steps in the order they were taken."""

    items: list[StepShape]
    next: Next
    since_next: SinceNext = None


class ScanShape(Schema):
    """The scan of a page that was signed."""

    page: str
    revision: int
    sha256: str


class SignedMark(Schema):
    """A mark as it was signed; null is what was not kept then."""

    page: str
    mark: int
    x: float | None
    y: float | None
    written: str
    code: str | None
    to_written: str | None
    role: str | None
    subject: str | None
    costume: str | None
    part: str | None
    expected_code: str | None
    waived: bool | None


class StepContent(StepShape):
    """A step with all that was signed or handed off, as it was then, whatever has become of it."""

    guides: list[ScanShape]
    marks: list[SignedMark]
