"""The other half of the cast: rivals, neighbours, the dog."""

from __future__ import annotations

from guides.demo.story.cast import (
    BROWN_SKIN,
    LEAD,
    LIGHT_SKIN,
    START,
    TAN_SKIN,
    TONGUE,
    always,
    outfit,
    part,
    unlocked,
)
from guides.demo.story.looks import Build, Face, FigureLook
from guides.demo.story.story import CostumeSpec, LockSpec, PartSpec, SubjectSpec

SILAS = SubjectSpec(
    "Silas Crake", "silas", "character", "Toll collector who would like the river to belong to somebody, namely him.",
    (
        always(part("skin", "skin", "Y2", "Y2R2B2"), part("hair", "hair", "RB", "", ""), TONGUE),
        outfit("tail coat", FigureLook("coat", hat="tophat", neck="tie", feet="shoes"),
               part("tail coat", "torso", "R3B", "RB"), part("top hat", "hat", "R3B", "RB"), part("hatband",
               "hatband", "R"),
               part("cravat", "neck", "R"), part("trousers", "legs", "Y2R2B2", "Y3R3B3"), part("shoes",
               "feet", "YRB"),
               part("collar", "collar", "R2B2"), part("shirt", "shirt", "W"), part("buttons", "buttons",
               "Y")),
        outfit("fishmonger", FigureLook("jersey", hat="straw", apron=True, pattern="stripes"),
               part("jersey", "torso", "W", "B2"), part("stripes", "stripe", "B"), part("straw hat", "hat",
               "Y3", "YR2"),
               part("hatband", "hatband", "YB3"), part("apron", "apron", "Y2B2", "Y2B3"), part("trousers",
               "legs", "YR3B3"),
               part("boots", "feet", "YRB"), worn=((6000, 9000), (24000, 25000)),
               note="His disguise while he counted the ferry's takings; remembered in issue 24."),
    ),
    Build(5.98, 0.78, stature=1.1, waist=0.8, face=Face("swept", "hook", "pointed", "goatee", lines=True)),
)  # fmt: skip

ODILE = SubjectSpec(
    "Odile Perrin", "odile", "character", "Baker; her loaves have stopped a leak before now.",
    (
        always(part("skin", "skin", "Y2R2", "Y3R3"), part("hair", "hair", "YR3B2", "", "YR2"), TONGUE),
        outfit("bakehouse apron", FigureLook("dress", legs="skirt", feet="shoes", hat="kerchief", apron=True),
               part("dress", "torso", "R3", "RB2"), part("apron", "apron", "W", "B2"), part("kerchief",
               "hat", "YR", "YRB2"),
               part("stockings", "legs", "Y2"), part("clogs", "feet", "YR3B2"), part("hem", "trim", "R"),
               part("shirt", "shirt", "W"),
               part("buttons", "buttons", "Y")),
        outfit("festival dress", FigureLook("dress", legs="skirt", feet="shoes", neck="scarf"),
               part("dress", "torso", "Y2B", "Y2R2B"), part("sash", "neck", "YR2"), part("hem", "trim", "Y"),
               part("stockings", "legs", "W"),
               part("shoes", "feet", "R"), part("shirt", "shirt", "W"), part("buttons", "buttons", "Y")),
    ),
    Build(4.58, 1.34, 0.4, stature=0.95, waist=0.94, face=Face("bun", "button", "round", lashes=True)),
)  # fmt: skip

JONAH = SubjectSpec(
    "Jonah Teal", "jonah", "character", "Carries the post by glider when the wind allows, on foot when it doesn't.",
    (
        always(TAN_SKIN, part("hair", "hair", "YRB", "", "YR3B2"), TONGUE),
        outfit("flying jacket", FigureLook("jacket", hat="goggles", neck="scarf"),
               part("jacket", "torso", "YR3B2", "YRB3"), part("scarf", "neck", "W"), part("goggles",
               "hatband", "YRB3"), part("lenses", "lens", "B2"),
               part("trousers", "legs", "Y3B2", "Y3R2B3"), part("boots", "feet", "YRB"), part("shirt",
               "shirt", "Y2"), part("buttons", "buttons", "Y")),
        outfit("post uniform", FigureLook("jacket", hat="peaked", bag=True, neck="tie", feet="shoes"),
               part("jacket", "torso", "RB3", "RB"), part("cap", "hat", "RB3", "RB"), part("cap band",
               "hatband", "YR2"), part("badge", "badge", "Y"),
               part("tie", "neck", "YR2"), part("trousers", "legs", "R2B2", "R3B3"), part("shoes", "feet",
               "YRB"), part("shirt", "shirt", "W"),
               part("buttons", "buttons", "Y"), unlocked("post bag", "bag", "YR3B2")),
    ),
    Build(5.38, 0.96, stature=1.04, waist=0.8, face=Face("swept", "long", "square", brows="thick")),
)  # fmt: skip

NELL = SubjectSpec(
    "Nell Arkwright", "nell", "character", "Clockmaker's daughter; can hear a worn tooth across a street.",
    (
        always(LIGHT_SKIN, part("hair", "hair", "RB", "", "R2B"), TONGUE),
        outfit("smock", FigureLook("smock", belt=True, feet="boots"),
               part("smock", "torso", "Y2", "Y2R2"), part("belt", "belt", "YRB3"), part("buckle", "buttons",
               "Y"),
               part("trousers", "legs", "Y2B3", "Y3B"), part("boots", "feet", "YR3B3")),
        outfit("winter cloak", FigureLook("dress", cape=True, legs="skirt", hat="bobble"),
               part("cloak", "cape", "YR3", "YRB2"), part("dress", "torso", "R2B", "R3B"), part("hem",
               "trim", "W"), part("hat", "hat", "YR3"),
               part("hat cuff", "badge", "W"), part("stockings", "legs", "W"), part("boots", "feet",
               "YR3B3"), part("shirt", "shirt", "W"),
               part("clasp", "buttons", "Y")),
    ),
    Build(4.58, 0.84, stature=0.9, waist=0.84, face=Face("bob", "button", "round", glasses=True,
    lashes=True)),
)  # fmt: skip

EBBA = SubjectSpec(
    "Captain Ebba Storr", "ebba", "character", "Master of the paddle tug Ombre; rival, then friend, then rival.",
    (
        always(BROWN_SKIN, part("hair", "hair", "B2", "", "W"), TONGUE),
        outfit("captain's coat", FigureLook("coat", hat="peaked", pattern="double", belt=False),
               part("coat", "torso", "Y2B", "Y3R2B"), part("cap", "hat", "W", "B2"), part("cap band",
               "hatband", "R3B"), part("badge", "badge", "Y"),
               part("trousers", "legs", "W", "B2"), part("boots", "feet", "R3B"), part("shirt", "shirt",
               "YR"), part("buttons", "buttons", "Y")),
        outfit("dock jersey", FigureLook("jersey", pattern="stripes", hat="kerchief"),
               part("jersey", "torso", "W", "B2"), part("stripes", "stripe", "R"), part("kerchief", "hat",
               "B", "R2B"),
               part("trousers", "legs", "R3B3", "RB3"), part("boots", "feet", "YRB")),
    ),
    Build(5.28, 1.1, stature=1.04, waist=0.84, face=Face("ponytail", "long", "square", lines=True)),
)  # fmt: skip

BISCUIT = SubjectSpec(
    "Biscuit", "biscuit", "character", "Ferry dog. Wears Tamsin's old scarf.",
    (
        CostumeSpec("as drawn", "as-drawn",
                    (part("fur", "fur", "Y3R2", "Y3R3B2"), part("ear", "ear", "YR3B3"), part("muzzle",
                    "muzzle", "W"), part("neckerchief", "collar", "YB3"))),
        CostumeSpec("winter jacket", "winter-jacket",
                    (part("jacket", "jacket", "YR"), part("neckerchief", "collar", "Y2"))),
    ),
)  # fmt: skip

PATIENCE_CABIN = (
    LockSpec("base", "Y", 12000, LEAD, "Ilse has her painted yellow after the fog collision (told in issue 12)."),
    LockSpec("shade", "YR2", 12000, LEAD, "Goes with the yellow cabin."),
)
KETTLE_REPAINT = (
    LockSpec("base", "YB3", 18000, LEAD, "Resprayed green after the fire in issue 17."),
    LockSpec("shade", "YB", 18000, LEAD, "Goes with the green van."),
)

PATIENCE_LINE = (
    LockSpec("line-hold", "B", START, LEAD, "Her line below the water prints in solid blue, not in the black plate."),
)

PATIENCE = SubjectSpec(
    "Old Patience", "patience", "prop", "The chain ferry. Older than the town's excuses.",
    (CostumeSpec("as drawn", "as-drawn",
                 (part("hull", "hull", "YRB2", "YRB3", later=PATIENCE_LINE),
                  part("rubbing strake", "trim", "Y2"), part("cabin",
                 "cabin", "B2", "B3", later=PATIENCE_CABIN),
                  part("roof", "roof", "YB3"), part("funnel", "funnel", "R3B", "RB"), part("funnel band",
                  "band", "YR"), part("windows", "window", "Y2B2"))),),
)  # fmt: skip

NOISES = SubjectSpec(
    "River noises", "noises", "sound-effect", "Drawn sounds: the same letters always have the same colours.",
    (CostumeSpec("as drawn", "as-drawn", (
        PartSpec("SPLOSH", "splosh", (
            LockSpec("base", "B3", START, LEAD, "First bible."),
            LockSpec("outline", "B", START, LEAD, "The letters' edge."))),
        PartSpec("CLANK", "clank", (
            LockSpec("base", "Y", START, LEAD, "First bible."),
            LockSpec("outline", "YR", START, LEAD, "The letters' edge."))),
    )),),
)  # fmt: skip

KETTLE = SubjectSpec(
    "Kettle, the repair van", "kettle", "prop", "Goes where the ferry can't; boils on hills.",
    (CostumeSpec("as drawn", "as-drawn",
                 (part("body", "body", "YR", "YRB2", later=KETTLE_REPAINT), part("roof", "roof", "Y2"),
                 part("sign board", "board", "Y2"),
                  part("windscreen", "window", "B2"), part("lamps", "lamp", "Y3"), part("ladder", "ladder",
                  "YR3B2"))),),
)  # fmt: skip

LANTERN = SubjectSpec(
    "Signal lantern", "lantern", "prop", "Two long, one short: the ferry is coming.",
    (CostumeSpec("lit", "lit", (part("glass", "glass", "Y", "YR2"), part("frame", "frame", "YR3B3"))),
     CostumeSpec("out", "out", (part("glass", "glass", "B2"), part("frame", "frame", "YR3B3")))),
)  # fmt: skip

CHEST_IRON = (LockSpec("base", "K3", 22000, LEAD, "Brown iron looked like rust; half key is the grey of it."),)

CHEST = SubjectSpec(
    "Tool chest", "chest", "prop", "Gerrit's, his mother's, her mother's.",
    (CostumeSpec("as drawn", "as-drawn", (part("box", "box", "R3B3", "RB"), part("ironwork", "trim",
    "YR3B2", later=CHEST_IRON), part("tools", "tools", "B2"))),),
)  # fmt: skip

TOWN = SubjectSpec(
    "Quill Bend", "quill-bend", "place", "The town, from the river.",
    (CostumeSpec("by day", "by-day",
                 (part("red roofs", "roof", "YR3B2"), part("slate roofs", "roof two", "R2B2"),
                 part("plaster", "wall", "Y2"), part("pink house", "wall two", "R2"),
                  part("quay stone", "ground", "Y2R2B2"), part("quay kerb", "kerb", "B2"))),
     CostumeSpec("by night", "by-night",
                 (part("red roofs", "roof", "RB3"), part("slate roofs", "roof two", "R3B"), part("plaster",
                 "wall", "B3"), part("pink house", "wall two", "R3B3"),
                  part("quay stone", "ground", "R2B"), part("quay kerb", "kerb", "B3")))),
)  # fmt: skip

WORKSHOP = SubjectSpec(
    "Varnholt's workshop", "workshop", "place", "Under the arches, smells of tar and toast.",
    (CostumeSpec("by day", "by-day",
                 (part("plank wall", "room wall", "Y3R2"), part("floor", "floor", "YR3B2"), part("bench",
                 "bench", "YRB3"), part("woodwork", "woodwork", "YR3B2"),
                  part("lampshade", "lampshade", "YB3"))),),
)  # fmt: skip
