"""What lies near by on the page: notes to come, and the note that a line goes on from."""

from fractions import Fraction

from arranger.music.written_note import WrittenNote
from arranger.neck.habits import START, WINDOWS
from arranger.neck.nearby import Nearby, line_columns

STANDARD = (64, 59, 55, 50, 45, 40)


def note(onset: int, midi: int, voice: int = 1) -> WrittenNote:
    return WrittenNote(onset=Fraction(onset), length=Fraction(1), midi=midi, voice=voice)


def test_a_note_is_under_a_finger_or_open() -> None:
    outside = Nearby(STANDARD, 0).outside(69)  # string 1 fret 5, 2 fret 10, 3 fret 14
    inside = [position for position in range(1, 16) if not outside[position]]
    assert inside == [2, 3, 4, 5, 7, 8, 9, 10, 11, 12, 13, 14]
    assert not Nearby(STANDARD, 0).outside(64).any()


def test_a_capo_lowers_what_the_hand_sees() -> None:
    notes = [note(0, 64 + 5 + 3)]
    with_capo = Nearby(STANDARD, 3).suits(notes, [0])
    without = Nearby(STANDARD, 0).suits([note(0, 64 + 5)], [0])
    assert all((one == other).all() for one, other in zip(with_capo, without, strict=True))


def test_a_window_ends_after_its_onsets() -> None:
    """High notes count in a window that reaches them, and the lowest position that has them."""
    nearer, farther = WINDOWS
    low = [note(onset, 65) for onset in range(farther + 2)]
    high = [*low]
    high[nearer + 1] = note(nearer + 1, 76)
    near, far = Nearby(STANDARD, 0).suits(high, [0])
    plain_near, plain_far = Nearby(STANDARD, 0).suits(low, [0])
    assert (near == plain_near).all()
    assert (far != plain_far).any()
    beyond = [*low]
    beyond[farther + 1] = note(farther + 1, 76)
    unseen = Nearby(STANDARD, 0).suits(beyond, [0])
    assert (unseen[1] == plain_far).all()
    assert near.min() >= START["cover"]


def test_a_line_goes_on_in_its_voice() -> None:
    notes = [note(0, 64), note(0, 48, 2), note(1, 50, 2), note(1, 65)]
    assert list(line_columns(notes, [0, 1], [2, 3])) == [(1, 0), (0, 1)]


def test_a_voice_that_begins_comes_from_nowhere() -> None:
    notes = [note(0, 64), note(1, 48, 2)]
    assert list(line_columns(notes, [0], [1])) == []


def test_in_chords_of_one_voice_top_follows_top_and_lowest_lowest() -> None:
    notes = [note(0, 67), note(0, 64), note(0, 60), note(1, 69), note(1, 60)]
    assert list(line_columns(notes, [0, 1, 2], [3, 4])) == [(0, 0), (1, 2)]


def test_the_last_note_of_the_voice_counts() -> None:
    notes = [note(0, 67), note(1, 64), note(2, 65)]
    assert list(line_columns(notes, [0, 1], [2])) == [(0, 1)]
