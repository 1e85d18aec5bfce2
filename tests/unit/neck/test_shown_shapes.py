"""A diagram is shown where the tab lets the hand hold the shape, and nowhere else."""

from __future__ import annotations

from fractions import Fraction

from arranger.music.arrangement import ChordMark, LeftFinger, Placement, Shape
from arranger.neck.shown_shapes import shown_shapes

TUNING = (64, 59, 55, 50, 45, 40)


def shape(name: str, frets: str, fingers: str) -> Shape:
    return Shape(
        name=name,
        frets=tuple(None if fret == "x" else int(fret) for fret in frets),
        fingers=tuple(finger if finger in "1234T" else None for finger in fingers),
    )


C = shape("C", "x32010", "x32010")
G = shape("G", "320003", "210003")
F = shape("F", "10xxxx", "10xxxx")


def played(*places: tuple[int, int, LeftFinger]) -> list[Placement]:
    """Notes of a beat one after the other, as (string, fret, finger)."""
    return [
        Placement(
            bar=1,
            onset=Fraction(at),
            length=Fraction(1),
            string=string,
            fret=fret,
            midi=TUNING[string - 1] + fret,
            left=left,
            right="p" if string > 3 else "i",
            voice="bass" if string > 3 else "melody",
        )
        for at, (string, fret, left) in enumerate(places)
    ]


def mark(at: int, name: str, place: int | None) -> ChordMark:
    return ChordMark(onset=Fraction(at), name=name, shape=place)


def test_a_shape_is_shown_where_most_notes_lie_in_it() -> None:
    notes = played((5, 3, "3"), (3, 0, "0"), (1, 3, "4"))
    assert shown_shapes([C], [mark(0, "C", 0)], notes) == ((C,), (mark(0, "C", 0),))
    half = played((5, 3, "3"), (3, 0, "0"), (1, 3, "4"), (2, 3, "4"))
    assert shown_shapes([C], [mark(0, "C", 0)], half) == ((), (mark(0, "C", None),))


def test_a_shape_all_of_which_is_pressed_stays_while_the_tune_roams() -> None:
    roams = [(1, fret) for fret in (3, 5, 3, 5)]
    notes = played((5, 3, "3"), (4, 2, "2"), (2, 1, "1"), *((s, f, "4") for s, f in roams))
    assert shown_shapes([C], [mark(0, "C", 0)], notes)[0] == (C,)
    without = notes[1:]
    assert shown_shapes([C], [mark(0, "C", 0)], without)[0] == ()


def test_the_same_fret_under_another_finger_is_not_the_shape() -> None:
    notes = played((5, 3, "4"), (3, 0, "0"), (4, 2, "3"))
    assert shown_shapes([C], [mark(0, "C", 0)], notes)[0] == ()


def test_open_strings_alone_do_not_ask_for_a_shape() -> None:
    assert shown_shapes([G], [mark(0, "G", 0)], played((4, 0, "0"), (3, 0, "0")))[0] == ()


def test_two_notes_are_no_chord_to_press() -> None:
    notes = played((6, 1, "1"), (5, 0, "0"))
    assert shown_shapes([F], [mark(0, "F", 0)], notes)[0] == ()


def test_marks_name_what_is_left_and_no_name_stands_twice() -> None:
    """The first G has nothing of the shape, like the name before it; the second is held."""
    notes = played((6, 3, "4"), (1, 3, "3"), (5, 2, "1"), (6, 3, "2"), (5, 3, "3"))
    marks = [mark(0, "G", None), mark(1, "G", 0), mark(2, "G", 1), mark(4, "C", 2)]
    roaming = shape("G", "320033", "210034")
    shapes, kept = shown_shapes([roaming, G, C], marks, notes)
    assert shapes == (G, C)
    assert kept == (mark(0, "G", None), mark(2, "G", 0), mark(4, "C", 1))


def test_a_shape_of_the_teachers_book_is_shown_wherever_the_hand_takes_it() -> None:
    notes = played((6, 3, "2"), (1, 7, "4"))
    marks = [ChordMark(onset=Fraction(0), name="G", shape=0)]
    assert shown_shapes([G], marks, notes)[0] == ()
    assert shown_shapes([G], marks, notes, book={G.frets}) == ((G,), tuple(marks))
