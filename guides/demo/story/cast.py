"""The people of Quill Bend and the codes locked for them."""

from __future__ import annotations

from guides.demo.story.looks import Build, Face, FigureLook
from guides.demo.story.story import CostumeSpec, LockSpec, PartSpec, SubjectSpec

START = 1000
LEAD = "thea"


def part(
    name: str, slot: str, base: str, shade: str = "", light: str = "", *, later: tuple[LockSpec, ...] = ()
) -> PartSpec:
    """A part locked from the first issue on, with the changes that came later."""
    roles = (("base", base), ("shade", shade), ("highlight", light))
    locks = tuple(LockSpec(role, code, START, LEAD, "First bible.") for role, code in roles if code)
    return PartSpec(name, slot, locks + later, usual=base)


def unlocked(name: str, slot: str, usual: str) -> PartSpec:
    """A part nobody has locked yet."""
    return PartSpec(name, slot, (), usual=usual)


def always(*parts: PartSpec) -> CostumeSpec:
    return CostumeSpec("always", "always", parts, note="What doesn't change with the clothes.")


def outfit(
    name: str, look: FigureLook, *parts: PartSpec, worn: tuple[tuple[int, int | None], ...] = (), note: str = ""
) -> CostumeSpec:
    return CostumeSpec(name, name.lower().replace(" ", "-").replace("'", ""), parts, look, worn, note)


LIGHT_SKIN = part("skin", "skin", "Y2R2", "Y3R3")
BROWN_SKIN = part("skin", "skin", "YR3B2", "YRB3")
TAN_SKIN = part("skin", "skin", "Y3R2", "Y3R3B2")
TONGUE = part("tongue", "tongue", "R3")

TAMSIN_RED = (
    LockSpec(
        "base", "YR", 13000, LEAD, "The gold coat sank into Old Patience's new yellow cabin; red reads on water."
    ),
    LockSpec("shade", "YRB2", 13000, LEAD, "Goes with the red coat."),
)

TAMSIN = SubjectSpec(
    "Tamsin Rook", "tamsin", "character", "Ferrywoman and mender of engines, nineteen, never without the scarf.",
    (
        always(LIGHT_SKIN, part("hair", "hair", "YRB3", "", "YR3B2"), TONGUE),
        outfit("work coat", FigureLook("coat", neck="scarf"),
               part("coat", "torso", "YR2", "YR3B2", later=TAMSIN_RED), part("scarf", "neck", "YB3"),
               part("trousers", "legs", "R2B", "R3B"), part("boots", "feet", "YRB3", "YRB"), part("shirt",
               "shirt", "W"),
               part("buttons", "buttons", "Y")),
        outfit("oilskins", FigureLook("coat", hat="souwester"),
               part("oilskin", "torso", "Y", "YR2B2"), part("sou'wester", "hat", "Y", "YR2B2"),
               part("trousers", "legs", "YB3", "YB"),
               part("boots", "feet", "R3B3", "RB"), part("shirt", "shirt", "B2"), part("buttons", "buttons",
               "W")),
        outfit("Sunday dress", FigureLook("dress", legs="skirt", feet="shoes"),
               part("dress", "torso", "R2B2", "R3B3"), part("hem", "trim", "Y2"), part("stockings", "legs",
               "W"),
               part("shoes", "feet", "RB3"), part("collar", "collar", "W"), part("buttons", "buttons", "Y")),
    ),
    Build(4.93, 0.92, waist=0.74, face=Face("curls", "button", "oval", lashes=True)),
)  # fmt: skip

GERRIT = SubjectSpec(
    "Gerrit Oke", "gerrit", "character", "Boilerman of Old Patience; sings to her.",
    (
        always(part("skin", "skin", "Y3R2", "Y3R3"), part("beard", "hair", "YRB3", "", "YR3B2"), TONGUE),
        outfit("boiler vest", FigureLook("vest", hat="", belt=True),
               part("vest", "torso", "YB3", "YB"), part("shirt", "shirt", "Y2", "Y2B2"), part("trousers",
               "legs", "R3B", "RB"),
               part("boots", "feet", "YR3B3"), part("belt", "belt", "YRB3"), part("buckle", "buttons", "Y")),
        outfit("winter coat", FigureLook("coat", hat="bobble", neck="scarf"),
               part("coat", "torso", "B", "R2B"), part("cap", "hat", "YR", "YRB2"), part("cap cuff", "badge",
               "Y2"),
               part("scarf", "neck", "YR3"), part("trousers", "legs", "R3B", "RB"), part("boots", "feet",
               "YR3B3"),
               part("buttons", "buttons", "W"), part("shirt", "shirt", "Y2")),
    ),
    Build(4.68, 1.42, 0.62, stature=1.03, waist=0.98, face=Face("bald", "bulb", "square", "full", "thick")),
)  # fmt: skip

ILSE = SubjectSpec(
    "Ilse Varnholt", "ilse", "character", "Owns the ferry, the workshop and most of the opinions.",
    (
        always(part("skin", "skin", "Y2R2", "Y2R3"), part("hair", "hair", "W"), TONGUE),
        outfit("long coat", FigureLook("coat", neck="tie", legs="skirt"),
               part("coat", "torso", "R3B3", "RB3"), part("collar", "collar", "Y2"), part("tie", "neck", "Y"),
               part("stockings", "legs", "R2B"), part("boots", "feet", "RB"), part("shirt", "shirt", "W"),
               part("buttons", "buttons", "Y")),
        outfit("market shawl", FigureLook("dress", legs="skirt", cape=True),
               part("dress", "torso", "Y2B3", "Y2B"), part("shawl", "cape", "R", "RB2"), part("hem", "trim",
               "Y2"),
               part("stockings", "legs", "B3"), part("boots", "feet", "RB"), part("shirt", "shirt", "W"),
               part("buttons", "buttons", "Y")),
    ),
    Build(5.68, 0.82, stature=1.06, waist=0.76, face=Face("bun", "long", "pointed", lines=True)),
)  # fmt: skip

NED = SubjectSpec(
    "Ned Sallow", "ned", "character", "Ten, bellringer, courier, stowaway.",
    (
        always(LIGHT_SKIN, part("hair", "hair", "Y", "", ""), TONGUE),
        outfit("patched jacket", FigureLook("jacket", hat="cap", pattern="patches", neck="scarf"),
               part("jacket", "torso", "B3", "R2B"), part("patch", "patch", "YR3"), part("cap", "hat",
               "YR3B2", "YR3B3"),
               part("scarf", "neck", "YR"), part("trousers", "legs", "Y3R2B2", "YR3B3"), part("boots",
               "feet", "YRB"),
               part("shirt", "shirt", "W"), part("buttons", "buttons", "Y")),
        outfit("borrowed oilskin", FigureLook("coat", hat="souwester"),
               part("oilskin", "torso", "YR3", "YRB2"), part("sou'wester", "hat", "YR3", "YRB2"),
               part("trousers", "legs", "Y3R2B2"),
               part("boots", "feet", "YRB"), part("shirt", "shirt", "W"), part("buttons", "buttons", "W")),
    ),
    Build(3.93, 0.8, stature=0.74, waist=0.94, face=Face("short", "button", "round", freckles=True)),
)  # fmt: skip

AMABEL = SubjectSpec(
    "Dr Amabel Finch", "amabel", "character", "River doctor; has her own launch and no patience with fever.",
    (
        always(BROWN_SKIN, part("hair", "hair", "YRB", "", "R3B"), TONGUE),
        outfit("green cape", FigureLook("coat", cape=True, feet="boots"),
               part("cape", "cape", "Y3B", "YB"), part("coat", "torso", "Y2R2B2", "Y3R3B3"), part("trousers",
               "legs", "Y2", "Y2B2"),
               part("boots", "feet", "YRB3"), part("shirt", "shirt", "W"), part("clasp", "buttons", "Y")),
        outfit("surgery smock", FigureLook("smock", feet="shoes", belt=True),
               part("smock", "torso", "B2", "B3"), part("trousers", "legs", "Y2", "Y2B2"), part("shoes",
               "feet", "YRB3"),
               part("belt", "belt", "R2B"), part("buckle", "buttons", "Y")),
    ),
    Build(5.18, 0.92, waist=0.76, face=Face("round", "button", "oval", lashes=True)),
)  # fmt: skip

HOB = SubjectSpec(
    "Constable Hob Trundle", "hob", "character", "The law from the weir to the brewery wall.",
    (
        always(part("skin", "skin", "Y2R2", "Y3R3"), part("hair", "hair", "YR3B3"), TONGUE),
        outfit("uniform", FigureLook("coat", hat="helmet", belt=True, pattern="double"),
               part("tunic", "torso", "R2B", "R3B"), part("helmet", "hat", "R2B", "R3B"), part("badge",
               "badge", "Y"),
               part("trousers", "legs", "R3B", "RB"), part("boots", "feet", "YRB"), part("belt", "belt",
               "YRB3"),
               part("buttons", "buttons", "Y"), part("shirt", "shirt", "W")),
        outfit("night cape", FigureLook("coat", hat="helmet", cape=True),
               part("cape", "cape", "RB", "YRB"), part("helmet", "hat", "R2B", "R3B"), part("badge", "badge",
               "Y"),
               part("tunic", "torso", "R2B", "R3B"), part("trousers", "legs", "R3B"), part("boots", "feet",
               "YRB"),
               part("buttons", "buttons", "Y"), part("shirt", "shirt", "W")),
    ),
    Build(4.78, 1.26, 0.46, waist=0.95, face=Face("short", "bulb", "round", "moustache", "thick")),
)  # fmt: skip
