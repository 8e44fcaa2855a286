"""DEVELOPERS.md says what is: its map has every room and no other, and each way to add something names files that exist.

Where a thing is said in several places, what holds them together is here too: a new kind of flag, role or upload that
is forgotten in one of them fails.
"""

from __future__ import annotations

import itertools
import mimetypes
import re

import pytest

from bible.colour.charts import STANDARD_CHARTS
from bible.colour.notation import STANDARD_NOTATIONS
from bible.colour.press import available
from bible.colour.tints import Tint
from bible.models import Part, Series, Within
from bible.models.fields import NoTint
from bible.models.roles import FIRST_ROLES
from bible.models.stretches import Stretch
from bible.people.services import INVITATION_TIME
from guides.core import continuity
from guides.imaging.intake.formats import ACCEPT, ACCEPTED_WORDS, PICTURES, served_as
from guides.imaging.intake.rules import MAX_BYTES
from guides.models import NO_TINT_FLAGS, FlagKind, Guide, Mark, UseKind, kind_of_flag
from guides.palettes.forms import KINDS
from tests.factories import make_costume, make_guide, make_issue, make_mark, make_part, make_subject
from tests.test_structure import HOUSE, ORDER

PAGE = (HOUSE / "DEVELOPERS.md").read_text(encoding="utf-8")
MOST_LINES, MOST_LETTERS = 170, 220
"""Two pages, of lines as long as its tables need."""
PATH = re.compile(r"`((?:bible|guides|templates|tests|static|\.deploy|\.ci)/[\w./-]+)`")


def section(heading: str) -> str:
    _, _, rest = PAGE.partition(f"\n## {heading}\n")
    assert rest, heading
    return rest.split("\n## ")[0]


def ways_to_add() -> list[tuple[str, str]]:
    """What can be added, and how."""
    return re.findall(r"^- \*\*(.+?)\*\*(.*(?:\n  .*)*)", section("How to add"), re.MULTILINE)


def test_it_stays_two_pages() -> None:
    lines = PAGE.splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= MOST_LETTERS


@pytest.mark.parametrize("app", list(ORDER))
def test_the_map_names_every_room_and_no_other(app: str) -> None:
    block = section("The rooms").split("```")[1]
    named = re.search(rf"^{app}/ .*\n((?:^ .*\n)+)", block, re.MULTILINE)
    assert named
    rooms = re.findall(r"^  (\w+)/", named[1], re.MULTILINE)
    assert [room for room in rooms if room != "models"] == list(ORDER[app])


def test_every_file_it_names_is_there() -> None:
    named = set(PATH.findall(PAGE))
    assert len(named) > 40
    assert {path for path in named if not (HOUSE / path).exists() and "NAME" not in path} == set()


def test_every_way_to_add_something_names_its_files_and_a_test() -> None:
    ways = ways_to_add()
    assert len(ways) >= 10
    for name, way in ways:
        paths = PATH.findall(way)
        assert paths, name
        if name != "a template":
            assert any(path.startswith("tests/") for path in paths), name


def test_a_flag_kind_is_in_at_most_four_files_and_a_role_of_people_in_one_table() -> None:
    files = dict(ways_to_add())
    flag = [path for path in PATH.findall(files["a flag kind"]) if not path.startswith("tests/")]
    assert len(flag) <= 4
    role = files["a role of people, or what one may do"]
    assert [path for path in PATH.findall(role) if path.endswith(".py") and not path.startswith("tests/")] == [
        "bible/models/permissions.py"
    ]


class TestAFlagKind:
    def test_it_has_a_verdict_that_can_be_said(self) -> None:
        for kind in FlagKind:
            assert "{" not in kind.verdict.format(costume="work coat", issue="57")

    def test_whatever_can_be_missing_is_a_kind_of_its_own(self) -> None:
        assert {NoTint.FLAT, *(why for _, why in NO_TINT_FLAGS.values())} == set(NoTint)
        assert set(FlagKind) == {FlagKind.DIFFERS, FlagKind.FADES, *NO_TINT_FLAGS}
        assert all(why.words for why in NoTint)

    def test_every_pair_of_columns_has_its_kind(self) -> None:
        """By hand: what says nothing comes first, then what is missing on the bible's side."""
        one, other = Tint(0, 50, 100, 0), Tint(25, 50, 100, 0)
        of: dict[Tint | NoTint, FlagKind] = {
            NoTint.OUT_OF_USE: FlagKind.OUT_OF_USE,
            NoTint.NO_LOCK: FlagKind.NO_LOCK,
            other: FlagKind.DIFFERS,
        }
        marked: list[Tint | NoTint] = [one, NoTint.UNREADABLE]
        for tint, expected in itertools.product(marked, of):
            wanted = FlagKind.UNREADABLE if tint is NoTint.UNREADABLE else of[expected]
            assert kind_of_flag(tint, expected) is wanted
        assert kind_of_flag(one, one) is None

    def test_every_pair_of_second_codes_has_its_kind(self) -> None:
        """By hand: flat where it should fade, fading where it should not, to another tint, to something unreadable."""
        one, other = Tint(0, 50, 100, 0), Tint(25, 50, 100, 0)
        assert kind_of_flag(one, one, other, other) is None
        assert kind_of_flag(one, one, None, other) is FlagKind.FADES
        assert kind_of_flag(one, one, other, NoTint.FLAT) is FlagKind.FADES
        assert kind_of_flag(one, one, one, other) is FlagKind.FADES
        assert kind_of_flag(one, other, one, one) is FlagKind.DIFFERS
        assert kind_of_flag(one, one, NoTint.UNREADABLE, other) is FlagKind.UNREADABLE
        assert kind_of_flag(one, NoTint.NO_LOCK, other, NoTint.FLAT) is FlagKind.NO_LOCK

    @pytest.mark.django_db
    @pytest.mark.parametrize("why", [why for column, why in NO_TINT_FLAGS.values() if column == "expected"])
    def test_it_arises_where_expectations_are_resolved_and_derived(self, series: Series, why: NoTint) -> None:
        """One mark that gets each of them, resolved when it is placed, and derived from scratch."""
        guide = make_guide(make_issue(series))
        not_yet = make_costume(make_subject(series), worn=[Stretch(1_000_000)])
        make = {
            NoTint.NO_LOCK: lambda: [make_mark(guide, "Y", part=make_part(series))],
            NoTint.OUT_OF_USE: lambda: [make_mark(guide, "Y", part=make_part(costume=not_yet))],
            NoTint.NOT_THE_SAME: lambda: _in_one_issue(guide, make_part(series, held_within=Within.ISSUE)),
        }[why]
        keys = {mark.pk for mark in make()}
        assert Mark.objects.filter(pk__in=keys, expected=why).exists()
        assert why in {one.expected for one in continuity.derive(series) if one.mark_id in keys}
        assert continuity.discrepancies(series) == []


def _in_one_issue(guide: Guide, part: Part) -> list[Mark]:
    """A background that is two colours on one page."""
    return [make_mark(guide, code, part=part) for code in ("Y", "R")]


def test_a_role_of_codes_is_counted_and_can_be_asked_for() -> None:
    for role in FIRST_ROLES:
        kind = UseKind.of(1, role.key)
        assert KINDS[role.key] == (f"parts, {role.name}", [kind])
    assert len({UseKind.of(1, role) for role in (*FIRST_ROLES.keys, "line-hold")}) == len(FIRST_ROLES) + 1


def test_an_upload_format_is_whole() -> None:
    """Types by Python's own list of them."""
    for kind in PICTURES.values():
        assert kind.words in ACCEPTED_WORDS
        assert mimetypes.guess_type(f"guide.{kind.endings[0]}", strict=False)[0] == kind.content_type
        assert {kind.content_type, *(f".{ending}" for ending in kind.endings)} <= set(ACCEPT.split(","))
        assert kind.signatures
        assert served_as(f"guides/7.{kind.endings[0]}") == kind.content_type
    for page in ("guides/uploads/upload.html", "bible/web/help/bringing-in.html"):
        words = " ".join((HOUSE / "templates" / page).read_text(encoding="utf-8").split())
        assert f"{ACCEPTED_WORDS}, up to {MAX_BYTES // 1_000_000} MB" in words.replace(
            "{{ picture_words }}", ACCEPTED_WORDS
        )


def test_how_long_an_invitation_opens_is_what_prose_says() -> None:
    assert INVITATION_TIME.days == 7
    for path, said in (
        ("templates/bible/people/people.html", "for seven days"),
        ("templates/bible/web/help/bringing-in.html", "for seven days"),
        ("bible/web/THREATS.md", "for a week"),
    ):
        assert said in (HOUSE / path).read_text(encoding="utf-8")


def test_a_press_is_a_file_that_names_its_source() -> None:
    files = {path.stem for path in (HOUSE / "bible/colour/pressdata").glob("*.press")}
    assert {press.name for press in available()} == files
    assert all(press.source and press.title for press in available())


@pytest.mark.parametrize("name", list(STANDARD_CHARTS))
def test_a_step_of_the_notation_is_on_its_chart_and_comes_back(name: str) -> None:
    """Every tint of a chart has a code in the chart's own letters, not in percentages, that is read as that tint."""
    letters, percentages = STANDARD_NOTATIONS[f"letters-{name}"], STANDARD_NOTATIONS["percent"]
    for tint in STANDARD_CHARTS[name].tints:
        code = letters.write(tint)
        assert letters.read(code) == tint
        assert code == "W" or code != percentages.write(tint)
