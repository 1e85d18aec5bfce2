"""What music asks of a student, as the solver prices it; see burden.toml."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class Loads(Table):
    """Load by unit of what the solver decides; units stand in burden.toml."""

    strike: float = Field(ge=0)
    sound: float = Field(ge=0)
    held: float = Field(ge=0)
    moved: float = Field(ge=0)
    place: float = Field(ge=0)
    note: float = Field(ge=0)
    length_span: float = Field(gt=0)


class PriceSteps(Table):
    """Prices in points a unit of load: ``first``, and from step to step a ``factor``."""

    first: float = Field(gt=0)
    factor: float = Field(gt=1)
    steps: int = Field(ge=1)

    def at(self, step: int) -> float:
        """The price at a step; step 0 is no price at all."""
        return self.first * self.factor ** (step - 1) if step else 0.0


class BurdenTable(Table):
    load: Loads
    price: PriceSteps


def burden_table() -> BurdenTable:
    return load("burden", BurdenTable)
