"""Reduction -> Arrangement: geometry, grips, moves, the constraint model and its bound.

A score that is to be played as written is fingered without a reduction.
"""

from arranger.neck.as_written import BothHands, both_hands, finger_page
from arranger.neck.burden import Priced
from arranger.neck.placing import place

__all__ = ["BothHands", "Priced", "both_hands", "finger_page", "place"]
