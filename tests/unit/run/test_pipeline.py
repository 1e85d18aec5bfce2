"""The wiring, with stand-ins for the rooms: what is refused, and what a refusal says."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any, cast

import pytest
from faithful import ALL_HEARD

from arranger.music.analysis import Analysis
from arranger.music.arrangement import Decision, KeyChoice
from arranger.music.errors import InternalFault, LevelMismatch, UsageError
from arranger.music.key import Key, parse_key
from arranger.music.verdict import Difficulty, Verdict, Violation
from arranger.run import pipeline
from arranger.run.pipeline import Wishes, arrange, arrange_analysis
from arranger.tables.solving import solving

ANALYSIS = cast(Analysis, SimpleNamespace(score=SimpleNamespace(file="piece.mid")))


@dataclass(frozen=True)
class Piece:
    """Stands for the reduction and, in the key it names first, for the arrangement."""

    level: str
    settings: tuple[SimpleNamespace, ...]
    analysis: Analysis = field(default_factory=lambda: ANALYSIS)
    decisions: tuple[Decision, ...] = ()
    keys: tuple[KeyChoice, ...] = ()

    @property
    def key(self) -> Key:
        return cast(Key, self.settings[0].key)


@dataclass
class Rooms:
    """Stand-ins: ``grid`` and ``kept`` by level, ``breaks`` by level or level and key; and the
    levels tried.
    """

    grid: dict[str, float] = field(default_factory=dict)
    kept: dict[str, float] = field(default_factory=dict)
    breaks: dict[str, float] = field(default_factory=dict)
    broken: tuple[Violation, ...] = ()
    keys: tuple[str, ...] = ("G", "C")
    """What lies best comes first."""
    tried: list[str] = field(default_factory=list)
    keys_tried: list[str] = field(default_factory=list)

    def reduce(
        self, _analysis: Analysis, *, level_name: str, key: str | None, **_: Any
    ) -> Piece:
        self.tried.append(level_name)
        keys = self.keys if key is None else (key,)
        settings = tuple(SimpleNamespace(key=parse_key(name)) for name in sorted(keys))
        return Piece(level=level_name, settings=settings)

    def place(self, reduction: Piece, **_: Any) -> Piece:
        known = {setting.key: setting for setting in reduction.settings}
        ranked = [key for key in map(parse_key, self.keys) if key in known] or list(known)
        self.keys_tried.append(ranked[0].short)
        choices = tuple(
            KeyChoice(key=key, transposed_by=0, dearer=0.0, solved=True, reason="")
            for key in ranked
        )
        return replace(reduction, settings=tuple(known[key] for key in ranked), keys=choices)

    def judge(self, arrangement: Piece, *_: Any) -> Verdict:
        level_name = arrangement.level
        in_key = f"{level_name} {arrangement.key.short}"
        heard = replace(
            ALL_HEARD,
            melody_kept=self.kept.get(level_name, 1.0),
            grid_fidelity=self.grid.get(level_name, 1.0),
            contour_breaks=self.breaks.get(in_key, self.breaks.get(level_name, 0.0)),
        )
        easy = Difficulty(score=10.0, band="beginner", bars=(), reasons=())
        return Verdict(violations=self.broken, fidelity=heard, difficulty=easy)


@pytest.fixture
def rooms(monkeypatch: pytest.MonkeyPatch) -> Rooms:
    stand_in = Rooms()
    monkeypatch.setattr(pipeline, "reduce", stand_in.reduce)
    monkeypatch.setattr(pipeline, "place", stand_in.place)
    monkeypatch.setattr(pipeline, "judge", stand_in.judge)
    monkeypatch.setattr(pipeline, "teach", lambda *_: "lesson")
    monkeypatch.setattr(pipeline, "unfaithful_bars", lambda *_: (7, 3))
    return stand_in


def test_piece_that_suits_goes_through_each_room_once(rooms: Rooms) -> None:
    result = arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())
    assert result.arrangement.level == "beginner"
    assert result.lesson == "lesson"
    assert rooms.tried == ["beginner"]


def test_misfit_names_the_bars_and_the_nearest_level_that_works(rooms: Rooms) -> None:
    rooms.grid = {"beginner": 0.90}
    rooms.breaks = {"elementary": 0.2}
    with pytest.raises(LevelMismatch) as refused:
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())
    assert refused.value.bars == (7, 3)
    assert refused.value.nearest == "intermediate"
    assert str(refused.value) == (
        "piece.mid: the piece does not suit the level beginner: 90.0% of the tune is heard on"
        " the level's grid, less than 98%; see bars 3, 7. The nearest level that works is"
        " intermediate: --level intermediate. To write beginner all the same: --anyway."
    )


def test_a_level_keeps_as_much_of_the_tune_as_it_promises(rooms: Rooms) -> None:
    """A beginner's tune may be thinned; at the upper levels it is the tune."""
    rooms.kept = dict.fromkeys(("beginner", "elementary", "intermediate"), 0.6)
    assert arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())
    with pytest.raises(LevelMismatch, match="60% of the tune's notes are kept") as refused:
        arrange_analysis(ANALYSIS, level="intermediate", wishes=Wishes())
    assert refused.value.nearest == "advanced"


def test_another_key_is_tried_before_the_piece_is_refused(rooms: Rooms) -> None:
    rooms.breaks = {"beginner G": 0.12}
    result = arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())
    assert result.arrangement.key == parse_key("C")
    assert [decision.text for decision in result.arrangement.decisions] == [
        "not in G major, which lies better under the hand: there 12.0% of its steps change"
        " direction, more than 10%"
    ]
    with pytest.raises(LevelMismatch):  # the teacher's key is the only one
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes(key="G"))


def test_no_more_keys_are_tried_than_the_table_says(rooms: Rooms) -> None:
    """In the order in which they lie under the hand, so that a refusal does not take long."""
    rooms.keys = ("G", "E", "C", "A", "D")
    rooms.breaks = {"beginner": 0.12, "beginner D": 0.0}
    with pytest.raises(LevelMismatch):
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())
    assert rooms.keys_tried[: 1 + solving().keys_beside] == ["G", "E", "C", "A"]
    assert "D" not in rooms.keys_tried


@pytest.mark.parametrize(
    ("heard", "said"),
    [
        ({"grid": {"beginner": 0.9796}}, "97.9% of the tune is heard"),
        ({"breaks": {"beginner": 0.10003}}, "10.1% of its steps"),
    ],
)
def test_a_share_just_past_a_limit_is_not_shown_as_the_limit(
    rooms: Rooms, heard: dict[str, dict[str, float]], said: str
) -> None:
    for name, shares in heard.items():
        setattr(rooms, name, shares)
    with pytest.raises(LevelMismatch, match=said):
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())


def test_harder_levels_are_tried_before_easier_ones(rooms: Rooms) -> None:
    rooms.breaks = {"intermediate": 0.3, "advanced": 0.3}
    with pytest.raises(LevelMismatch) as refused:
        arrange_analysis(ANALYSIS, level="intermediate", wishes=Wishes())
    assert refused.value.nearest == "elementary"
    assert rooms.tried == ["intermediate", "advanced", "elementary"]


def test_no_level_may_suit(rooms: Rooms) -> None:
    rooms.grid = dict.fromkeys(("beginner", "elementary", "intermediate", "advanced"), 0.1)
    with pytest.raises(LevelMismatch, match="No level was found") as refused:
        arrange_analysis(ANALYSIS, level="advanced", wishes=Wishes())
    assert refused.value.nearest is None


def test_other_levels_are_tried_in_the_most_promising_keys_alone(rooms: Rooms) -> None:
    """The level asked for in the best key and those beside it, each other level once."""
    rooms.keys = ("G", "D", "C", "A")
    rooms.grid = dict.fromkeys(("beginner", "elementary", "intermediate", "advanced"), 0.1)
    with pytest.raises(LevelMismatch):
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())
    beside, hinted = solving().keys_beside, solving().keys_hinted
    assert len(rooms.keys_tried) == 1 + beside + 3
    promising = sorted(rooms.keys)[:hinted]  # the stand-in's order of promise
    assert set(rooms.keys_tried[1 + beside :]) <= set(promising)


def test_a_level_that_does_not_play_in_the_wished_key_is_no_hint(rooms: Rooms) -> None:
    """A beginner has no F: from elementary down there is nothing to name."""
    rooms.grid = dict.fromkeys(("elementary", "intermediate", "advanced"), 0.1)
    with pytest.raises(LevelMismatch) as refused:
        arrange_analysis(ANALYSIS, level="elementary", wishes=Wishes(key="F"))
    assert refused.value.nearest is None


def test_anyway_returns_it_all_the_same(rooms: Rooms) -> None:
    rooms.grid = {"beginner": 0.5}
    result = arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes(), anyway=True)
    assert result.verdict.fidelity.grid_fidelity == 0.5
    assert rooms.tried == ["beginner"]


def test_limits_are_those_of_the_level_table(rooms: Rooms) -> None:
    """Exactly at the limit is good enough."""
    rooms.grid, rooms.breaks = {"beginner": 0.98}, {"beginner": 0.10}
    assert arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes())


@pytest.mark.parametrize("anyway", [False, True])
def test_broken_rule_is_a_fault_that_nothing_overrides(rooms: Rooms, anyway: bool) -> None:
    rooms.broken = (
        Violation(rule="reach", bar=3, text="fingers 1 and 4 are too far apart", notes=(1, 2)),
    )
    with pytest.raises(InternalFault) as fault:
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes(), anyway=anyway)
    assert fault.value.exit_code == 70
    assert fault.value.report == (
        "bar 3: reach: fingers 1 and 4 are too far apart (notes (1, 2))",
    )


@pytest.mark.parametrize("anyway", [False, True])
def test_key_foreign_to_the_level_names_one_that_plays_in_it(
    rooms: Rooms, anyway: bool
) -> None:
    """A beginner has no barre for F; the next level has."""
    with pytest.raises(LevelMismatch) as refused:
        arrange_analysis(ANALYSIS, level="beginner", wishes=Wishes(key="F"), anyway=anyway)
    assert refused.value.nearest == "elementary"
    assert str(refused.value) == (
        "--key: the level beginner does not play in F major, only in C, G, D, A, E, Am, Em, Dm."
        " The nearest level that works is elementary: --level elementary."
    )


def test_wrong_level_is_said_before_the_file_is_opened() -> None:
    with pytest.raises(UsageError, match="no level 'expert'"):
        arrange("no such file.mid", level="expert")
