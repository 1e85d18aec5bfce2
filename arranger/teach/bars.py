"""Bars as a student sees them: what stands in the tab, and how to name them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.music.arrangement import ArrangedBar, Arrangement, Placement, in_bars
from arranger.music.repeats import ending_of, printed_bars, repeats
from arranger.music.time import Beat

Tab = tuple[tuple[Beat, int, int], ...]
"""The tab of a bar: when (from its start), string, fret, in that order."""


@dataclass(frozen=True, slots=True)
class TabBar:
    """A bar as played, with its notes; bars with equal ``tab`` look the same to a student.

    ``first`` is the number of the earliest bar that looks the same, its own where none does.
    ``printed`` is the number under which the sheet prints it: that of the first pass where a
    repeat sign brings it again; ``ending`` the number of the ending it is printed in, if any.
    ``unit`` is the beat that is counted under the tab, in source quarters: an eighth in 6/8,
    and in a 2/4 rag that is written with eighths.
    """

    bar: ArrangedBar
    notes: tuple[Placement, ...]
    tab: Tab
    first: int
    printed: int
    ending: int | None
    unit: Beat

    @property
    def number(self) -> int:
        return self.bar.bar

    @property
    def picks_up(self) -> bool:
        """Whether it is the pick-up, which no number stands over."""
        return self.number == 0

    def count(self, at: Beat) -> Beat:
        """Counted beats before a moment ``at`` after the start; a pick-up ends a bar."""
        full = Fraction(4 * self.bar.numerator, self.bar.denominator)
        lead = full - self.bar.length if self.picks_up else Fraction(0)
        return (at + lead) / self.unit


def tab_bars(arrangement: Arrangement) -> tuple[TabBar, ...]:
    """Every bar of the piece as played with the notes that begin in it."""
    notes = sorted(arrangement.notes, key=lambda note: (note.onset, -note.string))
    slices = in_bars([note.onset for note in notes], arrangement.bars)
    signs = repeats(arrangement)
    places, endings = printed_bars(len(arrangement.bars), signs), ending_of(signs)
    found = []
    seen: dict[tuple[Beat, Tab], int] = {}
    for index, (bar, here) in enumerate(zip(arrangement.bars, slices, strict=True)):
        inside = notes[here]
        tab = tuple((note.onset - bar.start, note.string, note.fret) for note in inside)
        first = seen.setdefault((bar.length, tab), bar.bar) if tab else bar.bar
        doubled = arrangement.written_scale == 2 and bar.denominator == 4
        unit = Fraction(4, bar.denominator * (2 if doubled else 1))
        printed = arrangement.bars[places[index]].bar
        found.append(TabBar(bar, tuple(inside), tab, first, printed, endings.get(index), unit))
    return tuple(found)


def full_bars(bars: Iterable[TabBar]) -> list[TabBar]:
    """The bars that are played, without the pick-up: what shares of a piece are counted in."""
    return [bar for bar in bars if bar.tab and not bar.picks_up]


def differing(one: TabBar, other: TabBar) -> int:
    """Notes in which two bars differ; one changed note counts once."""
    ours, theirs = set(one.tab), set(other.tab)
    return max(len(ours - theirs), len(theirs - ours))


PARTS = {
    Fraction(0): "",
    Fraction(1, 2): "&",
    Fraction(1, 4): "-e",
    Fraction(3, 4): "-a",
    Fraction(1, 3): "-trip",
    Fraction(2, 3): "-let",
}
"""Syllables inside a beat, as under the tab (common practice, no source)."""


def counted(at: Beat) -> str:
    """A moment in counted beats from the start of the bar, said aloud: ``1``, ``2&``."""
    beat, part = divmod(at, 1)
    return f"{beat + 1}{PARTS.get(part, f' and {part}')}"


def seen_once(bars: Iterable[TabBar]) -> tuple[TabBar, ...]:
    """``bars`` without those that look like one named before."""
    named: dict[int, TabBar] = {}
    for bar in bars:
        named.setdefault(bar.first, bar)
    return tuple(named.values())


def printed_once(bars: Iterable[TabBar]) -> tuple[int, ...]:
    """The numbers under which bars are printed, each once, in the order met."""
    return tuple(dict.fromkeys(bar.printed for bar in bars))


def in_words(bars: Iterable[TabBar]) -> str:
    """``bar 3``, ``bars 1–2, 5 and 9``, ``bar 32 (second ending)``: as the sheet prints them.

    Neighbours on the page are drawn together. A first ending is where the numbers lead of
    themselves; a second one stands beside it, and is named.
    """
    chosen = {bar.printed: bar.ending == 2 for bar in bars}
    runs: list[list[int]] = []
    for number, second in sorted(chosen.items()):
        before = runs[-1][-1] if runs else 0
        if before and number == before + 1 and chosen[before] == second:
            runs[-1].append(number)
        else:
            runs.append([number])
    names = []
    for run in runs:
        name = str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}"
        names.append(f"{name} (second ending)" if chosen[run[0]] else name)
    lead = ["the pick-up"] if names and runs[0] == [0] else []
    numbers = names[len(lead) :]
    if numbers:
        single = len(numbers) == 1 and len(runs[-1]) == 1
        numbers[0] = f"{'bar' if single else 'bars'} {numbers[0]}"
    return listed([*lead, *numbers])


def listed(names: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)


_NUMBERS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]


def number_word(count: int) -> str:
    """``three``, ``12``."""
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def times(count: int) -> str:
    """How often: ``twice``, ``three times``, ``12 times``."""
    return "twice" if count == 2 else f"{number_word(count)} times"
