"""Laws of fingering as written, whatever the notes."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import example, given, settings
from hypothesis import strategies as st

from arranger import finger_notes
from arranger.analyse import analyse
from arranger.judge import hand_violations
from arranger.music.page import Page
from arranger.music.score import Bar, Note, Score, TempoMark
from arranger.music.written_note import WrittenNote
from arranger.neck import finger_page
from arranger.tables import default_player, instrument
from arranger.tables.habits import as_written

LEVEL = as_written()
PLAYER = default_player(LEVEL)
BARS = 3

note = st.builds(
    lambda onset, length, midi, voice, slur: WrittenNote(
        onset=Fraction(onset, 4), length=Fraction(length, 4), midi=midi, voice=voice, slur=slur
    ),
    st.integers(0, 4 * 4 * BARS - 1),
    st.integers(1, 8),
    st.integers(36, 84),
    st.integers(0, 2),
    st.sampled_from([None, None, "slur", "slide"]),
)
few_at_once = st.lists(note, min_size=1, max_size=16).filter(
    lambda notes: all(sum(a.onset == b.onset for b in notes) <= 4 for a in notes)
)


def page_of(notes):
    end = Fraction(4 * BARS)
    found = {}
    for one in notes:
        found.setdefault((one.onset, -one.midi), one)
    order = [found[key] for key in sorted(found)]
    cut = [
        WrittenNote(
            onset=one.onset,
            length=min(one.length, end - one.onset),
            midi=one.midi,
            voice=one.voice,
            slur=one.slur,
            source=(index,),
        )
        for index, one in enumerate(order)
    ]
    score = Score(
        title="t",
        composer="",
        file="t.mid",
        sha256="0",
        notes=tuple(
            Note(index=i, onset=n.onset, length=n.length, midi=n.midi, hand="right")
            for i, n in enumerate(cut)
        ),
        bars=tuple(
            Bar(
                number=k + 1,
                start=Fraction(4 * k),
                length=Fraction(4),
                numerator=4,
                denominator=4,
            )
            for k in range(BARS)
        ),
        tempos=(TempoMark(onset=Fraction(0), quarters=90.0),),
        tempo=90.0,
        tempo_stated=True,
    )
    return Page(score=score, notes=tuple(cut))


@settings(max_examples=25, deadline=None)
@given(few_at_once)
def test_the_judge_has_nothing_to_say(notes):
    page = page_of(notes)
    if len(page.notes) == 0:
        return
    made = finger_page(page, analyse(page.score), level=LEVEL, player=PLAYER)
    assert hand_violations(made, LEVEL, PLAYER) == ()


quick_line = st.lists(
    st.tuples(st.integers(52, 76), st.sampled_from([None, "slur", "slide"])),
    min_size=2,
    max_size=12,
)


@settings(max_examples=25, deadline=None)
@given(quick_line, st.booleans())
def test_the_judge_has_nothing_to_say_of_slurs(line, bass):
    half = Fraction(1, 2)
    notes = [
        WrittenNote(onset=at * half, length=half, midi=midi, voice=1, slur=slur)
        for at, (midi, slur) in enumerate(line)
    ]
    if bass:
        notes += [
            WrittenNote(onset=Fraction(at), length=Fraction(1), midi=45, voice=2)
            for at in range(len(line) // 2)
        ]
    page = page_of(notes)
    made = finger_page(page, analyse(page.score), level=LEVEL, player=PLAYER)
    assert hand_violations(made, LEVEL, PLAYER) == ()


@settings(max_examples=25, deadline=None)
@given(few_at_once)
def test_every_note_is_played_as_written_or_named(notes):
    """Pitch and onset as written; held at most as written, never let go before the next
    onset; what is not played is named.
    """
    hands = finger_notes(notes)
    played = {one.note: one for one in hands.left.notes}
    lost = {one.note for one in hands.left.unplayable}
    assert played.keys() | lost == set(range(len(hands.notes)))
    assert not played.keys() & lost
    onsets = sorted({hands.notes[index].onset for index in played})
    for index, one in played.items():
        written = hands.notes[index]
        assert instrument().tuning[one.string - 1] + one.fret == written.midi
        assert 0 < one.length <= written.length
        later = [onset for onset in onsets if onset > written.onset]
        if later and one.length < written.length:
            assert written.onset + one.length >= later[0]


def _low_e(at: int, voice: int) -> WrittenNote:
    return WrittenNote(onset=Fraction(at, 4), length=Fraction(1, 4), midi=40, voice=voice)


@settings(max_examples=10, deadline=None)
@given(few_at_once)
@example([_low_e(0, 0), _low_e(0, 1), _low_e(1, 0)])  # two voices meet in a note
@example([_low_e(0, 2), _low_e(0, 1), _low_e(1, 2)])
def test_the_same_notes_get_the_same_fingers(notes):
    assert finger_notes(notes).left == finger_notes(list(reversed(notes))).left
