"""Which pairings force flat faces, against the eigenvalues of the graph's own matrix and against rings known by name."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.advice.graph import free_curvatures, groups_of

RING_3, RING_4, RING_5 = (tuple((k, (k + 1) % count) for k in range(count)) for count in (3, 4, 5))
STAR = ((0, 1), (0, 2), (0, 3))


def _laplacian(count, links):
    """Degree plus adjacency: its null vectors are the curvatures with c_i + c_j = 0 at every pairing."""
    matrix = np.zeros((count, count))
    for one, other in set(links):
        matrix[one, one] += 1.0
        matrix[other, other] += 1.0
        matrix[one, other] += 1.0
        matrix[other, one] += 1.0
    return matrix


@pytest.mark.parametrize(
    ("count", "links", "free"),
    [
        (2, ((0, 1),), 1),
        (3, RING_3, 0),
        (4, RING_4, 1),
        (4, STAR, 1),
        (5, RING_5, 0),
        (4, (*STAR, (1, 2)), 0),
        (4, ((0, 1), (2, 3)), 2),
        (3, (), 3),
    ],
    ids=["two plates", "ring of three", "ring of four", "star", "ring of five", "star and one more", "two pairs", "none meet"],
)
def test_free_curvatures_of_known_sets(count, links, free):
    """Two plates and even rings leave one sphere free, odd rings none (Whitworth 1858; bipartite components, graph theory)."""
    assert free_curvatures(count, links) == free


def test_eigenvalues_of_rings():
    """The matrix that judges the other tests is the right one: 1, 1, 4 for three in a ring, 0.381966 the least for five (closed form)."""
    assert np.linalg.eigvalsh(_laplacian(3, RING_3)) == pytest.approx([1.0, 1.0, 4.0], abs=1e-9)
    assert np.linalg.eigvalsh(_laplacian(5, RING_5))[0] == pytest.approx(0.3819660113, rel=1e-9)


@given(
    st.integers(2, 9).flatmap(
        lambda count: st.tuples(st.just(count), st.sets(st.sampled_from(list(itertools.combinations(range(count), 2)))))
    )
)
def test_free_curvatures_are_the_nullity_of_the_matrix(drawn):
    """For any pairings the count is the dimension of the curvatures that satisfy them all (independent: eigenvalues)."""
    count, links = drawn
    eigenvalues = np.linalg.eigvalsh(_laplacian(count, links))
    assert free_curvatures(count, links) == np.sum(np.abs(eigenvalues) < 1e-9)


@given(
    st.integers(2, 9).flatmap(
        lambda count: st.tuples(st.just(count), st.sets(st.sampled_from(list(itertools.combinations(range(count), 2)))))
    )
)
def test_rings_named_are_odd_rings(drawn):
    """Every ring named is odd and closed by pairings; every group without one has two sides whose pieces never meet their own."""
    count, links = drawn
    met = {frozenset(link) for link in links}
    groups = groups_of(count, links)
    assert sorted(piece for group in groups for piece in group.pieces) == list(range(count))
    for group in groups:
        if group.odd_ring:
            ring = group.odd_ring
            assert len(ring) % 2 == 1
            assert len(set(ring)) == len(ring)
            assert all(frozenset(step) in met for step in zip(ring, (*ring[1:], ring[0]), strict=True))
        else:
            assert not any(frozenset(pair) in met for side in group.sides for pair in itertools.combinations(side, 2))
