"""Keys whose bounds are close: only their solutions tell which is the easier one."""

from __future__ import annotations

from pathlib import Path

import pytest
from heard_pieces import heard

from arranger.music.key import Key
from arranger.music.reduction import Setting
from arranger.neck.dynamic import least_cost
from arranger.neck.key_ranking import RankedKey, bare_bars, key_points, rank_keys, taken
from arranger.neck.network import grip_maker, network
from arranger.neck.outline import outline
from arranger.reduce import reduce
from arranger.run.understand import understand
from arranger.tables import default_player, level_named
from arranger.tables.solving import solving

CORPUS = Path(__file__).parents[3] / "corpus"

SONG = heard(
    "E4:1 G4:1 F4:1 D4:1 " * 4,
    "C3:1 r:1 G2:1 r:1 " * 4,
    chords="C:4 " * 4,
    texture="stride",
)


def key(tonic: int, points: float, *, plain: bool = False) -> RankedKey:
    setting = Setting(
        key=Key(tonic, "major"), transposition=0, promise=0.0, key_cost=0.0, reason=""
    )
    return RankedKey(setting, points, plain=plain)


def test_the_cheapest_solution_comes_first_and_the_unsolved_keys_last() -> None:
    ranked = [key(0, 50.0), key(7, 50.5), key(2, 70.0), key(9, 20.0, plain=True)]
    order = taken(ranked, [61.0, 60.0])
    assert [(entry.setting.key.tonic, entry.points) for entry in order[:2]] == [
        (7, 60.0),
        (0, 61.0),
    ]
    assert [entry.points for entry in order[2:]] == [70.0 + 9.5, 20.0]  # a bound, a plain one
    assert order[1].dearer == pytest.approx(1 / 60)


def test_lattices_are_kept_of_close_keys_alone() -> None:
    """As many as there are keys within the share of the table, the best first."""
    level = level_named("beginner")
    player = default_player(level)
    reduction = reduce(SONG, level=level, level_name="beginner", player=player)
    ranked, nets = rank_keys(reduction, grip_maker(reduction, level, player))
    solved = [entry.points for entry in ranked if not entry.plain]
    close = [points for points in solved if points <= solved[0] * (1 + solving().even_keys)]
    assert len(nets) == len(close)


TIED_OVER = heard(
    "C5:2 r:1 E5:2 G5:4 F5:3",
    "C3:4 C3:3 G2:2 C3:3",
    chords="C:7 G:2 C:3",
    texture="hymn",
)


def test_a_sample_begins_anew_after_bars_that_it_leaves_out() -> None:
    """Notes tied into a bar have no grip to come from there: they forbid no key."""
    level = level_named("beginner")
    reduction = reduce(
        TIED_OVER, level=level, level_name="beginner", player=default_player(level)
    )
    maker = grip_maker(reduction, level, default_player(level)).plainer(voices=2)

    def least(*bars: int) -> int:
        bare = bare_bars(reduction, frozenset(bars))
        return least_cost(network(outline(bare, level), reduction.settings[0], maker))

    assert 0 < least(0, 2) < least(0, 1, 2)


def test_the_race_finds_the_key_that_all_bars_would_choose() -> None:
    level = level_named("beginner")
    player = default_player(level)
    analysis = understand(CORPUS / "tin_kettle_rag.mid")
    reduction = reduce(analysis, level=level, level_name="beginner", player=player)
    maker = grip_maker(reduction, level, player)
    plain = maker.plainer(voices=2)
    every = bare_bars(reduction, frozenset(range(len(analysis.score.bars))))
    sketch = outline(every, level)
    points = {
        setting.key: least_cost(network(sketch, setting, plain)) / 10
        + key_points(reduction, setting)
        for setting in reduction.settings
    }
    ranked, _ = rank_keys(reduction, maker)
    assert ranked[0].setting.key == min(points, key=lambda key: points[key])
