"""The demo's story: what it promises a reader, and that its codes mean what they say."""

from __future__ import annotations

from collections import Counter

import pytest

from bible.colour.notation import LETTERS_64, NotationError
from bible.colour.tints import Tint
from guides.demo.story.plot import RESPELT, SUBJECTS, demo_story
from guides.demo.story.story import WrittenMark, flag_kind, night_tint
from guides.demo.story.tintbox import CHART, code_of, step_by

STORY = demo_story()


class TestChart:
    def test_the_box_holds_all_64_tints_of_the_trade_chart(self) -> None:
        # 4 strengths an ink, three inks: 4 x 4 x 4 = 64 (common practice, no source)
        assert len(CHART) == 64
        assert len(set(CHART.values())) == 64

    @pytest.mark.parametrize(
        ("code", "tint"),
        [
            # the trade's own examples (common practice, no source)
            ("YR3B2", Tint(c=25, m=50, y=100)),
            ("Y2R2", Tint(m=25, y=25)),
            ("W", Tint()),
        ],
    )
    def test_codes_of_the_trade_stand_for_the_tints_the_trade_means(self, code: str, tint: Tint) -> None:
        assert CHART[code] == tint
        assert code_of(tint) == code

    def test_every_code_of_the_box_reads_the_same_through_the_notation(self) -> None:
        assert {code: LETTERS_64.read(code) for code in CHART} == CHART

    def test_steps_stay_on_the_chart(self) -> None:
        assert step_by(CHART["YRB"], c=1, m=2) == CHART["YRB"]
        assert step_by(CHART["W"], y=-1) == CHART["W"]
        assert night_tint(CHART["Y2R2"]) == CHART["R2B2"]


class TestShape:
    def test_the_run_is_long_enough_to_have_a_history(self) -> None:
        assert len(STORY.issues) >= 24
        assert len({issue.year for issue in STORY.issues}) == 7
        assert len(STORY.pages) >= 60
        assert {page.issue for page in STORY.pages} == {issue.number for issue in STORY.issues}

    def test_issues_run_forward_in_time_and_position(self) -> None:
        positions = [issue.position for issue in STORY.issues]
        dates = [(issue.year, issue.month) for issue in STORY.issues]
        assert positions == sorted(set(positions))
        assert dates == sorted(dates)

    def test_names_are_unique_where_the_database_wants_them_so(self) -> None:
        assert len({subject.slug for subject in SUBJECTS}) == len(SUBJECTS)
        assert len({(page.issue, page.label) for page in STORY.pages}) == len(STORY.pages)
        assert len({page.seed for page in STORY.pages}) == len(STORY.pages)
        for subject in SUBJECTS:
            assert len({costume.slug for costume in subject.costumes}) == len(subject.costumes)
            for costume in subject.costumes:
                assert len({part.name for part in costume.parts}) == len(costume.parts)
                assert len({part.slot for part in costume.parts}) == len(costume.parts)

    def test_ten_characters_have_clothes_to_change_into(self) -> None:
        dressed = [s for s in SUBJECTS if s.kind == "character" and len(s.costumes) >= 3]
        assert len(dressed) >= 10
        assert {"character", "prop", "place", "sound-effect"} == {subject.kind for subject in SUBJECTS}

    def test_people_hold_the_roles_of_the_trade(self) -> None:
        roles = Counter(person.role for person in STORY.people)
        assert roles == Counter({"lead": 1, "fill-in": 2, "editor": 1, "reader": 1})
        assert {page.colourist for page in STORY.pages} == {
            p.username for p in STORY.people if p.role in ("lead", "fill-in")
        }

    def test_only_the_lead_locks_and_never_two_locks_at_once(self) -> None:
        for subject in SUBJECTS:
            for costume in subject.costumes:
                for part in costume.parts:
                    starts = [(lock.role, lock.from_position) for lock in part.locks]
                    assert len(set(starts)) == len(starts)
                    assert all(lock.by == "thea" and lock.reason for lock in part.locks)


class TestPlot:
    def test_the_coat_changes_with_issue_13_and_not_before(self) -> None:
        coat = STORY.subject_by_slug["tamsin"].costume("work-coat").parts[0]
        before, after = coat.lock_at("base", 12999), coat.lock_at("base", 13000)
        assert before is not None
        assert after is not None
        assert (before.code, after.code) == ("YR2", "YR")
        assert "sank" in after.reason

    def test_one_fill_in_gets_one_code_wrong_three_issues_running(self) -> None:
        slip = next(s for s in STORY.slips if s.subject == "gerrit" and s.role == "base" and s.part == "vest")
        assert slip.issues == ("8", "9", "10")
        for issue in slip.issues:
            assert any(page.issue == issue and page.colourist == slip.colourist for page in STORY.pages)

    def test_every_slip_is_a_slip(self) -> None:
        for slip in STORY.slips:
            page = next(p for p in STORY.pages if p.issue in slip.issues and p.colourist == slip.colourist)
            mark = WrittenMark(slip.written, slip.subject, slip.costume, slip.part, slip.role)
            assert flag_kind(STORY, page, mark) in ("differs", "unreadable"), slip

    def test_the_misused_figure_and_the_scrawl_can_not_be_read(self) -> None:
        page = STORY.pages[0]
        written_by = {s.written: WrittenMark(s.written, s.subject, s.costume, s.part, s.role) for s in STORY.slips}
        unreadable = {written for written, mark in written_by.items() if flag_kind(STORY, page, mark) == "unreadable"}
        assert unreadable == {"YR4", "YB4", "y~/b"}
        for written in unreadable:
            with pytest.raises(NotationError):
                LETTERS_64.read(written)

    def test_habits_of_spelling_change_no_tint(self) -> None:
        for (_, code), written in RESPELT.items():
            assert written != code
            assert LETTERS_64.read(written) == CHART[code]

    def test_the_disguise_is_out_of_use_outside_its_issues(self) -> None:
        disguise = STORY.subject_by_slug["silas"].costume("fishmonger")
        assert [issue.number for issue in STORY.issues if disguise.in_use(issue.position)] == [
            "6",
            "7",
            "8",
            "Annual 1",
            "24",
        ]

    def test_a_background_mark_is_never_flagged(self) -> None:
        assert flag_kind(STORY, STORY.pages[0], WrittenMark("YR4", None, None, None, None)) is None
