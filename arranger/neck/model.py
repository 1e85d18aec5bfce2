"""The constraint model: which grip at every slot, for the whole piece at once.

``ModelData`` is checked and knows no solver; ``Variables``, one function for each rule,
and the objective build the CP-SAT model; ``solve`` runs it and reads the grips back.
Equal bars share their variables: a grip chosen for a bar is chosen wherever it returns.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from ortools.sat.python import cp_model

from arranger.neck.dynamic import Lattice, Path, Place
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN, Moves
from arranger.neck.shape_budget import ShapeBudget, places, shape_numbers


@dataclass(frozen=True, slots=True, eq=False)
class ModelData:
    """What the model decides on: the grips kept at each place, the budget, a first solution.

    Raises
    ------
    ValueError : a place has no grip left, or the first solution is not among the rows.
    """

    net: Lattice
    rows: dict[Place, IntArray]
    budget: ShapeBudget
    hint: dict[int, Path]

    def __post_init__(self) -> None:
        for (kind, slot), keep in self.rows.items():
            if not len(keep):
                raise ValueError(f"no grip left for slot {slot} of bar class {kind}")
            if self.hint[kind][slot] not in keep:
                raise ValueError(f"the hint for slot {slot} of class {kind} is not a row")


@dataclass(slots=True, eq=False)
class Variables:
    """``grip[place][k]``: row ``rows[place][k]`` is chosen; ``shape[n]``: shape n is held
    somewhere; ``beyond``: shapes over the number wished for.
    """

    grip: dict[Place, list[cp_model.IntVar]]
    shape: dict[int, cp_model.IntVar]
    beyond: cp_model.IntVar
    terms: list[cp_model.IntVar] = field(default_factory=list)
    weights: list[int] = field(default_factory=list)
    moves: list[tuple[Place, Place, list[tuple[int, int, cp_model.IntVar]]]] = field(
        default_factory=list
    )

    def charge(self, variable: cp_model.IntVar, tenths: int) -> None:
        """Add a term to the objective; a weight of zero builds nothing."""
        if tenths:
            self.terms.append(variable)
            self.weights.append(tenths)


@dataclass(frozen=True, slots=True)
class Solution:
    """``paths`` by class; ``objective`` and ``bound`` in tenths for the rows of the model;
    ``work`` in the solver's deterministic seconds, the same on every machine.
    """

    paths: dict[int, Path]
    objective: int
    bound: int
    work: float


def solve(data: ModelData, *, most_work: float, seconds: float) -> Solution | None:
    """The best choice found within ``most_work`` deterministic seconds.

    ``seconds`` of wall time is a safety net only. Returns None when nothing was found.
    """
    model = cp_model.CpModel()
    variables = _variables(model, data)
    _one_grip_a_slot(model, data, variables)
    _hand_moves(model, data, variables)
    _shapes_are_learnt(model, data, variables)
    _no_more_shapes(model, data, variables)
    _objective(model, data, variables)
    _hint(model, data, variables)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.linearization_level = 2
    solver.parameters.symmetry_level = 0
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.max_deterministic_time = most_work
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return Solution(
        paths=_chosen(data, variables, solver),
        objective=round(solver.objective_value),
        bound=int(np.ceil(solver.best_objective_bound - 1e-6)),
        work=round(solver.response_proto.deterministic_time, 3),
    )


# Variables ----------------------------------------------------------------------------


def _variables(model: cp_model.CpModel, data: ModelData) -> Variables:
    numbers, _ = shape_numbers(data.net)
    met = {
        int(number)
        for (kind, slot), keep in data.rows.items()
        for number in numbers[data.net.grips[kind][slot].hand[keep]]
        if number >= 0
    }
    return Variables(
        grip={
            place: [model.new_bool_var("") for _ in keep] for place, keep in data.rows.items()
        },
        shape={number: model.new_bool_var("") for number in sorted(met)},
        beyond=model.new_int_var(0, max(1, len(met)), ""),
    )


# Rules --------------------------------------------------------------------------------


def _one_grip_a_slot(model: cp_model.CpModel, data: ModelData, variables: Variables) -> None:
    """At every moment the hand holds exactly one grip."""
    for choices in variables.grip.values():
        model.add_exactly_one(choices)


def _hand_moves(model: cp_model.CpModel, data: ModelData, variables: Variables) -> None:
    """From each grip the hand goes on to the next by one move that a hand can make."""
    piece = data.net.piece
    times = Counter(piece.order)
    for kind, bar in enumerate(data.net.grips):
        for slot in range(1, len(bar)):
            moves = data.net.inside[kind][slot - 1]
            _moves(
                model,
                data,
                variables,
                ends=((kind, slot - 1), (kind, slot)),
                moves=moves,
                count=times[kind],
            )
    for joint, count in sorted(Counter(piece.joints).items()):
        ends = piece.kinds[joint]
        last = (ends.before, len(data.net.grips[ends.before]) - 1)
        _moves(
            model,
            data,
            variables,
            ends=(last, (ends.after, 0)),
            moves=data.net.joints[joint],
            count=count,
        )


def _moves(
    model: cp_model.CpModel,
    data: ModelData,
    variables: Variables,
    *,
    ends: tuple[Place, Place],
    moves: Moves,
    count: int,
) -> None:
    """Flow from the grips of one place to those of the next: one arc a possible move."""
    here, there = ends
    costs = moves.dense(data.rows[here], data.rows[there])
    leaving: list[list[cp_model.IntVar]] = [[] for _ in data.rows[here]]
    arriving: list[list[cp_model.IntVar]] = [[] for _ in data.rows[there]]
    arcs: list[tuple[int, int, cp_model.IntVar]] = []
    for i, j in zip(*np.nonzero(costs < FORBIDDEN), strict=True):
        arc = model.new_bool_var("")
        leaving[i].append(arc)
        arriving[j].append(arc)
        arcs.append((int(i), int(j), arc))
        variables.charge(arc, int(costs[i, j]) * count)
    for grip, arcs_out in zip(variables.grip[here], leaving, strict=True):
        model.add(cp_model.LinearExpr.sum(arcs_out) == grip)
    for grip, arcs_in in zip(variables.grip[there], arriving, strict=True):
        model.add(cp_model.LinearExpr.sum(arcs_in) == grip)
    variables.moves.append((here, there, arcs))


def _shapes_are_learnt(model: cp_model.CpModel, data: ModelData, variables: Variables) -> None:
    """A shape that is held anywhere has to be learnt."""
    numbers, _ = shape_numbers(data.net)
    for kind, slot in places(data.net):
        keep = data.rows[kind, slot]
        held = numbers[data.net.grips[kind][slot].hand[keep]]
        for number in np.unique(held[held >= 0]):
            users = [variables.grip[kind, slot][k] for k in np.flatnonzero(held == number)]
            model.add(cp_model.LinearExpr.sum(users) <= variables.shape[int(number)])


def _no_more_shapes(model: cp_model.CpModel, data: ModelData, variables: Variables) -> None:
    """No more different shapes than the level takes on; those beyond its wish count more."""
    shapes = list(variables.shape.values())
    if not shapes:
        return
    total = cp_model.LinearExpr.sum(shapes)
    if data.budget.most is not None:
        model.add(total <= data.budget.most)
    model.add(variables.beyond >= total - data.budget.wanted)


# Objective and hint -------------------------------------------------------------------


def _objective(model: cp_model.CpModel, data: ModelData, variables: Variables) -> None:
    """Points of every grip and move as often as they occur, and of the shapes once."""
    times = Counter(data.net.piece.order)
    first = (data.net.piece.order[0], 0)
    for (kind, slot), keep in data.rows.items():
        costs = data.net.grips[kind][slot].cost[keep] * times[kind]
        if (kind, slot) == first:
            costs = costs + data.net.entry[keep]
        for grip, cost in zip(variables.grip[kind, slot], costs, strict=True):
            variables.charge(grip, int(cost))
    for shape in variables.shape.values():
        variables.charge(shape, data.budget.new)
    variables.charge(variables.beyond, data.budget.beyond)
    model.minimize(cp_model.LinearExpr.weighted_sum(variables.terms, variables.weights))


def _hint(model: cp_model.CpModel, data: ModelData, variables: Variables) -> None:
    """A complete first solution: grips, moves and shapes."""
    at: dict[Place, int] = {}
    for place, keep in data.rows.items():
        at[place] = int(np.flatnonzero(keep == data.hint[place[0]][place[1]])[0])
        for k, grip in enumerate(variables.grip[place]):
            model.add_hint(grip, k == at[place])
    for here, there, arcs in variables.moves:
        for i, j, arc in arcs:
            model.add_hint(arc, (i, j) == (at[here], at[there]))
    numbers, _ = shape_numbers(data.net)
    held = {
        int(numbers[data.net.grips[kind][slot].hand[row]])
        for kind, path in data.hint.items()
        for slot, row in enumerate(path)
    }
    for number, shape in variables.shape.items():
        model.add_hint(shape, number in held)
    model.add_hint(variables.beyond, max(0, len(held - {-1}) - data.budget.wanted))


def _chosen(
    data: ModelData, variables: Variables, solver: cp_model.CpSolver
) -> dict[int, Path]:
    paths = {}
    for kind, bar in enumerate(data.net.grips):
        path = []
        for slot in range(len(bar)):
            grips = variables.grip[kind, slot]
            k = next(k for k, grip in enumerate(grips) if solver.boolean_value(grip))
            path.append(int(data.rows[kind, slot][k]))
        paths[kind] = tuple(path)
    return paths
