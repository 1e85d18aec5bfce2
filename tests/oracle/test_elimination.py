"""Elimination of variables against trying every setting of small random graphs."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.neck.eliminate import LARGEST_TABLE, Elimination, FactorGraph, least
from arranger.neck.min_marginals import min_marginals
from arranger.neck.moves import FORBIDDEN


@st.composite
def graphs(draw):
    """Up to five variables of up to four values, with tables over one to three of them."""
    graph = FactorGraph()
    sizes = draw(st.lists(st.integers(1, 4), min_size=1, max_size=5))
    for size in sizes:
        graph.variable(size)
    scopes = [s for n in (1, 2, 3) for s in combinations(range(len(sizes)), n)]
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    for scope in draw(st.lists(st.sampled_from(scopes), max_size=8)):
        turned = tuple(draw(st.permutations(scope)))
        shape = [sizes[variable] for variable in turned]
        graph.add(turned, random.integers(0, 30, shape).astype(np.int32))
    return graph


def cost(graph, values):
    return sum(int(t[tuple(values[v] for v in scope)]) for scope, t in graph.tables.items())


def brute_force(graph, fixed=None):
    """The least sum; with the values of ``fixed``, by variable."""
    ways = [range(size) for size in graph.sizes]
    for variable, value in (fixed or {}).items():
        ways[variable] = [value]
    return min(cost(graph, values) for values in product(*ways))


@settings(max_examples=150, deadline=None)
@given(graphs())
def test_the_least_sum_and_its_witness(graph):
    found = least(graph)
    assert found.exact
    assert found.cost == brute_force(graph) == cost(graph, found.values)


@settings(max_examples=150, deadline=None)
@given(graphs(), st.integers(1, 40))
def test_a_split_variable_leaves_a_lower_bound(graph, largest_table):
    found = least(graph, largest_table)
    best = brute_force(graph)
    assert found.cost <= best
    if found.exact:
        assert found.cost == best == cost(graph, found.values)


@st.composite
def priced_graphs(draw):
    """A graph, which of its variables are priced, and prices of them to come."""
    graph = draw(graphs())
    priced = frozenset(draw(st.sets(st.sampled_from(range(len(graph.sizes))))))
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    turns = [
        {v: random.integers(0, 30, graph.sizes[v]).astype(np.int32) for v in sorted(priced)}
        for _ in range(draw(st.integers(1, 3)))
    ]
    return graph, priced, turns


def with_prices(graph, prices):
    dearer = FactorGraph(graph.sizes, dict(graph.tables))
    for variable, price in prices.items():
        dearer.add((variable,), price)
    return dearer


def turn_by_turn(given, largest_table=LARGEST_TABLE):
    """One way through a graph for all its prices: with each, the graph that has them."""
    graph, priced, turns = given
    way = Elimination(graph, priced, largest_table)
    for prices in turns:
        yield way, prices, with_prices(graph, prices)


@settings(max_examples=150, deadline=None)
@given(priced_graphs())
def test_prices_that_change_are_as_if_the_graph_had_them(given):
    """What no price changes is done once."""
    for way, prices, dearer in turn_by_turn(given):
        found = way.least(prices)
        assert found.cost == brute_force(dearer) == cost(dearer, found.values)


@settings(max_examples=150, deadline=None)
@given(priced_graphs())
def test_what_each_value_costs_at_least(given):
    for way, prices, dearer in turn_by_turn(given):
        found = min_marginals(way, prices)
        assert [len(costs) for costs in found] == dearer.sizes
        for variable, costs in enumerate(found):
            for value, known in enumerate(costs):
                assert known == brute_force(dearer, {variable: value})


@settings(max_examples=150, deadline=None)
@given(priced_graphs(), st.integers(1, 40))
def test_of_a_split_variable_a_lower_bound_on_what_each_value_costs(given, largest_table):
    for way, prices, dearer in turn_by_turn(given, largest_table):
        for variable, costs in enumerate(min_marginals(way, prices)):
            for value, known in enumerate(costs):
                assert known <= brute_force(dearer, {variable: value})


@settings(max_examples=80, deadline=None)
@given(graphs())
def test_a_value_that_is_forbidden_stays_so(graph):
    """And never makes another one look cheaper than it is."""
    shut = np.zeros(graph.sizes[0], dtype=np.int32)
    shut[0] = FORBIDDEN
    dearer = with_prices(graph, {0: shut})
    found = min_marginals(Elimination(graph, frozenset({0})), {0: shut})
    assert found[0][0] >= FORBIDDEN
    for variable, costs in enumerate(found):
        for value, known in enumerate(costs):
            least_sum = brute_force(dearer, {variable: value})
            assert min(FORBIDDEN, known) == min(FORBIDDEN, least_sum)
