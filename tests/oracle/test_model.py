"""Elimination and the constraint model against trying every solution of small pieces.

Each rule of the model is also tried alone: grips are fixed, and the model says whether
that can be.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from few_grips import (
    PIECES,
    all_rows,
    few,
    folded_optimum,
    folded_paths,
    least_within,
    shapes_held,
    whole,
)
from heard_pieces import heard
from ortools.sat.python import cp_model

from arranger.neck import folding
from arranger.neck import model as room
from arranger.neck.dynamic import Lattice, Path, prices
from arranger.neck.folding import Folded
from arranger.neck.model import ModelData, Solution, Variables, solve
from arranger.neck.moves import FORBIDDEN
from arranger.neck.narrowing import Narrowing
from arranger.neck.proof import Effort, prove
from arranger.neck.shape_branches import Parting, ShapeBranches
from arranger.neck.shape_budget import ShapeBudget, ShapePrices, shapes_used

FREE = ShapeBudget(new=0, beyond=0, wanted=9, most=None)
BUDGETS = {
    "free": FREE,
    "each shape costs": ShapeBudget(new=30, beyond=0, wanted=9, most=None),
    "more than one costs more": ShapeBudget(new=30, beyond=60, wanted=1, most=None),
    "at most one": ShapeBudget(new=30, beyond=60, wanted=1, most=1),
    "at most two": ShapeBudget(new=30, beyond=60, wanted=1, most=2),
}
EFFORT = Effort(
    rounds=6,
    turns=20,
    step=16,
    width=100,
    model_width=10**6,
    model_moves=10**6,
    work=20,
    seconds=60,
    narrowing=Narrowing(
        before=6, rounds=(1,), shrunk=0.8, width=100, parting=Parting(0, pricings=2, follow=0.5)
    ),
)
"""The shapes are not parted: what the model decides alone is tried here."""


def parting(looks: int) -> Parting:
    return Parting(looks, pricings=2, follow=0.5)


def branches(net: Lattice, budget: ShapeBudget, looks: int) -> ShapeBranches:
    """Over all rows of a piece."""
    priced = ShapePrices(net, budget, EFFORT.step)
    folded = Folded(net, all_rows(net), priced.priced_in(all_rows(net)))
    return ShapeBranches(folded, budget, priced, parting(looks))


@pytest.fixture(scope="module", params=PIECES)
def net(request: pytest.FixtureRequest) -> Lattice:
    return few(whole(PIECES[request.param]), 3)


@pytest.fixture(scope="module")
def two_bars() -> Lattice:
    return few(whole(PIECES["two bars"]), 3)


@pytest.fixture(params=BUDGETS)
def budget(request: pytest.FixtureRequest) -> ShapeBudget:
    return BUDGETS[request.param]


def data_of(net: Lattice, budget: ShapeBudget) -> ModelData:
    """All the rows, and the dearest solution within the budget as the first one."""
    hint = max(
        (
            (cost, sorted(paths.items()))
            for paths, cost in folded_paths(net)
            if budget.cost(len(shapes_held(net, paths))) is not None
        ),
    )[1]
    return ModelData(net, all_rows(net), budget, dict(hint))


def solved(net: Lattice, budget: ShapeBudget) -> Solution:
    solution = solve(data_of(net, budget), most_work=20, seconds=60)
    assert solution is not None
    return solution


# Optimum --------------------------------------------------------------------------------


def test_elimination_finds_the_cheapest_folded_solution(net: Lattice) -> None:
    optimum, paths = folded_optimum(net, all_rows(net), {})
    assert optimum.exact
    assert optimum.cost == min(cost for _, cost in folded_paths(net))
    assert net.cost([paths[kind] for kind in net.piece.order]) == optimum.cost


def test_elimination_pays_a_price_once_a_class(net: Lattice) -> None:
    """A price of 7 on one grip of a class that returns is paid once, not in every bar."""
    row = folded_optimum(net, all_rows(net), {})[1][0][0]
    price = np.zeros(len(net.grips[0][0]), dtype=np.int32)
    price[row] = 7
    expected = min(cost + 7 * (paths[0][0] == row) for paths, cost in folded_paths(net))
    assert folded_optimum(net, all_rows(net), {(0, 0): price})[0].cost == expected


def test_the_model_finds_the_cheapest_solution_and_proves_it(
    net: Lattice, budget: ShapeBudget
) -> None:
    solution = solved(net, budget)
    assert solution.objective == solution.bound == least_within(net, budget)
    shapes = budget.cost(len(shapes_held(net, solution.paths)))
    played = net.cost([solution.paths[kind] for kind in net.piece.order])
    assert played + (shapes or 0) == solution.objective


def test_the_model_with_a_free_budget_agrees_with_elimination(net: Lattice) -> None:
    assert solved(net, FREE).objective == folded_optimum(net, all_rows(net), {})[0].cost


def test_the_dynamic_program_is_a_lower_bound(net: Lattice) -> None:
    """It may play equal bars differently, so it is never dearer."""
    assert prices(net).best <= min(cost for _, cost in folded_paths(net))


def test_a_proof_holds_and_is_tight(net: Lattice, budget: ShapeBudget) -> None:
    proven = prove(net, budget, EFFORT)
    best = least_within(net, budget)
    assert proven.bound <= best <= proven.objective
    shapes = budget.cost(len(shapes_held(net, proven.paths)))
    assert shapes is not None
    played = net.cost([proven.paths[kind] for kind in net.piece.order])
    assert played + shapes == proven.objective == best
    if budget is FREE:
        assert proven.bound == proven.objective


def test_parting_by_shapes_alone_closes_the_gap(net: Lattice, budget: ShapeBudget) -> None:
    narrowing = replace(EFFORT.narrowing, parting=parting(100))
    proven = prove(net, budget, replace(EFFORT, narrowing=narrowing, work=0))
    assert proven.bound == proven.objective == least_within(net, budget)


@pytest.mark.parametrize("largest_table", [1, 8, 20, 60])
def test_a_proof_holds_where_tables_would_grow_too_large(
    net: Lattice, budget: ShapeBudget, largest_table: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Equal bars are then told apart, brought to agree, and never cheaper than they can be."""
    monkeypatch.setattr(folding, "LARGEST_TABLE", largest_table)
    narrowing = replace(EFFORT.narrowing, rounds=(2, 2), parting=parting(5))
    proven = prove(net, budget, replace(EFFORT, narrowing=narrowing, turns=5, work=0))
    shapes = budget.cost(len(shapes_held(net, proven.paths)))
    played = net.cost([proven.paths[kind] for kind in net.piece.order])
    assert proven.bound <= least_within(net, budget) <= proven.objective
    assert proven.objective == played + (shapes or 0)


@pytest.mark.parametrize("looks", [0, 1, 2, 3])
def test_a_bound_holds_however_early_the_parting_ends(
    net: Lattice, budget: ShapeBudget, looks: int
) -> None:
    least = least_within(net, budget)
    known = FORBIDDEN
    bound, exact = branches(net, budget, looks).bound(known, lambda paths: known)
    assert exact
    assert bound <= least


def test_parting_offers_the_best_solution_on_the_way(net: Lattice, budget: ShapeBudget) -> None:
    found: list[int] = [FORBIDDEN]

    def offer(paths: dict[int, Path]) -> int:
        shapes = budget.cost(len(shapes_held(net, paths)))
        if shapes is not None:
            found.append(net.cost([paths[kind] for kind in net.piece.order]) + shapes)
        return min(found)

    bound, _ = branches(net, budget, 1000).bound(FORBIDDEN, offer)
    assert bound == min(found) == least_within(net, budget)


@pytest.mark.parametrize("weight", [1, 7, 30, 91])
def test_prices_of_a_shape_add_up_to_what_it_costs(net: Lattice, weight: int) -> None:
    """To no more, or the bound would be false; to no less, or a part of it would be lost."""
    priced = ShapePrices(net, BUDGETS["each shape costs"], EFFORT.step)
    priced.weight = weight
    told = dict.fromkeys(priced.shapes_in(all_rows(net)), 0)
    for (kind, slot), price in priced.by_row().items():
        hands = priced.numbers[net.grips[kind][slot].hand]
        for number in set(hands.tolist()) - {-1}:
            at_once = set(price[hands == number].tolist())
            assert len(at_once) == 1
            told[number] += at_once.pop()
    assert set(told.values()) <= {weight}


def test_a_barred_shape_is_not_taken_up(net: Lattice) -> None:
    priced = ShapePrices(net, BUDGETS["each shape costs"], EFFORT.step)
    for number in priced.shapes_in(all_rows(net)):
        optimum, paths = folded_optimum(
            net, all_rows(net), priced.by_row(barred=frozenset({number}))
        )
        if optimum.cost < FORBIDDEN:
            assert number not in shapes_used(net, priced.numbers, paths)


@pytest.mark.parametrize("name", PIECES)
def test_a_proof_of_all_grips_has_no_gap_without_a_biting_budget(name: str) -> None:
    net = whole(PIECES[name])
    proven = prove(net, FREE, EFFORT)
    assert proven.bound == proven.objective
    assert proven.objective == folded_optimum(net, all_rows(net), {})[0].cost


def test_a_piece_without_harmony_needs_no_shape() -> None:
    """A tune alone, in which no chord is heard: nothing to learn, nothing to price."""
    net = whole(heard("C5:1 D5:1 E5:1 F5:1", "C3:4", chords="-:4", texture="single"))
    proven = prove(net, BUDGETS["more than one costs more"], EFFORT)
    assert shapes_held(net, proven.paths) == set()
    assert proven.bound == proven.objective == prices(net).best


def test_a_bar_that_returns_hundreds_of_times() -> None:
    """Forbidden moves times the number of bars must not run over: the bound would be false."""
    net = few(whole(PIECES["a bar that returns"]), 3)
    piece = net.piece
    often = replace(
        piece,
        order=(*piece.order[:2] * 300, *piece.order[2:]),
        joints=(*piece.joints[:2] * 300, *piece.joints[2:]),
    )
    longer = replace(net, piece=often)
    optimum, paths = folded_optimum(longer, all_rows(longer), {})
    assert optimum.cost == longer.cost([paths[kind] for kind in often.order])
    assert optimum.cost == min(cost for _, cost in folded_paths(longer))


# The first solution ---------------------------------------------------------------------


def test_the_hint_is_complete_and_feasible(
    net: Lattice, budget: ShapeBudget, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The solver says so in its log; without it a limited run may end with nothing."""
    lines: list[str] = []
    quiet = cp_model.CpSolver

    def talking() -> cp_model.CpSolver:
        solver = quiet()
        solver.parameters.log_search_progress = True
        solver.parameters.log_to_stdout = False
        solver.log_callback = lines.append
        return solver

    data = data_of(net, budget)
    monkeypatch.setattr(room.cp_model, "CpSolver", talking)
    assert solve(data, most_work=20, seconds=60) is not None
    cost = net.cost([data.hint[kind] for kind in net.piece.order])
    shapes = budget.cost(len(shapes_held(net, data.hint)))
    assert shapes is not None
    said = (
        f"The solution hint is complete and is feasible. Its objective value is {cost + shapes}"
    )
    assert said in "\n".join(lines)


def test_a_hint_that_is_no_row_is_refused(two_bars: Lattice) -> None:
    data = data_of(two_bars, FREE)
    with pytest.raises(ValueError, match="slot 0 of class 0 is not a row"):
        replace(data, hint={**data.hint, 0: (99, *data.hint[0][1:])})


def test_a_place_without_a_grip_is_refused(two_bars: Lattice) -> None:
    data = data_of(two_bars, FREE)
    with pytest.raises(ValueError, match="no grip left for slot 2 of bar class 1"):
        replace(data, rows={**data.rows, (1, 2): np.zeros(0, dtype=np.int32)})


# Each rule alone ------------------------------------------------------------------------


class OneRule:
    """A model with one rule, in which grips and shapes can be fixed."""

    def __init__(self, data: ModelData, *rules: str) -> None:
        self.data = data
        self.model = cp_model.CpModel()
        self.variables: Variables = room._variables(self.model, data)
        for rule in rules:
            getattr(room, rule)(self.model, data, self.variables)

    def choose(self, paths: dict[int, Path]) -> OneRule:
        """Exactly the grips of ``paths``."""
        for kind, path in paths.items():
            for slot, row in enumerate(path):
                for k, grip in enumerate(self.variables.grip[kind, slot]):
                    self.model.add(grip == (self.data.rows[kind, slot][k] == row))
        return self

    def possible(self) -> bool:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        return solver.solve(self.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)

    def least(self, variable: cp_model.IntVar) -> int:
        self.model.minimize(variable)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        assert solver.solve(self.model) == cp_model.OPTIMAL
        return int(solver.value(variable))


@pytest.mark.parametrize("chosen", list(product((False, True), repeat=3)))
def test_one_grip_a_slot(two_bars: Lattice, chosen: tuple[bool, ...]) -> None:
    """Of three grips exactly one is held: not none, not two, not three."""
    rule = OneRule(data_of(two_bars, FREE), "_one_grip_a_slot")
    for grip, held in zip(rule.variables.grip[0, 1], chosen, strict=True):
        rule.model.add(grip == held)
    assert rule.possible() == (sum(chosen) == 1)


def test_hand_moves_leave_the_paths_that_a_hand_can_play(two_bars: Lattice) -> None:
    data = data_of(two_bars, FREE)
    playable = {tuple(sorted(paths.items())) for paths, _ in folded_paths(two_bars)}
    impossible = []
    for choice in product(*(product(range(3), repeat=len(bar)) for bar in two_bars.grips)):
        paths = dict(enumerate(choice))
        if tuple(sorted(paths.items())) not in playable:
            impossible.append(paths)
    assert playable
    assert impossible
    rules = ("_one_grip_a_slot", "_hand_moves")
    for found in sorted(playable)[::3]:
        assert OneRule(data, *rules).choose(dict(found)).possible()
    for paths in impossible[:: len(impossible) // 40 + 1]:
        assert not OneRule(data, *rules).choose(paths).possible()


def test_a_shape_that_is_held_is_learnt(net: Lattice) -> None:
    """Holding a shape anywhere makes it one to learn; the shapes not held need not be."""
    budget = BUDGETS["each shape costs"]
    data = data_of(net, budget)
    for paths, _ in list(folded_paths(net))[::40]:
        rule = OneRule(data, "_shapes_are_learnt").choose(paths)
        total = rule.model.new_int_var(0, len(rule.variables.shape), "")
        rule.model.add(total == sum(rule.variables.shape.values()))
        assert rule.least(total) == len(shapes_held(net, paths))


@pytest.mark.parametrize(("learnt", "most"), list(product(range(3), (1, 2, None))))
def test_no_more_shapes_than_the_level_takes_on(
    two_bars: Lattice, learnt: int, most: int | None
) -> None:
    budget = ShapeBudget(new=30, beyond=60, wanted=1, most=most)
    rule = OneRule(data_of(two_bars, budget), "_no_more_shapes")
    shapes = list(rule.variables.shape.values())
    assert len(shapes) >= 2
    for k, shape in enumerate(shapes):
        rule.model.add(shape == (k < learnt))
    if most is not None and learnt > most:
        assert not rule.possible()
    else:
        assert rule.least(rule.variables.beyond) == max(0, learnt - 1)


def test_what_costs_nothing_is_no_term_of_the_objective(two_bars: Lattice) -> None:
    rule = OneRule(data_of(two_bars, FREE), "_hand_moves", "_objective")
    assert all(rule.variables.weights)
    assert len(rule.variables.terms) == len(rule.variables.weights)
    assert max(rule.variables.weights) < FORBIDDEN
