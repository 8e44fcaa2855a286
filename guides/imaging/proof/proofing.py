"""The proof desk's engine: lay a proof over its guide, read every mark, name the faults.

What a scan shows depends on the scanner; what is said here is said against a stated press condition, fitted to the
page. It is a reason to look, not a measurement: printed output is judged on the house's own proof.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from bible.colour import press as presses
from bible.colour.charts import CHART_64
from bible.colour.press import DEFAULT_PRESS, PressCondition
from bible.colour.tints import INKS, PAPER, Tint, as_array
from guides.imaging.page.page_map import PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.proof.fades import decide_fade, read_fade
from guides.imaging.proof.page_press import PagePress, fit
from guides.imaging.proof.press_said import InkShift, ink_shift
from guides.imaging.proof.printed_guide import ASKED_FROM, strays, without
from guides.imaging.proof.reading import FLARE, REACH, Reader, Reading, Unreadable
from guides.imaging.proof.registration import Picture, Registration, register
from guides.imaging.proof.verdicts import Decision, Hypothesis, Judge, Verdict, decide, hypotheses

FloatArray = npt.NDArray[np.float64]

PAPER_SPOTS = 14
"""Bare places of the guide read as paper, to anchor the fit where few marks are light."""

PAPER_BELIEF = 0.5
"""How far such a place is trusted to be paper: the guide may have left it for a later colour."""

NEAR_BLACK, NEARLY_GREY, TOLD_IN_BLACK = 52.0, 15.0, 8.0
"""L* relative to the paper and chroma below which an area prints nearly black, and the CIEDE2000 from which two such
areas can be told apart. On newsprint (TR 002) three solids have L* 50, black ink alone 48, both together 41: not 8
apart, which stray light and show-through make up for."""

BLACK_SAID = "what was called and what prints are both nearly black: a scan can’t tell them apart"

PART_MISSING = 0.3
"""Share of an area that must carry the fault before part of an area counts as the fault."""


@dataclass(frozen=True)
class MarkGradient:
    """``to`` is reached at ``end``; the mark's own tint holds at ``start``. Guide px."""

    to: Tint
    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True)
class ProofMark:
    """A mark to be read. ``tint`` None: the code could not be read, ``why`` says so."""

    id: Any
    x: float
    y: float
    tint: Tint | None
    gradient: MarkGradient | None = None
    why: str = ""


@dataclass(frozen=True)
class MarkVerdict:
    """What happened to one mark.

    Attributes:
        nearest: the tints that fit best, likeliest first.
        p: probability of the verdict, 0-1.
        delta_e: CIEDE2000 between what was called and what was read, both as this page prints; None if not read.
        proof_xy: where the mark lies on the scan, px; None when it is off the scan.
        area: the mark's area on the guide's map, 0 where there is none.
        confidence: chance 0-1 that the verdict is right; 0 where nothing is claimed.
    """

    id: Any
    verdict: Verdict
    ink: str | None
    nearest: tuple[Tint, ...]
    p: float
    delta_e: float | None
    why: str
    proof_xy: tuple[float, float] | None
    area: int = 0

    @property
    def confidence(self) -> float:
        return 0.0 if self.verdict is Verdict.CANNOT_TELL else self.p


@dataclass(frozen=True)
class ProofReport:
    registration: Registration
    press: str
    shift: dict[str, InkShift]
    shift_said: str
    marks: tuple[MarkVerdict, ...]

    @property
    def faults(self) -> tuple[MarkVerdict, ...]:
        """The marks with a fault, surest and most visible first."""
        faulty = [mark for mark in self.marks if mark.verdict.is_fault]
        return tuple(sorted(faulty, key=lambda mark: -mark.p * (mark.delta_e or 0.0)))


def check(
    guide: Picture,
    proof: Picture,
    marks: Sequence[ProofMark],
    press: str | PressCondition = DEFAULT_PRESS,
    hand_points: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    page: PageMap | None = None,
) -> ProofReport:
    """Lay ``proof`` over ``guide`` (RGB uint8) and judge every mark. ``page`` is the guide's map; without one it is
    made.

    Raises:
        NotRegistered: it is not a usable scan of this page; the reason and the message say why.
        UnknownPress: there is no such press condition.
    """
    condition = presses.load(press) if isinstance(press, str) else press
    registration = register(guide, proof, hand_points)
    return judge(Reader(guide, proof, registration, page or read_page_map(guide)), marks, condition)


def judge(reader: Reader, marks: Sequence[ProofMark], condition: PressCondition) -> ProofReport:
    """Judge marks on a registered proof."""
    height = reader.height
    readings: dict[int, Reading] = {}
    unread: dict[int, str] = {}
    areas = [reader.area_id(mark.x, mark.y) for mark in marks]
    others = _others(marks, areas, REACH * height)
    for number, mark in enumerate(marks):
        if mark.tint is None:
            unread[number] = mark.why or "its code can't be read"
        elif mark.gradient is None:
            reading = reader.read(mark.x, mark.y, others.get(number, ()))
            if isinstance(reading, Unreadable):
                unread[number] = reading.why
            else:
                readings[number] = reading
    readings, page, between = _fitted(reader, marks, readings, condition, others)
    levels, chart = _chart(marks)
    rows = {number: row for row, number in enumerate(readings)}
    asked = {number: hypotheses(tint, chart, levels) for number in rows if (tint := marks[number].tint) is not None}
    bench = Judge.of(
        page, [PAPER, *(hypothesis.tint for candidates in asked.values() for hypothesis in candidates)], between
    )
    decided: list[MarkVerdict] = []
    for number, mark in enumerate(marks):
        where = _on_scan(reader, mark)
        if number in unread:
            decision = Decision(Verdict.CANNOT_TELL, None, 1.0, (), unread[number], 0.0)
            decided.append(_verdict(mark, decision, None, where))
        elif mark.gradient is not None:
            decided.append(_fade(reader, page, mark, where))
        else:
            decided.append(_flat(bench, mark, readings[number], rows[number], asked[number], height, where))
    shift, sentence = ink_shift(page)
    verdicts = tuple(replace(verdict, area=area) for verdict, area in zip(decided, areas, strict=True))
    return ProofReport(reader.registration, condition.name, shift, sentence, verdicts)


def _others(marks: Sequence[ProofMark], areas: Sequence[int], reach: float) -> dict[int, list[tuple[float, float]]]:
    """By a mark's number the marks near it in its area, which may be two that the map took for one."""
    others: dict[int, list[tuple[float, float]]] = {}
    for number, mark in enumerate(marks):
        for other, area in zip(marks, areas, strict=True):
            near = abs(other.x - mark.x) < 2 * reach and abs(other.y - mark.y) < 2 * reach
            if near and area and area == areas[number] and other is not mark:
                others.setdefault(number, []).append((other.x, other.y))
    return others


def _fitted(
    reader: Reader,
    marks: Sequence[ProofMark],
    readings: dict[int, Reading],
    condition: PressCondition,
    others: dict[int, list[tuple[float, float]]],
) -> tuple[dict[int, Reading], PagePress, bool]:
    """The page fitted to its readings; where the guide is a print whose straying the proof follows, to readings
    without that, and True."""
    papers = _paper_spots(reader)
    page = _fit_page(reader, marks, readings, condition, papers)
    if page.scatter < ASKED_FROM:
        return readings, page, False
    guide = reader.of_guide()
    on_guide = [guide.read(marks[number].x, marks[number].y, others.get(number, ())) for number in readings]
    foretold = strays(page, condition, on_guide)
    if foretold is None:
        return readings, page, False
    readings = {n: without(read, off) for (n, read), off in zip(readings.items(), foretold, strict=True)}
    return readings, _fit_page(reader, marks, readings, condition, papers), True


def _fit_page(
    reader: Reader,
    marks: Sequence[ProofMark],
    readings: dict[int, Reading],
    condition: PressCondition,
    papers: Sequence[tuple[tuple[float, float], Reading]],
) -> PagePress:
    tints = [tint for number in readings if (tint := marks[number].tint) is not None] + [PAPER] * len(papers)
    at = [(marks[number].x, marks[number].y) for number in readings] + [spot for spot, _ in papers]
    read = list(readings.values()) + [reading for _, reading in papers]
    belief = np.r_[np.ones(len(readings)), np.full(len(papers), PAPER_BELIEF)]
    return fit(
        condition,
        np.array([reading.tone for reading in read]).reshape(-1, 3),
        np.array([reading.noise for reading in read]).reshape(-1, 3),
        as_array(tints),
        np.array(at, dtype=np.float64).reshape(-1, 2) / reader.height,
        belief,
    )


def _paper_spots(reader: Reader) -> list[tuple[tuple[float, float], Reading]]:
    """Bare white places of the guide, far from one another, as they print."""
    import cv2

    bare = cv2.inRange(reader.lab, np.array([94.0, -5.0, -5.0]), np.array([101.0, 5.0, 5.0]))
    step = 4
    small = cv2.erode(bare, np.ones((5, 5), np.uint8))[::step, ::step]
    room = cv2.distanceTransform(np.pad(small, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    spots: list[tuple[tuple[float, float], Reading]] = []
    apart = 0.1 * reader.height / step
    for _ in range(3 * PAPER_SPOTS):
        if len(spots) >= PAPER_SPOTS:
            break
        y, x = np.unravel_index(int(room.argmax()), room.shape)
        if room[y, x] * step < 0.004 * reader.height:
            break
        cv2.circle(room, (int(x), int(y)), int(apart), 0.0, -1)
        spot = (float(x * step), float(y * step))
        reading = reader.read(*spot)
        if isinstance(reading, Reading):
            spots.append((spot, reading))
    return spots


def _chart(marks: Sequence[ProofMark]) -> tuple[tuple[int, ...], list[Tint]]:
    """The strengths in use (at least the classic ones) and the tints they make."""
    tints = [mark.tint for mark in marks if mark.tint] + [mark.gradient.to for mark in marks if mark.gradient]
    levels = sorted({0, 25, 50, 100} | {getattr(tint, ink) for tint in tints for ink in INKS})
    if len(levels) <= 4:
        return tuple(levels), list(CHART_64.tints)
    if len(levels) <= 6:
        return tuple(levels), [Tint(c, m, y) for c in levels for m in levels for y in levels]
    return tuple(levels), list(dict.fromkeys([*CHART_64.tints, *tints]))


def _on_scan(reader: Reader, mark: ProofMark) -> tuple[float, float] | None:
    x, y = reader.registration.to_proof([(mark.x, mark.y)])[0]
    height, width = reader.proof.shape[:2]
    return (float(x), float(y)) if 0 <= x < width and 0 <= y < height else None


def _flat(
    bench: Judge,
    mark: ProofMark,
    reading: Reading,
    row: int,
    candidates: Sequence[Hypothesis],
    height: float,
    where: tuple[float, float] | None,
) -> MarkVerdict:
    at = np.array([mark.x, mark.y]) / height
    tints = [candidate.tint for candidate in candidates]

    def judged(tone: FloatArray) -> Decision:
        return decide(candidates, bench.likelihoods(tone, reading.noise, at, tints, row))

    decision = judged(reading.tone)
    if reading.parts and not decision.verdict.is_fault:
        decision = _part_missing([(judged(tone), share) for tone, share in reading.parts], decision)
    expected, paper = bench.expected(tints[0], at, row), bench.expected(PAPER, at, row)
    difference = _difference(reading.tone, expected, paper)
    if decision.verdict.is_fault and difference < TOLD_IN_BLACK and _near_black(reading.tone, expected, paper):
        decision = Decision(Verdict.CANNOT_TELL, None, 1.0, decision.tints, BLACK_SAID, decision.p_as_called)
    return _verdict(mark, decision, difference, where)


def _part_missing(parts: list[tuple[Decision, float]], whole: Decision) -> Decision:
    """An area of two colours, one of them as called: the other part names the fault if it is large and clear."""
    (odd, odd_share), (good, _) = sorted(parts, key=lambda part: part[0].p_as_called)
    if odd.verdict.is_fault and odd.p > 0.9 and odd_share >= PART_MISSING and good.verdict is Verdict.AS_CALLED:
        why = f"in {100 * odd_share:.0f} % of the area: {odd.why}"
        return replace(odd, why=why)
    return whole


def _fade(reader: Reader, page: PagePress, mark: ProofMark, where: tuple[float, float] | None) -> MarkVerdict:
    assert mark.tint is not None
    assert mark.gradient is not None
    fade = mark.gradient
    profile = read_fade(reader, (mark.x, mark.y), fade.start, fade.end)
    if isinstance(profile, Unreadable):
        return _verdict(mark, Decision(Verdict.CANNOT_TELL, None, 1.0, (), profile.why, 0.0), None, where)
    if fade.to == mark.tint:
        alike = "both ends of the fade are called alike"
        return _verdict(mark, Decision(Verdict.CANNOT_TELL, None, 1.0, (), alike, 0.0), None, where)
    places, tones, noises, at = profile
    decision = decide_fade(page, places, tones, noises, at / reader.height, mark.tint, fade.to)
    middle = int(np.abs(places - 0.5).argmin())
    ends = as_array([mark.tint, fade.to])
    half = ends[0] + (ends[1] - ends[0]) * places[middle]
    place = np.repeat(at[middle : middle + 1] / reader.height, 2, 0)
    expected, _, _ = page.predict(np.stack([half, np.zeros(4)]), place)
    return _verdict(mark, decision, _difference(tones[middle], expected[0], expected[1]), where)


def _difference(tone: FloatArray, expected: FloatArray, paper: FloatArray) -> float:
    """CIEDE2000 between what was read and what this page makes of the called tint, relative to the page's paper."""
    from bible.colour.difference import delta_e_2000

    lab = _labs(tone, expected, paper)
    return float(delta_e_2000(lab[:1], lab[1:])[0])


def _near_black(tone: FloatArray, expected: FloatArray, paper: FloatArray) -> bool:
    """Whether what was read and what was called are both so dark and so grey that a scan tells little of either."""
    lab = _labs(tone, expected, paper)
    return bool((lab[:, 0] < NEAR_BLACK).all() and (np.hypot(lab[:, 1], lab[:, 2]) < NEARLY_GREY).all())


def _labs(tone: FloatArray, expected: FloatArray, paper: FloatArray) -> FloatArray:
    """CIELAB (2, 3) of both, relative to the page's paper."""
    from bible.colour.colorimetry import D65_XYZ, xyz_to_lab

    linear = np.exp(np.stack([tone, expected])) - FLARE
    linear = np.clip(linear / np.maximum(np.exp(paper) - FLARE, 0.05), 0.0, None)
    return xyz_to_lab(linear @ _RGB_TO_XYZ.T * 100.0, D65_XYZ)


_RGB_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
"""Linear sRGB to XYZ at D65 (IEC 61966-2-1)."""


def _verdict(
    mark: ProofMark, decision: Decision, delta_e: float | None, where: tuple[float, float] | None
) -> MarkVerdict:
    return MarkVerdict(
        mark.id, decision.verdict, decision.ink, decision.tints, float(decision.p), delta_e, decision.why, where
    )
