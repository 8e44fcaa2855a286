"""How much of something somebody may still do: counted in the database, so that all web workers agree."""

from __future__ import annotations

from typing import Self

from django.db import connection, models

_SPEND = """
INSERT INTO bible_allowance (key, used_until) VALUES (%(key)s, %(fresh)s)
ON CONFLICT (key) DO UPDATE SET used_until = CASE
    WHEN bible_allowance.used_until BETWEEN %(now)s AND %(most)s THEN bible_allowance.used_until + %(cost)s
    ELSE %(fresh)s
END WHERE bible_allowance.used_until <= %(most)s OR bible_allowance.used_until > %(absurd)s
"""
"""One statement, so that two workers cannot both have the last of an allowance; the ORM's upsert has no condition.
Somebody new begins afresh, and so does a row further ahead than honest spending puts it: a clock was wrong."""


class AllowanceQuerySet(models.QuerySet["Allowance"]):
    def of(self, key: str) -> Self:
        return self.filter(key=key)

    def run_out(self, now: float) -> Self:
        """Rows that say nothing any more."""
        return self.filter(used_until__lt=now)


class Allowance(models.Model):
    """What was used of one limit by one person or address, as a moment: until then it is being paid back.

    ``key`` is a keyed hash: the table tells neither names nor addresses.
    """

    key = models.CharField(max_length=64, unique=True)
    used_until = models.FloatField(default=0, db_index=True)

    objects = AllowanceQuerySet.as_manager()

    def __str__(self) -> str:
        return self.key

    @staticmethod
    def spend(key: str, *, now: float, span: float, cost: float) -> bool:
        """Take ``cost`` seconds where they fit under ``span``; False where they don't."""
        values: dict[str, str | float] = {"key": key, "now": now, "cost": cost, "fresh": now + cost}
        values |= {"most": now + span - cost, "absurd": now + 2 * span}
        with connection.cursor() as cursor:
            cursor.execute(_SPEND, values)
            return cursor.rowcount == 1
