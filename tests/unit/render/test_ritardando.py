"""A ritardando of the teacher's: on every page, in the practice file, in the lesson."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import mido
import pytest
from lxml import etree
from render_tunes import LESSON, alternating_bass, arrangement_of, bars_of, verdict_of

from arranger.music.arrangement import Arrangement
from arranger.render import documents, spoken_text
from arranger.render.document_json import arrangement_from_json
from arranger.render.fold import folded
from arranger.render.mei import mei
from arranger.render.midi import practice_midi, slow_spans, slowest
from arranger.render.written import written_bars


def _piece(*slows: int) -> Arrangement:
    lines = "\n".join(f"{beat} 1 1:{beat % 4} {beat % 4} m m" for beat in range(16))
    piece = arrangement_of("Slow", bars_of("4/4", 4), lines, "0 G")
    bars = tuple(replace(bar, slows=bar.bar in slows) for bar in piece.bars)
    return replace(piece, bars=bars, swing=1.0)


def _length(piece: Arrangement) -> float:
    return float(mido.MidiFile(file=BytesIO(practice_midi(piece)), charset="utf-8").length)


def test_neighbouring_bars_are_one_slowing() -> None:
    assert slow_spans(written_bars(_piece(1, 3, 4))) == [(0, 4), (8, 16)]


def test_the_practice_file_slows_down_by_the_mean_of_the_span() -> None:
    """From once to ``slowest`` times as long, evenly: on average halfway between."""
    quarter = 60 / _piece().student_tempo
    more = 8 * quarter * (slowest() - 1) / 2
    assert _length(_piece(3, 4)) == pytest.approx(_length(_piece()) + more, rel=1e-4)


def test_after_it_the_tempo_is_back() -> None:
    track = mido.MidiFile(file=BytesIO(practice_midi(_piece(2))), charset="utf-8").tracks[0]
    tempos = [message.tempo for message in track if message.type == "set_tempo"]
    assert tempos[0] == tempos[-1] < max(tempos)


def test_it_stands_once_on_the_page_and_in_the_score() -> None:
    piece = _piece(3, 4)
    said = [
        "".join(mark.itertext()) for mark in etree.fromstring(mei(folded(piece))).iter("{*}dir")
    ]
    assert said == ["rit."]
    made = documents(piece, verdict_of(piece), LESSON)
    score = etree.fromstring(made["score.musicxml"])
    assert [words.text for words in score.iter("words") if words.text == "rit."] == ["rit."]
    assert "3 rit." in made["tab.txt"].decode()
    assert "Bar 3. Slow down." in spoken_text(piece)


def test_the_document_keeps_it_and_says_nothing_where_there_is_none() -> None:
    for piece in (_piece(3), alternating_bass()):
        text = documents(piece, verdict_of(piece), LESSON)["arrangement.json"].decode()
        (again,) = arrangement_from_json(text)
        assert [bar.slows for bar in again.bars] == [bar.slows for bar in piece.bars]
        assert ("ritardando" in text) == any(bar.slows for bar in piece.bars)


def test_two_passes_that_slow_differently_are_not_folded() -> None:
    bars = [replace(bar, section=None) for bar in bars_of("4/4", 10)]
    bars[0], bars[5] = replace(bars[0], section="A"), replace(bars[5], section="A")
    lines = "\n".join(f"{beat} 1 1:{beat % 4} {beat % 4} m m" for beat in range(40))
    piece = arrangement_of("Twice", tuple(bars), lines, "0 G")
    slow = replace(piece, bars=(*piece.bars[:-1], replace(piece.bars[-1], slows=True)))
    assert len(folded(piece).drawn.bars) == 5
    assert len(folded(slow).drawn.bars) > 5
