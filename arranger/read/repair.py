"""Bytes of a damaged Standard MIDI File made well-formed, each mend told.

What comes out is a file that any library reads: header, tracks of notes, tempo, meter,
key and text; everything else (controllers, system messages) is left out, because no later
pass needs it. What was wrong comes out as one ``Remark`` a kind, with its first place.

Source of the format: Standard MIDI File 1.0.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from arranger.music.errors import UnreadableInput
from arranger.read.encoding import decoded
from arranger.read.piece import Remark
from arranger.read.table import Limits

Event = tuple[int, bytes]
"""A tick, and a message as it stands in a file."""
HEADER, TRACK = b"MThd", b"MTrk"
TEXT_TYPES = range(0x01, 0x08)
END_OF_TRACK, TEMPO, METER, KEY = 0x2F, 0x51, 0x58, 0x59
NOTE_OFF, NOTE_ON = 0x80, 0x90
ONE_DATA_BYTE = (0xC0, 0xD0)  # program change, channel pressure
STRAY_DATA = {0xF1: 1, 0xF2: 2, 0xF3: 1}  # data bytes of system messages not allowed here
USUAL_DIVISION = 480  # ticks a quarter, where the header's is unusable

WORDS = {
    "junk-before-header": "bytes before the file header were skipped",
    "header-missing": "the file header is damaged; 480 ticks a quarter were assumed",
    "division-zero": "the header says 0 ticks a quarter; 480 were assumed",
    "smpte-time": "the file counts film frames, not beats; the meter was found by ear",
    "type-unknown": "the header names an unknown file type; the tracks were read together",
    "tracks-in-turn": "the file's tracks are separate pieces; they were put one after another",
    "track-count": "the header promises another number of tracks than there are",
    "track-truncated": "a track breaks off; what is there was kept",
    "track-length": "a track states a wrong length; its end was found by its contents",
    "status-skipped": "bytes that mean nothing in a MIDI file were skipped",
    "data-without-status": "data without a message before it were skipped",
    "message-broken": "a message breaks off and was dropped",
    "delta-clamped": "an absurdly long wait was cut to one whole note; "
    "what follows may be shifted",
    "meter-dropped": "a time signature that cannot be was dropped",
    "key-dropped": "a key signature that cannot be was dropped",
    "tempo-dropped": "a tempo that cannot be was dropped",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Repaired:
    """What a file says, well-formed, and what was mended.

    ``tracks``: the messages of each, their ticks counted from the start; ``division``: ticks a
    quarter. ``in_seconds``: the file counts film frames; its quarters are seconds.
    """

    tracks: Sequence[Sequence[Event]]
    division: int
    in_seconds: bool
    remarks: tuple[Remark, ...]

    @property
    def data(self) -> bytes:
        """The same as the bytes of a file of type 1."""
        return _written(self.tracks, self.division)


class Mends:
    """What was mended: how often, and where first."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.first: dict[str, tuple[int | None, int]] = {}

    def note(self, code: str, track: int | None = None, tick: int = 0) -> None:
        self.counts[code] += 1
        self.first.setdefault(code, (track, tick))

    def known(self, code: str, track: int) -> bool:
        """Whether ``code`` was first noted in this track."""
        return code in self.first and self.first[code][0] == track

    def remarks(self, division: int) -> tuple[Remark, ...]:
        return tuple(self._remark(code, division) for code in WORDS if self.counts[code])

    def _remark(self, code: str, division: int) -> Remark:
        track, tick = self.first[code]
        count = self.counts[code]
        text = WORDS[code][0].upper() + WORDS[code][1:]
        if track is None:
            return Remark(code=code, text=text)
        at = tick / division
        place = f"track {track + 1}, quarter {at:.4g}"
        times = f"{count} times, first in {place}" if count > 1 else f"in {place}"
        return Remark(code=code, text=f"{text} ({times})", at=at)


def repair(data: bytes, limits: Limits, *, where: str) -> Repaired:
    """``data`` as a well-formed file of type 1.

    Raises
    ------
    UnreadableInput : no MIDI header and no track can be found in ``data``, or there are
        more notes in it than ``limits`` allow.
    """
    mends = Mends()
    kind, division, seconds, place = _header(data, mends, where)
    bodies = _chunks(data, place, mends)
    _refuse_more(len(bodies), limits.tracks, "tracks", where)
    tracks = []
    struck = 0
    for number, body in enumerate(bodies):
        track = _Track(body, number, mends, limits, division)
        tracks.append(track.events())
        struck += track.struck
        _refuse_more(struck, limits.notes, "notes", where)
    if not tracks:
        raise UnreadableInput(
            "the file holds no tracks",
            where=where,
            next_step="Export the piece again from where it comes from.",
        )
    if seconds:
        tracks = [[e for e in track if not _is_meta(e[1], TEMPO)] for track in tracks]
        tracks[0].insert(0, (0, b"\xff\x51\x03" + (1_000_000).to_bytes(3, "big")))
    if kind == 2 and len(tracks) > 1:
        mends.note("tracks-in-turn")
        tracks = _in_turn(tracks, division)
    return Repaired(
        tracks=tracks,
        division=division,
        in_seconds=seconds,
        remarks=mends.remarks(division),
    )


def _refuse_more(count: int, most: int, things: str, where: str) -> None:
    if count > most:
        raise UnreadableInput(
            f"the file holds more than {most} {things}",
            where=where,
            next_step="Give one piece or one movement.",
        )


def _is_meta(event: bytes, kind: int) -> bool:
    return event[:2] == bytes((0xFF, kind))


def _header(data: bytes, mends: Mends, where: str) -> tuple[int, int, bool, int]:
    """File type, ticks a quarter, whether a quarter stands for a second, first chunk."""
    place = data.find(HEADER)
    if place < 0:
        place = data.find(TRACK)
        if place < 0:
            raise UnreadableInput(
                "the file is not a MIDI file" if data else "the file is empty",
                where=where,
                next_step="Give a .mid, .musicxml, .mxl, .krn or .abc file.",
            )
        mends.note("header-missing")
        return 1, USUAL_DIVISION, False, place
    if place > 0:
        mends.note("junk-before-header")
    body = data[place + 8 : place + 14]
    if len(body) < 6:
        mends.note("header-missing")
        return 1, USUAL_DIVISION, False, len(data)
    kind, count, division = struct.unpack(">HHH", body)
    length = int.from_bytes(data[place + 4 : place + 8], "big")
    first = place + 8 + length
    if data[first : first + 4] != TRACK:
        found = data.find(TRACK, place + 8)
        first = found if found >= 0 else len(data)
    if kind > 2:
        mends.note("type-unknown")
        kind = 1
    if count != data.count(TRACK, first) and count > 0 and kind != 0:
        mends.note("track-count")
    seconds = bool(division & 0x8000)
    if seconds:
        mends.note("smpte-time")
        division = (256 - (division >> 8)) * (division & 0xFF)
    if division == 0:
        mends.note("division-zero")
        division = USUAL_DIVISION
    return kind, min(division, 0x7FFF), seconds, first


def _chunks(data: bytes, place: int, mends: Mends) -> list[bytes]:
    """The bodies of the track chunks; a wrong length does not cost the next track."""
    bodies: list[bytes] = []
    while True:
        place = data.find(TRACK, place)
        if place < 0 or place + 8 > len(data):
            return bodies
        start = place + 8
        stop = start + int.from_bytes(data[place + 4 : start], "big")
        if stop > len(data) or not _chunk_at(data, stop):
            found = data.find(TRACK, start)
            stated, stop = stop, found if found >= 0 else len(data)
            if stated > len(data) and found < 0:
                mends.note("track-truncated", len(bodies))
            elif data[start:stop].rstrip(b"\x00")[-3:-1] != b"\xff\x2f":
                mends.note("track-length", len(bodies))
        bodies.append(data[start:stop])
        place = stop


def _chunk_at(data: bytes, place: int) -> bool:
    """Whether a chunk begins at ``place``, or the file ends (stray last bytes allowed)."""
    name = data[place : place + 4]
    return len(name) < 4 or name == TRACK or (name.isalnum() and name.isascii())


class _Track:
    """One track body, read event by event; forgiving, and it tells."""

    def __init__(
        self, data: bytes, number: int, mends: Mends, limits: Limits, division: int
    ) -> None:
        self.data = data
        self.number = number
        self.mends = mends
        self.longest_wait = int(limits.rest_quarters * division)
        self.whole_note = 4 * division
        self.place = 0
        self.tick = 0
        self.status = 0
        self.struck = 0
        self.most = limits.notes
        self.result: list[Event] = []

    def events(self) -> list[Event]:
        """(tick, message) of notes, tempo, meter, key and text, without the track's end.

        It stops early where more notes are ``struck`` than a file may hold.
        """
        try:
            while self.place < len(self.data) and self.struck <= self.most:
                self._wait()
                if self._event():
                    return self.result
        except IndexError:
            pass  # the body ends within a message
        if not self.mends.known("track-truncated", self.number):
            self._note("track-truncated")
        return self.result

    def _note(self, code: str) -> None:
        self.mends.note(code, self.number, self.tick)

    def _quantity(self) -> int:
        """A variable-length quantity of at most four bytes."""
        value = 0
        for _ in range(4):
            byte = self.data[self.place]
            self.place += 1
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                break
        return value

    def _wait(self) -> None:
        delta = self._quantity()
        if delta > self.longest_wait:
            self._note("delta-clamped")
            delta = self.whole_note
        self.tick += delta

    def _event(self) -> bool:
        """Read one event; True at the end of the track."""
        byte = self.data[self.place]
        if byte < 0x80:
            if not self.status:
                self._note("data-without-status")
                self.place += 1
                return False
            self._channel_message(self.status)
            return False
        self.place += 1
        if byte < 0xF0:
            self.status = byte
            self._channel_message(byte)
            return False
        self.status = 0
        if byte == 0xFF:
            return self._meta()
        if byte in (0xF0, 0xF7):
            length = self._quantity()
            self.place += length
            return False
        self._note("status-skipped")
        self.place += STRAY_DATA.get(byte, 0)
        return False

    def _channel_message(self, status: int) -> None:
        kind = status & 0xF0
        length = 1 if kind in ONE_DATA_BYTE else 2
        body = self.data[self.place : self.place + length]
        if not body.isascii():
            self._note("message-broken")
            self.place += next(i for i, byte in enumerate(body) if byte >= 0x80)
            return
        if len(body) < length:
            raise IndexError
        self.place += length
        if kind in (NOTE_ON, NOTE_OFF):
            self.struck += kind == NOTE_ON and body[1] > 0
            self.result.append((self.tick, bytes((status,)) + body))

    def _meta(self) -> bool:
        kind = self.data[self.place]
        self.place += 1
        length = self._quantity()
        body = self.data[self.place : self.place + length]
        self.place += length
        if kind == END_OF_TRACK:
            return True
        if len(body) < length:
            raise IndexError
        dropped = _dropped(kind, body)
        if dropped:
            self._note(dropped)
        elif kind in TEXT_TYPES:
            text = decoded(body).encode("utf-8")
            self.result.append((self.tick, _meta_message(kind, text)))
        elif kind in (TEMPO, METER, KEY):
            self.result.append((self.tick, _meta_message(kind, body)))
        return False


def _dropped(kind: int, body: bytes) -> str | None:
    """The code of the mend when a meta event says something that cannot be."""
    if kind == TEMPO and (len(body) != 3 or not any(body)):
        return "tempo-dropped"
    if kind == METER and (len(body) != 4 or not 1 <= body[0] <= 64 or body[1] > 6):
        return "meter-dropped"
    if kind == KEY:
        sharps = int.from_bytes(body[:1], "big", signed=True)
        if len(body) != 2 or abs(sharps) > 7 or body[1] > 1:
            return "key-dropped"
    return None


def _in_turn(tracks: list[list[Event]], division: int) -> list[list[Event]]:
    """Tracks of a type 2 file one after another, each beginning on a whole note."""
    shifted = []
    start = 0
    for track in tracks:
        shifted.append([(start + tick, message) for tick, message in track])
        last = track[-1][0] if track else 0
        start += -(-last // (4 * division)) * 4 * division
    return shifted


def _written(tracks: Sequence[Sequence[Event]], division: int) -> bytes:
    """The bytes of a type 1 file."""
    parts = [HEADER, struct.pack(">IHHH", 6, 1, len(tracks), division)]
    for track in tracks:
        body = bytearray()
        before = 0
        for tick, message in track:
            body += variable_length(tick - before) + message
            before = tick
        body += b"\x00\xff\x2f\x00"
        parts += [TRACK, struct.pack(">I", len(body)), bytes(body)]
    return b"".join(parts)


def _meta_message(kind: int, body: bytes) -> bytes:
    return bytes((0xFF, kind)) + variable_length(len(body)) + body


def variable_length(value: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the last byte below 80."""
    parts = [value & 0x7F]
    while value := value >> 7:
        parts.append(value & 0x7F | 0x80)
    return bytes(reversed(parts))
