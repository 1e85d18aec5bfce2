"""The same notes solved anew: nothing of the music is lost, and a saving is a real one."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest

from arranger.judge import difficulty, hand_violations
from arranger.run.refinger import refingered, solved_easings
from arranger.tables import default_player, level_named
from arranger.tables.habits import as_written

LEVEL = as_written()
PLAYER = default_player(LEVEL)

# F and B flat minor under barres, as a piece a semitone too high for open strings.
BARRES = """
0 2 bass 6 1 1 p
0 1 inner 3 2 2 i
0 1 melody 1 1 1 a
1 1 melody 2 1 1 m
2 2 bass 5 1 1 p
2 1 inner 3 3 4 i
2 1 melody 2 2 2 m
3 1 melody 1 1 1 a
"""


def sounding(arrangement):
    return Counter((note.onset, note.midi) for note in arrangement.notes)


@pytest.mark.parametrize("capo", [0, 1])
def test_every_note_sounds_as_before_under_a_hand_that_can_hold_it(piece, capo):
    tab = piece(BARRES)
    found = refingered(tab, PLAYER, capo)
    assert found is not None
    assert found.capo == capo
    assert sounding(found) == sounding(tab)
    assert hand_violations(found, LEVEL, PLAYER) == ()


def test_what_lies_below_the_capo_cannot_be_played(piece):
    assert refingered(piece(BARRES), PLAYER, 2) is None


def test_a_capo_that_turns_barres_into_open_strings_is_found(piece):
    tab = piece(BARRES)
    found = sorted(solved_easings(tab, LEVEL, PLAYER), key=lambda easing: -easing.points)
    assert found[0].what.startswith("a capo at fret 1")
    behind = refingered(tab, PLAYER, 1)
    assert behind is not None
    assert found[0].score == difficulty(behind, LEVEL, PLAYER).score


def test_savings_are_what_the_scores_say(piece):
    before = difficulty(piece(BARRES), LEVEL, PLAYER).score
    for easing in solved_easings(piece(BARRES), LEVEL, PLAYER):
        assert easing.points == pytest.approx(before - easing.score, abs=0.06)


def test_the_thumb_over_is_told_only_where_it_saves_more_than_other_fingers(piece):
    """High frets for what lies in the first position: other fingers are all it takes."""
    awkward = piece("0 1 melody 2 5 1 a \n 1 1 melody 2 6 4 m \n 2 1 melody 3 9 1 a")
    (only,) = solved_easings(awkward, LEVEL, default_player(level_named("advanced")))
    assert only.what.startswith("other fingers")


def test_a_tab_of_nothing_has_nothing_to_ease(piece):
    assert list(solved_easings(piece(""), LEVEL, PLAYER)) == []


def test_slurs_are_plucked(piece):
    slurred = piece("0 1 melody 1 1 1 a \n 1 1 melody 1 3 3 a hammer-on")
    found = refingered(slurred, PLAYER, 0)
    assert found is not None
    assert [note.slur for note in found.notes] == [None, None]
    assert all(one.onset < other.onset for one, other in pairwise(found.notes))
