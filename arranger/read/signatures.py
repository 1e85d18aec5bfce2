"""Time signatures of a piece: as stated, with a pick-up found where none is stated."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from arranger.music.errors import UsageError
from arranger.read.meter_heard import find_meter, plainly_not_in_four
from arranger.read.pickup import find_pickup
from arranger.read.piece import Piece, Remark, Signature


def with_meter(piece: Piece, meter: str) -> Piece:
    """``piece`` in the meter that the user states; a stated pick-up stays.

    Raises
    ------
    UsageError : ``meter`` is not a time signature such as 3/4.
    """
    top, bottom = _meter(meter)
    told = Signature(at=0, numerator=top, denominator=bottom)
    stated = _stated(piece)
    short = stated[:1]
    if len(stated) > 1 and stated[1].at < told.bar_length(piece.unit):
        return replace(piece, signatures=(*short, replace(told, at=stated[1].at)))
    return replace(piece, signatures=(told,), bars_stated=False)


def _meter(meter: str) -> tuple[int, int]:
    """The two numbers of a time signature as written."""
    found = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(1|2|4|8|16|32)\s*", meter)
    if found is None or not 1 <= int(found[1]) <= 32:
        raise UsageError(
            f"'{meter}' is not a meter",
            where="--meter",
            next_step="Write it as on the page, such as 3/4 or 6/8.",
        )
    return int(found[1]), int(found[2])


def with_meter_heard(piece: Piece) -> Piece:
    """``piece`` in the meter heard where its file says 4/4 from beginning to end, as programs
    write where nobody chose, and it plainly is something else.
    """
    stated = [(s.numerator, s.denominator) for s in _stated(piece)]
    if stated != [(4, 4)] or piece.bars_stated:
        return piece
    heard = plainly_not_in_four(piece)
    if heard is None:
        return piece
    top, bottom = heard
    text = (
        f"The file says 4/4 throughout, as programs write where nobody chose; {top}/{bottom} "
        "was heard and taken (--meter 4/4 says otherwise)"
    )
    return replace(
        piece,
        signatures=(Signature(at=0, numerator=top, denominator=bottom),),
        remarks=(*piece.remarks, Remark(code="meter-doubted", text=text)),
    )


def in_dotted_beats(meter: str) -> bool:
    """Whether a meter counts dotted quarters: 6/8, 9/8, 12/8.

    Raises
    ------
    UsageError : ``meter`` is not a time signature.
    """
    top, bottom = _meter(meter)
    return bottom == 8 and top % 3 == 0 and top > 3


def without_silence(piece: Piece) -> Piece:
    """``piece`` without whole bars of silence before its first note."""
    signatures = _stated(piece) or [Signature(at=0, numerator=4, denominator=4)]
    first = piece.notes[0].start
    holding = [signature for signature in signatures if signature.at <= first]
    latest = holding[-1] if holding else Signature(at=0, numerator=4, denominator=4)
    bar = latest.bar_length(piece.unit)
    silence = latest.at + (first - latest.at) // bar * bar
    if silence <= 0:
        return piece
    quarters = silence / piece.unit
    text = f"{quarters:g} quarters of silence at the beginning were left out"
    cut = _begun_later(piece, silence)
    kept = [replace(latest, at=0)] if piece.signatures else []
    kept += [s for s in cut.signatures if s.at > first - silence]
    said = Remark(code="silence-cut", text=text)
    return replace(cut, signatures=tuple(kept), remarks=(*cut.remarks, said))


def _begun_later(piece: Piece, by: int) -> Piece:
    """``piece`` without its first ``by`` units, in which nothing is played."""
    quarters = by / piece.unit
    remarks = [
        remark if remark.at is None else replace(remark, at=max(0.0, remark.at - quarters))
        for remark in piece.remarks
    ]
    return replace(
        piece,
        notes=tuple(
            replace(note, start=note.start - by, end=note.end - by) for note in piece.notes
        ),
        signatures=tuple(replace(s, at=max(0, s.at - by)) for s in piece.signatures),
        tempos=tuple(replace(t, at=max(0, t.at - by)) for t in piece.tempos),
        keys=tuple(replace(k, at=max(0, k.at - by)) for k in piece.keys),
        remarks=tuple(remarks),
    )


def read_signatures(piece: Piece) -> tuple[Piece, list[Signature], list[Remark]]:
    """The piece, its signatures from 0 on, one at a time, and what to say of them.

    Where beats followed by ear begin with a part of a bar in which nothing is played, the
    piece begins with its first bar line instead.
    """
    result = _stated(piece)
    remarks = []
    if not result:
        top, bottom = find_meter(piece)
        result = [Signature(at=0, numerator=top, denominator=bottom)]
        remarks.append(
            Remark(
                code="no-meter",
                text=f"The file states no meter; {top}/{bottom} was heard (--meter says "
                "otherwise)",
            )
        )
    if result[0].at > 0:
        result.insert(0, Signature(at=0, numerator=4, denominator=4))
    if len(result) == 1 and not piece.bars_stated:
        pickup = find_pickup(piece, result[0])
        if pickup and piece.followed is not None and pickup <= piece.notes[0].start:
            piece = _begun_later(piece, pickup)
        elif pickup:
            result, remark = _with_pickup(result[0], pickup, piece.unit)
            remarks.append(remark)
    return piece, result, remarks


def _stated(piece: Piece) -> list[Signature]:
    """The signatures of the file that change something."""
    latest = {signature.at: signature for signature in piece.signatures}
    result: list[Signature] = []
    for _, signature in sorted(latest.items()):
        meter = (signature.numerator, signature.denominator)
        if not result or meter != (result[-1].numerator, result[-1].denominator):
            result.append(signature)
    return result


def _with_pickup(
    signature: Signature, pickup: int, unit: int
) -> tuple[list[Signature], Remark]:
    """A short first signature for the pick-up, then ``signature`` from bar 1 on."""
    whole = Fraction(pickup, 4 * unit)
    short = Signature(at=0, numerator=whole.numerator, denominator=whole.denominator)
    later = Signature(
        at=pickup, numerator=signature.numerator, denominator=signature.denominator
    )
    text = (
        f"By ear the piece begins with a pick-up of {whole} of a whole note; "
        "the bars were counted from there"
    )
    return [short, later], Remark(code="pickup-found", text=text)
