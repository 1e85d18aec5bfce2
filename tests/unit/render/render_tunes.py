"""Small arrangements written by hand, for the tests of the render room."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from arranger.music.arrangement import (
    ArrangedBar,
    Arrangement,
    ChordMark,
    Decision,
    Dropped,
    Placement,
    Proof,
    Shape,
)
from arranger.music.key import parse_key
from arranger.music.lesson import Lesson, LessonStep
from arranger.music.score import SourceWarning
from arranger.music.verdict import BarDifficulty, Difficulty, Fidelity, Reason, Verdict

TUNING = (64, 59, 55, 50, 45, 40)
_SLURS = {"h": "hammer-on", "p": "pull-off", "s": "slide"}
_VOICES = {"m": "melody", "b": "bass", "i": "inner"}

SHAPES = {
    "C": Shape(
        name="C", frets=(None, 3, 2, 0, 1, 0), fingers=(None, "3", "2", None, "1", None)
    ),
    "G": Shape(name="G", frets=(3, 2, 0, 0, 0, 3), fingers=("2", "1", None, None, None, "3")),
    "G7": Shape(name="G7", frets=(3, 2, 0, 0, 0, 1), fingers=("3", "2", None, None, None, "1")),
    "Am": Shape(
        name="Am", frets=(None, 0, 2, 2, 1, 0), fingers=(None, None, "2", "3", "1", None)
    ),
    "F": Shape(
        name="F", frets=(1, 3, 3, 2, 1, 1), fingers=("1", "3", "4", "2", "1", "1"), barre=1
    ),
    "D": Shape(
        name="D", frets=(None, None, 0, 2, 3, 2), fingers=(None, None, None, "1", "3", "2")
    ),
}


def notes_from(
    text: str, bars: tuple[ArrangedBar, ...], capo: int = 0
) -> tuple[Placement, ...]:
    """Notes from lines ``onset length string:fret left right voice [slur]``."""
    notes = []
    for line in text.strip().splitlines():
        words = line.split()
        onset = Fraction(words[0])
        string, fret = (int(number) for number in words[2].split(":"))
        notes.append(
            Placement(
                onset=onset,
                length=Fraction(words[1]),
                midi=TUNING[string - 1] + capo + fret,
                string=string,
                fret=fret,
                left=words[3],  # type: ignore[arg-type]
                right=words[4],  # type: ignore[arg-type]
                voice=_VOICES[words[5]],  # type: ignore[arg-type]
                bar=next(bar.bar for bar in bars if bar.start <= onset < bar.end),
                slur=_SLURS[words[6]] if len(words) > 6 else None,  # type: ignore[arg-type]
                source=(len(notes),),
            )
        )
    return tuple(sorted(notes, key=lambda note: (note.onset, -note.string)))


def bars_of(
    meter: str,
    count: int,
    *,
    pickup: str = "",
    beat: str = "1",
    same: dict[int, int] | None = None,
) -> tuple[ArrangedBar, ...]:
    """``count`` bars of ``meter``; ``pickup`` is the length of a short bar 0 before them."""
    numerator, denominator = (int(part) for part in meter.split("/"))
    full = Fraction(4 * numerator, denominator)
    lengths = ([Fraction(pickup)] if pickup else []) + [full] * count
    bars, start = [], Fraction(0)
    for index, length in enumerate(lengths):
        number = index + (0 if pickup else 1)
        bars.append(
            ArrangedBar(
                bar=number,
                start=start,
                length=length,
                beat=Fraction(beat),
                written_bar=number,
                numerator=numerator,
                denominator=denominator,
                chord=None,
                same_as=(same or {}).get(number),
                section="A" if number == 1 else None,
            )
        )
        start += length
    return tuple(bars)


def arrangement_of(
    title: str,
    bars: tuple[ArrangedBar, ...],
    notes: str,
    chords: str,
    *,
    key: str = "C",
    capo: int = 0,
    scale: int = 1,
    swing: float = 1.0,
    target: float = 100.0,
    student: float = 63.0,
) -> Arrangement:
    """An arrangement; ``chords`` is ``onset name`` pairs, shapes are taken from SHAPES."""
    words = chords.split()
    names = words[1::2]
    used = tuple(dict.fromkeys(name for name in names if name in SHAPES))
    return Arrangement(
        title=title,
        composer="Traditional",
        level="beginner",
        file="tune.mid",
        sha256="0" * 64,
        warnings=(SourceWarning(code="tempo-missing", text="No tempo in the file", bar=None),),
        key=parse_key(key),
        transposed_by=-5,
        capo=capo,
        tuning=TUNING,
        target_tempo=target,
        student_tempo=student,
        swing=swing,
        written_scale=scale,
        bars=bars,
        chords=tuple(
            ChordMark(
                onset=Fraction(onset),
                name=name,
                shape=used.index(name) if name in used else None,
            )
            for onset, name in zip(words[::2], names, strict=True)
        ),
        shapes=tuple(SHAPES[name] for name in used),
        notes=notes_from(notes, bars, capo),
        dropped=(
            Dropped(onset=Fraction(1), midi=84, why="closer than the level's melody gap"),
        ),
        decisions=(
            Decision(text="key G major instead of E-flat major", option="--key Eb"),
            Decision(
                text="the melody lies an octave lower than in the source", option="--marks"
            ),
        ),
        proof=Proof(objective=812.0, bound=806.0, seconds=1.9),
    )


def verdict_of(arrangement: Arrangement) -> Verdict:
    return Verdict(
        violations=(),
        fidelity=Fidelity(
            melody_kept=0.98,
            grid_fidelity=1.0,
            contour_breaks=0.04,
            bass_roots=0.96,
            thirds=0.9,
            thumb_beats=1.0,
            alternation=0.93,
        ),
        difficulty=Difficulty(
            score=31.5,
            band="beginner",
            bars=tuple(
                BarDifficulty(bar=bar.bar, points=1.0, features=(("moves", 1.0),))
                for bar in arrangement.bars
            ),
            reasons=(Reason(bar=2, what="a slur under a thumb note", points=4.1),),
        ),
    )


LESSON = Lesson(
    steps=(
        LessonStep(
            kind="caution",
            title="Before you play",
            text="Warm up, rest five minutes in every half hour, and stop at any pain.",
        ),
        LessonStep(
            kind="loop",
            title="Learn first",
            text="Bar 1 returns most often.",
            bars=(1,),
            tempo=50,
        ),
    )
)


def alternating_bass() -> Arrangement:
    """Four bars of 4/4 over C, F, G7, C: thumb on every quarter, a slur, a barre."""
    return arrangement_of(
        "A Small <Tune>",
        bars_of("4/4", 4),
        """
        0   1   5:3 3 p b
        0   1   1:0 0 m m
        1   1   4:2 2 p b
        3/2 1/2 2:1 1 i m
        2   1   5:3 3 p b
        2   1/2 2:0 0 i m
        5/2 1/2 2:1 1 i m h
        3   1   4:2 2 p b
        7/2 3/2 1:0 0 m m
        4   1   6:1 1 p b
        5   1   4:3 4 p b
        5   1   2:1 1 i m
        5   1   1:1 1 m m
        6   1   6:1 1 p b
        13/2 1/2 3:2 2 i i
        7   1   4:3 4 p b
        7   1/2 1:1 1 m m
        15/2 1/2 1:3 4 m m s
        8   1   6:3 3 p b
        8   1   1:1 1 a m
        8   1   2:0 0 m i
        8   1   3:0 0 i i
        9   1   4:0 0 p b
        9   1   2:0 0 i m
        10  1   5:2 2 p b
        31/3 1/3 1:1 1 m m
        32/3 1/3 2:3 4 i m
        11  1   4:0 0 p b
        11  1/2 2:0 0 i m
        12  2   5:3 3 p b
        12  4   2:1 1 i m
        14  2   4:2 2 p b
        """,
        "0 C 4 F 8 G7 12 C",
    )


def little_rag() -> Arrangement:
    """Two bars of 2/4 with sixteenths and a tie over the beat, written in 4/4; swung."""
    return arrangement_of(
        "A Two-Bar Rag",
        bars_of("2/4", 2, beat="1/2", same={2: 1}),
        """
        0    1/2 6:3 2 p b
        0    1/4 1:3 4 m m
        1/4  1/2 2:0 0 i m
        1/2  1/2 4:0 0 p b
        3/4  1/2 1:0 0 m m
        1    1/2 6:3 2 p b
        5/4  1/4 2:3 4 i m
        3/2  1/2 4:0 0 p b
        7/4  1/2 2:0 0 i m
        2    1/2 6:3 2 p b
        9/4  1/4 2:0 0 i m
        5/2  1/2 4:0 0 p b
        11/4 1/2 1:0 0 m m
        3    1/2 6:3 2 p b
        13/4 1/4 2:3 4 i m
        7/2  1/2 4:0 0 p b
        7/2  1/2 2:0 0 i m
        """,
        "0 G",
        key="G",
        scale=2,
        swing=1.7,
    )


def waltz() -> Arrangement:
    """A waltz with a pick-up, in G with capo 2: bass on one, pinches on two and three."""
    return arrangement_of(
        "A Waltz",
        bars_of("3/4", 3, pickup="1"),
        """
        0   1 2:3 4 i m
        1   1 6:3 2 p b
        1   3 1:3 4 m m
        2   1 3:0 0 i i
        2   1 4:0 0 p b
        3   1 3:0 0 i i
        3   1 4:0 0 p b
        4   3 4:0 0 p b
        4   2 2:3 4 m m
        5   2 3:2 1 i i
        6   1 1:2 2 a m
        7   3 6:3 2 p b
        7   3 1:3 4 m m
        """,
        "1 G 4 D 7 G",
        key="G",
        capo=2,
    )


def jig() -> Arrangement:
    """Two bars of 6/8: the thumb on one and four."""
    return arrangement_of(
        "A Jig",
        bars_of("6/8", 2, beat="3/2"),
        """
        0   3/2 5:0 0 p b
        0   1/2 1:0 0 m m
        1/2 1/2 2:1 1 i m
        1   1/2 1:0 0 m m
        3/2 3/2 4:2 2 p b
        3/2 1   1:5 4 m m
        5/2 1/2 1:3 4 m m
        3   3   6:1 T p b
        3   1   2:1 1 i m
        4   1/2 1:1 2 m m
        9/2 3/2 1:12 4 m m
        """,
        "0 Am 3 F",
        key="Am",
    )


LENGTH_OF_TWICE = 6


def twice(*, last: str = "1:5 4", held: str = "1", pickup: bool = False) -> Arrangement:
    """Six bars, and again; ``last`` is the tune's last note in the second pass.

    ``held`` is how long the last note of the first pass is held.
    """
    start = 1 if pickup else 0
    lines = ["0 1 1:3 4 m m"] if pickup else []
    for bar in range(2 * LENGTH_OF_TWICE):
        for beat in range(4):
            onset = start + 4 * bar + beat
            lines.append(f"{onset} 1 {(6, 4)[beat % 2]}:{beat} {beat} p b")
            fret = bar % LENGTH_OF_TWICE
            note = f"1:{fret} {min(fret, 4)}"
            if (bar, beat) == (2 * LENGTH_OF_TWICE - 1, 3):
                note = last
            length = held if (bar, beat) == (LENGTH_OF_TWICE - 1, 3) else "1"
            lines.append(f"{onset} {length} {note} m m")
    bars = bars_of("4/4", 2 * LENGTH_OF_TWICE, pickup="1" if pickup else "")
    begins = {0, LENGTH_OF_TWICE + start}
    bars = tuple(
        replace(bar, section="A" if index in begins else None) for index, bar in enumerate(bars)
    )
    count = 2 * LENGTH_OF_TWICE
    chords = " ".join(f"{start + 4 * bar} {'CG'[bar % 2]}" for bar in range(count))
    return arrangement_of("Twice", bars, "\n".join(lines), chords)


TUNES = (alternating_bass, little_rag, waltz, jig)
