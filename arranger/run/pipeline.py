"""The whole way of a piece: read, analyse, reduce, place, judge, teach, and its documents."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from math import ceil, floor
from pathlib import Path

from arranger.judge import hardest_bars, judge, richness, unfaithful_bars
from arranger.music.analysis import Analysis
from arranger.music.arrangement import Arrangement, Decision
from arranger.music.each import Each, in_turn
from arranger.music.errors import LevelMismatch, UsageError
from arranger.music.lesson import Lesson
from arranger.music.marks import NO_MARKS, Marks
from arranger.music.reduction import Reduction
from arranger.music.verdict import Verdict
from arranger.neck import Priced, place
from arranger.reduce import reduce
from arranger.render import NO_EXTRAS, ORDINARY, Extras, Paper
from arranger.render import documents as render_documents
from arranger.run.beside import each_with
from arranger.run.broken import refuse_broken
from arranger.run.richest import Found, Richest
from arranger.run.understand import understand
from arranger.tables import (
    LEVEL_NAMES,
    Level,
    Player,
    default_player,
    level_named,
    player_from_file,
)
from arranger.tables.burden import burden_table
from arranger.tables.marks import bar_range, marks_from_file
from arranger.tables.solving import solving
from arranger.teach import teach

MOST = 100.0
"""The hardest score there is."""
BARS_NAMED = 8
"""How many bars a message names before it says 'and more'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What a teacher asks for.

    ``key`` (in which the hand plays) and ``capo`` overrule those of ``marks``; ``player``
    is a player file. ``leading_bass``: bass notes may be added that lead to the next chord;
    None leaves it to the level. ``others``: bars for which other ways to play are wanted.
    """

    key: str | None = None
    capo: int | None = None
    player: Path | None = None
    marks: Marks = NO_MARKS
    leading_bass: bool | None = None
    others: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Result:
    """An arrangement, what the judge says of it, and what to practise."""

    arrangement: Arrangement
    verdict: Verdict

    @cached_property
    def lesson(self) -> Lesson:
        """What to practise, made when it is asked for: of all that is tried few are taught."""
        return teach(self.arrangement, self.verdict)

    def documents(
        self, *, paper: Paper = ORDINARY, extras: Extras = NO_EXTRAS, jobs: int = 1
    ) -> dict[str, bytes]:
        """File name to content; the same result gives the same bytes. ``jobs``: see
        ``arrange``.
        """
        return render_documents(
            self.arrangement,
            self.verdict,
            self.lesson,
            paper=paper,
            extras=extras,
            each=each_with(jobs),
        )


def arrange(
    path: str | Path,
    *,
    level: str | None = None,
    difficulty: float | None = None,
    key: str | None = None,
    capo: int | None = None,
    player: str | Path | None = None,
    marks: str | Path | None = None,
    bars: str | None = None,
    meter: str | None = None,
    straight: bool | None = None,
    tempo: float | None = None,
    hands: str | None = None,
    melody_track: int | None = None,
    tempo_hint: float | None = None,
    beats: str | Path | None = None,
    leading_bass: bool | None = None,
    others: str | None = None,
    anyway: bool = False,
    jobs: int = 1,
) -> Result:
    """A solo fingerstyle guitar arrangement of a piano piece.

    Parameters
    ----------
    path : a piano piece as MIDI, MusicXML, Humdrum or ABC.
    level : ``beginner``, ``elementary``, ``intermediate`` or ``advanced``; None is
        ``beginner``, or, with ``difficulty``, whichever keeps most.
    difficulty : a score, above 0 up to 100: the richest arrangement that is no harder.
    key : the key the hand plays in, such as ``G`` or ``Em``; None chooses.
    capo : the fret the capo lies on; None is no capo unless the marks name one.
    player : a player file; None takes the student the level describes.
    marks : a marks file with a teacher's wishes; ``key``, ``capo``, ``bars`` overrule it.
    bars : a strain to take alone, such as ``17-32``, by printed bar numbers.
    meter, straight, tempo, hands, melody_track, tempo_hint, beats : see ``understand``.
    leading_bass : whether bass notes may be added that lead to the next chord; None leaves
        it to the level.
    others : bars for which other ways to play are wanted, such as ``8`` or ``8,12-14``,
        ``all`` or ``none``; None takes all different bars of a small piece.
    anyway : return the arrangement even where the piece does not suit the level.
    jobs : processes that share the work, where the system can copy one: more than one only
        takes less time. Two are used at most; not to be asked for where threads are at work.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : an option, a player or a marks file says what cannot be meant.
    LevelMismatch : the piece does not suit the level; names bars and the nearest level. Or
        nothing found is as easy as ``difficulty``; names the easiest and the bars in its way.
    InternalFault : the judge refused the result.
    """
    level_named(level or LEVEL_NAMES[0])  # a wrong name is said before any work is done
    if difficulty is not None and not 0 < difficulty <= MOST:
        raise UsageError(
            f"a difficulty of {difficulty:g} cannot be meant",
            where="--difficulty",
            next_step="Give a score above 0 and up to 100; arranger rate says one for any tab.",
        )
    marked = marks_from_file(Path(marks)) if marks else NO_MARKS
    analysis = understand(
        Path(path),
        meter=meter,
        straight=straight,
        tempo=tempo,
        hands=hands,
        melody_track=melody_track,
        tempo_hint=tempo_hint,
        beats=Path(beats) if beats else None,
        bars=bar_range(bars, where="--bars") if bars else marked.bars,
        leave_out=marked.leave_out,
    )
    wishes = Wishes(
        key=key,
        capo=capo,
        player=Path(player) if player else None,
        marks=marked,
        leading_bass=leading_bass,
        others=bars_asked(others, analysis),
    )
    if difficulty is not None:
        levels = (level,) if level else LEVEL_NAMES
        return arrange_within(
            analysis, difficulty, levels, wishes, anyway=anyway, each=each_with(jobs)
        )
    return arrange_analysis(
        analysis,
        level=level or LEVEL_NAMES[0],
        wishes=wishes,
        anyway=anyway,
        each=each_with(jobs),
    )


def bars_asked(text: str | None, analysis: Analysis) -> frozenset[int]:
    """The bars (printed numbers) for which other ways to play are asked; see ``arrange``.

    Raises
    ------
    UsageError : the text names no bars.
    """
    bars = analysis.score.bars
    same = zip(bars, analysis.same_as, strict=True)
    different = frozenset(bar.number for bar, earlier in same if earlier is None)
    if text is None:
        return different if len(different) <= solving().others_unasked else frozenset()
    if text in {"all", "none"}:
        return different if text == "all" else frozenset()
    found: set[int] = set()
    for part in text.split(","):
        whole = part if "-" in part else f"{part}-{part}"
        low, high = bar_range(whole, where="--others")
        found.update(range(low, high + 1))
    return frozenset(found)


def arrange_analysis(
    analysis: Analysis,
    *,
    level: str,
    wishes: Wishes,
    anyway: bool = False,
    each: Each = in_turn,
) -> Result:
    """The arrangement of a piece already understood; see ``arrange``."""
    try:
        return suited(analysis, level, wishes, anyway=anyway, each=each)
    except LevelMismatch as mismatch:
        nearest = _nearest_level(analysis, level, wishes, each)
        raise _with_nearest(mismatch, nearest) from mismatch


def suited(
    analysis: Analysis,
    level_name: str,
    wishes: Wishes,
    *,
    anyway: bool = False,
    each: Each = in_turn,
) -> Result:
    """The arrangement at one level, unless the piece does not suit it.

    A piece too far from its source in the key that lies best is tried in the keys that come
    next (``keys_beside`` of the solving table) before it is refused.
    """
    level, player = _who(level_name, wishes)
    reduction = _reduced(analysis, level_name, level, player, wishes)
    result = _placed(reduction, level, player, wishes.others, each=each)
    wrong = _misfit(result.verdict, level)
    if not wrong or anyway:
        return result
    settings = {setting.key: setting for setting in reduction.settings}
    for entry in result.arrangement.keys[1 : 1 + solving().keys_beside]:
        alone = replace(reduction, settings=(settings[entry.key],))
        # Other ways to play its bars are looked for only in the key that is taken.
        other = _placed(alone, level, player, each=each)
        if not _misfit(other.verdict, level):
            if wishes.others:
                other = _placed(alone, level, player, wishes.others, each=each)
            return _in_another_key(other, best=result.arrangement, wrong=wrong)
    bars = unfaithful_bars(result.arrangement, analysis, level)
    raise LevelMismatch(
        f"the piece does not suit the level {level_name}: {wrong}; {_bars_in_words(bars)}",
        where=analysis.score.file,
        next_step=f"To write {level_name} all the same: --anyway.",
        bars=bars,
    )


def arrange_within(
    analysis: Analysis,
    most: float,
    levels: Sequence[str],
    wishes: Wishes,
    *,
    anyway: bool = False,
    each: Each = in_turn,
) -> Result:
    """The richest arrangement within one of ``levels`` whose score is at most ``most``.

    Raises
    ------
    LevelMismatch : none is as easy, or the piece suits none of the levels.
    """
    easing = Easing(analysis, replace(wishes, others=frozenset()), anyway=anyway, each=each)
    tried = easing.richest(levels)
    found = tried.within(most)
    if found is not None:
        return easing.finished(found, most, wishes.others)
    easiest = tried.easiest()
    if easiest is None:
        raise easing.refused[0]
    level, player = _who(easiest.level, wishes)
    arrangement = easiest.result.arrangement
    bars = tuple(reason.bar for reason in hardest_bars(arrangement, level, player))
    raise LevelMismatch(
        f"nothing found keeps this piece itself at a difficulty of {most:g} or less: the"
        f" easiest has {easiest.score:.1f}, at the level {easiest.level};"
        f" {_bars_in_words(bars)}",
        where=analysis.score.file,
        next_step=f"Ask for --difficulty {ceil(easiest.score)}, or for a single strain of it:"
        " --bars FIRST-LAST.",
        bars=bars,
    )


class Easing:
    """Makes one piece at a level and at a step of the price of difficulty.

    ``suit`` finds what a level makes of the piece without a price. ``refused`` gathers why
    levels do not suit.
    """

    def __init__(
        self,
        analysis: Analysis,
        wishes: Wishes,
        *,
        anyway: bool = False,
        suit: Callable[[str], Result] | None = None,
        each: Each = in_turn,
    ) -> None:
        self._analysis = analysis
        self._wishes = wishes
        self._anyway = anyway
        self._each = each
        self._suit = suit or partial(suited, analysis, wishes=wishes, anyway=anyway, each=each)
        self._plain: dict[str, Result] = {}
        self._own: dict[str, Reduction] = {}
        self.refused: list[LevelMismatch] = []

    def richest(self, levels: Sequence[str]) -> Richest:
        """What the levels have to offer, the one that allows most first."""
        order = [name for name in reversed(LEVEL_NAMES) if name in levels]
        return Richest(order, steps=burden_table().price.steps, make=self.make)

    def make(self, level_name: str, step: int) -> Found | None:
        """See ``Richest``."""
        if step:
            result = self._priced(level_name, step)
        else:
            try:
                result = self._suit(level_name)
            except LevelMismatch as mismatch:
                self.refused.append(mismatch)
                return None
            self._plain[level_name] = result
        heard = result.verdict.fidelity
        return Found(
            result=result,
            level=level_name,
            step=step,
            richness=richness(result.arrangement, self._analysis, heard),
            fits=self._anyway or not _misfit(result.verdict, level_named(level_name)),
        )

    def finished(self, found: Found, most: float, others: frozenset[int]) -> Result:
        """What was found, with other ways to play ``others``, and how it was chosen."""
        result = found.result
        if others and found.step:
            result = self._priced(found.level, found.step, others)
        elif others:
            wishes = replace(self._wishes, others=others)
            result = suited(
                self._analysis, found.level, wishes, anyway=self._anyway, each=self._each
            )
        said = Decision(
            text=f"the richest found at {most:g} or less, within the level {found.level},"
            f" keeps {found.richness:.0%} of the piece",
            option="--difficulty",
        )
        arrangement = result.arrangement
        return replace(
            result,
            arrangement=replace(arrangement, decisions=(said, *arrangement.decisions)),
        )

    def _priced(
        self, level_name: str, step: int, others: frozenset[int] = frozenset()
    ) -> Result:
        """The piece in the key that it has without a price, once there is one."""
        plain = self._plain[level_name].arrangement
        level, player = _who(level_name, self._wishes)
        if level_name not in self._own:
            reduction = _reduced(self._analysis, level_name, level, player, self._wishes)
            own = tuple(setting for setting in reduction.settings if setting.key == plain.key)
            self._own[level_name] = replace(reduction, settings=own)
        priced = Priced(price=burden_table().price.at(step), like=plain)
        reduction = self._own[level_name]
        result = _placed(reduction, level, player, others, priced, each=self._each)
        return _keys_of(result, plain)


def _reduced(
    analysis: Analysis, level_name: str, level: Level, player: Player, wishes: Wishes
) -> Reduction:
    reduction = reduce(
        analysis,
        level=level,
        level_name=level_name,
        player=player,
        key=wishes.key,
        capo=wishes.capo,
        marks=wishes.marks,
        leading_bass=wishes.leading_bass,
    )
    _refuse_strange_key(reduction, level)
    return reduction


def _who(level_name: str, wishes: Wishes) -> tuple[Level, Player]:
    """The level, and the student of the player file or the one it describes."""
    level = level_named(level_name)
    player = player_from_file(wishes.player, level) if wishes.player else default_player(level)
    return level, player


def _placed(
    reduction: Reduction,
    level: Level,
    player: Player,
    others: frozenset[int] = frozenset(),
    priced: Priced | None = None,
    *,
    each: Each = in_turn,
) -> Result:
    """Placed and judged; a result the judge refuses is a fault of ours."""
    analysis = reduction.analysis
    arrangement = place(
        reduction, level=level, player=player, others=others, priced=priced, each=each
    )
    verdict = judge(arrangement, analysis, level, player)
    refuse_broken(verdict.violations, analysis.score.file)
    return Result(arrangement=arrangement, verdict=verdict)


def _in_another_key(result: Result, *, best: Arrangement, wrong: str) -> Result:
    """The result with a line that says why it is not in the key that lies best."""
    said = Decision(
        text=f"not in {best.key.name}, which lies better under the hand: there {wrong}",
        option="--key",
    )
    arrangement = result.arrangement
    decisions = (*arrangement.decisions, said)
    return replace(
        result, arrangement=replace(arrangement, decisions=decisions, keys=best.keys)
    )


def _keys_of(result: Result, plain: Arrangement) -> Result:
    """The result with what was said of the keys when there were several to choose from."""
    arrangement = result.arrangement
    chosen = [said for said in plain.decisions if said.option == "--key"]
    rest = [said for said in arrangement.decisions if said.option != "--key"]
    return replace(
        result,
        arrangement=replace(arrangement, decisions=(*chosen, *rest), keys=plain.keys),
    )


def _refuse_strange_key(reduction: Reduction, level: Level) -> None:
    """A key the teacher names may be one that the level does not play in."""
    strange = [setting.key for setting in reduction.settings if not level.plays_in(setting.key)]
    if strange:
        most = level.max_accidentals
        known = ", ".join(level.keys) or f"keys of at most {most} sharps or flats"
        raise LevelMismatch(
            f"the level {reduction.level} does not play in {strange[0].name}, only in {known}",
            where="--key",
        )


def _misfit(verdict: Verdict, level: Level) -> str:
    """Why the arrangement is too far from the piece, in words; empty when it is not."""
    heard = verdict.fidelity
    reasons = []
    if heard.grid_fidelity < level.grid_fidelity_least:
        reasons.append(
            f"{_down(heard.grid_fidelity, 3):.1%} of the tune is heard on the level's grid,"
            f" less than {level.grid_fidelity_least:.0%}"
        )
    if heard.melody_kept < level.melody_kept_least:
        reasons.append(
            f"{_down(heard.melody_kept, 2):.0%} of the tune's notes are kept, less than"
            f" {level.melody_kept_least:.0%}: it runs faster than the level's fingers"
        )
    if heard.contour_breaks > level.contour_breaks_most:
        reasons.append(
            f"{-_down(-heard.contour_breaks, 3):.1%} of its steps change direction, more than"
            f" {level.contour_breaks_most:.0%}"
        )
    return " and ".join(reasons)


def _down(share: float, places: int) -> float:
    """Rounded down, so that a share just below a limit is not shown as the limit."""
    unit = float(10**places)
    return floor(round(share * unit, 6)) / unit


def _bars_in_words(bars: tuple[int, ...]) -> str:
    """Bars, the worst first, in the order of the piece."""
    if not bars:
        return "no bar stands out"
    shown = ", ".join(str(bar) for bar in sorted(bars[:BARS_NAMED]))
    return f"the worst bars are {shown}" if len(bars) > BARS_NAMED else f"see bars {shown}"


def _nearest_level(analysis: Analysis, level: str, wishes: Wishes, each: Each) -> str | None:
    """The first level at which the piece suits one of the most promising keys (``keys_hinted``
    of the solving table): harder levels first, then easier ones.

    Not all keys: a piece that no level can play would be solved in dozens for one word.
    """
    place_asked = [str(name) for name in LEVEL_NAMES].index(level)
    harder, easier = LEVEL_NAMES[place_asked + 1 :], LEVEL_NAMES[:place_asked]
    for name in (*harder, *reversed(easier)):
        who = _who(name, wishes)
        try:
            reduction = _reduced(analysis, name, *who, wishes)
        except LevelMismatch:  # the level does not play in the key asked for
            continue
        few = replace(reduction, settings=reduction.settings[: solving().keys_hinted])
        if not _misfit(_placed(few, *who, each=each).verdict, who[0]):
            return name
    return None


def _with_nearest(mismatch: LevelMismatch, nearest: str | None) -> LevelMismatch:
    hint = (
        f"The nearest level that works is {nearest}: --level {nearest}."
        if nearest
        else "No level was found that suits it whole; a single strain may: --bars FIRST-LAST."
    )
    return LevelMismatch(
        mismatch.what,
        where=mismatch.where,
        next_step=f"{hint} {mismatch.next_step}".strip(),
        bars=mismatch.bars,
        nearest=nearest,
    )
