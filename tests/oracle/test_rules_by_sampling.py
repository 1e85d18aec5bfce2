"""The rules of time against a witness who listens sixteen times a beat.

Notes of random strings, frets, fingers and times are heard at the middle of every
sixty-fourth; what is wrong at any of these moments must be what the judge reports.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.judge import violations
from arranger.tables import default_player, level_named

LEVEL = level_named("beginner")
PLAYER = default_player(LEVEL)
STEP = Fraction(1, 16)


@st.composite
def a_line(draw):
    onset, length = draw(st.integers(0, 16)), draw(st.integers(1, 8))
    fret = draw(st.integers(0, 3))
    finger = draw(st.sampled_from("1234")) if fret else "0"
    voice = draw(st.sampled_from(["melody", "bass", "inner"]))
    return (
        f"{Fraction(onset, 4)} {Fraction(length, 4)} {voice} {draw(st.integers(1, 6))} "
        f"{fret} {finger} {draw(st.sampled_from('pima'))}"
    )


def heard_wrong(arrangement) -> set[str]:
    """What the witness notices at any moment."""
    wrong: set[str] = set()
    at = STEP / 2
    while at < arrangement.bars[-1].end:
        now = [note for note in arrangement.notes if note.onset <= at < note.end]
        if len(now) > LEVEL.voices:
            wrong.add("notes at once")
        for one, other in combinations(now, 2):
            if one.string == other.string:
                wrong.add("one note a string")
            if one.fret and other.fret and one.left == other.left:
                if one.fret != other.fret:
                    wrong.add("one place for a finger")
                elif one.string != other.string:
                    wrong.add("barre allowed")  # none at this level
            if one.fret and other.fret and (one.left > other.left) and one.fret < other.fret:
                wrong.add("fingers in order")
            if one.fret and other.fret and (one.left < other.left) and one.fret > other.fret:
                wrong.add("fingers in order")
        at += STEP
    return wrong


@given(lines=st.lists(a_line(), max_size=8))
@settings(max_examples=200, deadline=None)
def test_the_judge_hears_what_the_witness_hears(piece, lines):
    arrangement = piece("\n".join(lines))
    told = {violation.rule for violation in violations(arrangement, LEVEL, PLAYER)}
    watched = {
        "notes at once", "one note a string", "one place for a finger", "barre allowed",
        "fingers in order",
    }  # fmt: skip
    assert told & watched == heard_wrong(arrangement)


@given(lines=st.lists(a_line(), max_size=8))
@settings(max_examples=60, deadline=None)
def test_what_is_told_can_be_found(piece, lines):
    """Bars that exist, notes that exist, words to read, and nothing told twice."""
    arrangement = piece("\n".join(lines))
    found = violations(arrangement, LEVEL, PLAYER)
    for violation in found:
        assert violation.bar in {bar.bar for bar in arrangement.bars}
        assert set(violation.notes) <= set(range(len(arrangement.notes)))
        assert violation.text
    assert len({(v.rule, frozenset(v.notes), v.text) for v in found}) == len(found)
