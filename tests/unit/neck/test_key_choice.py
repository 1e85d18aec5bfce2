"""Keys whose bounds are close: only their solutions tell which is the easier one."""

from __future__ import annotations

import pytest
from heard_pieces import heard

from arranger.music.key import Key
from arranger.music.reduction import Setting
from arranger.neck.key_ranking import RankedKey, rank_keys, taken
from arranger.neck.network import grip_maker
from arranger.reduce import reduce
from arranger.tables import default_player, level_named
from arranger.tables.solving import solving

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
