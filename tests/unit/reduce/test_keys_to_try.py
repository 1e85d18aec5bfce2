"""Which keys are tried, in which order, and what is said to a wish that cannot be."""

from __future__ import annotations

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.errors import UsageError
from arranger.music.reduction import Setting
from arranger.reduce import reduce
from arranger.reduce.keys import settings
from arranger.tables import default_player, level_named
from arranger.tables.arranging import arranging

COSTS = arranging().keys
THREE_CHORDS = heard("G5:12", chords="Eb:4 Ab:4 Bb7:4", key="Eb")
MINOR = heard("A4:8", chords="Am:4 E7:4", key="Am")


def tried(
    analysis: Analysis, level: str = "beginner", wish: str | None = None
) -> list[Setting]:
    played = level_named(level)
    return list(settings(analysis, played, default_player(played), wish, COSTS))


def names(found: list[Setting]) -> list[str]:
    return [setting.key.short for setting in found]


def test_a_beginner_plays_in_the_friendly_keys_of_the_mode() -> None:
    assert set(names(tried(THREE_CHORDS))) == {"C", "G", "D", "A", "E"}
    assert set(names(tried(MINOR))) == {"Am", "Em", "Dm"}


def test_the_level_opens_more_keys() -> None:
    assert set(names(tried(THREE_CHORDS, "elementary"))) == {"C", "G", "D", "A", "E", "F"}
    assert all(abs(s.key.sharps) <= 3 for s in tried(THREE_CHORDS, "intermediate"))
    twelve = settings(
        THREE_CHORDS,
        level_named("advanced"),
        default_player(level_named("advanced")),
        None,
        COSTS.model_copy(update={"most": 12}),
    )
    assert len(twelve) == 12


def test_no_more_keys_are_tried_than_the_table_says() -> None:
    """Those that promise most."""
    found = tried(THREE_CHORDS, "advanced")
    assert len(found) == COSTS.most
    assert {"D", "A", "G", "C", "E"} < set(names(found))


def test_keys_with_open_basses_promise_most() -> None:
    """I, IV and V7 lie in open shapes in all five keys. In D and A each has an open bass
    string for its root or fifth; in G one chord has none (C), in E one (B7), in C two (C, F).
    Sharps weigh as well: none in C, one in G and two in D; three put A behind C, four E last.
    """
    found = tried(THREE_CHORDS)
    assert names(found) == ["D", "G", "C", "A", "E"]
    assert [setting.promise for setting in found] == sorted(s.promise for s in found)


def test_transposition_is_the_shorter_way() -> None:
    for setting in tried(THREE_CHORDS, "advanced"):
        assert -6 <= setting.transposition <= 5
        assert (3 + setting.transposition) % 12 == setting.key.tonic


def test_a_flat_costs_the_reader_twice_a_sharp() -> None:
    cost = {setting.key.short: setting.key_cost for setting in tried(MINOR, "advanced")}
    assert cost["Am"] == 0
    assert cost["Dm"] == pytest.approx(2 * cost["Em"])


def test_keys_whose_chords_do_not_lie_open_cost_more() -> None:
    """The keys that a student learns first: common practice, no source."""
    cost = {setting.key.short: setting.key_cost for setting in tried(MINOR, "advanced")}
    costs = arranging().keys
    assert cost["Bm"] == pytest.approx(2 * costs.accidental + costs.later)
    assert all(cost[key] < costs.later for key in ("Am", "Em", "Dm"))


def test_every_key_of_a_level_is_tried_the_most_promising_first() -> None:
    level = level_named("beginner")
    reduction = reduce(
        THREE_CHORDS, level=level, level_name="beginner", player=default_player(level)
    )
    assert [s.key.short for s in reduction.settings] == ["D", "G", "C", "A", "E"]


def test_a_wish_is_the_only_key() -> None:
    assert names(tried(THREE_CHORDS, wish="G")) == ["G"]
    assert names(tried(THREE_CHORDS, wish="Bb")) == ["Bb"]


def test_a_wish_of_the_other_mode_is_refused_with_a_way_out() -> None:
    with pytest.raises(UsageError) as refused:
        tried(MINOR, wish="C")
    assert refused.value.exit_code == 2
    said = str(refused.value)
    assert "--key" in said
    assert "A minor" in said
    assert "'C' would change its mode" in said
    assert "Name a minor key (its relative is C major)." in said


def test_a_wish_that_is_no_key_is_refused() -> None:
    with pytest.raises(UsageError, match="'H' is not a key") as refused:
        tried(THREE_CHORDS, wish="H")
    assert refused.value.exit_code == 2


def test_the_main_key_is_where_most_of_the_piece_stands() -> None:
    assert THREE_CHORDS.main_key.name == "Eb major"
