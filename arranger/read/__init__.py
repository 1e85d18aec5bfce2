"""A file becomes a ``Score``: the only room where ticks and seconds exist.

A tab in MusicXML, where every finger is known already, becomes an ``Arrangement``.
"""

from arranger.read.reading import read
from arranger.read.tablature import tablature

__all__ = ["read", "tablature"]
