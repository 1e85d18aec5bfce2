"""Which notes the left hand sounds alone."""

from __future__ import annotations

from fractions import Fraction

import pytest
from heard_pieces import heard

from arranger.music.arrangement import Placement
from arranger.neck.slurs import with_slurs
from arranger.reduce import reduce
from arranger.tables import default_player, level_named
from arranger.tables.fingering import fingering

PIECE = heard("E4:1 E4:1 E4:1 E4:1", "C3:1 G2:1 C3:1 G2:1", chords="C:4", tempo=100.0)


def played(text: str) -> list[Placement]:
    """``onset length voice string fret finger``, a note a line."""
    rows = [line.split() for line in text.strip().splitlines()]
    return [
        Placement(
            onset=Fraction(onset), length=Fraction(length), bar=1, voice=voice,
            string=int(string), fret=int(fret), left=finger, midi=60, source=(),
            right="p" if voice == "bass" else "m",
        )
        for onset, length, voice, string, fret, finger in rows
    ]  # fmt: skip


def slurs(text: str, level_name: str = "intermediate") -> list[str | None]:
    level = level_named(level_name)
    player = default_player(level)
    reduction = reduce(PIECE, level=level, level_name=level_name, player=player, key="C")
    notes = with_slurs(played(text), reduction, level, player, fingering().slur)
    return [note.slur for note in notes]


@pytest.mark.parametrize(
    ("first", "second", "slur"),
    [
        ("2 0 0", "2 1 1", "hammer-on"),
        ("2 1 1", "2 3 4", "hammer-on"),
        ("2 3 4", "2 1 1", "pull-off"),
        ("2 1 1", "2 0 0", "pull-off"),
        ("2 1 2", "2 3 2", "slide"),
        ("2 5 3", "2 3 3", "slide"),
        ("2 1 1", "2 4 1", None),  # three frets are too far for one finger
        ("2 1 1", "2 5 4", None),
        ("2 3 4", "3 2 2", None),  # another string
        ("2 3 1", "2 5 T", None),
    ],
)
def test_a_quick_note_off_the_beat_on_the_same_string(
    first: str, second: str, slur: str | None
) -> None:
    assert slurs(f"0 1/2 melody {first}\n1/2 1/2 melody {second}") == [None, slur]


def test_no_slur_at_a_level_without_and_no_slide_without_the_trick() -> None:
    hammered = "0 1/2 melody 2 0 0\n1/2 1/2 melody 2 1 1"
    assert slurs(hammered, "elementary") == [None, None]


def test_a_slow_note_or_one_after_a_rest_is_plucked() -> None:
    assert slurs("0 3/2 melody 2 0 0\n3/2 1/2 melody 2 1 1") == [None, None]
    assert slurs("0 1/4 melody 2 0 0\n1/2 1/2 melody 2 1 1") == [None, None]


@pytest.mark.parametrize(
    ("beat", "slur"), [("1", "hammer-on"), ("2", None), ("3", "hammer-on")]
)
def test_a_hammer_on_under_the_thumb_falls_on_a_weak_beat(beat: str, slur: str | None) -> None:
    before = Fraction(beat) - Fraction(1, 2)
    notes = f"{before} 1/2 melody 2 0 0\n{beat} 1 bass 4 2 2\n{beat} 1/2 melody 2 1 1"
    assert slurs(notes) == [None, None, slur]


def test_no_pull_off_or_slide_under_the_thumb_on_its_beat() -> None:
    for first, second in (("2 1 1", "2 0 0"), ("2 1 2", "2 3 2")):
        notes = f"1/2 1/2 melody {first}\n1 1 bass 4 2 2\n1 1/2 melody {second}"
        assert slurs(notes) == [None, None, None]
