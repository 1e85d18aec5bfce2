"""How notes foreign to the key are spelt, by the chords around them and by where they lead."""

from __future__ import annotations

import pytest
from render_tunes import arrangement_of, bars_of

from arranger.music.key import parse_key
from arranger.render.spelling import parse_chord_name, spell, spellings

G_MAJOR = parse_key("G")


@pytest.mark.parametrize(
    ("midi", "here", "then", "resolves", "name"),
    [
        (44, "G", "D7", 0, "G#"),  # a bass that passes on to the fifth of D7
        (56, "C", "A7", 0, "G#"),  # the leading note of A
        (53, "C", "A7", 0, "F"),  # E sharp would be further from both chords
        (61, "G7", "C", 0, "C#"),
        (44, "G", "D7", -1, "Ab"),  # the voice says so: down to G
        (56, "Fm", "C", 0, "Ab"),  # a tone of its chord
        (56, None, None, 0, "Ab"),  # no chord: as chromatic notes are usually written
    ],
)
def test_a_foreign_note_is_spelt_by_its_chords(
    midi: int, here: str | None, then: str | None, resolves: int, name: str
) -> None:
    chords = [parse_chord_name(chord) if chord else None for chord in (here, then)]
    spelt = spell(midi, G_MAJOR, chords[0], resolves, chords[1])
    assert (spelt.step + {0: "", 1: "#", -1: "b"}[spelt.alter], spelt.midi) == (name, midi)


def test_the_next_chord_is_found_in_the_piece() -> None:
    """G sharp leaps away in the bass; the next name that differs is D7."""
    piece = arrangement_of(
        "Passing",
        bars_of("4/4", 2),
        "0 3 6:3 2 p b\n3 1 6:4 4 p b\n4 4 4:0 0 p b",
        "0 G 2 G 4 D7",
    )
    assert [note.step + "#" * note.alter for note in spellings(piece)] == ["G", "G#", "D"]
