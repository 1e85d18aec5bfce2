"""A MusicXML score comes back as it was, with its fingering and nothing else."""

from __future__ import annotations

import copy

import pytest
from lxml import etree

from arranger import finger

SCORE = """<?xml version='1.0' encoding='UTF-8'?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" \
"http://www.musicxml.org/dtds/partwise.dtd">
<!-- kept -->
<score-partwise version="4.0">
  <work><work-title>Study &amp; coda</work-title></work>
  <part-list>
    <score-part id="P1"><part-name>Guitar</part-name></score-part>
    <score-part id="P2"><part-name>Flute</part-name></score-part>
  </part-list>
  <part id="P1">
    <measure number="1" width="212.5">
      <attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type></time>
        <clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>
      </attributes>
      <direction placement="above">
        <direction-type><words>dolce</words></direction-type></direction>
      <note default-x="20">
        <pitch><step>C</step><octave>4</octave></pitch>
        <duration>2</duration>
        <voice>1</voice>
        <type>quarter</type>
        <notations><articulations><tenuto/></articulations></notations>
        <lyric><syllabic>single</syllabic><text>la</text></lyric>
      </note>
      <note>
        <pitch><step>E</step><octave>4</octave></pitch>
        <duration>2</duration>
        <tie type="start"/>
        <voice>1</voice>
        <lyric><text>lu</text></lyric>
      </note>
    </measure>
    <measure number="2">
      <note>
        <pitch><step>E</step><octave>4</octave></pitch>
        <duration>4</duration>
        <tie type="stop"/>
        <voice>1</voice>
      </note>
    </measure>
  </part>
  <part id="P2">
    <measure number="1"><note><rest measure="yes"/><duration>4</duration></note></measure>
    <measure number="2"><note><pitch><step>G</step><octave>5</octave></pitch>
      <duration>4</duration></note></measure>
  </part>
</score-partwise>
"""
OURS = ("string", "fret", "fingering", "pluck")


@pytest.fixture
def returned(tmp_path):
    path = tmp_path / "study.musicxml"
    path.write_text(SCORE, "utf-8")
    return finger(path).documents()["score.musicxml"]


def without_fingering(root):
    """The score with our marks taken out, and what only held them."""
    bare = copy.deepcopy(root)
    for mark in list(bare.iter(*OURS)):
        mark.getparent().remove(mark)
    for tag in ("technical", "notations"):
        for element in [one for one in bare.iter(tag) if len(one) == 0]:
            element.getparent().remove(element)
    return bare


def elements(root):
    """Every element with its attributes and text, blanks between elements aside."""
    return [
        (element.tag, dict(element.attrib), (element.text or "").strip())
        for element in root.iter()
    ]


def test_all_else_stays(returned):
    before, after = etree.fromstring(SCORE.encode()), etree.fromstring(returned)
    assert elements(without_fingering(after)) == elements(before)


def test_lines_of_the_file_stay(returned):
    """Line by line: what was there is there still, in the same order."""
    lines = iter(returned.decode().splitlines())
    for line in SCORE.splitlines():
        if "<notations>" in line:
            continue  # our marks stand inside
        assert any(line in found for found in lines), line


def test_every_struck_note_has_its_fingering_in_the_order_of_the_schema(returned):
    notes = list(etree.fromstring(returned).iter("note"))
    first, second, tied, rest, flute = notes
    for note in (first, second):
        technical = note.find("notations/technical")
        assert [mark.tag for mark in technical] == list(OURS)
        assert note.index(note.find("notations")) < note.index(note.find("lyric"))
    assert first.find("notations/articulations/tenuto") is not None
    for note in (tied, rest, flute):
        assert note.find("notations") is None


def test_fingering_put_in_twice_stands_there_once(returned, tmp_path):
    path = tmp_path / "again.musicxml"
    path.write_bytes(returned)
    again = finger(path).documents()["score.musicxml"]
    assert elements(etree.fromstring(again)) == elements(etree.fromstring(returned))
