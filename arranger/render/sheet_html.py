"""``sheet.html``: the sheet that plays, one file that asks for nothing from anywhere."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from html import escape
from itertools import groupby

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson, LessonStep
from arranger.music.verdict import Verdict
from arranger.render.diagrams import finger_list, mirrored, shape_svg
from arranger.render.engrave import System
from arranger.render.fold import Folded
from arranger.render.html_page import page_head, shipped
from arranger.render.midi import slow_spans, slowest
from arranger.render.other_ways import other_ways
from arranger.render.plain_text import kept_together, one_line
from arranger.render.spelling import engraved_names
from arranger.render.spoken import spoken_bars
from arranger.render.tab_head import (
    as_printed,
    bar_list,
    caution,
    decision_lines,
    difficulty_text,
    hardest_lines,
    key_text,
    loose_text,
    melody_text,
    sentence,
    swing_text,
    tempo_marks,
    tempo_text,
    tuning_text,
    warning_lines,
)
from arranger.render.written import in_written_time, thumb_beat, written_bars

_OPTION = re.compile(r"(?<=: )(--[a-z-]+)")
"""An option of the command line as a decision names it; a line must not end inside it."""
_GLYPH = re.compile(r'<g id="(E[0-9A-F]+)"><path [^>]*/></g>')
_NECK = (
    '<div class="neck"><svg id="neck" role="img" aria-label="The fretting hand"></svg></div>'
)

_SLOWEST, _FASTEST = 0.4, 1.25
"""The tempo slider reaches from this share of the student's tempo to this one of the target."""


def playing_sheet(
    arrangement: Arrangement,
    verdict: Verdict,
    lesson: Lesson,
    systems: Sequence[System],
    folds: Folded,
) -> str:
    """The page as text. Every word that comes from outside is escaped."""
    written = in_written_time(arrangement)
    script = shipped("sheet.js")
    title = one_line(arrangement.title) or "Untitled"
    parts = [
        page_head(title, style="sheet.css", script=script),
        "<header>",
        f"<h1>{escape(title)}</h1>",
        f'<p class="composer">{escape(one_line(arrangement.composer))}</p>',
        "</header>",
        "<main>",
        *_facts(arrangement, verdict),
        *_controls(arrangement),
        *_shapes(arrangement),
        *_score(folds.drawn, systems),
        *_others(arrangement),
        *_words("What to practise, in order", "ol", _steps(lesson)),
        *_words("About this arrangement", "ul", _notes(arrangement, verdict, folds)),
        *_spoken(written),
        f'<p class="caution">{escape(caution(lesson))}</p>',
        "</main>",
        f'<script type="application/json" id="arrangement">{_data(written, folds)}</script>',
        f"<script>{script}</script>",
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def _facts(arrangement: Arrangement, verdict: Verdict) -> Iterator[str]:
    facts = [
        ("Level", f"{arrangement.level} · difficulty {difficulty_text(verdict)}"),
        ("Key", key_text(arrangement)),
        ("Tuning", tuning_text(arrangement.tuning)),
        ("Tempo", tempo_text(arrangement)),
    ]
    if arrangement.swing != 1.0:
        facts.append(("Swing", swing_text(arrangement.swing)))
    yield '<dl class="facts">'
    for label, text in facts:
        yield f"<dt>{label}</dt><dd>{escape(text)}</dd>"
    yield "</dl>"


def _controls(arrangement: Arrangement) -> Iterator[str]:
    unit, student, target = tempo_marks(arrangement)
    slowest = max(1, int(_SLOWEST * student))
    fastest = max(student, int(_FASTEST * target)) + 1
    yield '<div class="controls" role="toolbar" aria-label="Playing">'
    yield '<button id="play" type="button">Play</button>'
    yield (
        f'<label>Tempo <input id="tempo" type="range" min="{slowest}" max="{fastest}" '
        f'value="{student}" aria-describedby="tempo-said">'
        f'<output id="tempo-said" for="tempo">{escape(unit)} = {student}</output></label>'
    )
    yield (
        '<label>Faster <select id="ladder"><option value="0">by hand</option>'
        '<option value="1">after each loop</option><option value="3">after three loops</option>'
        '<option value="5">after five loops</option></select></label>'
    )
    yield (
        '<label>Hear <select id="hear"><option value="all">all</option>'
        '<option value="thumb">thumb alone</option>'
        '<option value="fingers">fingers alone</option>'
        '<option value="melody">melody alone</option></select></label>'
    )
    yield '<label><input id="count" type="checkbox" checked> Count in</label>'
    if arrangement.swing != 1.0:
        yield '<label><input id="swing" type="checkbox" checked> Swing</label>'
    yield '<label><input id="left" type="checkbox"> Left-handed</label>'
    yield '<button id="clear" type="button" disabled>No loop</button>'
    yield '<span id="said" role="status"></span>'
    yield _NECK
    yield "</div>"


def _shapes(arrangement: Arrangement) -> Iterator[str]:
    if not arrangement.shapes:
        return
    yield '<h2>Chord shapes</h2><div class="shapes">'
    for shape in arrangement.shapes:
        said = escape(f"{shape.name}: {shape.shorthand}, fingers {finger_list(shape)}")
        for name, drawn in (("right-handed", shape), ("left-handed", mirrored(shape))):
            yield (
                f'<div class="{name}" role="img" aria-label="{said}">{shape_svg(drawn)}</div>'
            )
    yield "</div>"
    loose = loose_text(arrangement, printed=True)
    if loose:
        yield f'<p class="loose">{escape(engraved_names(loose))}</p>'


def _score(drawn: Arrangement, systems: Sequence[System]) -> Iterator[str]:
    """The systems; glyphs that all of them use are written once."""
    glyphs: dict[str, str] = {}
    drawings = []
    for system in systems:
        svg = system.svg.replace(' stroke="currentColor"', "")
        glyphs |= {found[1]: found[0] for found in _GLYPH.finditer(svg)}
        drawings.append(_GLYPH.sub("", svg))
    yield "<h2>The tune</h2>"
    # The engraver's glyphs: one definition for all systems.
    yield (
        '<svg class="glyphs" aria-hidden="true" xmlns="http://www.w3.org/2000/svg"><defs>'
        f"{''.join(glyphs.values())}</defs></svg>"
    )
    for system, svg in zip(systems, drawings, strict=True):
        first, last = (drawn.bars[system.bars[end]].bar for end in (0, -1))
        drawing = svg.replace("<svg ", '<svg class="sheet" ', 1)
        label = f'role="group" aria-label="Bars {first} to {last}"'
        yield f'<div class="system" {label}>{drawing}</div>'


def _others(arrangement: Arrangement) -> Iterator[str]:
    """Other ways to play a bar, closed until the bar is chosen."""
    ways = other_ways(arrangement)
    if not ways:
        return
    yield '<section id="others"><h2>Other ways to play a bar</h2>'
    yield "<p>Choose a bar to see them; the lines of one go into the marks file.</p>"
    for bar, same in groupby(ways, key=lambda way: way.bar):
        yield f'<details class="others" data-bar="{bar}"><summary>Bar {bar}</summary><ol>'
        for way in same:
            yield (
                f"<li><p>{escape(way.words)} {escape(way.cost[:1].upper() + way.cost[1:])}.</p>"
                f"<pre>{escape(way.tab)}</pre>"
                f'<button type="button" class="copy">Copy the lines that choose it</button>'
                f'<pre class="marks" tabindex="0">{escape(way.marks)}</pre></li>'
            )
        yield "</ol></details>"
    yield "</section>"


def _words(title: str, tag: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield f"<h2>{title}</h2><{tag}>"
        for line in lines:
            yield f"<li>{line}</li>"
        yield f"</{tag}>"


def _steps(lesson: Lesson) -> list[str]:
    return [
        f"<strong>{_words_of(step.title)}.</strong> {_words_of(step.text)}{_loop_button(step)}"
        for step in lesson.steps
    ]


def _words_of(text: str) -> str:
    return escape(kept_together(engraved_names(one_line(text))))


def _loop_button(step: LessonStep) -> str:
    """A button that loops the step's bars, as far as they lie side by side."""
    if not step.bars:
        return ""
    last = first = step.bars[0]
    for bar in step.bars[1:]:
        if bar != last + 1:
            break
        last = bar
    name = f"bars {first}–{last}" if first and last != first else bar_list([last])
    name = name if first else f"the pick-up to {name}" if last else name
    ends = f'data-from="{first}" data-to="{last}"'
    return f' <button type="button" class="loop" {ends}>Loop {name}</button>'


def _notes(arrangement: Arrangement, verdict: Verdict, folds: Folded) -> list[str]:
    lines = [
        *folds.said,
        f"The tune: {melody_text(arrangement, verdict)}",
        *as_printed(arrangement, decision_lines(arrangement)),
        *as_printed(arrangement, warning_lines(arrangement)),
        *(f"Hard: {line}" for line in hardest_lines(arrangement, verdict)),
    ]
    return [_OPTION.sub(r"<code>\1</code>", _words_of(sentence(line))) for line in lines]


def _spoken(written: Arrangement) -> Iterator[str]:
    yield '<details class="spoken"><summary>Every bar in words</summary>'
    for text in spoken_bars(written):
        yield f"<p>{escape(text)}</p>"
    yield "</details>"


def _data(written: Arrangement, folds: Folded) -> str:
    """What the script plays from; ``<`` is escaped so that no text can end the element."""
    unit, _, target = tempo_marks(written)
    data = {
        "notes": [
            [
                float(note.onset),
                float(note.length),
                note.string,
                note.fret,
                note.midi,
                note.left,
                note.right,
                note.voice,
                note.slur is not None,
            ]
            for note in written.notes
        ],
        "bars": [
            {
                "name": str(bar.number),
                "start": float(bar.start),
                "length": float(bar.bar.length),
                "full": float(bar.full),
                "missing": float(bar.missing),
                "pulse": float(bar.pulse),
                "swings": not bar.compound and bar.bar.denominator <= 4,
            }
            for bar in written_bars(written)
        ],
        "notePlace": folds.note_place,
        "barPlace": folds.bar_place,
        "swing": written.swing,
        "slowing": slowest(),
        "slow": [
            [float(start), float(end)] for start, end in slow_spans(written_bars(written))
        ],
        "unit": float(thumb_beat(written)),
        "beat": unit,
        "target": target,
    }
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")
