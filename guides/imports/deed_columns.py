"""What the tables of scenes, waivers and assignments can say. No Django in here."""

from __future__ import annotations

from guides.imports.columns import TableField, known_words

SCENES = known_words(
    "scenes",
    (
        TableField("scene", "Scene", ("scene", "name", "light"), True),
        TableField("rule", "Rule", ("rule", "shift"), True, "as in “25 % more cyan, yellow 1 step down”"),
        TableField(
            "falls_on",
            "Falls only on",
            ("falls on", "falls only on", "only on"),
            help="as in “Mara; Boat, as drawn: hull; base only”; blank: as it is, a new one on everything",
        ),
        TableField("note", "Note", ("note", "notes", "remark")),
        TableField("reason", "Reason", ("reason", "why", "because")),
    ),
)

WAIVERS = known_words(
    "waivers",
    (
        TableField("issue", "Issue", ("issue", "issue number", "issue no"), True),
        TableField("page", "Page", ("page", "page label", "page no", "p"), True),
        TableField("number", "Number of the mark", ("mark", "number", "mark number", "no"), True),
        TableField("reason", "Reason", ("reason", "why", "because"), True),
        TableField("code", "Code that may stand", ("code", "tint", "as marked"), help="else what the mark says now"),
        TableField("expected", "Code that was expected", ("expected code", "expected"), help="else what is now"),
        TableField("subject", "Subject", ("subject", "character")),
        TableField("costume", "Costume", ("costume", "outfit", "look")),
        TableField("part", "Part", ("part", "item", "element", "piece")),
        TableField("role", "Role", ("role",), exact=True),
    ),
)

ASSIGNMENTS = known_words(
    "assignments",
    (
        TableField("issue", "Issue", ("issue", "issue number", "issue no"), True),
        TableField("page", "Page", ("page", "page label", "page no", "p"), True),
        TableField("colourist", "Given to", ("given to", "colourist", "colorist", "with", "who", "person"), True),
        TableField(
            "due", "To be in by", ("to be in by", "due", "due date", "by", "deadline", "date"), help="else as it is"
        ),
        TableField("note", "Note", ("note", "notes", "remark"), help="else as it is"),
    ),
)
