"""The shortest telling of a piece: what is weighed for it, and how much."""

from __future__ import annotations

from itertools import pairwise
from math import inf

import numpy as np
import pytest

from arranger.analyse import strains
from arranger.analyse.strains import Alike, Prices, Span, form_table, shortest_telling

TABLE = form_table()


def somewhat_alike(bars: int, seed: int = 1) -> Alike:
    """Bars of which any two have most in common, and no two all."""
    above = np.triu(np.random.default_rng(seed).uniform(0.5, 1.0, (bars, bars)), 1)
    alike: Alike = (above + above.T + np.eye(bars)).astype(np.float32)
    return alike


def of_kinds(bars: int, kinds: int, seed: int = 1) -> Alike:
    """Bars that are the same or have nothing in common."""
    kind = np.random.default_rng(seed).integers(0, kinds, bars)
    alike: Alike = (kind[:, None] == kind[None, :]).astype(np.float32)
    return alike


def least_price(prices: Prices, alike: Alike, spans: list[Span]) -> float:
    """The price of a telling, every section weighed as a repeat of every earlier one."""
    total = 0.0
    for number, span in enumerate(spans):
        ways = [prices.alone(span)]
        for source in spans[:number]:
            if alike[source[0], span[0]] >= TABLE.alike_opening:
                ways.append(prices.repeated(source, span))
        total += min(ways)
    return total


@pytest.mark.parametrize("seed", range(20))
def test_a_telling_costs_the_least_of_all_ways_to_say_its_sections(seed: int) -> None:
    for alike in (somewhat_alike(48, seed), of_kinds(48, 1 + seed % 4, seed)):
        dice = np.random.default_rng(seed)
        cuts = frozenset(dice.choice(np.arange(1, 48), 8, replace=False).tolist())
        prices = Prices(alike, {20, 31})
        told = prices.tell(cuts, prices.untold(), inf)
        assert told is not None
        assert told.spans == list(pairwise([0, *sorted(cuts), 48]))
        price = least_price(prices, alike, told.spans)
        assert told.price == pytest.approx(price, abs=1e-7)
        assert prices.tell(cuts, prices.untold(), price - 1e-6) is None
        assert prices.tell(cuts, prices.untold(), price + 1e-6) is not None


def test_what_is_all_silent_is_hardly_weighed() -> None:
    """A section that repeats another as it was cannot be told for less: nothing further is
    weighed. Long silence with a few key changes took millions of pairs.
    """
    alike, changes = np.ones((600, 600), dtype=np.float32), set(range(0, 600, 30))
    prices = Prices(alike, changes)
    told = strains._Search(prices, changes).uphill(prices.untold())
    assert len(told.spans) > 20
    assert prices.weighed < TABLE.pairs_most / 10


def test_the_search_ends_when_as_many_pairs_were_weighed_as_may_be(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    few = TABLE.model_copy(update={"pairs_most": 2000})
    alike = somewhat_alike(200)
    freely = shortest_telling(alike, set())[0]
    monkeypatch.setattr(strains, "form_table", lambda: few)
    prices = Prices(alike, set())
    told = strains._Search(prices, set()).uphill(prices.untold())
    assert prices.weighed < 2000 + 200
    assert told.spans != freely
    assert [first for first, _ in told.spans] == [0, *(last for _, last in told.spans[:-1])]
    assert told.spans[-1][1] == 200
