"""The playing sheet in a real browser: it plays, loops, swings, and keeps to itself.

Skipped where no browser is at hand. What is plucked is recorded by wrapping the start of each
sound, so that onsets are exact and nothing has to be heard.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from browser_at_hand import NEEDS_A_BROWSER, chromium

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson, LessonStep
from arranger.music.marks import BarMark, NoteMark
from arranger.music.others import BarAlternative
from arranger.music.verdict import Difficulty, Fidelity, Verdict
from arranger.render import documents
from arranger.tables.marks import marks_from_file

pytestmark = NEEDS_A_BROWSER

_MARKUP = "<img src=x onerror=alert(1)></script>"
_LISTEN = """
window.plucks = [];
window.clicks = [];
for (const [kind, list] of [[AudioBufferSourceNode, plucks], [OscillatorNode, clicks]]) {
  const start = kind.prototype.start;
  kind.prototype.start = function (when = 0) {
    list.push(when);
    return start.call(this, when);
  };
}
"""

# Two bars of 4/4: thumb on every quarter, the tune on off-beats too.
_TUNE = """
0 1 bass 5 3 3 p
0 1/2 melody 1 0 0 m
1/2 3/2 melody 2 1 1 i
1 1 bass 4 2 2 p
2 1 bass 5 3 3 p
2 1/2 melody 1 0 0 m
5/2 3/2 melody 1 3 4 a
3 1 bass 4 2 2 p
4 1 bass 6 3 3 p
5 1 bass 4 0 0 p
6 1 bass 6 3 3 p
6 2 melody 1 3 4 a
7 1 bass 4 0 0 p
"""


def _verdict() -> Verdict:
    shares = dict.fromkeys(Fidelity.__dataclass_fields__, 1.0)
    return Verdict(
        violations=(),
        fidelity=Fidelity(**shares),
        difficulty=Difficulty(score=20.0, band="beginner", bars=(), reasons=()),
    )


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


@pytest.fixture
def tune(piece: Callable[..., Arrangement]) -> Arrangement:
    return replace(piece(_TUNE, tempo=240.0), title=_MARKUP)


@pytest.fixture
def show(browser: Any, tmp_path: Path) -> Iterator[Callable[[Arrangement], Any]]:
    """Opens the sheet of an arrangement; afterwards nothing may have gone wrong in it."""
    errors: list[str] = []
    asked: list[str] = []
    pages = []

    def opened(arrangement: Arrangement) -> Any:
        lesson = Lesson(
            steps=(LessonStep(kind="x", title=_MARKUP, text="Slowly.", bars=(1, 2)),)
        )
        path = tmp_path / "sheet.html"
        path.write_bytes(documents(arrangement, _verdict(), lesson)["sheet.html"])
        page = browser.new_page(viewport={"width": 1000, "height": 1200})
        page.add_init_script(_LISTEN)
        page.on("console", lambda message: errors.append(message.text))
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        page.uncheck("#count")
        pages.append(page)
        return page

    yield opened
    for page in pages:
        page.close()
    assert errors == []
    assert all(url.startswith(("file:", "data:")) for url in asked)
    assert len([url for url in asked if url.startswith("file:")]) == len(pages)


def _until(page: Any, condition: str) -> None:
    """Wait until a condition holds; the page's own policy forbids the browser to do so."""
    for _ in range(400):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"never came true: {condition}")


def _plucks(page: Any, least: int) -> list[float]:
    """Start times of at least so many sounds, in seconds from the first, in order."""
    _until(page, f"plucks.length >= {least}")
    times = sorted(page.evaluate("plucks"))
    return [time - times[0] for time in times]


def test_markup_in_names_shows_as_text(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    assert page.inner_text("h1") == _MARKUP
    assert page.title() == _MARKUP
    assert page.locator("main img").count() == 0


def test_it_plays_in_time_and_shows_what_sounds(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.click("#play")
    times = _plucks(page, len(tune.notes))
    assert times == pytest.approx([float(note.onset) / 4 for note in tune.notes], abs=1e-6)
    assert page.inner_text("#play") == "Pause"
    both = "g.note.now", "#hand circle"  # lit and let go in one and the same step
    _until(page, " && ".join(f"document.querySelector('{lit}')" for lit in both))
    _until(page, "document.getElementById('play').textContent === 'Play'")


def test_the_slider_slows_it_down(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.fill("#tempo", "120")
    page.click("#play")
    times = _plucks(page, 4)
    assert times[3] == pytest.approx(0.5, abs=1e-6)
    assert "120" in page.inner_text("#tempo-said")


def test_a_clicked_bar_is_looped_and_the_tempo_climbs(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.fill("#tempo", "200")
    page.select_option("#ladder", "1")
    page.locator("rect.bar").nth(1).click()
    assert page.inner_text("#said") == "Looping bar 2."
    page.click("#play")
    times = _plucks(page, 6)
    assert times[5] == pytest.approx(4 * 60 / 200, abs=1e-6)
    assert page.input_value("#tempo") == "211"
    times = _plucks(page, 11)
    assert times[10] - times[5] == pytest.approx(4 * 60 / 211, abs=1e-6)


def test_bars_are_chosen_from_the_keyboard(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.locator("rect.bar").nth(0).focus()
    page.keyboard.press("Enter")
    page.locator("rect.bar").nth(1).focus()
    page.keyboard.press("Enter")
    assert page.inner_text("#said") == "Looping bars 1 to 2."
    assert page.locator("rect.bar[aria-pressed=true]").count() == 2
    page.click("#clear")
    assert page.locator("rect.bar[aria-pressed=true]").count() == 0


@pytest.mark.parametrize(
    ("wish", "wanted"),
    [
        ("thumb", lambda note: note.right == "p"),
        ("fingers", lambda note: note.right != "p"),
        ("melody", lambda note: note.voice == "melody"),
    ],
)
def test_one_voice_alone(show: Any, tune: Arrangement, wish: str, wanted: Any) -> None:
    page = show(tune)
    page.select_option("#hear", wish)
    page.click("#play")
    onsets = [float(note.onset) / 4 for note in tune.notes if wanted(note)]
    assert _plucks(page, len(onsets)) == pytest.approx(
        [onset - onsets[0] for onset in onsets], abs=1e-6
    )


def test_swing_can_be_heard_and_switched_off(show: Any, tune: Arrangement) -> None:
    page = show(replace(tune, swing=2.0))
    page.click("#play")
    assert _plucks(page, 3)[2] == pytest.approx(0.25 * 2 / 3, abs=1e-6)
    page.click("#play")
    page.evaluate("plucks.length = 0")
    page.uncheck("#swing")
    page.locator("rect.bar").nth(0).click()
    page.click("#play")
    assert _plucks(page, 3)[2] == pytest.approx(0.125, abs=1e-6)


def test_it_counts_a_bar_in(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.check("#count")
    page.click("#play")
    _plucks(page, 1)
    clicks, first = page.evaluate("clicks"), page.evaluate("plucks[0]")
    assert len(clicks) == 4
    gaps = [after - before for before, after in pairwise([*clicks, first])]
    assert gaps == pytest.approx([0.25] * 4, abs=1e-6)


def test_a_repeat_is_drawn_once_and_played_twice(
    show: Any, piece: Callable[..., Arrangement]
) -> None:
    lines = "\n".join(f"{beat} 1 melody 1 {beat % 4} 1 m" for beat in range(32))
    twice = piece(lines, tempo=600.0, sections={1: "A", 5: "A"})
    page = show(twice)
    assert page.locator("rect.bar").count() == 4
    page.click("#play")
    assert _plucks(page, 32)[31] == pytest.approx(3.1, abs=1e-6)
    page.locator("rect.bar").nth(3).click()
    assert page.inner_text("#said") == "Looping bar 4."


def test_a_left_handed_neck_is_a_mirror_image(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    nut = "document.querySelector('#neck path[stroke-width=\"5\"]').getBBox().x"
    right = page.evaluate(nut)
    page.check("#left")
    assert page.evaluate(nut) == pytest.approx(900 - right)


def test_a_long_piece_is_small_enough_to_send(
    show: Any, piece: Callable[..., Arrangement]
) -> None:
    """156 bars of running eighths, all bars and their cursors in place."""
    lines = "\n".join(
        f"{Fraction(step, 2)} 1/2 {'bass 6' if step % 2 == 0 else 'melody 1'} {step % 4} 1 p"
        for step in range(156 * 8)
    )
    page = show(piece(lines))
    assert len(page.content()) < 2_500_000
    assert page.locator("rect.bar").count() == 156


def _with_another_way(tune: Arrangement) -> Arrangement:
    notes = tuple(replace(note, bar=2) for note in tune.notes if note.onset >= 4)
    way = BarAlternative(
        bar=2,
        points=3.5,
        holding=1.0,
        moving=2.5,
        reason=f"with {_MARKUP}",
        notes=notes,
        note_marks=(
            NoteMark(bar=2, beat=Fraction(1), voice="bass", string=6, finger=3),
            NoteMark(bar=2, beat=Fraction(5, 2), voice="melody", string=1, finger=4),
        ),
        bar_mark=BarMark(bar=2, avoid=frozenset({"full barre"}), use=frozenset()),
    )
    return replace(tune, others=(way,))


def test_other_ways_open_where_a_bar_is_chosen(show: Any, tune: Arrangement) -> None:
    page = show(_with_another_way(tune))
    offer = page.locator("details.others")
    assert offer.get_attribute("open") is None
    page.locator("rect.bar").nth(1).click()
    assert offer.get_attribute("open") is not None
    assert _MARKUP in page.inner_text("details.others li p")
    page.locator("rect.bar").nth(0).click()
    assert offer.get_attribute("open") is None


def test_the_lines_of_another_way_are_copied_as_marks(
    show: Any, tune: Arrangement, tmp_path: Path
) -> None:
    piece = _with_another_way(tune)
    page = show(piece)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.locator("rect.bar").nth(1).click()
    page.click("button.copy")
    _until(page, "document.querySelector('button.copy').textContent === 'Copied'")
    file = tmp_path / "marks.toml"
    file.write_text(page.evaluate("navigator.clipboard.readText()"), "utf-8")
    marks = marks_from_file(file)
    assert marks.note_marks == piece.others[0].note_marks
    assert marks.bar_marks == (piece.others[0].bar_mark,)


def test_a_step_of_the_lesson_loops_its_bars(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.click("button.loop")
    assert page.inner_text("#said") == "Looping bars 1 to 2."


def test_a_phone_scrolls_the_music_and_nothing_else(
    show: Any, piece: Callable[..., Arrangement]
) -> None:
    lines = "\n".join(f"{beat} 1 melody 1 {beat % 4} 1 m" for beat in range(32))
    page = show(piece(lines, tempo=600.0))
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    frame = "document.querySelector('.system')"
    assert page.evaluate(f"{frame}.scrollWidth > {frame}.clientWidth")
    page.click("#play")
    _until(page, f"{frame}.scrollLeft > 0")


def test_a_phone_reaches_the_play_button_from_everywhere(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.set_viewport_size({"width": 375, "height": 500})
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    box = page.locator("#play").bounding_box()
    assert 0 <= box["y"] <= 500 - box["height"]
    assert box["height"] >= 35


def test_a_phone_shows_the_fingers_large_enough_to_read(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    page.set_viewport_size({"width": 375, "height": 667})
    page.click("#play")
    _until(page, "document.querySelector('#hand text')?.getBoundingClientRect().height >= 12")


def test_the_tail_of_a_letter_is_not_cut_off(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    room = """(() => {
      const frame = document.querySelector(".system");
      const drawing = frame.querySelector("svg").getBoundingClientRect();
      return frame.getBoundingClientRect().top + frame.clientHeight - drawing.bottom;
    })()"""
    assert page.evaluate(room) >= 4  # pixels


def test_dark_and_print_have_their_own_colours(show: Any, tune: Arrangement) -> None:
    page = show(tune)
    colour = "getComputedStyle(document.body).backgroundColor"
    page.emulate_media(color_scheme="dark")
    dark = page.evaluate(colour)
    page.emulate_media(media="print")
    assert page.evaluate(colour) != dark
    assert not page.is_visible(".controls")
