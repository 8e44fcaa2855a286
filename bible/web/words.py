"""The style sheet of words: one for each thing. The page of help shows it, and a test holds every screen to it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Term:
    """A word that screens say, and what it means.

    Attributes:
        instead_of: what it was called before, or is called elsewhere.
        retired: patterns that no screen's text, in lower case, may hold; a button ends in ``</button>``.
    """

    say: str
    means: str
    instead_of: str = ""
    retired: tuple[str, ...] = ()


WORDS: tuple[tuple[str, tuple[Term, ...]], ...] = (
    (
        "What one does",
        (
            Term("Save", "Keep what the form says.", "say so", (r"\bsay so\b(?=</button>| </button>)",)),
            Term("Cancel", "Leave a form; nothing is kept.", "back without saving", (r"\bback without\b",)),
            Term("Edit", "Change what a thing is called, or how it is described."),
            Term("Undo, Redo", "Take the last deed back, and do it again. What stood before stands again."),
            Term("Withdraw", "Take back what one has asked for: a proposal, an invitation, an issue in check."),
            Term(
                "Archive, Restore",
                "Put away without losing it, and take out again.",
                "bring back",
                (r"\bbring back\b",),
            ),
            Term(
                "Export, Download",
                "A list or file to take away.",
                "take along, take out",
                (r"\btake along\b|\btake out\b",),
            ),
            Term("Import", "A table read in; nothing is kept before its questions are answered."),
            Term(
                "Upload",
                "A picture sent in: a guide, a proof, a chart’s scan.",
                "bring in",
                (r"\bbring guides in\b|\bbring a proof in\b",),
            ),
            Term(
                "Zoom in, Zoom out, Fit",
                "Nearer, farther, the whole page.",
                "closer, farther",
                (r"\b(closer|farther)\b(?=</button>)",),
            ),
            Term(
                "Wipe",
                "A line drawn over two pictures: one on its left, the other on its right.",
                "swipe",
                (r"\bswipe\b",),
            ),
            Term("Copy from last issue", "Marks of the same page a number before, to be looked over."),
            Term("Transfer marks", "Marks of an older scan laid on a newer one of the same page."),
        ),
    ),
    (
        "Colours",
        (
            Term("Tint", "What prints: percentages of cyan, magenta, yellow and black."),
            Term("Code", "How a tint is written in a series: YR3B2."),
            Term("Look-up", "Finding who has which code.", "lookup, look up", (r"\blook ?up\b(?=</a>|</h1>)",)),
            Term("Chart", "The tints that a series may use."),
            Term("Lock", "The code that a part must carry, from one issue up to another."),
            Term("In force", "A lock that holds at the issue one looks at; the current lock."),
            Term(
                "Build locks from old pages",
                "Locks proposed from what the marks of the past say.",
                "settle codes",
                (r"\bsettle codes\b|\bsettle from\b|\bsettled\b",),
            ),
            Term("Lock all clear cases", "Those of them about which no mark disagrees."),
            Term("Earlier colours", "What a part was locked with before.", "old looks", (r"\bold looks\b",)),
            Term(
                "Added, Dropped",
                "Tints that only the later, or only the earlier, of two palettes has.",
                "came, went",
                (r"\bwent \(",),
            ),
            Term("Gradient", "Two codes and a direction.", "fade", ()),
            Term(
                "Gradients that shift hue",
                "Those whose middle is of another hue than their ends.",
                "fades that turn hue",
                (r"\bfades that turn hue\b",),
            ),
            Term("Scene", "A rule that shifts tints on purpose: night, lamplight."),
            Term(
                "Apply scene",
                "Say where it holds: on a page or panel.",
                "let it hold",
                (r"\blet it hold\b|\blet a scene hold\b",),
            ),
            Term("Neighbours too close", "Two areas side by side that print nearly alike."),
        ),
    ),
    (
        "Pages, marks and flags",
        (
            Term("Guide", "The painted page with its codes."),
            Term("Mark", "A place on a guide with its code."),
            Term("Flag", "A mark and the bible disagree."),
            Term(
                "Moderate, obvious, severe",
                "How far two tints stand apart in print.",
                "clear, harsh",
                (r"\bharsh\b",),
            ),
            Term("Waiver, waived", "A lead’s yes to one flag, with a reason.", "exception, allowed"),
            Term("Proof", "A print laid over its guide."),
            Term(
                "Recurring proof faults",
                "What a press or separator gets wrong again and again.",
                "separators forget",
                (r"\bseparators forget\b",),
            ),
        ),
    ),
    (
        "Issues and people",
        (
            Term("In check, Sign-off", "An issue submitted to the editor, and the editor’s yes."),
            Term("History, Recent", "All that was decided, and what was done lately."),
            Term(
                "Lead colourist, fill-in colourist, editor, guest reader",
                "The roles in a series; People says who has which.",
            ),
            Term("Theme: System, Light, Dark", "Which greys stand round the colours."),
        ),
    ),
)
"""In the order in which they are met."""

RETIRED = {pattern: word for _, words in WORDS for word in words for pattern in word.retired}
