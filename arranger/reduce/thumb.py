"""What the thumb may play: an alternating bass, a given line, or the bass of a chord.

One rule per texture. The tone is left open where a guitarist would choose it for the
hand (a weak beat of an alternating bass); it is given where the source insists.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.music.analysis import Analysis, Texture
from arranger.music.chord import Chord
from arranger.music.key import Key
from arranger.music.moments import Moments
from arranger.music.reduction import BassChoice, Stroke
from arranger.music.score import Bar, Note
from arranger.music.time import Beat
from arranger.reduce.equal_bars import EqualBars
from arranger.tables.arranging import BassCosts

ALTERNATING: frozenset[Texture] = frozenset({"stride", "compound"})
STEADY: frozenset[Texture] = frozenset({"stride", "waltz", "compound"})


@dataclass(frozen=True, slots=True)
class _Beat:
    """One thumb beat: where, how long, in which bar and texture, and the source bass there."""

    onset: Beat
    length: Beat
    step: Beat
    bar: Bar
    texture: Texture
    source: Note | None

    @property
    def end(self) -> Beat:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class _Lead:
    """What follows a thumb beat, wherever its bar occurs: whether the source's bass goes on
    by step, and the bass tone of a new chord on the next strong beat (or None).
    """

    by_step: bool
    target: int | None


def thumb_beats(analysis: Analysis) -> tuple[tuple[Beat, Beat], ...]:
    """Onset and length of every thumb beat of the piece, bar by bar.

    The beats of a bar are counted from its start; of a pick-up, from its end, so that
    they fall where the full bar would have them.
    """
    beats: list[tuple[Beat, Beat]] = []
    texture = iter(analysis.textures)
    span = next(texture)
    for bar in analysis.score.bars:
        while span.end <= bar.start:
            span = next(texture, span)
            if span is analysis.textures[-1]:
                break
        step = span.thumb_beat
        lead = bar.length % step if bar.number == 0 else Fraction(0)
        onset = bar.start + lead
        while onset < bar.end:
            beats.append((onset, min(step, bar.end - onset)))
            onset += step
    return tuple(beats)


def strokes(
    analysis: Analysis,
    beats: tuple[tuple[Beat, Beat], ...],
    costs: BassCosts,
    *,
    shortest: Beat,
    again: Beat,
    leading: bool = False,
) -> tuple[Stroke, ...]:
    """The thumb strokes of the piece, sorted by onset.

    ``shortest`` is the least time in quarters between a stroke and one off the thumb
    beat: quicker notes of a bass line are left out. ``again`` is the least time after which
    the thumb strikes the same tone off the beat: chords that throb in the source's left
    hand do not make the thumb drum. ``leading`` offers tones that lead to the next chord,
    where the source leaves the thumb free.
    """
    thumb = _Thumb(analysis, costs, shortest, again, leading=leading)
    described = _described(analysis, beats, thumb.bass)
    for beat, lead in zip(described, _leads(analysis, described), strict=True):
        thumb.play(beat, lead)
    return tuple(_without_overlap(_alike(analysis, thumb.strokes)))


def _alike(analysis: Analysis, found: list[Stroke]) -> list[Stroke]:
    """The strokes with one way for all equal bars; on a bar line what came before counts."""
    bars = analysis.score.bars
    within = {
        stroke.onset: replace(stroke, onset=Fraction(0), length=Fraction(0), source=None)
        for stroke in found
        if stroke.onset > bars[analysis.score.bar_index_at(stroke.onset)].start
    }
    agreed = EqualBars(analysis).agreed(within)
    return [
        replace(agreed[one.onset], onset=one.onset, length=one.length, source=one.source)
        if one.onset in agreed
        else one
        for one in found
    ]


def _described(
    analysis: Analysis, beats: tuple[tuple[Beat, Beat], ...], bass: list[Note]
) -> list[_Beat]:
    """The thumb beats with all that decides what the thumb does there."""
    starting = {note.onset: note for note in bass}
    described = []
    for onset, length in beats:
        bar = analysis.score.bars[analysis.score.bar_index_at(onset)]
        span = analysis.texture_at(onset)
        described.append(
            _Beat(onset, length, span.thumb_beat, bar, span.texture, starting.get(onset))
        )
    return described


def _leads(analysis: Analysis, beats: list[_Beat]) -> list[_Lead]:
    """For every thumb beat what it leads to, the same wherever its bar occurs."""
    places = [analysis.score.bar_index_at(beat.onset) for beat in beats]
    kinds = [
        (analysis.same_as[bar] if analysis.same_as[bar] is not None else bar,
         beat.onset - beat.bar.start)
        for bar, beat in zip(places, beats, strict=True)
    ]  # fmt: skip
    found: dict[object, list[_Lead]] = {}
    for place, beat in enumerate(beats):
        after = beats[place + 1] if place + 1 < len(beats) else None
        follows = after is not None and after.onset == beat.end
        found.setdefault(kinds[place], []).append(
            _lead(analysis, beat, after)
            if after is not None and follows
            else _Lead(False, None)
        )
    return [_agreed(found[kind]) for kind in kinds]


def _lead(analysis: Analysis, beat: _Beat, after: _Beat) -> _Lead:
    by_step = (
        beat.source is not None
        and after.source is not None
        and 0 < abs(after.source.midi - beat.source.midi) <= 2
    )
    here, there = analysis.chord_at(beat.onset), analysis.chord_at(after.onset)
    target = None
    if there is not None and there != here and _is_strong(after):
        target = after.source.midi % 12 if after.source is not None else there.bass
    return _Lead(by_step, target)


def _agreed(leads: list[_Lead]) -> _Lead:
    targets = {lead.target for lead in leads}
    return _Lead(
        by_step=all(lead.by_step for lead in leads),
        target=targets.pop() if len(targets) == 1 else None,
    )


class _Thumb:
    """Plays beat after beat, and knows the stroke before with the source note it stood for."""

    def __init__(
        self,
        analysis: Analysis,
        costs: BassCosts,
        shortest: Beat,
        again: Beat,
        *,
        leading: bool,
    ) -> None:
        self.strokes: list[Stroke] = []
        self.bass = sorted(
            (analysis.score.notes[index] for index in analysis.bass),
            key=lambda note: note.onset,
        )
        self._struck = Moments([note.onset for note in self.bass])
        self._tune = [analysis.score.notes[index] for index in analysis.melody]
        self._sings = Moments([note.onset for note in self._tune])
        self._left: dict[Beat, list[int]] = {}
        for note in analysis.score.notes:
            if note.hand == "left":
                self._left.setdefault(note.onset, []).append(note.midi)
        self._analysis = analysis
        self._costs = costs
        self._shortest = shortest
        self._again = again
        self._leading = leading
        self._source: Note | None = None
        self._answered = False

    def play(self, beat: _Beat, lead: _Lead) -> None:
        """Add the strokes of one thumb beat.

        Where the source's left hand has the tune and no bass is left, the thumb plays the
        chord's own on the strong beats.
        """
        if beat.texture == "unison":
            return
        under_tune = beat.texture == "tune-left" and _is_strong(beat) and not self._within(beat)
        if beat.texture in STEADY or under_tune:
            stroke = self._steady(beat, lead)
            if stroke is not None:
                self._add(stroke, beat.source)
            return
        for note in self._within(beat):
            if note.onset == beat.onset or not self._quick(note):
                answer = self._answer(beat, note)
                if answer is None:
                    self._add(self._line(note), note)
                else:
                    self._ring_until(note.onset)
                    self._add(answer, None)
                    self._answered = True

    def _quick(self, note: Note) -> bool:
        """Whether a bass note comes too soon after the stroke before, or passes too soon."""
        least = self._again if self._repeats(note) else self._shortest
        place = self._struck.until(note.onset)
        passes = place < len(self.bass) and self.bass[place].onset - note.onset < least
        return passes or bool(self.strokes and note.onset - self.strokes[-1].onset < least)

    def _add(self, stroke: Stroke, source: Note | None) -> None:
        self.strokes.append(stroke)
        self._source = source
        self._answered = False

    def _within(self, beat: _Beat) -> list[Note]:
        """The source's bass notes that begin in a beat; of a broken chord only the first."""
        notes = self._in(beat.onset, beat.end)
        if beat.texture == "broken":  # the rest of a broken chord belongs to the fingers
            notes = [note for note in notes if note.onset == beat.onset]
        return notes

    def _in(self, start: Beat, end: Beat) -> list[Note]:
        """The source's bass notes that begin in ``[start, end)``."""
        return self.bass[self._struck.before(start) : self._struck.before(end)]

    def _steady(self, beat: _Beat, lead: _Lead) -> Stroke | None:
        """A beat of a steady thumb: the source's bass, or another tone of the chord.

        A bass note of the source on a weak beat belongs to the tune of the bass where it
        comes by step or leads on by step; elsewhere the hand is free to choose.
        """
        chord = self._analysis.chord_at(beat.onset)
        strong = _is_strong(beat) or self._changes(beat)
        step = self._step(beat.source, least=1, most=2)
        if beat.texture == "waltz" and not strong and beat.source is None:
            step = self._chord_above(beat.onset)
        if beat.source is not None and (strong or step is not None):
            goes_on = beat.texture in ALTERNATING and step is None and not self._changes(beat)
            choices = _given(beat.source, chord, self._costs, goes_on=goes_on)
        elif beat.source is not None and chord is not None and self._owes_root(beat, chord):
            choices = _rooted(chord, self._costs)
        elif chord is not None:
            choices = _free(chord, strong, self._costs)
            if beat.source is not None and lead.by_step and not self._repeats(beat.source):
                choices = _leading_on(beat.source, choices, self._costs)
            elif self._leading and not (strong or beat.source) and lead.target is not None:
                choices += self._offered(beat.onset, lead.target, chord, choices)
        else:
            return None
        return Stroke(
            onset=beat.onset,
            length=beat.length,
            choices=choices,
            alternates=self._follows(beat.onset)
            and beat.texture in ALTERNATING
            and step is None,
            step=step,
            rest_cost=self._costs.rest,
            source=beat.source.index if beat.source is not None else None,
        )

    def _owes_root(self, beat: _Beat, chord: Chord) -> bool:
        """Whether the source's bass has its root here, on a weak beat, and nowhere before
        or on a strong beat of the bar while the chord lasts: an alternation that begins
        with the fifth or the third.
        """
        span = self._analysis.harmony_at(beat.onset)
        start, end = max(span.start, beat.bar.start), min(span.end, beat.bar.end)
        rooted = [n.onset for n in self._in(start, end) if n.midi % 12 == chord.root]
        return rooted[:1] == [beat.onset] and not any(
            _is_strong(replace(beat, onset=onset)) for onset in rooted
        )

    def _changes(self, beat: _Beat) -> bool:
        """Whether a chord that the source's bass bears begins here: it wants its root."""
        if beat.source is None:
            return False
        return self._analysis.harmony_at(beat.onset).start == beat.onset

    def _chord_above(self, onset: Beat) -> int | None:
        """How far above the bass note just played the source's chord of a waltz lies."""
        if self._source is None:
            return None
        chord = [midi for midi in self._left.get(onset, ()) if midi > self._source.midi]
        return min(chord) - self._source.midi if chord else None

    def _offered(
        self, onset: Beat, target: int, chord: Chord, known: tuple[BassChoice, ...]
    ) -> tuple[BassChoice, ...]:
        """Tones that lead to ``target``: a semitone below it, or a step of the scale.

        None that rubs: a semitone above the root or beside the tune's note.
        """
        near = [(target - 1) % 12, *_neighbours(target, self._analysis.key_at(onset))]
        tones = {choice.pitch_class for choice in known} | {(chord.root + 1) % 12}
        sung = self._sung(onset)
        if sung is not None:
            tones |= {(sung - 1) % 12, (sung + 1) % 12}
        return tuple(
            BassChoice(pitch_class=tone, cost=self._costs.leading, added=True)
            for tone in dict.fromkeys(near)
            if tone not in tones
        )

    def _sung(self, onset: Beat) -> int | None:
        """Pitch class of the tune's note that sounds at ``onset``."""
        place = self._sings.until(onset) - 1
        if place < 0 or self._tune[place].end <= onset:
            return None
        return self._tune[place].midi % 12

    def _line(self, note: Note) -> Stroke:
        """A note of a bass line: the pitch class is given, the direction matters."""
        return Stroke(
            onset=note.onset,
            length=note.length,
            choices=_given(note, self._analysis.chord_at(note.onset), self._costs),
            alternates=self._answered,
            step=self._step(note, least=0, most=12),
            rest_cost=self._costs.rest_line,
            source=note.index,
        )

    def _answer(self, beat: _Beat, note: Note) -> Stroke | None:
        """The weak beat of a broken chord that comes back to its bass an octave above, or is
        on its way far above it: the thumb alternates there, as it does in stride, instead of
        drumming on one tone or one string.
        """
        chord = self._analysis.chord_at(note.onset)
        if beat.texture != "broken" or _is_strong(beat) or chord is None:
            return None
        since = max(self._analysis.harmony_at(note.onset).start, beat.bar.start)
        if not (self._repeats(note) or self._far_above(note)):
            return None
        if self.strokes[-1].onset < since:
            return None
        return Stroke(
            onset=note.onset,
            length=beat.length,
            choices=_free(chord, False, self._costs),
            alternates=True,
            step=None,
            rest_cost=self._costs.rest_line,
            source=note.index,
        )

    def _ring_until(self, onset: Beat) -> None:
        """The stroke before sounds on, as the bass of a broken chord does."""
        before = self.strokes[-1]
        self.strokes[-1] = replace(before, length=onset - before.onset)

    def _far_above(self, note: Note) -> bool:
        """Whether a broken chord has risen so far above its bass that this is none."""
        above = self._costs.broken_above
        return self._source is not None and note.midi - self._source.midi > above

    def _repeats(self, note: Note) -> bool:
        """Whether the source's bass strikes the tone of the stroke before once more."""
        return self._source is not None and (note.midi - self._source.midi) % 12 == 0

    def _follows(self, onset: Beat) -> bool:
        """Whether the stroke before ends where this one begins."""
        return bool(self.strokes) and self.strokes[-1].end == onset

    def _step(self, note: Note | None, *, least: int, most: int) -> int | None:
        """The source bass's interval from the stroke before, where it is a step of a line:
        ``least`` to ``most`` semitones up or down.
        """
        if note is None or self._source is None:
            return None
        if most <= 2 and not self._follows(note.onset):
            return None
        interval = note.midi - self._source.midi
        return interval if least <= abs(interval) <= most else None


def _is_strong(beat: _Beat) -> bool:
    """Every other thumb beat of the bar; in a waltz and with three beats the first alone.

    A pick-up's beats are those that end a full bar.
    """
    full = Fraction(4 * beat.bar.numerator, beat.bar.denominator)
    missing = full - beat.bar.length if beat.bar.number == 0 else Fraction(0)
    place = (beat.onset - beat.bar.start + missing) / beat.step
    if beat.texture == "waltz" or (beat.bar.length + missing) / beat.step == 3:
        return place == 0
    return place % 2 == 0


def _neighbours(tone: int, key: Key) -> list[int]:
    """The tones of the scale next to ``tone``, below and above; none for a strange tone."""
    if tone not in key.scale:
        return []
    place = key.scale.index(tone)
    return [key.scale[place - 1], key.scale[(place + 1) % 7]]


def _leading_on(
    note: Note, free: tuple[BassChoice, ...], costs: BassCosts
) -> tuple[BassChoice, ...]:
    """The source's bass tone, which leads on by step; any other of the chord is a way out."""
    choices = {choice.pitch_class: choice.cost + costs.source_missed for choice in free}
    return _choices(choices | {note.midi % 12: costs.source_tone})


def _given(
    note: Note, chord: Chord | None, costs: BassCosts, *, goes_on: bool = False
) -> tuple[BassChoice, ...]:
    """The source's bass tone first; the root and fifth as ways out. The root is nearly as
    good where an alternating bass ``goes_on`` under the same chord: which of them falls on
    which beat is the hand's choice.
    """
    choices = {note.midi % 12: costs.source_tone}
    if chord is not None:
        missed = costs.root_for_other if goes_on else costs.source_missed
        ways_out = (
            (chord.root, missed),
            (chord.fifth, costs.source_missed + costs.not_root_strong),
        )
        for tone, cost in ways_out:
            if tone is not None and tone not in choices:
                choices[tone] = cost
    return _choices(choices)


def _rooted(chord: Chord, costs: BassCosts) -> tuple[BassChoice, ...]:
    """The root that a bar owes; any other tone of the chord is a way out."""
    choices = dict.fromkeys(chord.tones, costs.root_owed)
    return _choices(choices | {chord.root: costs.root})


def _free(chord: Chord, strong: bool, costs: BassCosts) -> tuple[BassChoice, ...]:
    """Any tone of the chord, as the trade ranks them on strong and weak beats."""
    choices: dict[int, float] = {}
    for tone in chord.tones:
        if strong:
            cost = costs.root if tone == chord.root else costs.not_root_strong
        elif tone == chord.root:
            cost = costs.root_weak
        elif tone == chord.fifth:
            cost = costs.fifth_weak
        elif tone == chord.third:
            cost = costs.third_weak
        else:
            cost = costs.other_weak
        choices.setdefault(tone, cost)
    if strong and chord.bass != chord.root:
        choices[chord.bass] = costs.source_tone
    return _choices(choices)


def _choices(costs: dict[int, float]) -> tuple[BassChoice, ...]:
    return tuple(
        BassChoice(pitch_class=tone, cost=cost)
        for tone, cost in sorted(costs.items(), key=lambda item: (item[1], item[0]))
    )


def _without_overlap(found: list[Stroke]) -> list[Stroke]:
    """Strokes in order, each ending at the latest where the next begins."""
    ordered = sorted(found, key=lambda stroke: stroke.onset)
    cut: list[Stroke] = []
    for place, stroke in enumerate(ordered):
        last = place + 1 == len(ordered)
        end = stroke.end if last else min(stroke.end, ordered[place + 1].onset)
        cut.append(replace(stroke, length=end - stroke.onset))
    return cut
