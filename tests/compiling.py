"""Compile the numerical core in two processes at once, before the tests need it.

``python -m tests.compiling evaluation`` and ``python -m tests.compiling search`` do a
half of it each; what stands on disk already is only loaded. Workers that run tests side
by side would else compile the same functions, each for itself.
"""

import subprocess
import sys
from pathlib import Path

HALVES = ("evaluation", "search")
ROOT = Path(__file__).parents[1]


def compile_all():
    """Both halves; a half that fails is left to the tests, which then fail too."""
    words = [sys.executable, "-m", "tests.compiling"]
    halves = [
        subprocess.Popen([*words, half], cwd=ROOT, stderr=subprocess.DEVNULL)
        for half in HALVES
    ]
    for process in halves:
        process.wait()


def compile_half(half):
    # what takes a second to import is imported by the two processes alone
    import numpy as np

    from model import evaluate, read_library
    from optimiser.anneal import anneal
    from optimiser.breeding import breed
    from optimiser.cells import cells_of
    from optimiser.encoding import encode
    from optimiser.helm import Helm, Towards
    from optimiser.outlook import foresee
    from optimiser.problem import Demand
    from optimiser.settling import settled
    from optimiser.spec_file import read_spec
    from optimiser.steer import depth_below, steer
    from tests.conftest import SCENARIOS

    library = read_library()
    spec = read_spec(SCENARIOS / "fairway_58" / "spec.toml", library)
    encoding, demand = encode(spec, library), Demand.of(spec)
    tables, cells = encoding.tables, cells_of(encoding)
    rng = np.random.default_rng(1)
    nobody, nowhere = np.zeros((0, encoding.n_genes), dtype=np.int64), np.zeros((0, 1))
    genomes, _ = breed(nobody, nowhere.astype(np.int64), tables, rng, 2)
    if half == "evaluation":
        encoding.measure(genomes)
        evaluate(encoding.design(genomes[0], "one"), library, exact=True)
        return
    helm = Helm(encoding, cells, demand)
    off = np.zeros((2, len(foresee(cells, encoding.decode(genomes)[0]).log[0])))
    even = np.ones((2, len(demand.objective)))
    towards = Towards(0.0 * even[0], even[0], even)
    _, _, F = steer(helm, rng, genomes, off, towards, tries=1)
    anneal(helm, rng, genomes, off, towards, moves=1)
    settled(genomes, tables, rng)
    depth_below(F, F)


if __name__ == "__main__":
    compile_half(sys.argv[1])
