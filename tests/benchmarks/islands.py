"""Two processes against one: evaluations per second of the same search on islands.

Run as ``python tests/benchmarks/islands.py``. Beside it stands what the machine itself
gives: a plain arithmetic loop in one process and in two at once. Each round measures
all four in turn, since a machine that others use gives now more and now less; the
median of the rounds' ratios is what counts. Both searches end with the same bits.
"""

import argparse
import multiprocessing
import os
import platform
import statistics
import sys
import time
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from model import read_library
from optimiser.course import Stall
from optimiser.encoding import encode
from optimiser.executors import processes
from optimiser.islands import Islands, warm_up
from optimiser.spec_file import read_spec

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def plain_loop(n):
    """Arithmetic that no library does."""
    x = 0.0
    for i in range(n):
        x += i * 0.5 % 7.0
    return x


def plain_rates(pool, n):
    """Loops per second, by one process and by two at once."""
    start = time.perf_counter()
    pool.apply(plain_loop, (n,))
    one = time.perf_counter() - start
    start = time.perf_counter()
    pool.map(plain_loop, (n, n), chunksize=1)
    two = time.perf_counter() - start
    return n / one, 2 * n / two


def timed(encoding, crew, evaluations):
    """Evaluations per second, and the state at the end."""
    course = Islands(encoding, Stall(), crew)
    start = time.perf_counter()
    course.run(lambda: True, evaluations=evaluations, seconds=None)
    rate = course.progress.evaluations / (time.perf_counter() - start)
    return rate, course.to_arrays()


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenario", default="fairway_58")
    parser.add_argument("--evaluations", type=int, default=160_000)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    library = read_library()
    spec = read_spec(SCENARIOS / options.scenario / "spec.toml", library)
    spec = replace(spec, search=replace(spec.search, islands=4))
    encoding = encode(spec, library)
    warm_up(encoding)
    print(
        f"{platform.machine()}, {os.cpu_count()} processors, load "
        f"{os.getloadavg()[0]:.1f} at the start, Python {platform.python_version()}; "
        f"{options.scenario}, 4 islands, {options.evaluations:,} evaluations"
    )
    prepare = partial(warm_up, encoding)
    ratios, plain = [], []
    print(f"{'round':<6}{'one/s':>9}{'two/s':>9}{'ratio':>8}{'plain loop':>12}")
    with (
        processes(1, prepare) as one,
        processes(2, prepare) as two,
        multiprocessing.get_context("spawn").Pool(2) as pool,
    ):
        pool.map(plain_loop, (1000, 1000), chunksize=1)
        timed(encoding, two, 2_000)
        for i in range(options.rounds):
            alone, states = timed(encoding, one, options.evaluations)
            shared, others = timed(encoding, two, options.evaluations)
            for name in states:
                if not name.endswith("words"):
                    np.testing.assert_array_equal(states[name], others[name])
            single, double = plain_rates(pool, 20_000_000)
            ratios.append(shared / alone)
            plain.append(double / single)
            print(
                f"{i + 1:<6}{alone:>9,.0f}{shared:>9,.0f}{ratios[-1]:>8.2f}"
                f"{plain[-1]:>12.2f}",
                flush=True,
            )
    print(
        f"median: islands {statistics.median(ratios):.2f}, plain loop "
        f"{statistics.median(plain):.2f}; same bits with one process and two"
    )


if __name__ == "__main__":
    main()
