"""The pocket look-up with the line cut: it goes on, says so, and forgets when somebody signs out or has to leave."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.locks.queries import look_up
from bible.models import Lock, Membership, Part, Series
from bible.series.running_order import LATEST
from tests.browser.moves import fits, forgive
from tests.factories import make_costume, make_edition, make_issues, make_lock, make_part, make_subject

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]
PHONE = {"viewport": {"width": 360, "height": 740}}
LOST = ("net::ERR_", "Failed to load resource")
KEPT = "() => caches.keys().then((names) => names.filter((name) => name.startsWith('pocket:')).length)"
FROM_WORKER = "(path) => fetch(path).then((answer) => answer.headers.get('X-Kept'))"
WORKERS = "() => navigator.serviceWorker.getRegistrations().then((found) => found.length)"


def says(page: Any, words: str) -> None:
    page.locator("#pocket-status", has_text=words).wait_for()


def opened(visit: Visit, person: Any, series: Series) -> Any:
    page = visit(person, reverse("pocket", args=[series.slug]), **PHONE)
    says(page, "works without connection")
    return page


def test_it_works_without_connection_and_catches_up(visit: Visit, colourist: Any, series: Series, coat: Part) -> None:
    page = opened(visit, colourist, series)
    page.context.set_offline(True)
    page.reload()
    says(page, "No connection: these are the codes kept on this device.")
    assert "fetched just now" in page.locator("#pocket-status").inner_text()
    assert page.evaluate(FROM_WORKER, reverse("pocket-data", args=[series.slug])) == "1", (
        "no line for the worker either"
    )
    page.fill("#pocket-words", "ada co")
    assert page.locator("#pocket-found li").count() == 1
    assert "YR3B2" in page.locator("#pocket-found").inner_text()
    fill = page.locator("#pocket-found svg rect").get_attribute("fill")
    assert fill.startswith("#")
    page.fill("#pocket-words", "nobody")
    assert page.locator("#pocket-found li").count() == 0
    fits(page, 360)
    make_lock(make_part(costume=coat.costume, name="cap"), "B2")
    page.fill("#pocket-words", "cap")
    assert page.locator("#pocket-found li").count() == 0
    page.context.set_offline(False)
    page.locator("#pocket-found", has_text="B2").wait_for()
    says(page, "Kept on this device")
    forgive(page, *LOST)


def test_the_look_ups_own_address_falls_back_to_the_pocket(
    visit: Visit, colourist: Any, series: Series, coat: Part
) -> None:
    page = opened(visit, colourist, series)
    page.goto(reverse("lookup", args=[series.slug]))
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    assert page.locator("#pocket-words").count() == 0, "with a line the look-up itself answers"
    page.context.set_offline(True)
    page.fill("#main input[name=q]", "coat ada")
    page.locator("#pocket-found", has_text="YR3B2").wait_for()
    says(page, "No connection: these are the codes kept on this device.")
    assert page.input_value("#pocket-words") == "coat ada"
    page.goto(reverse("lookup", args=[series.slug]) + "?q=b2ry3&issue=1")
    says(page, "are not kept on this device")
    page.fill("#pocket-words", "b2r3y")
    assert "YR3B2" in page.locator("#pocket-found li").first.inner_text()
    forgive(page, *LOST, "htmx:")


def test_an_older_issue_is_kept_too(visit: Visit, colourist: Any, series: Series, coat: Part) -> None:
    before, latest = make_issues(series, 2)
    Lock.objects.filter(part=coat).update(from_position=latest.position)
    make_lock(coat, "B", to_position=latest.position)
    make_lock(coat, "YR", edition=make_edition(series, [before], name="Album"))
    page = opened(visit, colourist, series)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.select_option("#pocket-issue", before.number)
    says(page, f"As of issue {before.number}")
    page.fill("#pocket-words", "coat")
    assert page.locator("#pocket-found .chip .code").first.inner_text() == "B"
    page.select_option("#pocket-issue", "")
    page.select_option("#pocket-edition", "Album")
    page.locator("#pocket-found .chip", has_text="YR").first.wait_for()
    says(page, "in the edition Album")
    page.select_option("#pocket-edition", "")
    page.select_option("#pocket-issue", before.number)
    says(page, f"As of issue {before.number}, ")
    page.context.set_offline(True)
    page.select_option("#pocket-issue", "")
    page.locator("#pocket-found .chip", has_text="YR3B2").wait_for()
    page.select_option("#pocket-issue", before.number)
    says(page, f"As of issue {before.number}")
    says(page, "No connection")
    page.fill("#pocket-words", "blue coat")
    assert page.locator("#pocket-found li").count() == 1
    page.select_option("#pocket-issue", "")
    page.select_option("#pocket-edition", "Album")
    says(page, f"As of issue {before.number} in the edition Album")
    says(page, "No connection")
    page.fill("#pocket-words", "coat")
    assert page.locator("#pocket-found .chip .code").first.inner_text() == "YR"
    fits(page, 360)
    forgive(page, *LOST)


def test_signing_out_forgets(visit: Visit, colourist: Any, series: Series, coat: Part) -> None:
    page = opened(visit, colourist, series)
    assert page.evaluate(KEPT) == 1
    page.goto(reverse("lookup", args=[series.slug]))
    assert page.evaluate(KEPT) == 1, "another page of the same person leaves it alone"
    page.click(".who")
    page.click("form.sign-out button")
    page.wait_for_url("**/sign-in/")
    page.wait_for_function(KEPT.replace(".length)", ".length === 0)"))
    page.wait_for_function(WORKERS.replace(".length)", ".length === 0)"))


def test_somebody_who_had_to_leave_keeps_nothing(visit: Visit, colourist: Any, series: Series, coat: Part) -> None:
    page = opened(visit, colourist, series)
    Membership.objects.filter(series=series, user=colourist).delete()
    page.evaluate("window.dispatchEvent(new Event('online'))")
    says(page, "has been thrown away")
    assert page.locator("#pocket-found li").count() == 0
    assert page.evaluate(KEPT) == 0
    page.wait_for_function(WORKERS.replace(".length)", ".length === 0)"))
    assert page.reload().status == 404
    forgive(page, *LOST)


def test_a_series_with_nothing_in_its_bible_says_so(visit: Visit, colourist: Any, series: Series) -> None:
    page = opened(visit, colourist, series)
    assert page.locator("#pocket-tally").inner_text() == "Nothing is in the bible yet."
    page.fill("#pocket-words", "coat")
    assert page.locator("#pocket-tally").inner_text() == "Nothing is in the bible yet."


def test_it_weighs_as_the_look_up_does(visit: Visit, colourist: Any, series: Series, coat: Part) -> None:
    """Names, beginnings, a code in any order, a colour, a slip of the keys: the same parts in the same order."""
    tamsin = make_subject(series, name="Tamsin Coates")
    for costume, part, code in (
        ("coat and cap", "belt", "R"),
        ("coat and cap", "coat", "YR3B2"),
        ("oilskins", "cap", "Y"),
        ("oilskins", "overcoat", "R"),
    ):
        worn = tamsin.costumes.filter(name=costume).first() or make_costume(tamsin, name=costume)
        make_lock(make_part(costume=worn, name=part), code)
    make_lock(
        make_part(costume=make_costume(make_subject(series, name="Table"), name="as drawn"), name="cover"), "R3"
    )
    page = opened(visit, colourist, series)
    for words in (
        "coat",
        "ta co",
        "co",
        "b2r3y",
        "red coat",
        "tamsin belt",
        "tmasin",
        "ada caot",
        "oil cap",
        "at",
        "zzzz",
    ):
        page.fill("#pocket-words", words)
        shown = page.locator("#pocket-found .found-name").all_inner_texts()
        asked = look_up(series, words, LATEST)
        assert [name.split(": ")[1] for name in shown] == [one.part.name for one in asked], words
        assert [name.split(", ")[0] for name in shown] == [one.part.costume.subject.name for one in asked], words
