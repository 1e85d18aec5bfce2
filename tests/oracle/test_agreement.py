"""Equal bars that agree: a bound between the dynamic program's and every folded solution."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from few_grips import PIECES, all_rows, few, folded_optimum, folded_paths, whole

from arranger.neck.agreement import agreement
from arranger.neck.dynamic import Lattice, prices
from arranger.neck.narrowing import Narrowing
from arranger.neck.proof import Effort, prove
from arranger.neck.shape_branches import Parting
from arranger.neck.shape_budget import ShapeBudget
from arranger.run.understand import understand

CORPUS = Path(__file__).parents[2] / "corpus"
FREE = ShapeBudget(new=0, beyond=0, wanted=100, most=None)
EFFORT = Effort(
    rounds=2,
    turns=20,
    step=16,
    width=100,
    model_width=10,
    model_moves=500,
    work=0.1,
    seconds=5,
    narrowing=Narrowing(
        before=2, rounds=(2,), shrunk=0.8, width=100, parting=Parting(4, pricings=2, follow=0.5)
    ),
)


@pytest.fixture(params=PIECES)
def net(request: pytest.FixtureRequest) -> Lattice:
    return few(whole(PIECES[request.param]), 4)


@pytest.mark.parametrize("turns", [0, 1, 5, 40])
def test_it_never_exceeds_a_folded_solution(net: Lattice, turns: int) -> None:
    cheapest = min(cost for _, cost in folded_paths(net))
    assert prices(net).best <= agreement(net, {}, goal=10**6, turns=turns).bound <= cheapest


def test_no_solution_with_a_grip_is_cheaper_than_the_grips_marginal(net: Lattice) -> None:
    found = agreement(net, {}, goal=10**6, turns=10)
    for (kind, slot), costs in found.marginals.items():
        for row, cost in enumerate(costs):
            with_it = [cost for paths, cost in folded_paths(net) if paths[kind][slot] == row]
            assert not with_it or cost <= min(with_it)


def test_more_turns_never_lower_the_bound(net: Lattice) -> None:
    bounds = [agreement(net, {}, goal=10**6, turns=turns).bound for turns in (0, 2, 8, 20)]
    assert bounds == sorted(bounds)


def test_it_closes_the_gap_of_a_march_whose_bars_return() -> None:
    """The dynamic program plays some returning bar in two ways; agreed, it is the optimum."""
    net = few(whole(understand(CORPUS / "yankee_doodle_march.mid")), 7)
    folded, _ = folded_optimum(net, all_rows(net), {})
    assert folded.exact
    assert prices(net).best < folded.cost
    assert agreement(net, {}, goal=10**6, turns=20).bound == folded.cost


def test_it_stops_at_its_goal(net: Lattice) -> None:
    first = prices(net).best
    assert agreement(net, {}, goal=first, turns=40).bound == first


def test_a_price_is_paid_once_a_class(net: Lattice) -> None:
    """Shared among its bars, without a tenth that is lost."""
    price = np.full(len(net.grips[0][0]), 7, dtype=np.int32)
    dearer = agreement(net, {(0, 0): price}, goal=10**6, turns=0).bound
    assert dearer == prices(net, {(0, 0): price}).best == prices(net).best + 7


@pytest.mark.parametrize("name", PIECES)
def test_a_proof_holds_where_tables_grow_too_large(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Elimination that must split its variables leaves the bound to the agreement."""
    net = few(whole(PIECES[name]), 4)
    monkeypatch.setattr("arranger.neck.folding.LARGEST_TABLE", 200)
    proven = prove(net, FREE, EFFORT)
    cheapest = min(cost for _, cost in folded_paths(net))
    assert proven.bound <= cheapest <= proven.objective
