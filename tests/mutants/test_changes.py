"""The changes that ``python -m tests.mutants`` makes: each one alone, of text that still compiles."""

from __future__ import annotations

from tests.mutants.changes import changes_of

TEXT = '''
if TYPE_CHECKING:
    from people import User
@atomic
def settle(marks: list[int], by: str = "é") -> int | None:
    """Words."""
    if not marks and by:
        return 0
    hold(marks, how="alone")
    rows = marks.live().order_by("pk")
    return len(rows) + 1 if by == "é" else None
'''


def test_each_kind_of_change_is_made() -> None:
    made = {change.made_in(TEXT) for change in changes_of(TEXT)}
    for before, after in (
        ("@atomic", "@(lambda it: it)"),
        ("not marks and by", "(not marks) or (by)"),
        ("if not marks and by", "if True"),
        ("if not marks and by", "if False"),
        ("return 0", "return 1"),
        ("return 0", "return None"),
        ('hold(marks, how="alone")', "pass"),
        ('hold(marks, how="alone")', "hold(marks)"),
        ('marks.live().order_by("pk")', "marks.live()"),
        ("len(rows) + 1", "(len(rows)) - (1)"),
        ('by == "é"', '(by) != ("é")'),
    ):
        assert TEXT.replace(before, after, 1) in made, after


def test_words_and_annotations_stay_as_they_are() -> None:
    for change in changes_of(TEXT):
        text = change.made_in(TEXT)
        assert text != TEXT
        assert "list[int]" in text
        assert '"""Words."""' in text
        assert "if TYPE_CHECKING:" in text
        compile(text, "changed", "exec")
