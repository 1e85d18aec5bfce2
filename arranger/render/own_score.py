"""The MusicXML file that was given, with strings, frets and fingers put in; nothing else.

Only ``notations/technical`` of the notes changes: string, fret, fingering and pluck. All else
of the file stays as it was, byte for byte where the file is written plainly.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from typing import Any

from lxml import etree

from arranger.music.arrangement import Arrangement, Placement

OURS = ("string", "fret", "fingering", "pluck")
UTF_8: str = "UTF-8"
AFTER_NOTATIONS = ("lyric", "play", "listen")


def with_fingering(
    original: bytes, arrangement: Arrangement, elements: Sequence[Sequence[int]]
) -> bytes:
    """The score with what the arrangement says of each note.

    ``elements[i]`` are the places, in document order, of the note elements of source note
    ``i``; a packed score is unpacked.
    """
    parser = etree.XMLParser(resolve_entities=False, no_network=True, remove_blank_text=False)
    plain = _plain(original)
    root = etree.fromstring(plain, parser)
    known = list(root.iter("note"))
    for note in arrangement.notes:
        first = True
        for source in note.source:
            for place in elements[source]:
                if _tied_on(known[place]) and not first:
                    continue
                _put(known[place], note)
                first = False
    return _told(root, plain)


def _told(root: Any, plain: bytes) -> bytes:
    """The file: what stands before the score as it was, byte for byte."""
    encoding = root.getroottree().docinfo.encoding or "UTF-8"
    before, found, _ = plain.partition(b"<score-partwise")
    if not found or not encoding.upper().startswith(("UTF-8", "ISO-8859", "US-ASCII")):
        text: Any = etree.tostring(root.getroottree(), xml_declaration=True, encoding=UTF_8)
        return bytes(text)
    if not before.lstrip(b"\xef\xbb\xbf").startswith(b"<?xml"):
        encoding = "UTF-8"
    body: Any = etree.tostring(root, encoding=encoding, xml_declaration=False, with_tail=False)
    return before + bytes(body)[body.index(b"<score-partwise") :] + b"\n"


def _plain(data: bytes) -> bytes:
    if data[:4] != b"PK\x03\x04":
        return data
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        names = [name for name in packed.namelist() if not name.startswith("META-INF")]
        return packed.read(next(n for n in names if n.lower().endswith((".xml", ".musicxml"))))


def _tied_on(element: Any) -> bool:
    """Whether the note is the later end of a tie: it is not struck again."""
    return any(tie.get("type") == "stop" for tie in element.findall("tie"))


def _put(element: Any, note: Placement) -> None:
    technical = _technical(element)
    for old in [child for child in technical if child.tag in OURS]:
        technical.remove(old)
    says = {
        "string": str(note.string),
        "fret": str(note.fret),
        "fingering": note.left,
        "pluck": note.right,
    }
    for name, text in says.items():
        child = etree.SubElement(technical, name)
        child.text = text


def _technical(element: Any) -> Any:
    """The note's ``technical``, made where it has none, in the order of the schema."""
    notations = element.find("notations")
    if notations is None:
        notations = etree.Element("notations")
        later = [child for child in element if child.tag in AFTER_NOTATIONS]
        if later:
            later[0].addprevious(notations)
        else:
            element.append(notations)
        _spaced(element, notations)
    technical = notations.find("technical")
    return etree.SubElement(notations, "technical") if technical is None else technical


def _spaced(element: Any, child: Any) -> None:
    """A new child ends its line as the one before it did."""
    before = child.getprevious()
    if before is not None:
        child.tail, before.tail = before.tail, element.text
