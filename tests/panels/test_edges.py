"""Edges and parts of a mesh, against scipy's graph routines and plain counting."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from panels.edges import connected, edges_of, shared_edges


@pytest.mark.parametrize("seed", range(30))
def test_parts_are_those_of_a_graph_library(seed: int) -> None:
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 400))
    pairs = random.integers(0, count, size=(int(random.integers(0, count + 1)), 2))
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    assert np.array_equal(connected(count, pairs), connected_components(graph, directed=False)[1])


def test_a_long_chain_numbered_backwards_is_one_part() -> None:
    chain = np.random.default_rng(1).permutation(5000)
    pairs = np.column_stack([chain[:-1], chain[1:]])
    assert connected(5000, pairs).max() == 0


def test_a_square_of_two_faces_shares_its_diagonal() -> None:
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    assert edges_of(faces).tolist() == [[0, 1], [0, 2], [0, 3], [1, 2], [2, 3]]
    edge, owners = shared_edges(faces)
    assert edge.tolist() == [[0, 2]]
    assert owners.tolist() == [[0, 1]]


def test_nothing_has_no_edges() -> None:
    none = np.zeros((0, 3), dtype=int)
    assert edges_of(none).shape == (0, 2)
    assert shared_edges(none)[0].shape == (0, 2)
    assert connected(0, np.zeros((0, 2))).shape == (0,)
