"""The run of issues: what comes out when, which pages the demo holds, who coloured them and where it went wrong."""

from __future__ import annotations

from functools import lru_cache

from guides.demo.story.cast import AMABEL, GERRIT, HOB, ILSE, NED, TAMSIN
from guides.demo.story.cast_more import (
    BISCUIT,
    CHEST,
    EBBA,
    JONAH,
    KETTLE,
    LANTERN,
    NELL,
    NOISES,
    ODILE,
    PATIENCE,
    SILAS,
    TOWN,
    WORKSHOP,
)
from guides.demo.story.staging import stage
from guides.demo.story.story import Hand, IssueSpec, PageSpec, Person, Slip, Story

PEOPLE = (
    Person("thea", "Thea Sandoe", "lead", Hand(0.0, 1.0, 1.0, 1.0, 1.0, 0.085, 0.15, 1.4, "graphite", 9.0), "T.S."),
    Person(
        "ruben", "Ruben Aske", "fill-in", Hand(0.55, 1.1, 0.92, 1.08, 1.02, 0.13, 0.22, 2.1, "blue", -4.0), "R.A."
    ),
    Person("dot", "Dot Pelham", "fill-in", Hand(-0.5, 0.9, 1.06, 0.92, 0.94, 0.105, 0.12, 1.8, "red", 15.0), "D.P."),
    Person("harriet", "Harriet Lowde", "editor"),
    Person("guest", "Guest Reader", "reader"),
)

_RUN = (
    ("1", "The Chain Across the Ossel", 1971, 2), ("2", "A Boiler Named Patience", 1971, 5), ("3",
        "Eels at Midnight", 1971, 8),
    ("4", "The Bell That Rang Itself", 1971, 11), ("5", "Post by Glider", 1972, 2), ("6",
    "The Honest Fishmonger", 1972, 5),
    ("7", "Nine Crates, Eight Crates", 1972, 8), ("8", "Clean Hands", 1972, 10), ("Annual 1",
    "The Summer the River Stopped", 1972, 12),
    ("9", "Two Long, One Short", 1973, 2), ("10", "The Tug Ombre", 1973, 5), ("11", "A Race for the Weir",
    1973, 8),
    ("12", "Fog Collision", 1973, 11), ("13", "The Red Coat", 1974, 2), ("14", "Fever Boat", 1974, 5), ("15",
    "What Crake Counted", 1974, 8),
    ("16", "Night Ferry", 1974, 11), ("17", "Kettle on Fire", 1975, 2), ("18", "Green for Go", 1975, 5),
    ("19", "The Clock Under the Weir", 1975, 8),
    ("20", "Ice to the Far Bank", 1975, 11), ("Annual 2", "Biscuit's Winter", 1975, 12), ("21",
    "The Festival of Ropes", 1976, 3),
    ("22", "Seven Leaks and a Loaf", 1976, 6), ("23", "The Captain's Bargain", 1976, 9), ("24",
    "Nobody Owns a River", 1976, 12), ("25", "The Lamp Nobody Lit", 1977, 2),
)  # fmt: skip


def _issues() -> tuple[IssueSpec, ...]:
    """Numbered issues stand at number × 1000; an annual stands half-way to the next number."""
    out = []
    last = 0
    for number, title, year, month in _RUN:
        last = int(number) * 1000 if number.isdigit() else last + 500
        out.append(IssueSpec(number, title, year, month, last))
    return tuple(out)


ROLES = (("line-hold", "line hold", "LH"), ("outline", "outline", "OL"))
KINDS = (("sound-effect", "sound effect"),)
"""What Quill Bend keeps apart besides what every series begins with: keys, names and short signs."""

SUBJECTS = (
    TAMSIN,
    GERRIT,
    ILSE,
    NED,
    AMABEL,
    HOB,
    SILAS,
    ODILE,
    JONAH,
    NELL,
    EBBA,
    BISCUIT,
    PATIENCE,
    KETTLE,
    LANTERN,
    CHEST,
    TOWN,
    WORKSHOP,
    NOISES,
)

# issue, page, colourist, layout, hour, scenes in turn, cast (who:costume[:pose]), props
_PAGES: tuple[tuple[str, str, str, str, str, str, str, str], ...] = (
    ("1", "cover", "thea", "splash", "day", "quay",
        "tamsin:work-coat:lamp gerrit:boiler-vest ned:patched-jacket", "patience lantern"),
    ("1", "1", "thea", "tall", "day", "quay river plain", "tamsin:work-coat gerrit:boiler-vest",
    "patience biscuit"),
    ("1", "2", "thea", "steps", "day", "market quay plain",
    "ilse:long-coat ned:patched-jacket odile:bakehouse-apron", "chest"),
    ("2", "cover", "thea", "splash", "dusk", "river", "gerrit:boiler-vest:haul tamsin:work-coat:alarm",
    "chest"),
    ("2", "3", "thea", "six", "day", "workshop plain river", "gerrit:boiler-vest tamsin:work-coat",
    "chest lantern"),
    ("2", "4", "thea", "bands", "day", "quay market parlour", "silas:tail-coat hob:uniform ilse:long-coat",
    "kettle"),
    ("3", "cover", "thea", "splash", "day", "market", "odile:bakehouse-apron:wave hob:uniform:alarm",
    "biscuit"),
    ("3", "5", "thea", "tall", "dusk", "quay market plain",
    "odile:bakehouse-apron hob:uniform ned:patched-jacket", "biscuit"),
    ("3", "6", "dot", "steps", "day", "market plain quay", "odile:bakehouse-apron silas:tail-coat", ""),
    ("4", "cover", "thea", "splash", "rain", "quay", "ned:borrowed-oilskin:point tamsin:oilskins",
    "patience"),
    ("4", "2", "thea", "six", "rain", "quay plain workshop",
    "ned:borrowed-oilskin nell:smock tamsin:oilskins", "lantern"),
    ("5", "cover", "thea", "splash", "day", "quay", "jonah:flying-jacket:run ned:patched-jacket:wave",
    "kettle"),
    ("5", "4", "ruben", "bands", "day", "quay river plain", "jonah:flying-jacket tamsin:work-coat",
    "biscuit"),
    ("5", "5", "thea", "tall", "day", "parlour plain quay", "jonah:post-uniform ilse:long-coat", ""),
    ("6", "cover", "thea", "splash", "day", "market", "silas:fishmonger:bow odile:bakehouse-apron", ""),
    ("6", "2", "thea", "steps", "day", "market quay plain",
    "silas:fishmonger ned:patched-jacket hob:uniform", "biscuit"),
    ("6", "7", "thea", "six", "day", "market plain river", "silas:fishmonger tamsin:work-coat", "patience"),
    ("7", "cover", "thea", "splash", "day", "quay", "hob:uniform:think tamsin:work-coat:point",
    "kettle chest"),
    ("7", "3", "thea", "tall", "day", "market quay workshop", "hob:uniform silas:fishmonger nell:smock",
    "chest"),
    ("8", "cover", "thea", "splash", "dusk", "market",
    "silas:fishmonger:alarm tamsin:work-coat:point gerrit:boiler-vest", ""),
    ("8", "2", "dot", "bands", "day", "workshop quay plain", "gerrit:boiler-vest ned:patched-jacket",
    "chest"),
    ("8", "3", "dot", "steps", "day", "river plain quay", "gerrit:boiler-vest tamsin:work-coat", "patience"),
    ("Annual 1", "cover", "thea", "splash", "day", "river",
    "tamsin:sunday-dress:wave ilse:market-shawl ned:patched-jacket", "biscuit"),
    ("Annual 1", "1", "thea", "tall", "day", "market quay plain",
    "tamsin:sunday-dress odile:festival-dress jonah:post-uniform", "biscuit"),
    ("Annual 1", "12", "thea", "bands", "day", "river parlour quay", "ilse:market-shawl amabel:green-cape",
    "patience"),
    ("9", "cover", "thea", "splash", "night", "quay", "tamsin:work-coat:lamp hob:night-cape", "lantern"),
    ("9", "2", "dot", "six", "day", "workshop plain river", "gerrit:boiler-vest tamsin:work-coat", "chest"),
    ("9", "3", "dot", "tall", "day", "quay workshop plain", "gerrit:boiler-vest nell:smock", "kettle"),
    ("10", "cover", "thea", "splash", "day", "river", "ebba:captains-coat:point tamsin:work-coat:stand", ""),
    ("10", "4", "dot", "steps", "day", "river quay plain", "ebba:captains-coat gerrit:boiler-vest",
    "patience"),
    ("10", "5", "thea", "bands", "day", "quay market plain", "ebba:dock-jersey silas:tail-coat", ""),
    ("11", "cover", "thea", "splash", "day", "river", "ebba:captains-coat:alarm gerrit:boiler-vest:haul",
    ""),
    ("11", "6", "ruben", "six", "day", "river plain quay", "ebba:captains-coat tamsin:work-coat", "patience"),
    ("12", "cover", "thea", "splash", "dusk", "quay", "ilse:long-coat:point gerrit:winter-coat",
    "patience"),
    ("12", "1", "thea", "tall", "dusk", "quay river plain",
    "ilse:long-coat gerrit:winter-coat hob:uniform", "patience"),
    ("12", "9", "thea", "steps", "day", "workshop quay plain", "ilse:long-coat tamsin:work-coat",
    "patience chest"),
    ("13", "cover", "thea", "splash", "day", "quay", "tamsin:work-coat:easy ned:patched-jacket:wave",
    "patience"),
    ("13", "1", "thea", "bands", "day", "quay plain river", "tamsin:work-coat ned:patched-jacket",
    "biscuit"),
    ("13", "7", "ruben", "tall", "day", "market quay plain", "tamsin:work-coat odile:bakehouse-apron",
    "kettle"),
    ("14", "cover", "thea", "splash", "rain", "river", "amabel:green-cape:lamp tamsin:oilskins", "lantern"),
    ("14", "2", "ruben", "steps", "day", "parlour plain quay", "amabel:surgery-smock tamsin:work-coat", ""),
    ("14", "3", "thea", "six", "day", "parlour plain river", "amabel:surgery-smock ned:patched-jacket",
    "patience"),
    ("15", "cover", "thea", "splash", "day", "market", "silas:tail-coat:think hob:uniform:point", ""),
    ("15", "5", "dot", "tall", "day", "market parlour plain", "silas:fishmonger ilse:long-coat hob:uniform",
    ""),
    ("16", "cover", "thea", "splash", "night", "river", "tamsin:work-coat:lamp jonah:flying-jacket",
    "lantern"),
    ("16", "1", "thea", "tall", "night", "quay river plain", "tamsin:work-coat hob:night-cape", "patience"),
    ("16", "8", "thea", "bands", "day", "workshop quay plain", "nell:smock gerrit:winter-coat", "chest"),
    ("17", "cover", "thea", "splash", "dusk", "quay", "gerrit:boiler-vest:run nell:smock:easy", "kettle"),
    ("17", "3", "ruben", "bands", "dusk", "quay plain workshop", "gerrit:boiler-vest nell:smock", "kettle"),
    ("18", "cover", "thea", "splash", "day", "quay", "nell:smock:easy ned:patched-jacket:run", "kettle"),
    ("18", "2", "ruben", "six", "day", "quay plain market", "nell:smock ned:patched-jacket", "kettle"),
    ("18", "3", "thea", "tall", "day", "workshop quay plain", "nell:smock tamsin:work-coat", "kettle chest"),
    ("19", "cover", "thea", "splash", "day", "workshop", "nell:smock:think tamsin:work-coat:lamp",
    "lantern"),
    ("19", "4", "dot", "steps", "day", "workshop river plain", "nell:smock ebba:dock-jersey", "chest"),
    ("19", "5", "thea", "bands", "rain", "quay river plain", "tamsin:oilskins nell:smock", "patience"),
    ("20", "cover", "thea", "splash", "day", "river", "gerrit:winter-coat:carry nell:winter-cloak",
    "biscuit-winter"),
    ("20", "2", "thea", "six", "day", "quay plain river", "gerrit:winter-coat nell:winter-cloak",
    "biscuit-winter patience"),
    ("Annual 2", "cover", "thea", "splash", "dusk", "quay",
    "ned:patched-jacket:run odile:festival-dress:wave", "biscuit-winter"),
    ("Annual 2", "1", "dot", "tall", "day", "market quay plain", "ned:patched-jacket odile:festival-dress",
    "biscuit-winter"),
    ("21", "cover", "thea", "splash", "day", "market",
    "odile:festival-dress:wave tamsin:sunday-dress ebba:captains-coat", ""),
    ("21", "3", "thea", "steps", "day", "market plain quay", "odile:festival-dress tamsin:sunday-dress",
    "patience"),
    ("21", "4", "ruben", "bands", "day", "quay market plain", "jonah:post-uniform ebba:captains-coat",
    "kettle"),
    ("22", "cover", "thea", "splash", "rain", "river", "odile:bakehouse-apron:alarm tamsin:oilskins:haul",
    "chest"),
    ("22", "5", "thea", "tall", "rain", "river workshop plain", "odile:bakehouse-apron tamsin:oilskins",
    "chest"),
    ("23", "cover", "thea", "splash", "dusk", "quay", "ebba:captains-coat:point ilse:market-shawl",
    "patience"),
    ("23", "2", "thea", "six", "day", "parlour plain quay", "ebba:captains-coat ilse:long-coat", "patience"),
    ("23", "6", "dot", "steps", "day", "quay river plain", "amabel:green-cape jonah:post-uniform", "biscuit"),
    ("24", "cover", "thea", "splash", "day", "quay",
    "tamsin:work-coat:wave gerrit:boiler-vest ilse:long-coat", "patience"),
    ("24", "1", "thea", "tall", "day", "parlour quay plain", "silas:fishmonger ilse:long-coat hob:uniform",
    ""),
    ("24", "22", "ruben", "bands", "dusk", "river quay plain", "tamsin:work-coat gerrit:boiler-vest",
    "patience biscuit"),
    ("25", "cover", "thea", "splash", "dusk", "quay", "tamsin:work-coat:lamp nell:smock:alarm", "lantern"),
    ("25", "1", "thea", "bands", "day", "workshop plain quay", "nell:smock tamsin:work-coat", "lantern"),
    ("25", "2", "ruben", "tall", "day", "quay plain workshop", "tamsin:work-coat hob:uniform", "kettle"),
)  # fmt: skip

NIGHT_PAGES = frozenset({("16", "1")})

UNMARKED = frozenset({"25"})
"""Issues that have just come in: their pages are looked through for codes, and nobody has marked them yet."""

SLIPS = (
    Slip(("8", "9", "10"), "dot", "gerrit", "boiler-vest", "vest", "base", "Y3B3", "Y3B3",
         "Dot remembers the vest a step too pale, three issues running."),
    Slip(("8", "9", "10"), "dot", "gerrit", "boiler-vest", "vest", "shade", "Y3B", "Y3B",
    "The shade follows the wrong base."),
    Slip(("13", "14"), "ruben", "tamsin", "work-coat", "coat", "base", "YR2", "YR2",
    "Nobody told Ruben that the coat is red now."),
    Slip(("13", "14"), "ruben", "tamsin", "work-coat", "coat", "shade", "YR3B2", "YR3B2",
    "The old shade with the old coat."),
    Slip(("5",), "ruben", "jonah", "flying-jacket", "jacket", "base", "YR4", "YR3B2",
    "A strength this chart doesn't have."),
    Slip(("17",), "ruben", "gerrit", "boiler-vest", "vest", "base", "YB4", "YB3",
    "The same habit a dozen issues later."),
    Slip(("11",), "ruben", "ebba", "captains-coat", "coat", "shade", "y~/b", "Y3R2B",
    "A scrawl: the tea was spilt here."),
    Slip(("19",), "dot", "nell", "smock", "smock", "base", "Y3", None, "Paint says Y2, pencil says Y3."),
    Slip(("18",), "ruben", "kettle", "as-drawn", "body", "base", "YR", "YR",
    "The van is green from this issue; the fill-in had last month's guide."),
    Slip(("21",), "ruben", "ebba", "captains-coat", "coat", "base", "Y2R", "Y2B", "R written for B."),
    Slip(("23",), "dot", "amabel", "green-cape", "cape", "base", "Y2B", "Y2B", "Near, but not the cape."),
    Slip(("3",), "dot", "odile", "bakehouse-apron", "kerchief", "base", "YR3", "YR3",
    "First fill-in page; one step off."),
    Slip(("24",), "ruben", "patience", "as-drawn", "cabin", "base", "Y3", "Y3",
    "Half the yellow it should be: in print you'd hardly tell."),
    Slip(("25",), "ruben", "tamsin", "work-coat", "scarf", "base", "Y3B3", "Y3B3",
    "The scarf a step too pale: the page finds it by itself."),
)  # fmt: skip

# spellings that mean the same: habits of a hand, never a flag
RESPELT = {
    ("ruben", "R3B"): "BR3", ("ruben", "Y2R2"): "R2Y2", ("ruben", "YB3"): "B3Y", ("dot", "YR3B2"): "yr3b2",
        ("dot", "Y2R2"): "y2 r2",
    ("dot", "R2B"): "R2 B", ("dot", "W"): "w",
}  # fmt: skip


def _pages() -> tuple[PageSpec, ...]:
    pages = []
    for k, (issue, label, colourist, layout, hour, scenes, cast, props) in enumerate(_PAGES):
        panels = stage(
            layout, scenes.split(), cast.split(), props.split(), seed=7100 + 37 * k, cover=label == "cover"
        )
        pages.append(
            PageSpec(
                issue, label, colourist, layout, hour, panels, 7100 + 37 * k, night_rule=(issue, label) in NIGHT_PAGES
            )
        )
    return tuple(pages)


@lru_cache(maxsize=1)
def demo_story() -> Story:
    """The demo series, whole."""
    return Story(
        "The Ferry at Quill Bend",
        "quill-bend",
        "A chain ferry, a repair van and the people who keep a river town going by mending what it breaks.",
        PEOPLE,
        _issues(),
        SUBJECTS,
        _pages(),
        SLIPS,
        respelt=tuple((who, code, written) for (who, code), written in RESPELT.items()),
        unmarked=UNMARKED,
        roles=ROLES,
        kinds=KINDS,
    )
