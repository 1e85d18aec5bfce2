"""A file becomes a ``Score``: the only room where ticks and seconds exist."""

from arranger.read.reading import read

__all__ = ["read"]
