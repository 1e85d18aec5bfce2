"""Score -> Analysis: keys, chords, melody, bass, textures, repeats, sections, phrases."""

from arranger.analyse.listen import analyse

__all__ = ["analyse"]
