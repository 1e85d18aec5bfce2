"""One piece several times, side by side: the four levels, two players, or both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import product, repeat
from pathlib import Path

from arranger.judge import techniques
from arranger.music.analysis import Analysis
from arranger.music.comparison import Column, Comparison, Refusal, Version
from arranger.music.errors import LevelMismatch
from arranger.run.pipeline import Wishes, suited
from arranger.run.understand import understand
from arranger.tables import LEVEL_NAMES, default_player, level_named, player_from_file
from arranger.tables.marks import bar_range


def compare(
    path: str | Path,
    *,
    levels: Sequence[str] = (),
    players: Sequence[str | Path] = (),
    bars: str | None = None,
    meter: str | None = None,
    straight: bool | None = None,
    tempo: float | None = None,
    jobs: int = 1,
) -> Comparison:
    """The same piece at several levels and for several players, read and heard once.

    Parameters
    ----------
    path : a piano piece as MIDI, MusicXML, Humdrum or ABC.
    levels : the levels to compare; none named are all four, or the first where several
        players are compared.
    players : player files; none is the student that each level describes.
    bars : a strain to take alone, such as ``17-32``, by printed bar numbers.
    meter, straight, tempo : see ``understand``.
    jobs : processes that share the work; with more than one, a script that calls this has to
        be guarded by ``if __name__ == "__main__"`` on systems that do not fork.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : an option or a player file says what cannot be meant.
    InternalFault : the judge refused a result.
    """
    named = tuple(levels) or (LEVEL_NAMES[:1] if len(players) > 1 else LEVEL_NAMES)
    for level in named:  # what is wrong in an option is said before any work is done
        for player in players:
            player_from_file(Path(player), level_named(level))
        level_named(level)
    analysis = understand(
        Path(path),
        meter=meter,
        straight=straight,
        tempo=tempo,
        bars=bar_range(bars, where="--bars") if bars else None,
    )
    return Comparison(
        title=analysis.score.title,
        composer=analysis.score.composer,
        columns=tuple(_columns(analysis, named, [Path(player) for player in players], jobs)),
    )


def _columns(
    analysis: Analysis, levels: Sequence[str], players: Sequence[Path], jobs: int
) -> Iterator[Column]:
    """A column for each level and player, in order; each is made for itself."""
    sides = list(product(levels, players or (None,)))
    asked = repeat(analysis), *zip(*sides, strict=True)
    jobs = min(jobs, len(sides))
    if jobs > 1:
        with ProcessPoolExecutor(jobs) as pool:
            outcomes = list(pool.map(_outcome, *asked))
    else:
        outcomes = list(map(_outcome, *asked))
    for (level, player), outcome in zip(sides, outcomes, strict=True):
        yield Column(name=_name(level, player, levels, players), outcome=outcome)


def _outcome(analysis: Analysis, level: str, player: Path | None) -> Version | Refusal:
    try:
        return _version(analysis, level, player)
    except LevelMismatch as mismatch:
        return Refusal(why=mismatch.what, bars=mismatch.bars)


def _name(
    level: str, player: Path | None, levels: Sequence[str], players: Sequence[Path]
) -> str:
    """What tells the columns apart: the level, the player (by the file's name), or both."""
    if player is None or len(players) == 1:
        return level
    if len(levels) == 1:
        return player.stem
    return f"{player.stem}, {level}"


def _version(analysis: Analysis, level_name: str, player_file: Path | None) -> Version:
    level = level_named(level_name)
    result = suited(analysis, level_name, Wishes(player=player_file))
    player = player_from_file(player_file, level) if player_file else default_player(level)
    return Version(
        arrangement=result.arrangement,
        verdict=result.verdict,
        techniques=techniques(result.arrangement, level, player),
    )
