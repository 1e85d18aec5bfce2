"""Piano MIDI in, a solo fingerstyle guitar arrangement a student can play out."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from arranger.music.errors import ArrangerError
    from arranger.music.outcome import Outcome
    from arranger.run.batch import batch
    from arranger.run.compare import compare
    from arranger.run.fingering import Fingered, finger, finger_notes
    from arranger.run.pipeline import Result, arrange
    from arranger.run.rate import rate

__all__ = [
    "ArrangerError",
    "Fingered",
    "Outcome",
    "Result",
    "arrange",
    "batch",
    "compare",
    "finger",
    "finger_notes",
    "rate",
]

_HOME = {
    "ArrangerError": "arranger.music.errors",
    "Outcome": "arranger.music.outcome",
    "Result": "arranger.run.pipeline",
    "arrange": "arranger.run.pipeline",
    "batch": "arranger.run.batch",
    "compare": "arranger.run.compare",
    "Fingered": "arranger.run.fingering",
    "finger": "arranger.run.fingering",
    "finger_notes": "arranger.run.fingering",
    "rate": "arranger.run.rate",
}


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so ``--help`` stays quick (PEP 562)."""
    if name not in _HOME:
        raise AttributeError(f"module 'arranger' has no attribute '{name}'")
    from importlib import import_module  # noqa: PLC0415

    return getattr(import_module(_HOME[name]), name)
