"""Designs per second: plain numpy one design at a time, and the compiled batch.

Run as ``python tests/benchmarks/speed.py``; one core, the same designs, stations and
formulas, both in this run, best of several repeats. Prints both rates, their ratio, and
how far the compiled one is from what the core can do: floating-point operations that
a design needs (`operations.py` counts them), those done in a second, and beside them
what a product of matrices and a loop of divisions reach on the same core.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path

if __name__ == "__main__":
    os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np
from numba import njit

sys.path.insert(0, str(Path(__file__).parents[2]))

from model import METRICS, evaluate_batch, layups_of, read_library, workspace
from optimiser.breeding import breed
from optimiser.cells import cells_of
from optimiser.encoding import encode
from optimiser.outlook import foresee
from optimiser.spec_file import read_spec
from tests.benchmarks.quality import count, resident
from tests.reference import plain_numpy

#: Columns of the batch that plain numpy gives too.
CORE = [[m.key for m in METRICS].index(key) for key in plain_numpy.KEYS]

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def best(function, repeats):
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def agree(found, expected):
    """Whether metrics agree; what a search does not ask for is NaN in both."""
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    assert np.isfinite(found).sum(axis=-1).min() >= len(CORE) - 1


def compare(scenario, n_plain, n_batch, repeats=5):
    """Rates of both on children of a scenario; checks first that they agree."""
    library = read_library()
    spec = read_spec(SCENARIOS / scenario / "spec.toml", library)
    encoding = encode(spec, library)
    rng = np.random.default_rng(1)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    genomes, _ = breed(nothing, mates, encoding.tables, rng, n_batch)
    designs = [encoding.design(genome, "speed") for genome in genomes[:n_plain]]
    conditions = encoding.conditions
    layups, _ = encoding.decode(genomes)
    work = workspace(conditions, layups.sheet.shape[1], float(layups.length.max()))
    report = evaluate_batch(layups, conditions, work=work)
    again = evaluate_batch(layups_of(designs, conditions), conditions)
    np.testing.assert_allclose(again.metrics, report.metrics[:n_plain], rtol=1e-12)

    def plainly(design):
        return plain_numpy.evaluate(
            design, library, conditions.ei_stations, wanted=conditions.wanted
        )

    for i, design in enumerate(designs):
        metrics, EI, shop = plainly(design)
        agree(report.metrics[i, CORE], metrics)
        np.testing.assert_allclose(report.EI[i], EI, rtol=1e-9)
        np.testing.assert_allclose(report.shop[i], shop, rtol=1e-9, atol=1e-13)
    plain = best(lambda: [plainly(design) for design in designs], repeats)
    batch = best(lambda: evaluate_batch(layups, conditions, work=work), repeats)
    cells = cells_of(encoding)
    outlook = best(lambda: foresee(cells, layups), repeats)
    return (
        len(designs) / plain,
        len(genomes) / batch,
        len(genomes) / outlook,
    )


def held(scenario, n, each=50_000):
    """Memory after each tenth of so many evaluations, the designs all different."""
    library = read_library()
    spec = read_spec(SCENARIOS / scenario / "spec.toml", library)
    encoding = encode(spec, library)
    rng = np.random.default_rng(1)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    work = workspace(
        encoding.conditions,
        len(encoding.spec.places),
        float(encoding.tables.length.max()),
    )
    done, told = 0, 0
    while done < n:
        genomes, _ = breed(nothing, mates, encoding.tables, rng, min(each, n - done))
        evaluate_batch(encoding.decode(genomes)[0], encoding.conditions, work=work)
        done += len(genomes)
        if done >= told:
            print(f"{done:>12,} evaluations  {resident() / 1e6:8.1f} MB", flush=True)
            told += n // 10


def counted(scenario):
    """Floating-point operations of a design by kind, by `operations.py`."""
    script = Path(__file__).with_name("operations.py")
    command = [sys.executable, str(script), scenario]
    return json.loads(subprocess.run(command, capture_output=True, check=True).stdout)


@njit
def divisions(n):
    """Divisions that do not wait for one another, no vectors."""
    a = b = c = d = 1.0
    for i in range(n):
        x = 1.5 + i
        a, b, c, d = a + 1.0 / x, b + 2.0 / (x + 1.0), c + x / 3.1, d + x / (x + 2.0)
    return a + b + c + d


def of_the_core(repeats=5):
    """Operations per second: multiply-adds of a product of matrices; divisions."""
    n, loops = 600, 1_000_000
    a = np.random.default_rng(1).random((n, n))
    divisions(10)
    product = best(lambda: a @ a, repeats)
    divided = best(lambda: divisions(loops), repeats)
    return 2.0 * n**3 / product, 4.0 * loops / divided


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--designs", type=int, default=4000)
    parser.add_argument(
        "--memory", type=count, metavar="N", help="rather what N evaluations hold"
    )
    options = parser.parse_args()
    if options.memory:
        held("fairway_58", options.memory)
        return
    n = options.designs
    print(
        f"one core of {os.cpu_count()}, {platform.machine()}, {platform.system()}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, "
        f"numba {version('numba')}"
    )
    product, division = of_the_core()
    print(
        f"the core: {product / 1e9:.1f} G operations/s in a product of matrices, "
        f"{division / 1e9:.2f} G divisions/s"
    )
    print(
        f"{'scenario':<12} {'plain/s':>9} {'batch/s':>9} {'ratio':>7} "
        f"{'outlook/s':>10} {'operations':>11} {'divisions':>10} {'G/s':>5} "
        f"{'of product':>11} {'divisions at least':>19}"
    )
    for path in sorted(SCENARIOS.glob("*/spec.toml")):
        name = path.parent.name
        plain, batch, outlook = compare(name, min(n, 200), n)
        needed = counted(name)
        total = sum(needed.values())
        print(
            f"{name:<12} {plain:>9,.0f} {batch:>9,.0f} {batch / plain:>7.0f} "
            f"{outlook:>10,.0f} {total:>11,.0f} {needed['divide']:>10,.0f} "
            f"{total * batch / 1e9:>5.1f} {total * batch / product:>11.0%} "
            f"{needed['divide'] * batch / division:>19.0%}"
        )


if __name__ == "__main__":
    main()
