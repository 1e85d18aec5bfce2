"""The overview in a real browser: sorted, filtered, by keyboard, and it asks for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from browser_at_hand import NEEDS_A_BROWSER, chromium
from faithful import ALL_HEARD

from arranger.music.outcome import Outcome
from arranger.render import overview_page

pytestmark = NEEDS_A_BROWSER
EVIL = "</script><img src=x onerror=alert(1)>"
LEVELS = ("beginner", "elementary", "intermediate", "advanced")


def _outcomes() -> Iterator[Outcome]:
    """Four hundred rows: a hundred pieces at four levels, every tenth refused."""
    for number in range(100):
        for place, level in enumerate(LEVELS):
            refused = number % 10 == 9
            share = 1 - number / 500
            heard = replace(ALL_HEARD, melody_kept=share)
            yield Outcome(
                piece=f"{number}.mid",
                level=level,
                status="refused" if refused else "done",
                reason=EVIL if refused else "",
                folder="" if refused else f"a ü#?/{number}/{level}",
                title=f"{EVIL} {number}",
                composer="Schumann" if number == 5 else "",
                difficulty=None if refused else (37 * number) % 90 + place,
                fidelity=None if refused else heard,
                bars=number,
            )


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    file = tmp_path_factory.mktemp("overview") / "index.html"
    alike = {"5.mid": ["6.mid"], "6.mid": ["5.mid"]}
    text = "".join(overview_page(_outcomes, lambda row: alike.get(row.piece, [])))
    file.write_text(text, "utf-8")
    with chromium() as browser:
        page = browser.new_page()
        page.wrong = []
        page.on("console", lambda message: page.wrong.append(message.text))
        page.on("pageerror", lambda error: page.wrong.append(str(error)))
        page.on("request", lambda request: page.wrong.append(request.url))
        page.goto(file.as_uri())
        page.wrong.remove(file.as_uri())
        yield page


@pytest.fixture(autouse=True)
def _from_the_start(page: Any) -> Iterator[None]:
    page.evaluate("document.getElementById('filters').reset()")
    page.locator("#sought").dispatch_event("input")
    yield
    assert page.wrong == [], "it asked for something, or something went wrong"


def _column(page: Any, number: int) -> list[str]:
    found: list[str] = page.locator(f"#body tr > :nth-child({number})").all_inner_texts()
    return found


def test_filters_by_words_level_outcome_and_difficulty(page: Any) -> None:
    assert page.inner_text("#count") == "400 of 400 rows, the first 200 below"
    page.fill("#sought", "SCHUMANN 5.mid")
    assert _column(page, 4) == list(LEVELS)
    page.select_option("#level", "advanced")
    assert page.inner_text("#count") == "1 of 400 rows"
    page.fill("#sought", "")
    page.select_option("#status", "refused")
    assert page.inner_text("#count") == "10 of 400 rows"
    page.select_option("#status", "done")
    page.fill("#most", "20")
    shown = [float(text) for text in _column(page, 6)]
    assert shown
    assert max(shown) <= 20
    page.fill("#most", "")
    page.check("#alike")
    assert page.inner_text("#count") == "2 of 400 rows"


def test_sorts_by_any_column_and_the_unknown_comes_last(page: Any) -> None:
    button = page.get_by_role("button", name="difficulty")
    for state in ("ascending", "descending"):
        button.click()
        assert button.locator("..").get_attribute("aria-sort") == state
        shown = [float(text) for text in _column(page, 6)]
        assert shown == sorted(shown, reverse=state == "descending")
    page.select_option("#status", "refused")
    assert set(_column(page, 6)) == {""}


def test_by_keyboard_alone(page: Any) -> None:
    page.locator("#sought").focus()
    page.keyboard.type("schumann")
    assert page.inner_text("#count") == "4 of 400 rows"
    button = page.get_by_role("button", name="level")
    button.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    assert _column(page, 4) == list(reversed(LEVELS))
    page.fill("#sought", "")
    page.get_by_role("button", name="Show more rows").press("Enter")
    assert page.locator("#body tr").count() == 400
    focused = "document.activeElement.closest('tr').rowIndex - 1"
    assert page.evaluate(focused) == 200, "the keyboard goes on where it was"


def test_links_lead_to_the_results_whatever_their_names(page: Any) -> None:
    page.fill("#sought", "schumann")
    links = page.locator("#body tr").first.locator("a")
    addresses = [link.get_attribute("href") for link in links.all()]
    assert addresses[0].startswith("a%20%C3%BC%23%3F/5/")
    assert [address.rsplit("/", 1)[1] for address in addresses] == [
        "sheet.html",
        "sheet.pdf",
        "tab.txt",
        "score.musicxml",
        "practice.mid",
    ]


def test_foreign_text_stays_text(page: Any) -> None:
    assert page.locator("img").count() == 0
    page.select_option("#status", "refused")
    page.locator("#body summary").first.click()
    assert EVIL in page.locator("#body details p").first.inner_text()


def test_plot_shows_the_level_chosen(page: Any) -> None:
    assert page.locator("svg g.mark").count() == 4
    page.select_option("#level", "beginner")
    seen = [group.is_visible() for group in page.locator("svg g.mark").all()]
    assert seen == [True, False, False, False]
    assert "beginner: 90 arrangements" in page.locator("svg").get_attribute("aria-label")
