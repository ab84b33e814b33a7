"""Speed of the evaluation; values are asserted, times only kept (--benchmark-only)."""

import numpy as np
import pytest

from model import evaluate_batch
from optimiser.breeding import breed
from optimiser.encoding import encode


@pytest.mark.parametrize("n", [1, 100, 1000])
def test_batch(benchmark, scenario, library, n):
    encoding = encode(scenario, library)
    rng = np.random.default_rng(1)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    layups, _ = encoding.decode(breed(nothing, mates, encoding.tables, rng, n))
    report = benchmark(evaluate_batch, layups, encoding.conditions)
    again = evaluate_batch(layups, encoding.conditions)
    np.testing.assert_array_equal(report.metrics, again.metrics)
