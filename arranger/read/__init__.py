"""A file becomes a ``Score``: the only room where ticks and seconds exist.

A tab in MusicXML, where every finger is known already, becomes an ``Arrangement``.
"""

from arranger.read.guitar_page import guitar_page
from arranger.read.reading import read
from arranger.read.tablature import tablature

__all__ = ["guitar_page", "read", "tablature"]
