"""The shapes the demo's story is told in: frozen, plain, free of any framework.

Positions are running-order numbers with gaps (issue 1 is 1000). A lock holds from its position until the
next lock of the same part and role. Names are unique inside their parent; slugs are too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from guides.demo.story.looks import Build, FigureLook
from guides.demo.story.tintbox import BOX, NOTATION, code_of, step_by


@dataclass(frozen=True, slots=True)
class Hand:
    """How one colourist paints: warmth and strength of the dyes, evenness and brush."""

    warmth: float = 0.0
    strength: float = 1.0
    blue_bottle: float = 1.0
    red_bottle: float = 1.0
    yellow_bottle: float = 1.0
    streaks: float = 0.10
    pooling: float = 0.16
    bleed: float = 1.6
    pencil: str = "graphite"
    slant: float = 8.0


@dataclass(frozen=True)
class Person:
    """Somebody with an account. ``role`` is lead, fill-in, editor or reader."""

    username: str
    name: str
    role: str
    hand: Hand = field(default_factory=Hand)
    initials: str = ""


@dataclass(frozen=True)
class IssueSpec:
    """A published number: ``number`` as printed, ``position`` its running order."""

    number: str
    title: str
    year: int
    month: int
    position: int


@dataclass(frozen=True)
class LockSpec:
    """A code locked for a role from a position on, until the next lock of that role."""

    role: str
    code: str
    from_position: int
    by: str
    reason: str = ""

    @property
    def tint(self) -> Tint:
        return BOX[self.code]


@dataclass(frozen=True)
class PartSpec:
    """One thing with a colour. ``slot`` names the drawn piece; ``usual`` paints a part nobody has locked."""

    name: str
    slot: str
    locks: tuple[LockSpec, ...] = ()
    usual: str = "W"

    def lock_at(self, role: str, position: int) -> LockSpec | None:
        """The lock in force at a position, None when there is none."""
        held = [lock for lock in self.locks if lock.role == role and lock.from_position <= position]
        return max(held, key=lambda lock: lock.from_position, default=None)


@dataclass(frozen=True)
class CostumeSpec:
    """One look of a subject, worn in some stretches of positions (from, up to and not including); none: always."""

    name: str
    slug: str
    parts: tuple[PartSpec, ...]
    look: FigureLook | None = None
    worn: tuple[tuple[int, int | None], ...] = ()
    note: str = ""

    def in_use(self, position: int) -> bool:
        return not self.worn or any(
            begins <= position and (ends is None or position < ends) for begins, ends in self.worn
        )


@dataclass(frozen=True)
class SubjectSpec:
    """A character, prop or place."""

    name: str
    slug: str
    kind: str
    note: str
    costumes: tuple[CostumeSpec, ...]
    build: Build | None = None

    def costume(self, slug: str) -> CostumeSpec:
        return next(costume for costume in self.costumes if costume.slug == slug)


@dataclass(frozen=True)
class FigureSpec:
    """Somebody (or the dog) in a panel: which costume, doing what, where across (0-1), facing left or right."""

    subject: str
    costume: str
    pose: str = "stand"
    mood: str = "calm"
    u: float = 0.5
    flip: bool = False
    holds: str = ""


@dataclass(frozen=True)
class PropSpec:
    """A prop in a panel at u across (0-1)."""

    subject: str
    costume: str
    u: float = 0.5
    flip: bool = False


@dataclass(frozen=True)
class PanelSpec:
    """One panel. ``shot`` is far, full, mid or close; ``speech`` pairs a figure's index with a line."""

    scene: str
    shot: str
    figures: tuple[FigureSpec, ...] = ()
    props: tuple[PropSpec, ...] = ()
    speech: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True)
class PageSpec:
    """One page guide. ``night_rule`` says that every code of the page is shifted for a night scene."""

    issue: str
    label: str
    colourist: str
    layout: str
    hour: str
    panels: tuple[PanelSpec, ...]
    seed: int
    revision: int = 1
    night_rule: bool = False
    note: str = ""


@dataclass(frozen=True)
class Slip:
    """What a colourist wrote instead of the bible's code, and why that is part of the story.

    ``painted`` None means that the paint is right and only the writing is not.
    """

    issues: tuple[str, ...]
    colourist: str
    subject: str
    costume: str
    part: str
    role: str
    written: str
    painted: str | None
    why: str


@dataclass(frozen=True)
class Story:
    """The whole demo series, in the notation of its box of tints on the 64-tint chart. ``unmarked`` are numbers of
    issues whose pages have come in and wait for somebody to say what their codes are."""

    title: str
    slug: str
    blurb: str
    people: tuple[Person, ...]
    issues: tuple[IssueSpec, ...]
    subjects: tuple[SubjectSpec, ...]
    pages: tuple[PageSpec, ...]
    slips: tuple[Slip, ...] = ()
    respelt: tuple[tuple[str, str, str], ...] = ()  # colourist, canonical code, how that hand writes it
    unmarked: frozenset[str] = frozenset()
    roles: tuple[tuple[str, str, str], ...] = ()  # key, name and short sign of roles of its own
    kinds: tuple[tuple[str, str], ...] = ()  # key and name of kinds of subject of its own

    @cached_property
    def issue_by_number(self) -> dict[str, IssueSpec]:
        return {issue.number: issue for issue in self.issues}

    @cached_property
    def subject_by_slug(self) -> dict[str, SubjectSpec]:
        return {subject.slug: subject for subject in self.subjects}

    @cached_property
    def person_by_username(self) -> dict[str, Person]:
        return {person.username: person for person in self.people}

    def position(self, page: PageSpec) -> int:
        return self.issue_by_number[page.issue].position

    def slip_for(self, page: PageSpec, subject: str, costume: str, part: str, role: str) -> Slip | None:
        """The slip the page's colourist made there, if any."""
        for slip in self.slips:
            where = (slip.subject, slip.costume, slip.part, slip.role)
            if (
                where == (subject, costume, part, role)
                and page.issue in slip.issues
                and page.colourist == slip.colourist
            ):
                return slip
        return None

    def called(
        self, page: PageSpec, subject: str, costume: str, part: PartSpec, role: str
    ) -> tuple[Tint, str] | None:
        """The tint painted and the code written for a part on a page; None when the role has no colour of its own."""
        lock = part.lock_at(role, self.position(page))
        if lock is None and role != "base":
            return None
        code = lock.code if lock else part.usual
        slip = self.slip_for(page, subject, costume, part.name, role)
        if slip is not None:
            return BOX[slip.painted or code], slip.written
        if page.night_rule:
            tint = night_tint(BOX[code])
            return tint, code_of(tint)
        return BOX[code], self.spelt(page.colourist, code)

    def spelt(self, colourist: str, code: str) -> str:
        """A code as a colourist is in the habit of writing it."""
        return next((written for who, held, written in self.respelt if (who, held) == (colourist, code)), code)


def night_tint(tint: Tint) -> Tint:
    """The night scene's rule: every area one step more blue, yellow one step down."""
    return step_by(tint, c=1, y=-1)


@dataclass(frozen=True)
class WrittenMark:
    """The part of a drawn mark that continuity looks at."""

    written: str
    subject: str | None
    costume: str | None
    part: str | None
    role: str | None


def flag_kind(story: Story, page: PageSpec, mark: WrittenMark) -> str | None:
    """The flag a mark must raise by the story's own bible: unreadable, out of use, no lock, differs, or None.

    Told from the story alone, so that it can stand beside what the database says after loading.
    """
    if mark.subject is None or mark.costume is None or mark.part is None or mark.role is None:
        return None
    try:
        tint = NOTATION.read(mark.written)
    except NotationError:
        return "unreadable"
    costume = story.subject_by_slug[mark.subject].costume(mark.costume)
    if not costume.in_use(story.position(page)):
        return "out of use"
    part = next(part for part in costume.parts if part.name == mark.part)
    lock = part.lock_at(mark.role, story.position(page))
    if lock is None:
        return "no lock"
    return None if lock.tint == tint else "differs"


def count_flags(story: Story, marks: Iterable[tuple[PageSpec, WrittenMark]]) -> Counter[str]:
    """How many flags of each kind the marks of some pages must raise."""
    kinds = (flag_kind(story, page, mark) for page, mark in marks)
    return Counter(kind for kind in kinds if kind is not None)
