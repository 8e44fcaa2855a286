"""Background colours by the hour, and which pieces of scenery are a place with locked codes of its own."""

from __future__ import annotations

DAY = {
    "sky": "B2", "cloud": "W", "moon": "Y2", "hills": "Y2B2", "trees": "Y3B3", "water": "B3", "glint": "B2",
    "brick": "YR3B2",
    "roof": "YR3B2", "roof two": "R2B2", "wall": "Y2", "wall two": "R2", "wall three": "Y3R2", "door": "YB",
    "window": "R2B3",
    "lit window": "Y", "shutter": "Y2B3", "ground": "Y2R2B2", "kerb": "B2", "iron": "R3B3", "rail": "Y2",
    "deck": "YR3B2",
    "bunting": "YR", "bunting two": "Y", "awning": "R3", "awning two": "Y2B", "awning white": "W",
    "crate": "YR2B2", "apples": "YR",
    "pears": "YB2", "room wall": "Y2B2", "floor": "YR3B2", "skirting": "Y3R3B3", "woodwork": "YR3B3",
    "pane": "B2", "jar": "Y2B3",
    "jar two": "YR2", "tin": "R2B2", "bench": "YRB3", "lampshade": "YB3", "dado": "Y3B3", "picture": "R2B3",
    "backdrop": "Y2", "smoke": "R2B2",
}  # fmt: skip

DUSK = DAY | {
    "sky": "Y2R2", "cloud": "YR2", "hills": "R3B3", "trees": "R2B", "water": "R2B3", "glint": "YR2",
    "wall": "Y2R2", "wall two": "R3B2",
    "wall three": "YR2", "roof": "RB3", "roof two": "R3B", "window": "R3B3", "ground": "R2B2", "kerb": "R2",
    "backdrop": "YR2",
    "pane": "YR2", "shutter": "R3B3", "smoke": "R3B2",
}  # fmt: skip

RAIN = DAY | {
    "sky": "R2B2", "cloud": "R2B3", "hills": "Y2R2B3", "trees": "Y3R2B", "water": "Y2R2B3", "glint": "B2",
    "wall": "Y2R2B2", "wall two": "R2B2",
    "wall three": "Y2B2", "roof": "R3B2", "roof two": "R3B3", "ground": "R2B3", "kerb": "R2B2",
    "backdrop": "B3", "pane": "R2B2",
}  # fmt: skip

NIGHT = DAY | {
    "sky": "R3B", "moon": "Y2", "hills": "RB", "trees": "Y3RB", "water": "R2B", "glint": "B3", "wall": "B3",
    "wall two": "R3B3",
    "wall three": "R2B3", "roof": "RB3", "roof two": "R3B", "door": "R3B", "window": "RB", "lit window": "Y",
    "shutter": "R2B", "ground": "R2B",
    "kerb": "B3", "iron": "YRB", "rail": "R2B2", "deck": "R3B3", "brick": "RB3", "backdrop": "R2B",
    "pane": "R3B", "awning": "RB3",
    "awning two": "B", "awning white": "B2", "crate": "R3B3", "smoke": "R3B3",
}  # fmt: skip

HOURS = {"day": DAY, "dusk": DUSK, "rain": RAIN, "night": NIGHT}

BACKDROPS = {
    "day": ("Y2", "B2", "R2", "YR2", "Y3", "Y2B2", "Y2R2B2"), "dusk": ("YR2", "R2", "R3B2", "Y2R3"),
        "rain": ("B3", "R2B2", "Y2B2"),
    "night": ("R2B", "R3B", "RB3"),
}  # fmt: skip

PLACES = {
    ("quay", "day"): ("quill-bend", "by-day"), ("market", "day"): ("quill-bend", "by-day"), ("quay",
        "night"): ("quill-bend", "by-night"),
    ("workshop", "day"): ("workshop", "by-day"),
}  # fmt: skip
"""Scene and hour in which scenery is a subject of the bible; at other hours it is painted freely."""
