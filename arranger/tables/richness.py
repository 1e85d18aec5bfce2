"""How much of a piece is kept, in one figure; see richness.toml."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from arranger.tables.loader import Table, load

Weight = Annotated[float, Field(ge=0)]


class RichnessWeights(Table):
    """What each share counts; their meaning stands in richness.toml."""

    melody_kept: Weight
    direction: Weight
    bass_roots: Weight
    thirds: Weight
    thumb_beats: Weight
    inner: Weight


class RichnessTable(Table):
    weights: RichnessWeights


def richness_weights() -> RichnessWeights:
    return load("richness", RichnessTable).weights
