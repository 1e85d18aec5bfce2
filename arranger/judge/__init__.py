"""The independent judge: rules of the hand, fidelity to the source, difficulty."""

from arranger.judge.fidelity import fidelity, unfaithful_bars
from arranger.judge.grip import Fault, HandLimits, any_hand, hand_faults, limits_of
from arranger.judge.rules import violations

__all__ = [
    "Fault",
    "HandLimits",
    "any_hand",
    "fidelity",
    "hand_faults",
    "limits_of",
    "unfaithful_bars",
    "violations",
]
