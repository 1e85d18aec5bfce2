"""What can be asked for beside the usual documents: tab alone, words, sound, tempos."""

from __future__ import annotations

import wave
from io import BytesIO

import mido
import numpy as np
import pytest
from lxml import etree
from render_tunes import LESSON, TUNES, alternating_bass, jig, little_rag, verdict_of

from arranger.music.arrangement import Arrangement
from arranger.music.errors import UsageError
from arranger.render import Extras, Paper, documents, spoken_text
from arranger.render.engrave import engraved
from arranger.render.fold import folded
from arranger.render.midi import practice_midi
from arranger.render.wave import practice_wave, tone_of
from arranger.render.written import in_written_time
from arranger.tables.teaching import teaching

_SVG = "{http://www.w3.org/2000/svg}"


def _made(piece: Arrangement, extras: Extras) -> dict[str, bytes]:
    return documents(piece, verdict_of(piece), LESSON, extras=extras)


def test_nothing_is_added_unasked() -> None:
    assert set(_made(little_rag(), Extras())) == {
        "tab.txt",
        "arrangement.json",
        "sheet.html",
        "sheet.pdf",
        "score.musicxml",
        "practice.mid",
    }


def test_all_that_can_be_asked_for_comes_and_is_the_same_twice() -> None:
    wanted = Extras(tab_only=True, spoken=True, wave=True, tempos=True)
    first, second = (_made(little_rag(), wanted) for _ in range(2))
    assert first == second
    assert set(first) - set(_made(little_rag(), Extras())) == {
        "spoken.txt",
        "practice.wav",
        "practice_slow.mid",
        "practice_target.mid",
    }
    assert first["spoken.txt"].decode() == spoken_text(little_rag())


def _tempo(content: bytes) -> float:
    file = mido.MidiFile(file=BytesIO(content), charset="utf-8")
    return next(60e6 / m.tempo for m in file.tracks[0] if m.type == "set_tempo")


def test_slow_and_target_practice_files() -> None:
    piece = little_rag()
    made = _made(piece, Extras(tempos=True))
    scale = piece.written_scale
    assert _tempo(made["practice.mid"]) == pytest.approx(piece.student_tempo * scale, rel=1e-4)
    assert _tempo(made["practice_target.mid"]) == pytest.approx(
        piece.target_tempo * scale, rel=1e-4
    )
    slow = piece.student_tempo * scale * teaching().ladder_start
    assert _tempo(made["practice_slow.mid"]) == pytest.approx(slow, rel=1e-4)


@pytest.mark.parametrize("tune", TUNES)
def test_a_tab_alone_shows_every_note_and_the_fingers(tune) -> None:  # type: ignore[no-untyped-def]
    written = in_written_time(tune())
    systems = engraved(folded(written), width=2000, tab_only=True)
    ids = {
        group.get("id", "")
        for system in systems
        for group in etree.fromstring(system.svg).iter(f"{_SVG}g")
    }
    assert {f"t-{index}" for index in range(len(written.notes))} <= ids
    assert not any(name.startswith("n-") for name in ids)
    texts = "".join("".join(etree.fromstring(s.svg).itertext()) for s in systems)
    assert "1" in texts  # the count


@pytest.mark.parametrize("pitch", range(40, 89, 4))
def test_a_plucked_string_is_in_tune(pitch: int) -> None:
    """Within two cents by the phase that passes at its nominal frequency."""
    rate, hertz = 22050, 440 * 2 ** ((pitch - 69) / 12)
    tone = tone_of(pitch).astype(float)
    size = 4096
    window = np.hanning(size)
    bank = window * np.exp(-2j * np.pi * hertz * np.arange(size) / rate)
    step = 2048
    early, late = (np.sum(tone[at : at + size] * bank) for at in (1024, 1024 + step))
    turned = late / early * np.exp(-2j * np.pi * hertz * step / rate)
    found = hertz + np.angle(turned) * rate / (2 * np.pi * step)
    assert abs(1200 * np.log2(found / hertz)) < 2


def test_the_sound_lasts_as_long_as_the_practice_file() -> None:
    midi = practice_midi(jig())
    with wave.open(BytesIO(practice_wave(midi))) as file:
        seconds = file.getnframes() / file.getframerate()
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    length = mido.MidiFile(file=BytesIO(midi), charset="utf-8").length
    assert length <= seconds <= length + 5
    assert np.abs(samples.astype(int)).max() > 20_000


@pytest.mark.parametrize("scale", [0.1, 3.0])
def test_a_strange_scale_is_refused(scale: float) -> None:
    with pytest.raises(UsageError, match="leaves nothing to read"):
        Paper(scale=scale)


def test_letter_paper_and_large_print_make_other_pages() -> None:
    piece = alternating_bass()
    sheets = {
        documents(piece, verdict_of(piece), LESSON, paper=paper)["sheet.pdf"]
        for paper in (Paper(), Paper(size="letter"), Paper(scale=1.5))
    }
    assert len(sheets) == 3
