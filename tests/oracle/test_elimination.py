"""Elimination of variables against trying every setting of small random graphs."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.neck.eliminate import Elimination, FactorGraph, least


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


def brute_force(graph):
    return min(cost(graph, values) for values in product(*map(range, graph.sizes)))


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


@settings(max_examples=100, deadline=None)
@given(
    graphs(), st.lists(st.integers(0, 2**32 - 1), min_size=1, max_size=6), st.integers(1, 60)
)
def test_what_was_eliminated_before_changes_nothing(graph, seeds, largest_table):
    """One way taken again and again, with some tables new and others of an earlier time."""
    way = Elimination(graph.sizes, graph.tables, largest_table)
    earlier = [graph.tables]
    for seed in seeds:
        random = np.random.default_rng(seed)
        tables = {}
        for scope, table in graph.tables.items():
            known = earlier[random.integers(len(earlier))][scope]
            new = random.integers(0, 30, table.shape).astype(np.int32)
            tables[scope] = new if random.integers(2) else known
        earlier.append(tables)
        assert way.least(tables) == least(FactorGraph(graph.sizes, tables), largest_table)
