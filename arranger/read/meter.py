"""Bars as they are played: signatures, pick-ups, half bars at repeats.

Files write what a musician would not print: a pick-up as a 1/8 signature before 2/4; the
last bar before a repeat and its pick-up as two signatures; a bar with grace notes as
25/32. Here each bar gets the meter a musician would name, and a place on a clean time line
that starts anew at each signature, so that one crooked bar does not shift what follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from arranger.read.piece import Signature

CROOKED = 32  # a signature in thirty-seconds or less is a bar with grace notes in it

TRUE_SHARE = 0.1  # of a piece that a meter must hold for to count as one; less is an odd bar


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedBar:
    """A bar in the file's own time: ``at`` and ``length`` in units.

    ``numerator``/``denominator`` are the meter it counts as, ``meter_length`` its length;
    ``written`` is the length that the bar gets on the clean time line (units).
    """

    at: int
    length: int
    written: int
    meter_length: int
    numerator: int
    denominator: int

    @property
    def end(self) -> int:
        return self.at + self.length

    @property
    def meter(self) -> tuple[int, int]:
        return (self.numerator, self.denominator)


def played_bars(signatures: Sequence[Signature], end: int, unit: int) -> tuple[PlayedBar, ...]:
    """The bars from the first signature to at least ``end``, in order, without gaps.

    Times are in units, ``unit`` to the quarter. The result keeps the file's own time in
    ``at`` and ``length``; odd bars carry the meter of their surroundings.
    """
    runs = _runs(signatures, end, unit)
    bars = [bar for run in runs for bar in run]
    named = _named(bars, _true_meters(runs), unit)
    return tuple(_joined_halves(named))


def _runs(signatures: Sequence[Signature], end: int, unit: int) -> list[list[PlayedBar]]:
    """One list of equal bars for each stretch between two signatures."""
    stops = [signature.at for signature in signatures[1:]]
    last = signatures[-1]
    bar = last.bar_length(unit)
    stops.append(last.at + max(1, -((last.at - end) // bar)) * bar)
    return [
        _run(signature, stop, unit)
        for signature, stop in zip(signatures, stops, strict=True)
        if stop > signature.at
    ]


def _run(signature: Signature, stop: int, unit: int) -> list[PlayedBar]:
    """The bars of one signature; a remainder under a thirty-second joins the last bar."""
    bars = []
    at = signature.at
    full = signature.bar_length(unit)
    while at < stop:
        length = min(full, stop - at)
        if stop - at - length < unit // 8:
            length = stop - at
        bars.append(
            PlayedBar(
                at=at,
                length=length,
                written=_written(length, full, unit),
                meter_length=full,
                numerator=signature.numerator,
                denominator=signature.denominator,
            )
        )
        at += length
    return bars


def _written(length: int, bar: int, unit: int) -> int:
    """A played bar length as written: the meter's own, or whole sixteenths."""
    sixteenth = unit // 4
    if abs(length - bar) <= unit // 8:
        return bar
    return max(1, round(length / sixteenth)) * sixteenth


def _true_meters(runs: list[list[PlayedBar]]) -> set[tuple[int, int]]:
    """Meters that hold for two bars on end and for a good share of the piece.

    When none does, the meter that lasts longest.
    """
    whole = sum(bar.length for run in runs for bar in run)
    lasting: dict[tuple[int, int], int] = {}
    for run in runs:
        if len(run) > 1:
            length = sum(bar.length for bar in run)
            lasting[run[0].meter] = lasting.get(run[0].meter, 0) + length
    true = {meter for meter, length in lasting.items() if length >= TRUE_SHARE * whole}
    return true or {max(runs, key=lambda run: run[0].length)[0].meter}


def _named(bars: list[PlayedBar], meters: set[tuple[int, int]], unit: int) -> list[PlayedBar]:
    """Odd bars take the meter around them; a plain change of meter keeps its own."""
    return [
        bar if around is None or bar.meter in meters else _odd_bar(bar, around, unit)
        for bar, around in zip(bars, _surroundings(bars, meters), strict=True)
    ]


def _odd_bar(bar: PlayedBar, around: PlayedBar, unit: int) -> PlayedBar:
    """``bar`` counted in the meter of ``around``, unless it is a plain longer bar."""
    longer = bar.meter_length > around.meter_length
    if longer and bar.denominator <= around.denominator:
        return bar
    written = bar.written
    if bar.denominator >= CROOKED:
        written = _written(bar.length, around.meter_length, unit)
    return replace(
        bar,
        numerator=around.numerator,
        denominator=around.denominator,
        meter_length=around.meter_length,
        written=written,
    )


def _surroundings(
    bars: list[PlayedBar], meters: set[tuple[int, int]]
) -> list[PlayedBar | None]:
    """For each bar the nearest one up to it that has a true meter, else the first such."""
    latest = next((bar for bar in bars if bar.meter in meters), None)
    result = []
    for bar in bars:
        if bar.meter in meters:
            latest = bar
        result.append(latest)
    return result


def _joined_halves(bars: list[PlayedBar]) -> list[PlayedBar]:
    """Neighbouring short bars of one meter become one, as long as they fit into a bar.

    That is a bar split at a repeat: its end before the sign, its pick-up after it. The
    pick-up of the whole piece stays as it is.
    """
    result: list[PlayedBar] = []
    for bar in bars:
        if len(result) > 1 and _fit_together(result[-1], bar):
            half = result.pop()
            result.append(
                replace(
                    half, length=half.length + bar.length, written=half.written + bar.written
                )
            )
        else:
            result.append(bar)
    return result


def _fit_together(first: PlayedBar, second: PlayedBar) -> bool:
    return (
        first.meter == second.meter
        and first.written < first.meter_length
        and second.written < second.meter_length
        and first.written + second.written <= first.meter_length
    )
