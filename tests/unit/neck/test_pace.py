"""Changes of shape and position are budgets of a level: dearer until they are kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.neck import placing
from arranger.neck.burden import NO_BURDEN
from arranger.neck.dynamic import Lattice
from arranger.neck.pace import Pace, Travels, slower, travels
from arranger.neck.proof import Proven
from arranger.reduce import reduce
from arranger.run.understand import understand
from arranger.tables import Level, default_player, level_named

CORPUS = sorted((Path(__file__).parents[3] / "corpus").glob("*.mid"))
RESTLESS = heard(
    "E4:1 A4:1 F4:1 G4:1 " * 4,
    "C3:1 D3:1 F3:1 G3:1 " * 4,
    "G3:1 A3:1 A3:1 B3:1 " * 4,
    chords="C:1 Dm:1 F:1 G:1 " * 4,
    texture="hymn",
)


def solved(
    analysis: Analysis, level: Level, name: str, key: str | None
) -> tuple[Lattice, Proven]:
    reduction = reduce(
        analysis, level=level, level_name=name, player=default_player(level), key=key
    )
    maker = placing.grip_maker(reduction, level, default_player(level))
    _, (net, *_) = placing.rank_keys(reduction, maker)
    proven, _ = placing._paced(reduction, level, net, NO_BURDEN)
    return net, proven


@pytest.mark.parametrize("name", ["beginner", "elementary"])
@pytest.mark.parametrize("path", CORPUS, ids=lambda path: path.stem)
def test_the_corpus_keeps_to_the_levels(path: Path, name: str) -> None:
    level = level_named(name)
    net, proven = solved(understand(path), level, name, None)
    assert not travels(net, proven.paths).beyond(level)


def test_a_beginner_does_not_change_the_shape_on_every_beat() -> None:
    level = level_named("beginner")
    free = level.model_copy(update={"changes_per_bar": 9.0})
    restless = travels(*_paths(solved(RESTLESS, free, "beginner", "C")))
    assert restless.changes > level.changes_per_bar
    calm = travels(*_paths(solved(RESTLESS, level, "beginner", "C")))
    assert calm.changes <= level.changes_per_bar


def test_only_what_is_beyond_grows_dearer() -> None:
    beginner = level_named("beginner")
    prices = ((2.0, 2.0), (6.0, 4.0))
    assert list(slower(Travels(1.5, 0.0), beginner, prices)) == [Pace(20, 1.0), Pace(60, 1.0)]
    assert list(slower(Travels(0.5, 0.5), beginner, prices)) == [Pace(0, 2.0), Pace(0, 4.0)]


def _paths(found: tuple[Lattice, Proven]) -> tuple[Lattice, dict[int, tuple[int, ...]]]:
    return found[0], found[1].paths


def test_only_a_brief_harmony_pays_for_the_pace() -> None:
    """A chord that fills its bar gets its shape, however restless the piece is elsewhere."""
    mixed = heard(
        "E4:4 A4:2 B4:2 E4:4 A4:2 B4:2",
        "C3:4 F3:2 G3:2 C3:4 F3:2 G3:2",
        chords="C:4 F:2 G:2 C:4 F:2 G:2",
        texture="hymn",
    )
    level = level_named("beginner")
    net, _ = solved(mixed, level, "beginner", "C")
    steps = [step for bar in net.piece.classes for step in bar.steps if step.chord_begins]
    steps += [joint.step for joint in net.piece.kinds]
    assert [step.brief for step in steps] == [True, True, False]
