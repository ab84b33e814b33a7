"""A world small enough to be searched whole, and what the search finds of it.

    python tests/search/small_world/study.py enumerate   # evaluate all, keep the front
    python tests/search/small_world/study.py measure     # ten seeds at 1 % and at 3 %

``spec.toml`` leaves a few million designs. ``enumerate`` evaluates every one of them
that the shop's rules allow and writes the true front to ``true_front.csv``; the number
of designs evaluated is the whole of which the search gets a share.

Two genomes are one design if they differ only in what does not matter: choices of a
place that is left out, and ranks that give the same rolling order. Designs that agree
in all objectives to 12 digits (such as those that swap two flags which never lie on
each other) stand for one another, so the front is counted by its distinct points: a
point is found if the search holds a design that measures so, to 1e-9.
"""

import argparse
import sys
import time
from dataclasses import dataclass, field, replace
from itertools import permutations, product
from math import prod
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[3]
sys.path.insert(0, str(ROOT))

from model import evaluate_batch, read_library, workspace  # noqa: E402
from optimiser.decoding import GENES, HEAD, PRESENT, RANK  # noqa: E402
from optimiser.encoding import encode  # noqa: E402
from optimiser.problem import Demand  # noqa: E402
from optimiser.search import Search  # noqa: E402
from optimiser.spec_file import read_spec  # noqa: E402
from tests.benchmarks import kept_front  # noqa: E402
from tests.benchmarks.kept_front import Front, hypervolume  # noqa: E402
from tests.shop_rules import broken, can_be_evaluated  # noqa: E402

FOLDER = Path(__file__).parent
SPEC = FOLDER / "spec.toml"
NAME = "true_front"
CHUNK = 100_000
#: Two designs are one point if their objectives agree to this share.
SAME = 1e-9
#: Shares of the whole at which the search is measured.
SHARES = (0.01, 0.03)
SEEDS = range(1, 11)


def world(library, spec=SPEC):
    """Encoding of the small world."""
    return encode(read_spec(spec, library), library)


def all_genomes(encoding):
    """Every design of a spec once, in arrays of at most CHUNK genomes."""
    counts = encoding.n_choices
    optional = encoding.tables.optional
    n_places = len(optional)
    for there in product(*[(0, 1) if free else (1,) for free in optional]):
        laid = [i for i in range(n_places) if there[i]]
        left_out = [i for i in range(n_places) if not there[i]]
        genes = list(range(HEAD))
        for place in laid:
            base = HEAD + GENES * place
            genes += range(base + PRESENT + 1, base + RANK)
        genes = [gene for gene in genes if counts[gene] > 1]
        shape = [int(counts[gene]) for gene in genes]
        # without reordering the order of the spec is the only one
        free = encoding.spec.rules.reorder
        orders = permutations(laid) if free else [tuple(laid)]
        for order in orders:
            for first in range(0, prod(shape), CHUNK):
                which = np.arange(first, min(first + CHUNK, prod(shape)))
                genomes = np.zeros((len(which), encoding.n_genes), dtype=np.int64)
                genomes[:, genes] = np.stack(np.unravel_index(which, shape), axis=1)
                for rank, place in enumerate((*order, *left_out)):
                    genomes[:, HEAD + GENES * place + RANK] = rank
                for place in laid:
                    if optional[place]:
                        genomes[:, HEAD + GENES * place + PRESENT] = 1
                yield genomes


@dataclass
class Truth:
    """What there is in a world."""

    front: Front
    everything: int = 0  #: designs
    allowed: int = 0  #: of them within the shop's rules, and so evaluated
    feasible: int = 0
    missed: dict[str, int] = field(default_factory=dict)
    #: designs that miss one band or rule only, by its name


def enumerate_all(encoding, tell=None):
    """Evaluate every design that the rules allow."""
    demand = Demand.of(encoding.spec)
    truth = Truth(kept_front.nothing(encoding))
    alone = np.zeros(len(demand.band_names), dtype=int)
    work = workspace(
        encoding.conditions,
        len(encoding.spec.places),
        float(encoding.tables.length.max()),
    )
    for genomes in all_genomes(encoding):
        truth.everything += len(genomes)
        genomes = genomes[can_be_evaluated(encoding, genomes)]
        genomes = genomes[(broken(encoding, genomes) == 0.0).all(axis=1)]
        truth.allowed += len(genomes)
        if len(genomes):
            layups, _ = encoding.decode(genomes)
            report = evaluate_batch(layups, encoding.conditions, work=work)
            scores = demand.score(report)
            missed = scores.G > 0.0
            alone += missed[missed.sum(axis=1) == 1].sum(axis=0)
            good = scores.violation <= 0.0
            truth.feasible += int(good.sum())
            truth.front = _joined(encoding, truth.front, genomes[good], scores.F[good])
        if tell is not None:
            tell(truth)
    truth.missed = dict(zip(demand.band_names, alone.tolist(), strict=True))
    return truth


class Progress:
    """Says every few seconds how far an enumeration is."""

    def __init__(self):
        self.said = time.monotonic()

    def __call__(self, truth):
        if time.monotonic() - self.said > 5.0:
            self.said = time.monotonic()
            print(
                f"{truth.everything:,} designs, {truth.allowed:,} within the rules, "
                f"{truth.feasible:,} feasible, {truth.front.n} on the front",
                flush=True,
            )


def write(encoding, truth, folder):
    """Keep a true front as text, with what was counted."""
    missed = ", ".join(f"{name} {n}" for name, n in truth.missed.items() if n)
    notes = [
        f"designs in all: {truth.everything}",
        f"evaluated: {truth.allowed}",
        f"feasible: {truth.feasible}",
        f"missing one thing alone: {missed}",
    ]
    notes.insert(0, "made by: python tests/search/small_world/study.py enumerate")
    what = "true front of a small world; every design within the rules was evaluated"
    kept_front.write(NAME, encoding, truth.front, folder, what, notes)


def read(encoding, folder=FOLDER):
    """The true front as kept, and how many designs were evaluated for it."""
    front = kept_front.read(NAME, encoding, folder)
    for line in (folder / f"{NAME}.csv").read_text(encoding="utf-8").splitlines():
        if line.startswith("# evaluated:"):
            return front, int(line.split(":")[1])
    raise kept_front.RefusedError("the true front does not say how much was evaluated")


def _joined(encoding, front, genomes, F):
    if len(genomes) == 0:
        return front
    F = kept_front.rounded(encoding, F)
    return kept_front.nondominated(
        Front(np.concatenate([front.genomes, genomes]), np.concatenate([front.F, F]))
    )


def found_share(encoding, truth, archive):
    """Share of the true front's points found, and of its hypervolume."""
    near = np.isclose(truth.F[:, None], archive.F[None], rtol=SAME, atol=1e-12)
    reference = kept_front.corner(encoding)
    volume = hypervolume(archive.F, reference) / hypervolume(truth.F, reference)
    return near.all(axis=2).any(axis=1).mean(), volume


def measure(encoding, truth, whole, seed, shares=SHARES):
    """What one seed has found at shares of the whole."""
    spec = encoding.spec
    options = replace(spec.search, seed=seed)
    search = Search(replace(encoding, spec=replace(spec, search=options)))
    found = []
    for share in shares:
        budget = int(share * whole)
        last = [search.state.archive]

        def within(state, budget=budget, last=last):
            # what a generation beyond the budget brings does not count
            if state.progress.evaluations <= budget:
                last[0] = state.archive
            return True

        search.run(within, evaluations=budget)
        found.append((*found_share(encoding, truth, last[0]), search.state.progress))
    return found


def figures(encoding, truth, whole, seeds, tell=print):
    """Medians over seeds of the shares found, a row for each share of the whole."""
    rows = []
    for seed in seeds:
        found = measure(encoding, truth, whole, seed)
        rows.append([pair[:2] for pair in found])
        words = "; ".join(
            f"{share:.0%}: {points:.4f} of the points, {volume:.6f} of the hypervolume"
            for share, (points, volume, _) in zip(SHARES, found, strict=True)
        )
        progress = found[-1][2]
        tell(f"seed {seed}: {words}; first feasible after {progress.first_feasible}")
    return np.median(np.array(rows), axis=0)


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("command", choices=("enumerate", "measure"))
    parser.add_argument("--spec", type=Path, default=SPEC, help="another world")
    parser.add_argument("--seeds", type=int, default=len(SEEDS), help="how many")
    options = parser.parse_args()
    encoding = world(read_library(), options.spec)
    folder = options.spec.parent
    if options.command == "enumerate":
        start = time.perf_counter()
        truth = enumerate_all(encoding, Progress())
        print(f"\n{truth.front.n} points, {time.perf_counter() - start:.0f} s")
        write(encoding, truth, folder)
    else:
        front, whole = read(encoding, folder)
        print(f"{front.n} points; 1 % is {whole // 100:,} evaluations")
        middle = figures(encoding, front, whole, range(1, options.seeds + 1))
        for share, (points, volume) in zip(SHARES, middle, strict=True):
            print(
                f"median at {share:.0%}: {points:.4f} of the points, {volume:.6f} of "
                "the hypervolume"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
