"""One piece several times, side by side: the four levels, two players, or both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import product, repeat
from pathlib import Path

from arranger.judge import techniques
from arranger.music.analysis import Analysis
from arranger.music.comparison import Column, Comparison, CurvePoint, Refusal, Version
from arranger.music.errors import LevelMismatch, UsageError
from arranger.run.pipeline import Easing, Result, Wishes, suited
from arranger.run.richest import Found
from arranger.run.understand import understand
from arranger.tables import LEVEL_NAMES, Level, default_player, level_named, player_from_file
from arranger.tables.marks import bar_range

Side = tuple[str, Path | None]
"""A level and a player file."""
AT_ONCE = 2
"""Versions that are made at once for each job."""
LIMITS = tuple(range(10, 100, 10))
"""Difficulties at which a curve is asked what can be kept."""


def compare(
    path: str | Path,
    *,
    levels: Sequence[str] = (),
    players: Sequence[str | Path] = (),
    bars: str | None = None,
    meter: str | None = None,
    straight: bool | None = None,
    tempo: float | None = None,
    curve: bool = False,
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
    curve : also look for what can be kept at every difficulty, within the levels compared;
        takes some times as long, and is of one player.
    jobs : processors that share the work, by up to ``AT_ONCE`` processes each; with more than
        one, a script that calls this has to be guarded by ``if __name__ == "__main__"`` on
        systems that do not fork.

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
    if curve and len(players) > 1:
        raise UsageError("a curve is of one player", where="--curve")
    analysis = understand(
        Path(path),
        meter=meter,
        straight=straight,
        tempo=tempo,
        bars=bar_range(bars, where="--bars") if bars else None,
    )
    files = tuple(Path(player) for player in players) or (None,)
    sides = list(product(named, files))
    made = dict(zip(sides, _made(analysis, sides, jobs), strict=True))
    students = _students(files, level_named(named[0]))
    points, front = _curve(analysis, named, files[0], made) if curve else ((), ())
    return Comparison(
        title=analysis.score.title,
        composer=analysis.score.composer,
        columns=tuple(
            Column(
                name=_name(level, player, named, students),
                outcome=one if isinstance(one, Refusal) else _version(one, level, player),
            )
            for (level, player), one in made.items()
        ),
        curve=points,
        front=front,
    )


def _made(analysis: Analysis, sides: Sequence[Side], jobs: int) -> list[Result | Refusal]:
    """What comes of each level and player, in order; each is made for itself."""
    if min(jobs, len(sides)) > 1:
        # The harder levels take longest: they come first. Twice as many at once as there are
        # jobs share the processors among them, so that none waits for the last of a few.
        turned = repeat(analysis), *zip(*reversed(sides), strict=True)
        with ProcessPoolExecutor(min(AT_ONCE * jobs, len(sides))) as pool:
            return [*pool.map(_outcome, *turned)][::-1]
    return [_outcome(analysis, level, player) for level, player in sides]


def _outcome(analysis: Analysis, level: str, player: Path | None) -> Result | Refusal:
    try:
        return suited(analysis, level, Wishes(player=player))
    except LevelMismatch as mismatch:
        return Refusal(why=mismatch.what, bars=mismatch.bars)


def _curve(
    analysis: Analysis,
    levels: Sequence[str],
    player: Path | None,
    made: Mapping[Side, Result | Refusal],
) -> tuple[tuple[CurvePoint, ...], tuple[CurvePoint, ...]]:
    """What can be kept at each difficulty in tens, and the front of all that was found.

    All that was made for one difficulty competes for every other, so that more difficulty
    never keeps less.
    """

    def suit(level: str) -> Result:
        found = made[level, player]
        if isinstance(found, Refusal):
            raise LevelMismatch(found.why, bars=found.bars)
        return found

    tried = Easing(analysis, Wishes(player=player), suit=suit).richest(levels)
    for limit in LIMITS:
        tried.within(limit)
    within = ((limit, tried.best(limit)) for limit in LIMITS)
    points = tuple(_point(limit, found) for limit, found in within if found is not None)
    return points, tuple(_point(found.score, found) for found in tried.front())


def _point(limit: float, found: Found) -> CurvePoint:
    return CurvePoint(
        limit=limit,
        level=found.level,
        score=found.score,
        richness=found.richness,
        fidelity=found.result.verdict.fidelity,
    )


def _students(files: Sequence[Path | None], level: Level) -> dict[Path | None, str]:
    """What each player is called: as the file says, else by the file's name.

    By the files' names all, where two would be called alike.
    """
    stems = {file: file.stem if file else "" for file in files}
    said = {file: player_from_file(file, level).name if file else "" for file in files}
    unsaid = default_player(level).name
    names = {file: stems[file] if said[file] == unsaid else said[file] for file in files}
    return names if len(set(names.values())) == len(names) else stems


def _name(
    level: str, player: Path | None, levels: Sequence[str], students: Mapping[Path | None, str]
) -> str:
    """What tells the columns apart: the level, the player, or both."""
    if player is None or len(students) == 1:
        return level
    if len(levels) == 1:
        return students[player]
    return f"{students[player]}, {level}"


def _version(result: Result, level_name: str, player_file: Path | None) -> Version:
    level = level_named(level_name)
    player = player_from_file(player_file, level) if player_file else default_player(level)
    return Version(
        arrangement=result.arrangement,
        verdict=result.verdict,
        techniques=techniques(result.arrangement, level, player),
    )
