"""``tab.txt``: the arrangement as text, 80 columns, string 1 on top.

What belongs to the fingers i m a stands between chord names and tab (left fingers) and right
below the tab (letters); what belongs to the thumb stands below that. A column is a moment:
everything in it is played together, and within a bar distances are in proportion to time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.lesson import Lesson
from arranger.music.pitch import note_name
from arranger.music.time import Beat
from arranger.music.verdict import Verdict
from arranger.render.barre import BarreMark, barre_marks
from arranger.render.slurs import SlurSigns, slur_signs
from arranger.render.tab_grid import Stretch, short_label, stretches
from arranger.render.tab_head import foot, head
from arranger.render.written import WrittenBar, in_written_time, written_bars

WIDTH = 80
_MARGIN = 6
_CHORD_ROWS = 3
_ROOM = WIDTH - _MARGIN - len("||")


def tab_text(arrangement: Arrangement, verdict: Verdict, lesson: Lesson) -> str:
    """The whole of ``tab.txt``: what to know first, the tab, what to practise."""
    written = in_written_time(arrangement)
    systems = ["\n".join(lines) for lines in tab_systems(written)]
    return (
        "\n\n".join([head(arrangement, verdict), *systems, foot(arrangement, verdict, lesson)])
        + "\n"
    )


def tab_systems(written: Arrangement) -> Iterator[list[str]]:
    """The systems of the tab, each as its lines, none longer than 80 columns."""
    return Tab(written).systems(range(len(written.bars)))


class Tab:
    """The tab of an arrangement in written time, to be had whole or by some bars."""

    def __init__(self, written: Arrangement) -> None:
        self._bars = written_bars(written)
        self._tuning = written.tuning
        self._barres = barre_marks(written)
        self._signs = slur_signs(written.notes)
        self._parts = [tuple(stretches(bar, room=_ROOM - 1)) for bar in self._bars]

    def lines_needed(self, bars: range) -> int:
        """How many systems the bars (indices) take."""
        return sum(1 for _ in _systems(chain.from_iterable(self._parts[i] for i in bars)))

    def systems(self, bars: range) -> Iterator[list[str]]:
        """The systems of these bars (indices)."""
        for row in _systems(chain.from_iterable(self._parts[i] for i in bars)):
            last = row[-1].end == self._bars[-1].end
            yield _System(row, self._tuning, self._barres, self._signs, last=last).lines()


def _systems(parts: Iterable[Stretch]) -> Iterator[list[Stretch]]:
    """As many bars to a system as fit; a section begins a new one."""
    row: list[Stretch] = []
    used = 0
    for part in parts:
        opens = part.opens_bar and part.bar.bar.section is not None
        pick_up = all(earlier.bar.missing > 0 for earlier in row)
        if row and ((opens and not pick_up) or used + 1 + part.width > _ROOM):
            yield row
            row, used = [], 0
        row.append(part)
        used += part.width + 1
    if row:
        yield row


class _Rows:
    """Named rows of text in the order in which they were first asked for."""

    def __init__(self) -> None:
        self._cells: dict[str, list[str]] = {}

    def put(self, row: str, column: int, text: str) -> None:
        cells = self._cells.setdefault(row, [])
        cells.extend(" " * (column + len(text) - len(cells)))
        cells[column : column + len(text)] = text

    def blank(self, row: str, column: int) -> bool:
        """Whether nothing stands at ``column``."""
        cells = self._cells.get(row, [])
        return column >= len(cells) or cells[column] == " "

    def free(self, row: str, column: int) -> bool:
        """Whether nothing stands at or right before ``column``."""
        cells = self._cells.get(row, [])
        return all(cell == " " for cell in cells[max(0, column - 1) :])

    def line(self, row: str) -> str | None:
        cells = self._cells.get(row)
        return None if cells is None else "".join(cells).rstrip()


@dataclass(frozen=True, slots=True)
class _Stack:
    """Marks of one moment that stand over each other, string 1 on top."""

    column: int
    marks: tuple[str, ...]


class _System:
    """One line of music being laid out."""

    def __init__(
        self,
        parts: Sequence[Stretch],
        tuning: Sequence[int],
        barres: Sequence[BarreMark],
        signs: SlurSigns,
        *,
        last: bool,
    ) -> None:
        self.parts = parts
        self.tuning = tuning
        self.barres = barres
        self.signs = signs
        self.last = last
        self.rows = _Rows()
        self.left: list[_Stack] = []
        self.right: list[_Stack] = []
        self.thumb: list[int] = []

    def lines(self) -> list[str]:
        self._strings()
        column = 0
        for part in self.parts:
            self._bar_line(column, part)
            self._over(column + 1, part)
            self._notes(column + 1, part)
            self._count(column + 1, part)
            column += part.width + 1
        self._bar_line(column, None)
        self._barres()
        return self._assemble()

    def _strings(self) -> None:
        width = sum(part.width + 1 for part in self.parts)
        for string in range(1, 7):
            self.rows.put(f"string {string}", 0, "-" * width)

    def _bar_line(self, column: int, part: Stretch | None) -> None:
        """A bar line before ``part``; none where a bar too long for a line goes on."""
        inside = part is not None and not part.opens_bar
        closes = part is None and not self.parts[-1].closes_bar
        sign = "-" if inside or closes else "||" if part is None and self.last else "|"
        for string in range(1, 7):
            self.rows.put(f"string {string}", column, sign)

    def _over(self, column: int, part: Stretch) -> None:
        if part.opens_bar:
            self.rows.put("bar", column, bar_label(part.bar, part.width))
        for mark in part.bar.marks:
            if part.start <= mark.onset < part.end:
                self._chord(column + part.column(mark.onset), mark.name)

    def _chord(self, column: int, name: str) -> None:
        """A chord name, on a row above where the name before it reaches that far."""
        row = 0
        while row < _CHORD_ROWS - 1 and not self.rows.free(f"chord {row}", column):
            row += 1
        place = min(column, WIDTH - _MARGIN - len(name))
        self.rows.put(f"chord {row}", place, name)

    def _notes(self, column: int, part: Stretch) -> None:
        at: dict[Beat, list[Placement]] = defaultdict(list)
        for note in part.notes:
            at[note.onset].append(note)
        for onset, notes in at.items():
            place = column + part.column(onset)
            for note in notes:
                sign = self.signs.get((onset, note.string), "")
                self.rows.put(f"string {note.string}", place - len(sign), f"{sign}{note.fret}")
            self._hands(place, sorted(notes, key=lambda note: note.string))

    def _hands(self, place: int, notes: Sequence[Placement]) -> None:
        fingers = [note for note in notes if note.right != "p"]
        thumb = [note for note in notes if note.right == "p"]
        self.left.append(_Stack(place, _left_marks(fingers)))
        self.right.append(
            _Stack(place, tuple(note.right for note in fingers if note.slur is None))
        )
        if any(note.slur is None for note in thumb):
            self.rows.put("thumb", place, "p")
            self.thumb.append(place)
        for depth, mark in enumerate(_left_marks(thumb)):
            self.rows.put(f"thumb left {depth}", place, mark)

    def _count(self, column: int, part: Stretch) -> None:
        for onset, text in part.counts:
            self.rows.put("count", column + part.column(onset), text)

    def _barres(self) -> None:
        column = 1
        for part in self.parts:
            for barre in self.barres:
                if barre.start < part.end and barre.end > part.start:
                    self._barre(column, part, barre)
            column += part.width + 1

    def _barre(self, column: int, part: Stretch, barre: BarreMark) -> None:
        """``CI-----``; in the next bar or line the mark goes on as dashes, or starts anew."""
        start = column + part.column(max(barre.start, part.start))
        end = column + (part.width if barre.end >= part.end else part.column(barre.end) - 1)
        goes_on = barre.start < part.start and part is not self.parts[0]
        if goes_on:
            self.rows.put("barre", column - 1, "-" * (end - column + 1))
        elif self.rows.free("barre", start):
            self.rows.put("barre", start, barre.text.ljust(end - start, "-"))

    def _string_names(self) -> Iterator[tuple[int, str]]:
        """String numbers with note names; string 1 in small letters, as guitarists write it."""
        for number, midi in enumerate(self.tuning, start=1):
            name = note_name(midi, octave=False)
            yield number, name.lower() if number == 1 else name

    def _stems(self, rows: int) -> None:
        """Thumb strokes hang from the tab: a stem in each letter row that is free there."""
        for column in self.thumb:
            for row in range(rows):
                if self.rows.blank(f"right {row}", column):
                    self.rows.put(f"right {row}", column, "|")

    def _assemble(self) -> list[str]:
        depth = max((len(stack.marks) for stack in self.left), default=0)
        for stack in self.left:
            for index, mark in enumerate(stack.marks):
                self.rows.put(f"left {depth - len(stack.marks) + index}", stack.column, mark)
        tall = max((len(stack.marks) for stack in self.right), default=0)
        for stack in self.right:
            for index, mark in enumerate(stack.marks):
                self.rows.put(f"right {index}", stack.column, mark)
        self._stems(max(tall, 1))
        order = [
            ("bar", "bar"),
            *((f"chord {n}", "") for n in reversed(range(_CHORD_ROWS))),
            ("barre", "barre"),
            *((f"left {n}", "left" if n == depth - 1 else "") for n in range(depth)),
            *((f"string {n}", f"{name:>5}") for n, name in self._string_names()),
            *((f"right {n}", "right" if n == 0 else "") for n in range(max(tall, 1))),
            ("thumb", "thumb"),
            *((f"thumb left {n}", "left" if n == 0 else "") for n in range(6)),
            ("count", "count"),
        ]
        lines = []
        for row, label in order:
            line = self.rows.line(row)
            if line:
                lines.append(f"{label:<{_MARGIN - 1}} {line}".rstrip())
        return lines


def _left_marks(notes: Sequence[Placement]) -> tuple[str, ...]:
    """Left fingers of one moment; a lone open string needs none, the tab says 0."""
    if all(note.left == "0" for note in notes):
        return ()
    return tuple(note.left for note in notes)


def bar_label(bar: WrittenBar, room: int) -> str:
    """``[A] 9 same as bar 1``, shortened to what fits over the bar."""
    number = short_label(bar)
    if bar.bar.same_as is None:
        return number
    for said in (
        f" same as bar {bar.bar.same_as}",
        f" = bar {bar.bar.same_as}",
        f" ={bar.bar.same_as}",
    ):
        if len(number + said) < room:
            return number + said
    return number
