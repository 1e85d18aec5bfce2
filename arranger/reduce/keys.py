"""Which keys to try for a level, the most promising first."""

from __future__ import annotations

from arranger.music.analysis import Analysis
from arranger.music.chord import Chord
from arranger.music.errors import UsageError
from arranger.music.key import Key, parse_key
from arranger.music.reduction import Setting
from arranger.tables import Level, Player, instrument
from arranger.tables.arranging import KeyCosts
from arranger.tables.shapes import ChordShape, shapes_for


def allowed(shape: ChordShape, level: Level, player: Player) -> bool:
    """Whether this student may hold the shape at this level."""
    if shape.highest_fret > level.max_fret or shape.highest_fret > player.highest_fret:
        return False
    if shape.uses_thumb and "thumb over" not in player.techniques:
        return False
    if shape.small_barre and not level.small_barres:
        return False
    barre = shape.barre
    if barre is None:
        return True
    return shape.barre_strings <= player.barre_strings and barre <= player.barre_max_fret


def settings(
    analysis: Analysis, level: Level, player: Player, wish: str | None, costs: KeyCosts
) -> tuple[Setting, ...]:
    """The keys to try, at most ``costs.most``. ``wish`` is the teacher's key, which is then
    the only one.

    Raises
    ------
    UsageError : the wish is not a key, or of the other mode than the piece.
    """
    source = analysis.main_key
    if wish is not None:
        return (
            _setting(
                analysis, level, player, source=source, key=_wished(wish, source), costs=costs
            ),
        )
    tried = [
        _setting(
            analysis, level, player, source=source, key=Key(tonic, source.mode), costs=costs
        )
        for tonic in range(12)
        if _friendly(Key(tonic, source.mode), level)
    ]
    tried.sort(key=lambda setting: (setting.promise, setting.key.tonic))
    return tuple(tried[: costs.most])


def _wished(wish: str, source: Key) -> Key:
    try:
        key = parse_key(wish)
    except ValueError as error:
        raise UsageError(str(error), where="--key") from error
    if key.mode != source.mode:
        relative = Key((source.tonic + (9 if source.mode == "major" else 3)) % 12, key.mode)
        raise UsageError(
            f"the piece stands in {source.name}, so '{wish}' would change its mode",
            where="--key",
            next_step=f"Name a {source.mode} key (its relative is {relative.name}).",
        )
    return key


def _friendly(key: Key, level: Level) -> bool:
    if level.keys:
        return key.short in level.keys
    return abs(key.sharps) <= level.max_accidentals


def _setting(
    analysis: Analysis, level: Level, player: Player, *, source: Key, key: Key, costs: KeyCosts
) -> Setting:
    transposition = (key.tonic - source.tonic + 6) % 12 - 6
    missing = _without_shape(analysis, transposition, level, player)
    closed = _without_open_bass(analysis, transposition)
    accidentals = key.sharps if key.sharps > 0 else -2 * key.sharps
    reading = costs.accidental * accidentals
    return Setting(
        key=key,
        transposition=transposition,
        promise=2.0 * missing + closed + reading,
        key_cost=reading + costs.later * (key.short not in costs.first),
        reason=(
            f"{round(100 * (1 - missing))} % of the time its chords lie in shapes of this "
            f"level, {round(100 * (1 - closed))} % of the time the bass has an open string"
            if _chord_time(analysis)
            else "the piece has a tune alone, which lies best here"
        ),
    )


def _chord_time(analysis: Analysis) -> dict[Chord, float]:
    held: dict[Chord, float] = {}
    for span in analysis.chords:
        if span.chord is not None:
            held[span.chord] = held.get(span.chord, 0.0) + float(span.end - span.start)
    return held


def _without_shape(analysis: Analysis, by: int, level: Level, player: Player) -> float:
    """Share of the time, 0..1, in which no shape of this level serves the chord."""
    time = _chord_time(analysis)
    missing = sum(
        length
        for chord, length in time.items()
        if not any(
            allowed(shape, level, player) for shape, _ in shapes_for(chord.transposed(by))
        )
    )
    return missing / (sum(time.values()) or 1.0)


def _without_open_bass(analysis: Analysis, by: int) -> float:
    """Share of the time in which neither root nor fifth is an open bass string."""
    opens = {pitch % 12 for pitch in instrument().tuning[3:]}
    time = _chord_time(analysis)
    closed = sum(
        length
        for chord, length in time.items()
        if not opens & {(chord.root + by) % 12, ((chord.fifth or chord.root) + by) % 12}
    )
    return closed / (sum(time.values()) or 1.0)
