"""``manage.py lookalikes``: pairs of tints that readers may mistake for each other in print."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.management.base import CommandParser

from bible.chart.queries import tints_against_others
from bible.colour.chart_neighbours import ranked_pairs
from bible.colour.charts import CHART_64
from bible.colour.lookalikes import NORMAL, RISK_BANDS, VISIONS, LookAlike, look_alikes
from bible.colour.press import PressCondition
from bible.management.output import JsonCommand, notation_of
from bible.management.tints import named
from bible.models import Series
from bible.web.names import counted

WORDS = tuple(band.word for band in RISK_BANDS)
CAUTION = "A ranking, not a forecast of how many readers will err; a screen is not a proof."


class Command(JsonCommand):
    help = "Rank the pairs of chart tints (or of a subject's tints and the others') by how easily they are mistaken."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--series", help="the chart of this series (default: the classic 64 tints)")
        parser.add_argument("--subject", help="compare this subject of the series with all the others, as locked now")
        parser.add_argument("--press", help="press condition (default: the series', or coldset newsprint)")
        parser.add_argument("--cvd", default=NORMAL, help=f"colour vision: {', '.join(VISIONS)}")
        parser.add_argument("--at-least", default=WORDS[1], help=f"mildest word listed: {', '.join(WORDS)}")

    def handle(self, *args: Any, **options: Any) -> None:
        as_json, vision, word = options["json"], options["cvd"], options["at_least"]
        series = self.series(options["series"], as_json=as_json) if options["series"] else None
        press = self.press(options["press"], series, as_json=as_json)
        if vision not in VISIONS:
            self.refuse(f"There is no colour vision {vision!r} here; known: {', '.join(VISIONS)}.", as_json=as_json)
        if word not in WORDS:
            self.refuse(f"No pair is called {word!r}; the words are {', '.join(WORDS)}.", as_json=as_json)
        pairs: Sequence[LookAlike]
        if options["subject"]:
            pairs = self._against_others(options["subject"], series, press, vision, word, as_json)
        else:
            pairs = ranked_pairs(press, (series.chart if series else CHART_64).tints, vision, word)
        notation = notation_of(series)
        rows: list[dict[str, Any]] = [
            {
                "rank": rank,
                "first": named(pair.first, notation),
                "second": named(pair.second, notation),
                "word": pair.word,
                "difference": pair.difference,
                "risk": pair.risk,
            }
            for rank, pair in enumerate(pairs, 1)
        ]
        if as_json:
            self.say({"press": press.name, "vision": vision, "caution": CAUTION, "pairs": rows})
            return
        for row in rows:
            codes = f"{row['first']['code']} and {row['second']['code']}"
            self.stdout.write(f"{row['rank']}. {codes}: {row['word']} (CIEDE2000 {row['difference']:.1f})")
        self.stdout.write(f"{counted(len(rows), 'pair')} on {press.title}. {CAUTION}")

    def _against_others(
        self, name: str, series: Series | None, press: PressCondition, vision: str, word: str, as_json: bool
    ) -> list[LookAlike]:
        if series is None:
            self.refuse("--subject needs --series.", as_json=as_json)
        subject = series.subjects.active().filter(name__iexact=name).first()
        if subject is None:
            self.refuse(f"There is no subject “{name}” in {series}.", as_json=as_json)
        ours, theirs = tints_against_others(series, subject)
        return look_alikes(press, ours, theirs, vision, word) if ours and theirs else []
