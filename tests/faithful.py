"""What is heard of a piece in an arrangement, for tests that need some figures of it."""

from __future__ import annotations

from dataclasses import replace

from arranger.music.verdict import Fidelity

ALL_HEARD = Fidelity(
    melody_kept=1.0,
    grid_fidelity=1.0,
    contour_breaks=0.0,
    bass_roots=1.0,
    thirds=1.0,
    thumb_beats=1.0,
    alternation=1.0,
)
HEARD = replace(ALL_HEARD, melody_kept=0.98, thirds=0.9, alternation=0.95)
