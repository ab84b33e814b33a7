"""Speed of both evaluations; values are asserted, times only kept (--benchmark-only).

Run as ``pytest tests/benchmarks/test_speed.py --benchmark-only -n 0``.
"""

import numpy as np
import pytest

from model import evaluate_batch
from optimiser.breeding import breed
from optimiser.encoding import encode
from tests.benchmarks.speed import CORE, agree
from tests.reference import plain_numpy

N_CHECKED = 20


def children(encoding, n):
    rng = np.random.default_rng(1)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    return breed(nothing, mates, encoding.tables, rng, n)[0]


def plainly(design, library, encoding):
    asked = encoding.conditions
    return plain_numpy.evaluate(design, library, asked.ei_stations, wanted=asked.wanted)


@pytest.mark.parametrize("n", [1, 100, 1000])
def test_batch(benchmark, scenario, library, n):
    encoding = encode(scenario, library)
    genomes = children(encoding, n)
    layups, _ = encoding.decode(genomes)
    report = benchmark(evaluate_batch, layups, encoding.conditions)
    assert len(report.metrics) == n
    for i, genome in enumerate(genomes[:N_CHECKED]):
        design = encoding.design(genome, "speed")
        metrics, EI, shop = plainly(design, library, encoding)
        agree(report.metrics[i, CORE], metrics)
        np.testing.assert_allclose(report.EI[i], EI, rtol=1e-9)
        np.testing.assert_allclose(report.shop[i], shop, rtol=1e-9, atol=1e-13)


def test_plain_numpy_one_at_a_time(benchmark, scenario, library):
    encoding = encode(scenario, library)
    genomes = children(encoding, N_CHECKED)
    designs = [encoding.design(genome, "speed") for genome in genomes]

    def all_of_them():
        return [plainly(design, library, encoding)[0] for design in designs]

    metrics = benchmark(all_of_them)
    layups, _ = encoding.decode(genomes)
    report = evaluate_batch(layups, encoding.conditions)
    agree(report.metrics[:, CORE], metrics)
