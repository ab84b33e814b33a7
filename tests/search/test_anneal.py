"""Annealing comes nearer than climbing, keeps the rules, and ends when it is to."""

import numpy as np
import pytest

from optimiser.anneal import anneal
from optimiser.breeding import breed
from optimiser.cells import cells_of
from optimiser.encoding import encode
from optimiser.helm import Helm, Towards, weighted
from optimiser.outlook_sums import N_FORESEEN
from optimiser.problem import Demand
from optimiser.search import Search
from optimiser.steer import steer
from tests.shop_rules import broken


@pytest.fixture(scope="module")
def world(scenario, library):
    encoding = encode(scenario, library)
    search = Search(encoding)
    near, span = search._rough_box
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    rng = np.random.default_rng(3)
    genomes, _ = breed(nothing, mates, encoding.tables, rng, 40)
    weight = rng.dirichlet(np.ones(len(near)), len(genomes))
    helm = Helm(encoding, cells_of(encoding), Demand.of(encoding.spec))
    off = np.zeros((len(genomes), N_FORESEEN + len(encoding.spec.ei_targets)))
    return encoding, helm, genomes, off, Towards(near, span, weight)


@pytest.fixture(scope="module")
def annealed(world):
    _, helm, genomes, off, towards = world
    rng = np.random.default_rng(7)
    return anneal(helm, rng, genomes, off, towards, moves=2_000)


def looked_at(world, genomes):
    _, helm, _, off, towards = world
    rng = np.random.default_rng(1)
    _, missed, F = steer(helm, rng, genomes, off, towards, tries=0, rounds=0)
    return missed, np.array([weighted(F[i], towards, i) for i in range(len(F))])


def test_it_comes_nearer_than_climbing_by_as_many_moves(world, annealed):
    _, helm, genomes, off, towards = world
    rng = np.random.default_rng(7)
    climbed, _, _ = steer(helm, rng, genomes, off, towards, tries=2_000)
    missed, distance = looked_at(world, annealed[0])
    missed_climbing, distance_climbing = looked_at(world, climbed)
    assert (missed == 0.0).sum() >= (missed_climbing == 0.0).sum()
    both = (missed == 0.0) & (missed_climbing == 0.0)
    assert both.sum() >= 20
    assert np.median(distance[both]) < 0.95 * np.median(distance_climbing[both])


def test_it_says_what_its_designs_promise_and_they_keep_the_rules(world, annealed):
    encoding = world[0]
    genomes, violation = annealed
    missed, _ = looked_at(world, genomes)
    np.testing.assert_allclose(violation, missed, rtol=1e-12)
    assert broken(encoding, genomes).max() <= 0.0


def test_the_same_seed_gives_the_same_designs(world, annealed):
    _, helm, genomes, off, towards = world
    rng = np.random.default_rng(7)
    again, _ = anneal(helm, rng, genomes, off, towards, moves=2_000)
    np.testing.assert_array_equal(again, annealed[0])


@pytest.mark.parametrize("evaluations", [0, 100_000, 10**9])
def test_a_nursery_begins_within_seconds_however_long_it_lasts(
    scenario, library, evaluations
):
    search = Search(encode(scenario, library))
    search.state.progress.evaluations = evaluations
    n = search.nursery_size
    assert search._moves(n) == 300  # the first of all answers at once
    search.state.progress.nurseries = 1
    # some 5 µs a move
    assert 10_000 <= search._moves(n) <= 1_500_000 / n
