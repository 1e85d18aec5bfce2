"""The sheets: a PDF to print and a page to play from, safe with whatever a file is called."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import html
from render_tunes import (
    LESSON,
    SHAPES,
    TUNES,
    alternating_bass,
    little_rag,
    twice,
    verdict_of,
    waltz,
)

from arranger.music.arrangement import Arrangement, ChordMark, Decision
from arranger.music.errors import UsageError
from arranger.music.lesson import Lesson, LessonStep
from arranger.music.verdict import Reason
from arranger.render import Paper, documents, spoken_text
from arranger.render.diagrams import finger_list, mirrored, shape_line, shape_svg
from arranger.render.engrave import engraved
from arranger.render.fold import folded
from arranger.render.plain_text import kept_together
from arranger.render.sheet_html import _notes, playing_sheet
from arranger.render.sheet_pdf import _steps
from arranger.render.spelling import engraved_names
from arranger.render.spoken import spoken_bars
from arranger.render.tab_head import bar_list, caution, hardest_lines, loose_text
from arranger.render.written import in_notatable_time, in_written_time

_MARKUP = "</script><script>alert(1)</script><b onclick=x> #strong[x] \\ \" '"


def _page(arrangement: Arrangement, lesson: Lesson = LESSON) -> str:
    folds = folded(in_notatable_time(in_written_time(arrangement)))
    systems = engraved(folds, width=2000)
    return playing_sheet(arrangement, verdict_of(arrangement), lesson, systems, folds)


def _pdf(arrangement: Arrangement, paper: Paper = Paper()) -> bytes:  # noqa: B008
    return documents(arrangement, verdict_of(arrangement), LESSON, paper=paper)["sheet.pdf"]


def hostile() -> Arrangement:
    return replace(alternating_bass(), title=_MARKUP, composer=_MARKUP)


def test_a_pdf_is_the_same_bytes_twice() -> None:
    assert _pdf(waltz()) == _pdf(waltz())
    assert _pdf(waltz()).startswith(b"%PDF-")


def test_care_for_the_hands_is_said_once() -> None:
    """By a step of the lesson, which names its sources, or else under it."""
    care = LessonStep(kind="care", title="Take care", text="Stop when anything is sore.")
    assert "hurts" in caution(Lesson(steps=()))
    assert "hurts" not in caution(Lesson(steps=(care,)))
    assert "hurts" not in _page(waltz(), Lesson(steps=(care,)))
    for lesson in (Lesson(steps=()), Lesson(steps=(care,))):
        assert "Copyright" in caution(lesson)


def test_other_paper_and_larger_print() -> None:
    """Letter is 612 by 792 points; A4 595 by 842."""
    assert b"/MediaBox[0 0 612 792]" in _pdf(waltz(), Paper(size="letter"))
    assert b"/MediaBox[0 0 595.27" in _pdf(waltz())
    large, usual = _pdf(alternating_bass(), Paper(scale=2.0)), _pdf(alternating_bass())
    assert large.count(b"/MediaBox") > usual.count(b"/MediaBox")
    with pytest.raises(UsageError, match="scale"):
        Paper(scale=0.1)


def test_markup_in_names_does_not_disturb_the_pdf() -> None:
    assert _pdf(hostile()).startswith(b"%PDF-")


def test_markup_in_names_is_text_on_the_page() -> None:
    lesson = Lesson(steps=(LessonStep(kind="x", title=_MARKUP, text=_MARKUP),))
    page = html.fromstring(_page(hostile(), lesson))
    assert len(page.findall(".//script")) == 2
    assert not page.xpath("//*[@onclick]")
    assert page.findtext(".//h1") == _MARKUP


@pytest.mark.parametrize("tune", TUNES)
def test_the_policy_names_the_only_script_and_style(tune) -> None:  # type: ignore[no-untyped-def]
    page = html.fromstring(_page(tune()))
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    assert policy.startswith("default-src 'none'")
    for text in (page.findall(".//script")[1].text, page.findtext(".//style")):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert not page.xpath("//*[@style]")


@pytest.mark.parametrize("tune", TUNES)
def test_nothing_is_asked_for_from_anywhere(tune) -> None:  # type: ignore[no-untyped-def]
    text = re.sub(r'xmlns(:\w+)?="[^"]*"', "", _page(tune()))
    text = text.replace('"http://www.w3.org/2000/svg"', "")
    assert "http" not in text.replace("http-equiv", "")
    assert "src=" not in text.replace("-src", "")


@pytest.mark.parametrize("tune", TUNES)
def test_the_page_plays_what_is_written(tune) -> None:  # type: ignore[no-untyped-def]
    page = html.fromstring(_page(tune()))
    data = json.loads(page.get_element_by_id("arrangement").text)
    written = in_written_time(tune())
    assert [row[0] for row in data["notes"]] == [float(note.onset) for note in written.notes]
    assert [row[4] for row in data["notes"]] == [note.midi for note in written.notes]
    assert [bar["name"] for bar in data["bars"]] == [str(bar.bar) for bar in written.bars]


def test_glyphs_are_defined_once_and_all_are_there() -> None:
    page = _page(alternating_bass())
    defined = re.findall(r'<g id="(E[0-9A-F]+)"', page)
    used = set(re.findall(r'href="#(E[0-9A-F]+)"', page))
    assert len(defined) == len(set(defined))
    assert used <= set(defined)


def test_swing_is_offered_only_where_there_is_some() -> None:
    assert 'id="swing"' in _page(little_rag())
    assert 'id="swing"' not in _page(waltz())


def test_a_diagram_shows_fingers_barre_and_mirror_image() -> None:
    assert finger_list(SHAPES["C"]) == "x32o1o"
    assert shape_line(SHAPES["F"]).endswith("fingers 134211  barre CI")
    drawn = shape_svg(SHAPES["F"])
    assert drawn.count("<circle") == 6
    assert 'stroke-linecap="round"' in drawn
    assert finger_list(mirrored(SHAPES["C"])) == "o1o23x"


def test_a_high_shape_names_its_first_fret() -> None:
    high = replace(SHAPES["F"], frets=(8, 10, 10, 9, 8, 8), barre=8)
    assert ">VIII<" in shape_svg(high)


def test_every_bar_in_words() -> None:
    words = spoken_bars(in_written_time(little_rag()))
    assert words[0].startswith(
        "Bar 1. Chord G. Beat 1: thumb, string 6 fret 3 finger 2; "
        "middle, string 1 fret 3 finger 4. Beat 1 and: index, string 2 open."
    )
    assert words[1].startswith("Bar 2, the same as bar 1.")
    assert "hammer-on, string 2 fret 1 finger 1" in spoken_bars(alternating_bass())[0]
    assert spoken_bars(waltz())[0].startswith("Bar 0. Beat 3: index, string 2 fret 3 finger 4")


def test_the_whole_piece_in_words() -> None:
    text = spoken_text(little_rag())
    assert text.startswith("A Two-Bar Rag.\n\nLevel beginner. Key G major")
    shape = "Shape G: string 6 fret 3 finger 2, string 5 fret 2 finger 1, string 4 open,"
    assert shape in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_loops_side_by_side_are_printed_as_one_list() -> None:
    loops = [
        LessonStep(kind="loop", title="Loop bars 1–8 of part A", text="Round and round."),
        LessonStep(
            kind="loop",
            title="Loop bars 9–16",
            text="In the same way. It comes again in bar 20.",
        ),
    ]
    day = LessonStep(kind="day", title="A day", text="Slowly.")
    printed = _steps(Lesson(steps=(*loops, day)))
    assert [step["title"] for step in printed] == ["Loops", "A day"]
    assert printed[0]["text"] == "Round and round:"
    assert printed[0]["lines"] == [
        "Bars\N{NO-BREAK SPACE}1–8 of part A.",
        "Bars\N{NO-BREAK SPACE}9–16. It comes again in bar\N{NO-BREAK SPACE}20.",
    ]


def test_drills_are_printed_abreast_with_their_shapes() -> None:
    drills = [
        LessonStep(kind="change", title="Drill Eb → F#m", text="In bar 3.", shapes=(0, 1)),
        LessonStep(kind="change", title="Drill C → Bb", text="Above all.", shapes=(2, 3)),
    ]
    (printed,) = _steps(Lesson(steps=tuple(drills)))
    assert printed["title"] == "The hardest changes"
    assert printed["cards"] == [
        {
            "title": "E♭ → F♯m".replace(" ", "\N{NO-BREAK SPACE}"),
            "text": "In bar\N{NO-BREAK SPACE}3.",
            "shapes": [0, 1],
        },
        {
            "title": "C → B♭".replace(" ", "\N{NO-BREAK SPACE}"),
            "text": "Above all.",
            "shapes": [2, 3],
        },
    ]


def test_repeats_that_differ_are_printed_as_one_list() -> None:
    repeats = [
        LessonStep(kind="repeats", title="Where the repeat of bars 1–8 differs", text="So."),
        LessonStep(kind="repeats", title="Where bars 9–16 differ", text="Otherwise."),
    ]
    (printed,) = _steps(Lesson(steps=tuple(repeats)))
    assert printed["title"] == "Where repeats differ"
    assert printed["lines"] == [
        "The repeat of bars 1–8. So.",
        "Bars 9–16. Otherwise.",
    ]
    (alone,) = _steps(Lesson(steps=tuple(repeats[:1])))
    assert alone["title"] == "Where the repeat of bars 1–8 differs"


def test_a_sign_stays_with_its_number() -> None:
    tied = kept_together("100 % of 4 – 5 – 6, by 7 -- 8, G → C").replace(
        "\N{NO-BREAK SPACE}", "_"
    )
    assert tied == "100_% of 4_– 5_– 6, by 7 -- 8, G_→_C"


def test_an_option_is_not_broken_at_the_end_of_a_line() -> None:
    tune = replace(
        in_written_time(waltz()), decisions=(Decision(text="Key C <b>", option="--key"),)
    )
    said = _notes(tune, verdict_of(tune), folded(tune))
    assert "Key C &lt;b&gt; — to change: <code>--key</code>." in said


def test_a_plucking_finger_stays_with_its_beat() -> None:
    step = LessonStep(kind="right-hand", title="T", text="Pluck: 1 p+m, 2& i, 3 p. Again.")
    (printed,) = _steps(Lesson(steps=(step,)))
    tied = "Pluck: 1 p+m, 2& i, 3 p. Again.".replace(" p", "\N{NO-BREAK SPACE}p")
    assert printed["text"] == tied.replace("& i", "&\N{NO-BREAK SPACE}i")


def _leaning(svg: str) -> list[str]:
    return re.findall(r"skewX[^>]*>([^<]+)</text>", svg)


def test_a_name_that_no_shape_is_held_for_leans_and_the_page_says_so() -> None:
    """SHAPES has a G and no F#m, so nothing is held at that name."""
    tune = replace(little_rag(), chords=(
        ChordMark(onset=Fraction(0), name="G", shape=0),
        ChordMark(onset=Fraction(1), name="F#m", shape=None),
        ChordMark(onset=Fraction(2), name="G7", shape=0),
    ), shapes=(SHAPES["G"],))  # fmt: skip
    systems = engraved(folded(in_notatable_time(in_written_time(tune))), width=2000)
    assert [name for system in systems for name in _leaning(system.svg)] == ["F♯m"]
    said = "Chord names in italics: no shape is held. G7 is held like G."
    assert said in _page(tune)
    assert loose_text(tune, printed=False) == (
        "No shape is held at F#m: each note has its own finger. G7 is held like G."
    )
    bare = replace(tune, shapes=(), chords=tuple(replace(m, shape=None) for m in tune.chords))
    assert "skewX" not in engraved(folded(in_written_time(bare)), width=2000)[0].svg
    assert loose_text(bare, printed=True) == ""


def test_hard_bars_are_named_as_they_are_printed() -> None:
    """Bar 9 of six bars played twice is bar 3 on the page; bar 0 is the pick-up."""
    verdict = verdict_of(twice())
    reasons = tuple(Reason(bar=bar, what="so", points=1.0) for bar in (9, 2))
    verdict = replace(verdict, difficulty=replace(verdict.difficulty, reasons=reasons))
    assert hardest_lines(twice(), verdict) == ["bar 3: so", "bar 2: so"]
    weak = tuple(replace(reason, telling=False) for reason in reasons)
    nothing = replace(verdict, difficulty=replace(verdict.difficulty, reasons=weak))
    assert hardest_lines(twice(), nothing) == [
        "nothing in it asks much of the hands at this tempo"
    ]
    assert bar_list([0]) == "the pick-up"
    assert bar_list([0, 1, 2, 4]) == "the pick-up, bars 1–2 and 4"
    assert bar_list([0, 3]) == "the pick-up and bar 3"


@pytest.mark.parametrize(
    ("plain", "printed"),
    [
        ("Drill Eb → G#dim7 and Bbm", "Drill E♭ → G♯dim7 and B♭m"),
        ("Above, A bar, Cb5, F#m7b5", "Above, A bar, C♭5, F♯m7♭5"),
        ("Bb.", "B♭."),
    ],
)
def test_chord_names_in_words_have_their_signs(plain: str, printed: str) -> None:
    assert engraved_names(plain) == printed


def test_the_pick_up_has_a_name_on_the_page() -> None:
    loop = LessonStep(kind="loop", title="Loop bars 1–2", text="So.", bars=(0, 1, 2))
    page = _page(little_rag(), Lesson(steps=(loop,)))
    assert ">Loop the pick-up to bar 2</button>" in page
