"""What of a tune is known by its steps: motifs weigh more, adornments less."""

from __future__ import annotations

from dataclasses import replace

from heard_pieces import heard

from arranger.music.reduction import MelodyNote
from arranger.reduce.motifs import weights
from arranger.reduce.tune import song_of, tune
from arranger.tables.arranging import arranging

COSTS = arranging().melody
ONCE = "C4:1 D4:1 F4:1 E4:1 A4:1 G4:1 B4:1 C5:1"
HOOK = "E4:1/2 C5:1 E4:1/2 C5:1 r:1 "


def played(melody: str, chords: str = "C:4 C:4 C:4 C:4") -> tuple[MelodyNote, ...]:
    whole = song_of(heard(melody, chords=chords), breath=0.5)
    return tune(whole, seconds_a_quarter=1.0, gap=0.0)[0]


def test_a_tune_without_returns_weighs_alike() -> None:
    assert {note.weight for note in played(ONCE, "C:4 C:4")} == {1.0}


def test_each_doubling_of_a_motif_adds_the_same() -> None:
    """Heard twice, half as much again; four times, twice as much."""
    twice = played(HOOK * 2, "C:4 C:4")
    often = played(HOOK * 4)
    assert twice[2].weight == 1.0 + COSTS.motif
    assert often[2].weight == 1.0 + 2 * COSTS.motif


def test_a_motif_is_known_in_another_key_and_never_weighs_without_end() -> None:
    moved = "E4:1/2 C5:1 E4:1/2 C5:1 r:1 F4:1/2 Db5:1 F4:1/2 Db5:1 r:1 "
    assert played(moved, "C:4 Db:4")[2].weight == 1.0 + COSTS.motif
    notes = heard("C4:1 D4:1 " * 32, chords="C:4 " * 16)
    assert max(weights(notes.score.notes, COSTS)) == COSTS.motif_most


def test_a_motif_is_known_on_another_degree_of_the_scale() -> None:
    """A fourth that a tritone answers is the same motif: common practice, no source."""
    answered = "F5:1/2 C5:1 A4:1/2 C5:1 r:1 E5:1/2 Bb4:1 G4:1/2 Bb4:1 r:1 "
    assert played(answered, "F:4 C:4")[2].weight == 1.0 + COSTS.motif


def test_how_a_motif_is_reached_does_not_change_it() -> None:
    """The same hook from above and from below: its own steps weigh alike."""
    twice = played("C4:1 " + HOOK + "C6:1 " + HOOK, "C:4 C:4 C:4")
    assert [note.weight for note in twice][2:5] == [1.0 + COSTS.motif] * 3
    assert [note.weight for note in twice][7:10] == [1.0 + COSTS.motif] * 3


def test_equal_bars_weigh_alike() -> None:
    """The last bar of its kind ends the piece, and has no motif beyond it."""
    notes = played("C4:2 E4:2 C4:2 E4:2 C4:2 E4:2", "C:4 C:4 C:4")
    assert len({note.weight for note in notes if note.midi == 64}) == 1


def test_octaves_of_one_hand_double_the_tune() -> None:
    """The bass an octave below is no second voice of the tune."""
    analysis = heard("C5:1 C6+C5:1 C6:1 C6+E5:1", "C4:4", chords="C:4")
    top = {note.onset: note.index for note in reversed(analysis.score.notes) if note.midi > 60}
    analysis = replace(analysis, melody=tuple(sorted(top.values())))
    notes, _ = tune(song_of(analysis, breath=0.5), seconds_a_quarter=1.0, gap=0.0)
    assert [note.doubled for note in notes] == [False, True, False, False]


def test_a_short_step_away_and_back_adorns_a_note() -> None:
    """Not a third, not a step on, and not a note longer than those it lies between."""
    assert [n.neighbour for n in played("G4:1 F#4:1 G4:1 A4:1", "G:4")] == [
        *(False, True, False, False)
    ]
    assert not any(n.neighbour for n in played("G4:1 E4:1 G4:1 r:1", "C:4"))
    assert not any(n.neighbour for n in played("G4:1/2 F4:2 G4:1/2 r:1", "C:4"))
