"""Writes to found codes: keyword-only and atomic. A yes places the mark by the same service as any other mark."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from bible.locks.stretches import why_no_role
from bible.models import Part, Series
from bible.models.naming import name_of
from bible.models.roles import BASE_ROLE
from bible.series.holding import refuse_archived_parts
from bible.series.refusals import Refused
from guides.core.holding import hold_pages
from guides.core.once import deed_of_desk
from guides.core.rules import refuse_older
from guides.core.services import NewMark, delete_mark, place_mark, place_marks
from guides.found.hands import hand_of
from guides.found.proposing import proposed_anew, say_page_is_sure
from guides.found.searching import PageSearch, search_page
from guides.models import SEARCH_VERSION, CodeSearch, Deed, FoundCode, Guide, Mark

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Outcome = FoundCode.Outcome

NEAR = 0.02
"""Share of the page's height within which a mark of the same tint is the same code: a hand's width of a code."""

MOVED = 0.004
"""Share of the page from which a place is another one: a pointer's own jitter is less."""

PROPOSED = (
    "code", "p", "readings", "part", "role", "p_part", "owners", "expected", "differs", "elsewhere", "was_sure",
)  # fmt: skip
"""What may change about a code while nobody has answered it."""


@dataclass(frozen=True, slots=True)
class CodeAnswer:
    """Somebody's yes to a found code, as it is to be marked."""

    found: FoundCode
    x: float
    y: float
    written: str
    part: Part | None
    role: str

    @classmethod
    def as_read(cls, found_code: FoundCode) -> CodeAnswer:
        """What a code says as it was found."""
        return cls.saying(found_code, found_code.part, found_code.role or BASE_ROLE, found_code.code)

    @classmethod
    def saying(cls, found_code: FoundCode, part: Part | None, role: str, code: str) -> CodeAnswer:
        """What somebody says of a code, at the place that it was found to mean."""
        written = as_written(found_code) if code == found_code.code else code
        return cls(found_code, found_code.x, found_code.y, written, part, role)


def as_written(found_code: FoundCode) -> str:
    """What the code's mark says: what stands on the page where that means the same, else as the series writes it."""
    series = found_code.guide.series
    return (
        found_code.text
        if _tint(series, found_code.text) == _tint(series, found_code.code) is not None
        else found_code.code
    )


def _tint(series: Series, text: str) -> Tint | None:
    try:
        return series.read(text)
    except NotationError:
        return None


def read_guide_page(guide: Guide) -> CodeSearch:
    """Look a page through for codes and keep what is found; what somebody has answered stays answered.

    Raises:
        OSError: the page's picture is missing or damaged.
    """
    return keep_search(guide=guide, page_search=search_page(guide, hand_of(guide)))


@transaction.atomic
def keep_search(*, guide: Guide, page_search: PageSearch) -> CodeSearch:
    """Keep what a page was found to say instead of what it was found to say before. Codes that are marked already are
    left out. Where the series says so, those that are sure become marks. A page that could not be looked at keeps
    what was found on it, and waits to be looked through."""
    hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk])
    if page_search.unable:
        said = {"series_id": guide.series_id, "version": 0, "problem": page_search.problem[:300]}
        return CodeSearch.objects.update_or_create(guide=guide, defaults=said)[0]
    guide = Guide.objects.select_related("issue", "series").get(pk=guide.pk)
    FoundCode.objects.filter(guide=guide, decided_at=None).delete()
    answered = list(FoundCode.objects.filter(guide=guide).select_related("mark"))
    marks = list(Mark.objects.filter(guide=guide, deleted_at=None))
    fresh = [
        row
        for row in page_search.codes
        if not any(_same_writing(row, earlier) for earlier in answered)
        and not any(is_marked_by(row, m) for m in marks)
    ]
    first = max((earlier.number for earlier in answered), default=0) + 1
    for number, row in enumerate(fresh, first):
        row.number, row.guide = number, guide
    say_page_is_sure(guide, [*answered, *fresh])
    FoundCode.objects.bulk_create(fresh)
    defaults = {
        "series_id": guide.series_id, "version": SEARCH_VERSION, "problem": page_search.problem[:300],
        "notes": list(page_search.notes), "panels": list(page_search.layout.panels),
        "bordering": [list(pair) for pair in page_search.layout.bordering],
    }  # fmt: skip
    search, _ = CodeSearch.objects.update_or_create(guide=guide, defaults=defaults)
    if guide.series.lets_codes_in and guide.stands:
        let_sure_in(guide=guide)
    return search


def _same_writing(first: FoundCode, second: FoundCode) -> bool:
    """Whether two rows are of one code and mean the same area: the middle of one lies in the box of the other."""
    x, y = (first.left + first.right) / 2, (first.top + first.bottom) / 2
    inside = second.left <= x <= second.right and second.top <= y <= second.bottom
    return inside and (first.area == second.area or _near(first.x, first.y, second.x, second.y))


def _near(x: float, y: float, other_x: float, other_y: float) -> bool:
    return max(abs(x - other_x), abs(y - other_y)) <= NEAR


def is_marked_by(found_code: FoundCode, mark: Mark) -> bool:
    """Whether a mark stands for this code: it says one of its likely readings, at its place or its writing."""
    wide, high = (found_code.right - found_code.left) / 4, (found_code.bottom - found_code.top) / 4
    on_writing = (
        found_code.left - wide <= mark.x <= found_code.right + wide
        and found_code.top - high <= mark.y <= found_code.bottom + high
    )
    if not on_writing and not _near(found_code.x, found_code.y, mark.x, mark.y):
        return False
    series = found_code.guide.series
    return any(_tint(series, code) == mark.tint for code, _ in found_code.readings[:3])


@transaction.atomic
def take_codes(*, guide: Guide, answers: Sequence[CodeAnswer], by: User, let_in: bool = False) -> list[Mark]:
    """Make marks of found codes, as they are answered; the page's other codes are asked again by that.

    Args:
        let_in: no person said so; the series lets sure codes in by themselves.

    Raises:
        Refused: one of them has been answered already, there is none, the page counts no more, a part has been
            archived since it was proposed, or its subject's kind has not got the role.
    """
    if not answers:
        raise Refused("None of the codes that were shown waits any more.")
    parts = [answer.part.pk if answer.part else None for answer in answers]
    hold_pages(series_id=guide.series_id, parts=parts, issues=[guide.issue_id], guides=[guide.pk])
    refuse_older(Guide.objects.get(pk=guide.pk))
    if not let_in:
        refuse_archived_parts(parts)
        _refuse_roles(guide.series, answers)
    waiting = _waiting(guide, [answer.found for answer in answers])
    news = [
        NewMark(answer.x, answer.y, answer.written, answer.part, answer.role, let_in=let_in) for answer in answers
    ]  # fmt: skip
    marks = place_marks(guide=guide, by=by, rows=news)
    for answer, mark in zip(answers, marks, strict=True):
        row = waiting[answer.found.pk]
        row.code_right = _tint(guide.series, row.code) == mark.tint
        _answered(row, Outcome.LET_IN if let_in else _became(row, mark), None if let_in else by, mark)
    _keep_answers(waiting.values())
    ask_the_rest(guide=guide)
    return marks


@transaction.atomic
def look_over(*, guide: Guide, right: Sequence[CodeAnswer], struck: Sequence[FoundCode], by: User) -> list[Mark]:
    """Take codes that were looked over together as they are answered; those that were struck are asked one by one.

    Raises:
        Refused: as for ``take_codes``.
    """
    parts = [answer.part.pk if answer.part else None for answer in right]
    hold_pages(series_id=guide.series_id, parts=parts, issues=[guide.issue_id], guides=[guide.pk])
    refuse_older(Guide.objects.get(pk=guide.pk))
    FoundCode.objects.filter(guide=guide, decided_at=None, pk__in=[row.pk for row in struck]).update(doubted=True)
    return take_codes(guide=guide, answers=right, by=by) if right else []


def _refuse_roles(series: Series, answers: Iterable[CodeAnswer]) -> None:
    for answer in answers:
        if why := why_no_role(series, answer.part, answer.role):
            raise Refused(why)


def _waiting(guide: Guide, codes: Iterable[FoundCode]) -> dict[int, FoundCode]:
    """The rows as they are now. ``Refused`` where one of them waits no more."""
    keys = [found_code.pk for found_code in codes]
    rows = FoundCode.objects.filter(guide=guide, pk__in=keys).select_related("decided_by", "guide__series")
    known = {row.pk: row for row in rows}
    for row in known.values():
        if row.decided_at is not None:
            raise Refused(f"{name_of(row.decided_by)} has answered {row.code or 'this code'} meanwhile.")
    if len(known) < len(set(keys)):
        raise Refused("The page has been looked through anew meanwhile: look at what it says now.")
    return known


def _became(row: FoundCode, mark: Mark) -> Outcome:
    if not row.code_right or (mark.part_id, mark.part_id and mark.role) != (row.part_id, row.part_id and row.role):
        return Outcome.CORRECTED
    moved = max(abs(row.x - mark.x), abs(row.y - mark.y)) > MOVED
    return Outcome.MOVED if moved else Outcome.TAKEN


def _answered(row: FoundCode, outcome: Outcome, by: User | None, mark: Mark | None) -> None:
    row.outcome, row.decided_by, row.decided_at, row.mark = outcome, by, timezone.now(), mark


def _keep_answers(rows: Iterable[FoundCode]) -> None:
    fields = ("outcome", "decided_by", "decided_at", "mark", "code_right")
    FoundCode.objects.bulk_update(rows, fields)


@transaction.atomic
def let_sure_in(*, guide: Guide) -> list[Mark]:
    """Let the sure codes of a page in by themselves, in the name of whoever brought the page in. Those of parts that
    were archived while it was looked through wait for somebody."""
    sure = FoundCode.objects.filter(guide=guide).waiting().sure().exclude(part__in=Part.objects.archived())
    sure = sure.with_names().select_related("guide__series")
    answers = [CodeAnswer.as_read(row) for row in sure if not why_no_role(guide.series, row.part, row.role)]
    return take_codes(guide=guide, answers=answers, by=guide.uploaded_by, let_in=True) if answers else []


@transaction.atomic
def take_let_in_back(*, guide: Guide, by: User) -> int:
    """Take the marks that were let in by themselves off a page, all together: their codes wait for a yes again.
    Returns how many. What somebody has looked at stays."""
    marks = _hold_let_in(guide)
    for mark in marks:
        delete_mark(mark=mark, by=by)
    turn_back(guide=guide, codes=FoundCode.objects.filter(mark__in=marks), back=True)
    return len(marks)


@transaction.atomic
def say_let_in_right(*, guide: Guide, by: User) -> int:
    """Say that the marks that were let in by themselves are right: from now on they are somebody's. Returns how
    many."""
    marks = _hold_let_in(guide)
    keys = [mark.pk for mark in marks]
    Mark.objects.filter(pk__in=keys).update(let_in=False)
    FoundCode.objects.filter(mark__in=keys).update(outcome=Outcome.TAKEN, decided_by=by, decided_at=timezone.now())
    return len(marks)


def _hold_let_in(guide: Guide) -> list[Mark]:
    let_in = Mark.objects.filter(guide=guide, let_in=True, deleted_at=None)
    hold_pages(series_id=guide.series_id, issues=[guide.issue_id], guides=[guide.pk], marks=let_in)
    refuse_older(Guide.objects.get(pk=guide.pk))
    return list(let_in.select_related("guide__issue", "series"))


@transaction.atomic
def let_codes_in(*, series: Series, lets: bool) -> None:
    """Say whether sure codes become marks by themselves. What is found from now on follows it."""
    Series.objects.filter(pk=series.pk).update(lets_codes_in=lets)
    series.lets_codes_in = lets


@deed_of_desk(Deed.Kind.SET_ASIDE)
@transaction.atomic
def set_aside(*, found_code: FoundCode, by: User, beside: Iterable[FoundCode] = ()) -> FoundCode:
    """Say that a found code is none, or none to be marked, and so are those ``beside`` it: one deed. ``Refused``
    where one of them has been answered."""
    guide = found_code.guide
    hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk])
    refuse_older(Guide.objects.get(pk=guide.pk))
    rows = _waiting(guide, [found_code, *beside])
    for row in rows.values():
        row.code_right = False
        _answered(row, Outcome.SET_ASIDE, by, None)
    _keep_answers(rows.values())
    ask_the_rest(guide=guide)
    first = rows.pop(found_code.pk)
    first.beside = tuple(rows.values())
    return first


@transaction.atomic
def turn_back(*, guide: Guide, codes: Iterable[FoundCode], back: bool) -> None:
    """Let answers be taken back (they wait again) or hold again; the marks are turned by whoever turns the deed."""
    rows = list(codes)
    for row in rows:
        row.decided_at = None if back else timezone.now()
    FoundCode.objects.bulk_update(rows, ["decided_at"])
    ask_the_rest(guide=guide)


@deed_of_desk(Deed.Kind.PLACE)
@transaction.atomic
def mark_by_hand(*, guide: Guide, by: User, **said: Any) -> Mark:
    """Place a mark (arguments of ``core.services.place_mark``); a found code that waits there is answered by it."""
    mark = place_mark(guide=guide, by=by, **said)
    answer_by_hand(mark=mark, by=by)
    return mark


@transaction.atomic(savepoint=False)
def answer_by_hand(*, mark: Mark, by: User) -> None:
    """A mark placed by hand where a code waits is the answer to it."""
    waiting = FoundCode.objects.filter(guide=mark.guide_id).waiting().select_related("guide__series")
    row = next((row for row in waiting if is_marked_by(row, mark)), None)
    if row is None:
        return
    row.code_right = _tint(row.guide.series, row.code) == mark.tint
    _answered(row, _became(row, mark), by, mark)
    _keep_answers([row])
    ask_the_rest(guide=row.guide)


@transaction.atomic
def ask_the_rest(*, guide: Guide) -> None:
    """Let what was answered speak for the page's other codes: whose parts they are, and what they read as."""
    guide = Guide.objects.select_related("issue", "series").get(pk=guide.pk)
    rows = proposed_anew(guide)
    FoundCode.objects.bulk_update([row for row in rows if row.decided_at is None], PROPOSED)
