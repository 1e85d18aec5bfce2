"""Files that strangers may send: named attacks, and any number of mutations by a seed.

Everything is written as bytes, event by event, so that a reader sees what is wrong with it
and no library corrects it on the way.
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable
from random import Random

QUARTER = 96
END = b"\x00\xff\x2f\x00"
LONGEST_WAIT = b"\xff\xff\xff\x7f"
"""The largest variable-length quantity (Standard MIDI File 1.0)."""

MEAN_TEXTS = (
    "../../x",
    "..\\..\\x",
    "/etc/passwd",
    "CON",
    "a\x00b",
    "\u202egnp.exe",
    "\u2066\u2067 right to left \u05d0\u05d1 \u200f",
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "]]></text><b>" + "<b>" * 40,
    "&lt;&amp;&#0;&bomb;",
    '#set page(width: 1pt) #read("/etc/passwd") $ sum_(x) $ \\ @ref <label> `raw`',
    "${HOME} $(id) `id` %s {0} {{7*7}}",
    "=cmd|'/c calc'!A1",
    "\ud7ff\ufffe\ufffd\ue000",
    "e" + "\u0301" * 60,
    "\n\r\t\x0b\x0c\x1b[31m",
    "",
    ".",
    " ",
)
"""Texts that are harmless as text, and only as text."""


ACTING_TEXTS = (
    "</text></svg></style></script><script>fetch('//x.example')</script>",
    "<svg onload=alert(1)><a href='javascript:alert(1)' onclick=alert(1)>x</a>",
    "]]>&entity;&#0;&#x202e;&lt;b&gt; <!--",
    '#import "@preview/x:1" #panic[x] $ sum $ \\ \\u{202e} *b* _i_ `r` // = @a <l>',
    "\u202eright to left\u202c \u2066\u05d0\u05d1\u2069 \u200f \x00\x1b]0;x\x07\x9b2J",
    "%d %s {0} ${x} \ud800 \ufffe \U0001f3b8 e" + "\u0301" * 40,
)
"""Texts that would act in a browser, an XML reader, a typesetter or a terminal."""


def quantity(value: int) -> bytes:
    """A variable-length quantity (Standard MIDI File 1.0)."""
    parts = [value & 0x7F]
    while value := value >> 7:
        parts.append(value & 0x7F | 0x80)
    return bytes(reversed(parts))


def meta(kind: int, body: bytes) -> bytes:
    return b"\xff" + bytes((kind,)) + quantity(len(body)) + body


def chunk(name: bytes, body: bytes, *, length: int | None = None) -> bytes:
    """A chunk that states ``length``, or else its true one."""
    return name + struct.pack(">I", len(body) if length is None else length) + body


def midi(*tracks: bytes, division: int = QUARTER, kind: int = 1) -> bytes:
    """A file whose chunks are well-formed, whatever the tracks hold."""
    head = chunk(b"MThd", struct.pack(">HHH", kind, len(tracks), division))
    return head + b"".join(chunk(b"MTrk", track + END) for track in tracks)


def tune(first: int = 72, step: int = QUARTER // 2, count: int = 16) -> bytes:
    """Notes one after another."""
    wait = quantity(step)
    notes = (first + at % 5 for at in range(count))
    return b"".join(bytes((0, 0x90, n, 80)) + wait + bytes((0x80, n, 0)) for n in notes)


BASS = tune(48, QUARTER, 8)


def opening(
    *,
    title: bytes = b"Small Piece",
    meter: bytes = b"\x02\x02\x18\x08",
    tempo: bytes = b"\x09\x27\xc0",
) -> bytes:
    """Title, meter and tempo at the beginning of a track."""
    return b"".join(
        b"\x00" + meta(kind, body) for kind, body in ((3, title), (0x58, meter), (0x51, tempo))
    )


def _million_at_once() -> bytes:
    return midi(b"\x00\x90" + b"\x3c\x50\x00" * 999_999 + b"\x3c\x50")


def _cluster() -> bytes:
    """All 128 pitches at each of eight beats."""
    keys = range(128)
    beat = b"".join(bytes((0, 0x90, key, 80)) for key in keys)
    ends = [bytes((0, 0x80, key, 0)) for key in keys]
    return midi((beat + quantity(QUARTER) + ends[0][1:] + b"".join(ends[1:])) * 8)


def _among_silence() -> bytes:
    """Two hundred figures, alike and never together, among a thousand silent bars."""
    dice = Random(1)
    right, left = (
        b"".join(
            quantity(dice.randrange(2, 40) * QUARTER)
            + tune(low + dice.randrange(7), count=6)[1:]
            for _ in range(100)
        )
        for low in (72, 48)
    )
    return midi(opening() + right, left)


def _nested_titles() -> bytes:
    return midi(opening(title=b"<b>" * 300 + b"x") + tune(), BASS)


def _meters(top: int, bottom: int) -> bytes:
    return midi(opening(meter=bytes((top, bottom, 24, 8))) + tune(), BASS)


MIDI_ATTACKS: dict[str, Callable[[], bytes]] = {
    "chunk longer than the file": lambda: (
        midi(opening()) + chunk(b"MTrk", tune(), length=0xFFFFFFFF)
    ),
    "chunk shorter than its track": lambda: midi(opening()) + chunk(b"MTrk", tune(), length=3),
    "chunk of no length": lambda: midi(opening()) + chunk(b"MTrk", tune(), length=0),
    "chunks without tracks": lambda: midi() + chunk(b"XFIH", b"\x00" * 40) * 2000,
    "65,535 tracks promised": lambda: (
        chunk(b"MThd", b"\x00\x01\xff\xff\x00\x60") + chunk(b"MTrk", tune() + END)
    ),
    "20,000 empty tracks": lambda: midi(*[b""] * 20_000),
    "20,000 tracks of a note": lambda: midi(*[tune(60, QUARTER, 1)] * 20_000),
    "running status at the start": lambda: midi(b"\x00\x3c\x50\x60\x3c\x00" * 8),
    "running status after a meta event": lambda: midi(
        b"\x00\x90\x3c\x50\x00" + meta(1, b"x") + b"\x60\x3c\x00" * 8, BASS
    ),
    "tempo 0": lambda: midi(opening(tempo=b"\x00\x00\x00") + tune(), BASS),
    "tempo of 60 million a minute": lambda: midi(opening(tempo=b"\x00\x00\x01") + tune(), BASS),
    "slowest tempo": lambda: midi(opening(tempo=b"\xff\xff\xff") + tune(), BASS),
    "a tempo for every tick": lambda: midi(
        b"".join(b"\x01" + meta(0x51, struct.pack(">I", 300_000 + n)[1:]) for n in range(9999)),
        tune(),
        BASS,
    ),
    "meter 0/4": lambda: _meters(0, 2),
    "meter 4/2^255": lambda: _meters(4, 255),
    "meter 255/1": lambda: _meters(255, 0),
    "meter 1/64": lambda: _meters(1, 6),
    "bars of 64 thirty-seconds, most of them silent": lambda: midi(
        opening(meter=b"\x40\x05\x18\x08", tempo=b"\x01\xe8\x48")
        + (quantity(400 * QUARTER) + tune(count=8)[1:]) * 25,
        BASS,
    ),
    "bars of 64 whole notes, full": lambda: midi(
        opening(meter=b"\x40\x00\x18\x08", tempo=b"\x01\xe8\x48")
        + tune(step=QUARTER // 4, count=20_000)
    ),
    "50,000 notes at one tick": lambda: midi(
        opening() + b"\x00\x90" + b"\x3c\x50\x00" * 49_999 + b"\x3c\x50"
    ),
    "a meter for every tick": lambda: midi(
        b"".join(b"\x01" + meta(0x58, bytes((1 + n % 7, 2, 24, 8))) for n in range(5000)),
        tune(),
        BASS,
    ),
    "10^6 notes at one tick": _million_at_once,
    "deltas of years": lambda: midi((LONGEST_WAIT + b"\x90\x3c\x50") * 200),
    "a wait of a year before the end": lambda: midi(
        tune() + LONGEST_WAIT * 1 + b"\x80\x3c\x00" + (LONGEST_WAIT + meta(1, b"x")) * 50, BASS
    ),
    "waits just below the limit": lambda: midi(
        (quantity(500 * QUARTER) + b"\x90\x3c\x50\x60\x80\x3c\x00") * 200
    ),
    "figures among a thousand silent bars": _among_silence,
    "one tick a quarter": lambda: midi(tune(72, 1), tune(48, 2, 8), division=1),
    "32,767 ticks a quarter": lambda: midi(tune(72, 16383), BASS, division=32767),
    "no ticks a quarter": lambda: midi(tune(), BASS, division=0),
    "film frames": lambda: midi(tune(), BASS, division=0xE728),
    "film frames of nothing": lambda: midi(tune(), BASS, division=0x8000),
    "128 voices at once": _cluster,
    "1 MB of text": lambda: midi(opening(title=b"Long " * 200_000) + tune(), BASS),
    "1 MB of lyrics": lambda: midi(
        opening() + (b"\x00" + meta(5, b"la" * 500)) * 1000 + tune(), BASS
    ),
    "nested markup": _nested_titles,
    "notes that never end": lambda: midi(b"\x00\x90" + b"\x3c\x50\x60" * 500 + b"\x3c\x50"),
    "ends without notes": lambda: midi(b"\x00\x80\x3c\x00" * 5000),
    "type 2 of a hundred pieces": lambda: midi(*[tune()] * 100, kind=2),
    "an unclosed system message": lambda: midi(b"\x00\xf0" + LONGEST_WAIT + tune(), BASS),
    **{
        f"titled {text[:24]!a}": lambda text=text: midi(  # type: ignore[misc]
            opening(title=text.encode("utf-8", "surrogatepass")) + tune(), BASS
        )
        for text in MEAN_TEXTS
    },
}
"""Each attack on the reader of MIDI files by its name."""

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>'
_SCORE = """<score-partwise version="4.0"><part-list><score-part id="P1">
<part-name>{name}</part-name></score-part></part-list><part id="P1"><measure number="1">
<attributes><divisions>1</divisions><time><beats>{beats}</beats><beat-type>{type}</beat-type>
</time></attributes>{notes}</measure></part></score-partwise>"""
_NOTE = (
    "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>"
    "<duration>{duration}</duration></note>"
)


def musicxml(  # noqa: PLR0917
    name: str = "Piano",
    beats: str = "4",
    kind: str = "4",
    step: str = "C",
    octave: str = "5",
    duration: str = "1",
    *,
    doctype: str = "",
    count: int = 4,
) -> bytes:
    """A bar of one part in which any value may be wrong."""
    note = _NOTE.format(step=step, octave=octave, duration=duration)
    body = _SCORE.format(name=name, beats=beats, type=kind, notes=note * count)
    return (_HEAD + doctype + body).encode()


def packed(score: bytes, *, name: str = "score.xml", copies: int = 1) -> bytes:
    """A packed score (.mxl)."""
    box = f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", box)
        for copy in range(copies):
            archive.writestr(name if copy == 0 else f"{copy}-{name}", score)
    return stream.getvalue()


def _lies_about_size() -> bytes:
    """A packed file whose table of contents says 100 bytes where 60 MB come out."""
    data = bytearray(packed(b" " * 60_000_000))
    for name, at in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        place = data.rfind(name)
        data[place + at : place + at + 4] = struct.pack("<I", 100)
    return bytes(data)


_ENTITIES = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
BOMB = f'<!DOCTYPE score-partwise [<!ENTITY e0 "ha">{_ENTITIES}]>'
OUTSIDE = '<!DOCTYPE score-partwise [<!ENTITY e11 SYSTEM "file:///etc/hostname">]>'

NOTATION_ATTACKS: dict[str, tuple[str, Callable[[], bytes]]] = {
    "entities that multiply": (
        "bomb.musicxml",
        lambda: musicxml("&e11;", doctype=BOMB),
    ),
    "an entity that is one long text": (
        "long.musicxml",
        lambda: musicxml(
            "&e;" * 20_000,
            doctype=f'<!DOCTYPE score-partwise [<!ENTITY e "{"a" * 20_000}">]>',
        ),
    ),
    "a file of this machine as a name": (
        "outside.musicxml",
        lambda: musicxml("&e11;", doctype=OUTSIDE),
    ),
    "elements 100,000 deep": (
        "deep.musicxml",
        lambda: f"{_HEAD}<score-partwise>".encode() + b"<part>" * 100_000,
    ),
    "elements 100,000 deep, closed": (
        "deep.musicxml",
        lambda: musicxml("<b>" * 100_000 + "</b>" * 100_000),
    ),
    "zip bomb": ("bomb.mxl", lambda: packed(b" " * 60_000_000)),
    "zip bomb of many members": ("many.mxl", lambda: packed(b" " * 600_000, copies=100)),
    "zip that lies about its size": ("lies.mxl", _lies_about_size),
    "zip of nothing": ("nothing.mxl", lambda: packed(b"", name="readme.txt")),
    "zip whose member is outside": ("away.mxl", lambda: packed(musicxml(), name="../../x.xml")),
    "zip broken off": ("broken.mxl", lambda: packed(musicxml())[:-30]),
    "meter of nothing": ("meter.musicxml", lambda: musicxml(beats="0")),
    "meter over nothing": ("meter.musicxml", lambda: musicxml(kind="0")),
    "meter of words": ("meter.musicxml", lambda: musicxml(beats="many", kind="few")),
    "endless duration": ("long.musicxml", lambda: musicxml(duration="1e308")),
    "duration of a million bars": ("long.musicxml", lambda: musicxml(duration="4000000")),
    "duration below nothing": ("short.musicxml", lambda: musicxml(duration="-4")),
    "duration that fills the memory": (
        "long.musicxml",
        lambda: musicxml(duration="1e9999999999"),
    ),
    "divisions that have no common part": (
        "fine.musicxml",
        lambda: musicxml().replace(
            _NOTE.format(step="C", octave="5", duration="1").encode() * 4,
            b"".join(
                f"<attributes><divisions>{divisions}</divisions></attributes>".encode()
                + _NOTE.format(step="C", octave="5", duration="1").encode()
                for divisions in (9973, 9967, 9949, 9941, 9931, 9929)
            ),
        ),
    ),
    "octave 10^9": ("high.musicxml", lambda: musicxml(octave="1000000000")),
    "step H": ("step.musicxml", lambda: musicxml(step="H")),
    "40,000 bars of one note": (
        "many.musicxml",
        lambda: musicxml(
            name="many",
            count=1,
        ).replace(b"</measure>", b"</measure>" + b'<measure number="2"></measure>' * 40_000),
    ),
    "a repeat played a million times": (
        "again.musicxml",
        lambda: musicxml().replace(
            b"</measure>",
            b'<barline location="right"><repeat direction="backward" times="1000000"/>'
            b"</barline></measure>",
        ),
    ),
    "100,000 notes": ("crowd.musicxml", lambda: packed(musicxml(count=100_000))),
    "no Humdrum": ("x.krn", lambda: b"**kern\t**kern\n4c\n*-\t*-\n=1\t=1\t=1\n"),
    "ABC of brackets": ("x.abc", lambda: b"X:1\nT:x\nK:C\n" + b"[" * 20_000 + b"C"),
    "ABC of a megabyte": ("x.abc", lambda: b"X:1\nK:C\n" + b"C" * 1_000_000),
    "ABC of repeats": ("x.abc", lambda: b"X:1\nT:x\nM:4/4\nK:C\n" + b"|: C4 D4 :|" * 600),
}
"""Each attack on the readers of notation: the file's name, and its bytes."""


def mutant(seed: int) -> bytes:
    """A MIDI file with one to six things wrong, the same for the same seed."""
    dice = Random(seed)
    tracks = [_track(dice) for _ in range(dice.choice((1, 2, 2, 2, 3, 5)))]
    division = dice.choice((96,) * 10 + (480,) * 3 + (1, 24, 960, 32767, 0, 0xE728, 0x8000))
    data = bytearray(midi(*tracks, division=division, kind=dice.choice((0, 1, 1, 1, 2, 7))))
    for _ in range(dice.choice((0, 0, 1, 1, 2, 5))):
        _damage(data, dice)
    return bytes(data)


def _damage(data: bytearray, dice: Random) -> None:
    """One mutation of the finished bytes."""
    at = dice.randrange(max(1, len(data)))
    match dice.randrange(6):
        case 0:
            data[at : at + 1] = bytes((dice.randrange(256),))
        case 1:
            del data[at : at + dice.randrange(1, 30)]
        case 2:
            data[at:at] = dice.randbytes(dice.randrange(1, 30))
        case 3:
            del data[at:]
        case 4:
            place = data.rfind(b"MTrk", 0, at + 1)
            if place >= 0:
                wrong = dice.choice((0, 1, 2**16, 2**31, 2**32 - 1, dice.randrange(400)))
                data[place + 4 : place + 8] = struct.pack(">I", wrong)
        case 5:
            data[at:at] = data[at : at + dice.randrange(1, 200)]


def _track(dice: Random) -> bytes:
    """A track of plausible and implausible events."""
    parts = [opening() if dice.random() < 0.6 else b""]
    low = dice.choice((36, 48, 60, 72))
    step = dice.choice((1, 12, 24, 32, 48, 96, 192))
    for _ in range(dice.choice((2, 8, 8, 16, 24, 60))):
        parts.append(_odd_event(dice) if dice.random() < 0.08 else _figure(dice, low, step))
    if dice.random() < 0.02:
        parts.append(_crowd(dice))
    return b"".join(parts)


def _figure(dice: Random, low: int, step: int) -> bytes:
    """A note or a chord, its end told as note-off or with velocity 0, or not at all."""
    notes = [low + dice.randrange(16) for _ in range(dice.choice((1, 1, 1, 2, 3)))]
    channel = dice.choice((0, 0, 0, 1, 9))
    struck = b"".join(bytes((0, 0x90 | channel, note, 80)) for note in notes)
    if dice.random() < 0.05:
        return struck + quantity(step) + meta(1, b"")
    ends = b"\x00".join(bytes((0x80 | channel, note, 0)) for note in notes)
    return struck + quantity(max(0, step + dice.choice((0, 0, 0, -1, 3)))) + ends


def _odd_event(dice: Random) -> bytes:
    """An event that a writer of good will does not write."""
    wait = dice.choice((b"\x00",) * 9 + (quantity(dice.randrange(600)),) * 2 + (LONGEST_WAIT,))
    text = dice.choice(MEAN_TEXTS).encode("utf-8", "surrogatepass") * dice.choice((1, 1, 1, 60))
    event = dice.choice(
        (
            meta(dice.choice((1, 2, 3, 3, 4, 5, 6, 7)), text),
            meta(0x51, dice.choice((b"\0\0\0", b"\0\0\1", b"\xff\xff\xff", dice.randbytes(3)))),
            meta(0x58, bytes((dice.randrange(20), dice.randrange(8), 24, 8))),
            meta(0x58, dice.randbytes(4)),
            meta(0x59, dice.randbytes(2)),
            meta(dice.randrange(128), dice.randbytes(dice.randrange(6))),
            b"\xf0" + quantity(dice.randrange(200)) + b"\x01\xf7",
            bytes((dice.randrange(0xF1, 0xFF),)),
            bytes((dice.randrange(0x80),)),
            bytes((0xB0, dice.randrange(128), dice.randrange(256))),
            bytes((0x90, dice.randrange(256), dice.randrange(256))),
        )
    )
    return wait + event


def _crowd(dice: Random) -> bytes:
    """Very many notes at once, or all pitches."""
    count = dice.choice((128, 128, 1000, 5000))
    return b"".join(bytes((0, 0x90, at % 128, 80)) for at in range(count))
