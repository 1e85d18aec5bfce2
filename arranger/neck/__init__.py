"""Reduction -> Arrangement: geometry, grips, moves, the constraint model and its bound."""

from arranger.neck.placing import place

__all__ = ["place"]
