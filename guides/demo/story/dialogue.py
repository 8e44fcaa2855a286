"""What they say: lines by scene, short enough for a balloon, dealt out so that an issue doesn't repeat itself."""

from __future__ import annotations

LINES: dict[str, tuple[str, ...]] = {
    "quay": (
        "The chain's gone slack!", "Who moors a tug across a ferry?", "Two long, one short. She's late.",
        "Nobody pays twice on my river.",
        "That's no otter.", "Mind the kerb, it moves.", "Did the bell just ring by itself?",
        "I counted nine crates. There are eight.",
        "Post for the far bank!", "Somebody has oiled the wrong lock.", "The tide doesn't read notices.",
        "You're dripping on the law, miss.",
        "Kettle's boiling again.", "Follow the yellow paint.", "Ilse will want that in writing.",
        "Stand back, she spits.",
    ),
    "river": (
        "Hold her to the chain!", "Slower, old girl, slower.", "The far bank's further than it was.",
        "I can hear the boiler thinking.",
        "Fog by four, or I'm a herring.", "There, under the willows!", "Ring for half!",
        "Nothing floats like a bad idea.",
        "Biscuit has seen it too.", "If she blows we row.", "That's the Ombre, and she's racing.",
        "Halfway is the worst place to stop.",
        "Who taught you to throw a line?", "Count the passengers again.",
    ),
    "market": (
        "Fresh eels, honest scales!", "That is not a price, it's a threat.", "A loaf for the leak, please.",
        "He's buying all the rope.",
        "I never forget a hat.", "Two for a penny till the bell.", "The fishmonger has very clean hands.",
        "Not the festival bunting!",
        "Try the pears. Trust me.", "Everyone, look at the sky.", "Somebody's left a gear in the plums.",
    ),
    "workshop": (
        "It isn't broken. It's sulking.", "Pass me the small hammer. No, smaller.",
        "Who wound this backwards?", "A tooth is missing here.",
        "Tar first, questions after.", "She'll turn, or I'll eat the crank.", "Listen. Hear that?",
        "I've mended worse with string.",
        "This was cut on purpose.", "Don't touch the red one.", "Toast's done.",
        "Where did you learn that knot?", "It ticks when nobody looks.",
    ),
    "parlour": (
        "Sit. Cough. Again.", "The ledger says otherwise.", "Close the shutters, Ned.", "Nobody owns a river.",
        "Sign here, and here, in blood or ink.",
        "Tea, and then the truth.", "I found this in your coat.", "My mother built that ferry.",
        "You've a fever and a secret.",
    ),
    "plain": (
        "Run!", "Oh no.", "Of course!", "The signal!", "It was you.", "Shh.", "Not again!", "We're sinking?",
        "That's my lantern!", "Look!", "Never.",
        "Tomorrow, then.", "Hold on!", "I know that whistle.",
    ),
}  # fmt: skip
