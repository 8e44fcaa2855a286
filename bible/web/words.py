"""The style sheet of words: one for each thing. The page of help shows it, and a test holds every screen to it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HouseWord:
    """A word that screens say, and what it means.

    Attributes:
        instead_of: what it was called before, or is called elsewhere.
        retired: patterns that no screen's text, in lower case, may hold; a button ends in ``</button>``.
    """

    say: str
    means: str
    instead_of: str = ""
    retired: tuple[str, ...] = ()


WORDS: tuple[tuple[str, tuple[HouseWord, ...]], ...] = (
    (
        "What one does",
        (
            HouseWord("Save", "Keep what the form says.", "say so", (r"\bsay so\b(?=</button>| </button>)",)),
            HouseWord("Cancel", "Leave a form; nothing is kept.", "back without saving", (r"\bback without\b",)),
            HouseWord("Edit", "Change what a thing is called, or how it is described."),
            HouseWord("Undo, Redo", "Take the last deed back, and do it again. What stood before stands again."),
            HouseWord("Withdraw", "Take back what one has asked for: a proposal, an invitation, an issue in check."),
            HouseWord(
                "Archive, Restore",
                "Put away without losing it, and take out again.",
                "bring back",
                (r"\bbrings? (them |it )?back\b",),
            ),
            HouseWord(
                "Export, Download",
                "A list or file to take away.",
                "take along, take out",
                (r"\btake along\b|\btake out\b",),
            ),
            HouseWord("Import", "A table read in; nothing is kept before its questions are answered."),
            HouseWord(
                "Upload",
                "A picture sent in: a guide, a proof, a chart’s scan.",
                "bring in",
                (r"\bbring (guides|a proof|a scan|it) in\b|\bbring in (a|and)\b",),
            ),
            HouseWord(
                "Zoom in, Zoom out, Fit",
                "Nearer, farther, the whole page.",
                "closer, farther",
                (r"\b(closer|farther)\b(?=</button>)",),
            ),
            HouseWord(
                "Wipe",
                "A line drawn over two pictures: one on its left, the other on its right.",
                "swipe",
                (r"\bswipe\b",),
            ),
            HouseWord("Copy from last issue", "Marks of the same page a number before, to be looked over."),
            HouseWord("Transfer marks", "Marks of an older scan laid on a newer one of the same page."),
        ),
    ),
    (
        "Colours",
        (
            HouseWord("Tint", "What prints: percentages of cyan, magenta, yellow and black."),
            HouseWord("Code", "How a tint is written in a series: YR3B2."),
            HouseWord("Look-up", "Finding who has which code.", "lookup, look up", (r"\blook ?up\b(?=</a>|</h1>)",)),
            HouseWord("Chart", "The tints that a series may use."),
            HouseWord("Lock", "The code that a part must carry, from one issue up to another."),
            HouseWord("In force", "A lock that holds at the issue one looks at; the current lock."),
            HouseWord(
                "Build locks from old pages",
                "Locks proposed from what the marks of the past say.",
                "settle codes",
                (r"\bsettle codes\b|\bsettle from\b|\bsettled\b",),
            ),
            HouseWord("Lock all clear cases", "Those of them about which no mark disagrees."),
            HouseWord("Earlier colours", "What a part was locked with before.", "old looks", (r"\bold looks\b",)),
            HouseWord(
                "Added, Dropped",
                "Tints that only the later, or only the earlier, of two palettes has.",
                "came, went",
                (r"\bwent \(",),
            ),
            HouseWord("Gradient", "Two codes and a direction.", "fade", ()),
            HouseWord(
                "Gradients that shift hue",
                "Those whose middle is of another hue than their ends.",
                "fades that turn hue",
                (r"\bfades that turn hue\b",),
            ),
            HouseWord("Scene", "A rule that shifts tints on purpose: night, lamplight."),
            HouseWord(
                "Apply scene",
                "Say where it holds: on a page or panel.",
                "let it hold",
                (r"\blet it hold\b|\blet a scene hold\b",),
            ),
            HouseWord("Neighbours too close", "Two areas side by side that print nearly alike."),
        ),
    ),
    (
        "Pages, marks and flags",
        (
            HouseWord("Guide", "The painted page with its codes."),
            HouseWord("Mark", "A place on a guide with its code."),
            HouseWord("Flag", "A mark and the bible disagree."),
            HouseWord(
                "Moderate, obvious, severe",
                "How far two tints stand apart in print.",
                "clear, harsh",
                (r"\bharsh\b",),
            ),
            HouseWord("Waiver, waived", "A lead’s yes to one flag, with a reason.", "exception, allowed"),
            HouseWord("Proof", "A print laid over its guide."),
            HouseWord(
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
            HouseWord("In check, Sign-off", "An issue submitted to the editor, and the editor’s yes."),
            HouseWord("History, Recent", "All that was decided, and what was done lately."),
            HouseWord(
                "Lead colourist, fill-in colourist, editor, guest reader",
                "The roles in a series; People says who has which.",
            ),
            HouseWord("Theme: System, Light, Dark", "Which greys stand round the colours."),
        ),
    ),
)
"""In the order in which they are met."""

RETIRED = {pattern: word for _, words in WORDS for word in words for pattern in word.retired}
