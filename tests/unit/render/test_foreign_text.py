"""Every word that comes from outside is text in every document, and nothing else.

Each document is made once with harmless words and once with words that mean something to a
browser, an XML reader, a typesetter, a terminal or a spreadsheet; what is not text has to come
out alike.
"""

from __future__ import annotations

import io
import json
import re
import zlib
from dataclasses import replace
from functools import cache

import mido
import pytest
from hostile_files import ACTING_TEXTS, MEAN_TEXTS
from lxml import etree, html
from render_tunes import alternating_bass, verdict_of

from arranger.music.arrangement import Arrangement, Decision
from arranger.music.comparison import Column, Comparison, Refusal, Version
from arranger.music.lesson import Lesson, LessonStep
from arranger.music.score import SourceWarning
from arranger.music.verdict import Reason, Verdict
from arranger.render import compare_page, documents
from arranger.render.diagrams import shape_svg
from arranger.render.engrave import engraved
from arranger.render.extras import Extras
from arranger.render.fold import folded
from arranger.render.plain_text import one_line
from arranger.render.spoken import spoken_text
from arranger.render.tab import tab_text
from arranger.render.written import in_notatable_time, in_written_time
from arranger.render.xml_text import clean

EVIL = (*ACTING_TEXTS, "".join(MEAN_TEXTS), "", " . ")
HARMLESS = "A small piece"


def values(text: str, *, chords: bool = True) -> tuple[Arrangement, Verdict, Lesson]:
    """An arrangement in which everything that may come from outside is ``text``.

    With ``chords`` their names too, which come from outside where a file of ours is read.
    """
    tune = alternating_bass()
    chord = (text or "C") if chords else "C"
    shapes = tuple(replace(shape, name=chord) for shape in tune.shapes)
    arrangement = replace(
        tune,
        title=text,
        composer=text,
        file=text.replace("/", ""),
        warnings=(SourceWarning(code="odd", text=text or "odd", bar=1),),
        decisions=(Decision(text=text or "x", option="--key"),),
        shapes=shapes,
        chords=tuple(replace(mark, name=chord) for mark in tune.chords),
        bars=tuple(replace(bar, chord=chord) for bar in tune.bars),
    )
    said = text or "x"
    step = LessonStep(kind="change", title=said, text=said, bars=(1,), shapes=(0,))
    verdict = verdict_of(tune)
    grade = replace(verdict.difficulty, reasons=(Reason(bar=1, what=said, points=1.0),))
    return arrangement, replace(verdict, difficulty=grade), Lesson(steps=(step,))


@cache
def made(text: str) -> dict[str, bytes]:
    """Every document, the comparison's page among them."""
    arrangement, verdict, lesson = values(text)
    files = documents(arrangement, verdict, lesson, extras=Extras(spoken=True))
    version = Version(arrangement=arrangement, verdict=verdict, techniques=())
    columns = (
        Column(name=text, outcome=version),
        Column(name=text, outcome=Refusal(why=text, bars=())),
    )
    comparison = Comparison(title=text, composer=text, columns=columns)
    return {**files, "compare.html": compare_page(comparison).encode("utf-8", "replace")}


def tags(page: bytes) -> list[str]:
    """The name of every element of a page, in order."""
    return [str(each.tag) for each in html.document_fromstring(page).iter(etree.Element)]


ACTIVE = {"script", "style", "link", "meta", "a", "img", "iframe", "object", "embed", "base"}


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
@pytest.mark.parametrize("name", ["sheet.html", "compare.html"])
def test_page_has_no_other_elements_whatever_the_words(name: str, text: str) -> None:
    page, usual = made(text)[name], made(HARMLESS)[name]
    found = [[tag for tag in tags(each) if tag in ACTIVE] for each in (page, usual)]
    assert found[0] == found[1]
    assert set(tags(page)) <= set(tags(usual))
    root = html.document_fromstring(page)
    for element in root.iter(etree.Element):
        for key, value in element.attrib.items():
            assert not key.startswith("on")
            assert key in {"aria-label", "title"} or "javascript:" not in value
    title = root.findtext(".//h1")
    assert title == (one_line(text).encode("utf-8", "replace").decode() or "Untitled")


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_score_has_the_same_elements_whatever_the_words(text: str) -> None:
    score = etree.fromstring(made(text)["score.musicxml"])
    usual = etree.fromstring(made(HARMLESS)["score.musicxml"])
    bars = [[element.tag for element in root.iter("note", "pitch")] for root in (score, usual)]
    assert bars[0] == bars[1]
    assert {element.tag for element in score.iter()} <= {
        element.tag for element in usual.iter()
    } | {"words", "text"}
    assert score.findtext(".//work-title") == (clean(text) or "Untitled")


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_pdf_has_nothing_that_acts(text: str) -> None:
    """No script, form, link or attached file in any object (ISO 32000-1, 12.6 and 7.11)."""
    pdf = made(text)["sheet.pdf"]
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    whole = pdf + b"".join(_unpacked(stream) for stream in streams)
    for action in (b"/JavaScript", b"/JS", b"/Launch", b"/URI", b"/EmbeddedFile", b"/AcroForm"):
        assert not re.search(re.escape(action) + rb"\b", whole), action


def _unpacked(stream: bytes) -> bytes:
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_text_keeps_its_lines_and_steers_no_terminal(text: str) -> None:
    arrangement, verdict, lesson = values(text, chords=False)
    for said in (tab_text(arrangement, verdict, lesson), spoken_text(arrangement)):
        lines = said.split("\n")
        assert [line for line in lines if not all(c.isprintable() for c in line)] == []
    tab = tab_text(arrangement, verdict, lesson).split("\n")
    assert max(len(line) for line in tab) <= 80


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_json_says_the_words_as_they_are(text: str) -> None:
    said = json.loads(made(text)["arrangement.json"])
    assert said["title"] == text.encode("utf-8", "replace").decode()
    assert {shape["name"] for shape in said["shapes"]} == {said["title"] or "C"}


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_practice_file_has_the_same_events(text: str) -> None:
    song, usual = (
        mido.MidiFile(file=io.BytesIO(made(words)["practice.mid"]))
        for words in (text, HARMLESS)
    )
    assert [[event.type for event in track] for track in song.tracks] == [
        [event.type for event in track] for track in usual.tracks
    ]


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_drawings_are_xml_whatever_the_words(text: str) -> None:
    arrangement = values(text)[0]
    systems = engraved(folded(in_notatable_time(in_written_time(arrangement))), width=2000)
    drawings = [system.svg for system in systems]
    drawings += [shape_svg(shape) for shape in arrangement.shapes]
    for drawing in drawings:
        root = etree.fromstring(drawing)
        tags = {etree.QName(element).localname for element in root.iter(etree.Element)}
        assert not tags & {"script", "foreignObject", "image", "a", "style", "set", "animate"}
        assert not [key for element in root.iter() for key in element.attrib if key[:2] == "on"]
