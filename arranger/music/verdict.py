"""What the judge says of an arrangement: rules broken, fidelity, difficulty."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Violation:
    """A rule of the hand that is broken; ``notes`` index ``Arrangement.notes``."""

    rule: str
    bar: int
    text: str
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fidelity:
    """How much of the source is heard. Every field is a share 0..1.

    ``melody_kept`` of the source's melody notes; ``grid_fidelity``: grid points of the
    level's grid where the melody heard is the source's (pitch class, or both silent);
    ``contour_breaks``: steps of the kept melody whose direction changed;
    ``bass_roots`` / ``thirds``: bars (with a chord) in which the root / third sounds;
    ``thumb_beats``: thumb beats with a thumb note; ``alternation``: neighbouring thumb
    notes on different strings.
    """

    melody_kept: float
    grid_fidelity: float
    contour_breaks: float
    bass_roots: float
    thirds: float
    thumb_beats: float
    alternation: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why it is hard: a bar, plain words, and the points it adds to the score.

    ``feature`` is its name in the bars' points; ``telling``: it is much by a teacher's measure,
    not only a share of a small score.
    """

    bar: int
    what: str
    points: float
    feature: str = ""
    telling: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class BarDifficulty:
    """Points of one bar by feature name."""

    bar: int
    points: float
    features: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difficulty:
    """0..100 with a band; ``bars`` in order.

    ``reasons`` begin with what the hands do, the hardest first; then comes what there is to
    learn, the most first.

    ``low`` to ``high`` is where the score may as well lie: most pieces that their composers
    held to be as hard lie there.
    """

    score: float
    band: str
    bars: tuple[BarDifficulty, ...]
    reasons: tuple[Reason, ...]
    low: float = 0.0
    high: float = 100.0

    @property
    def told(self) -> tuple[Reason, ...]:
        """The reasons that a teacher would name, the largest share of the score first."""
        telling = (reason for reason in self.reasons if reason.telling)
        return tuple(sorted(telling, key=lambda reason: -reason.points))


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    violations: tuple[Violation, ...]
    fidelity: Fidelity
    difficulty: Difficulty
