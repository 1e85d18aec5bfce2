"""How rich an arrangement is: what it keeps of the piece, in one figure.

Metric
------
The mean of shares, weighted by ``tables/richness.toml``: those of ``fidelity``, and ``inner``:
of the onsets at which the source has notes that are neither tune nor bass, those at which an
inner note of the arrangement begins (1 where the source has none).
"""

from __future__ import annotations

from arranger.music.analysis import Analysis
from arranger.music.arrangement import Arrangement
from arranger.music.verdict import Fidelity
from arranger.tables.richness import richness_weights


def richness(arrangement: Arrangement, analysis: Analysis, heard: Fidelity) -> float:
    """0..1; ``heard`` is the arrangement's fidelity to the piece of ``analysis``."""
    shares = {
        "melody_kept": heard.melody_kept,
        "direction": 1.0 - heard.contour_breaks,
        "bass_roots": heard.bass_roots,
        "thirds": heard.thirds,
        "thumb_beats": heard.thumb_beats,
        "inner": _inner(arrangement, analysis),
    }
    weights: dict[str, float] = richness_weights().model_dump()
    total = sum(weights[name] * share for name, share in shares.items())
    return total / (sum(weights.values()) or 1.0)


def _inner(arrangement: Arrangement, analysis: Analysis) -> float:
    taken = set(analysis.melody) | set(analysis.bass)
    wanted = {
        note.onset
        for note in analysis.score.notes
        if note.index not in taken and note.ornament is None
    }
    played = {note.onset for note in arrangement.notes if note.voice == "inner"}
    return len(wanted & played) / len(wanted) if wanted else 1.0
