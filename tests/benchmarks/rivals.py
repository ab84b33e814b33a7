"""The product's search and those it is measured against, each told generation by
generation to a listener, so that all are counted alike.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.core.repair import Repair
from pymoo.operators.crossover.sbx import SBX
from pymoo.operators.mutation.pm import PM
from pymoo.operators.repair.rounding import RoundingRepair
from pymoo.operators.sampling.rnd import IntegerRandomSampling

from model import evaluate_batch
from model.compilation import compiled_lean_entry, fingerprint
from optimiser import settling
from optimiser.breeding import breed
from optimiser.diameters import fit_diameters
from optimiser.problem import Demand, ShaftProblem
from optimiser.search import Search
from optimiser.settling import settle
from tests.benchmarks.kept_front import Front, nondominated, nothing
from tests.shop_rules import RULES, broken, can_be_evaluated

#: Times that the repair of a pymoo search tries a child.
_REPAIR_TRIES = 10
#: What stands for a design that is no shaft.
_HOPELESS = 1e6


class Found:
    """All non-dominated feasible designs that a search has come upon."""

    def __init__(self, encoding):
        self.front = nothing(encoding)
        self.evaluations = 0
        self.feasible = 0
        self.first = None

    def add(self, genomes, F, good, n):
        """Take note of n evaluations, in their order."""
        if good.any():
            if self.first is None:
                self.first = self.evaluations + int(np.argmax(good)) + 1
            self.feasible += int(good.sum())
            self.front = nondominated(
                Front(
                    np.concatenate([self.front.genomes, genomes[good]]),
                    np.concatenate([self.front.F, F[good]]),
                )
            )
        self.evaluations += n


class RuledProblem(ShaftProblem):
    """The product's problem with the shop's rules of construction as constraints."""

    def __init__(self, encoding):
        super().__init__(encoding)
        self.n_ieq_constr += len(RULES)
        self.found = Found(encoding)

    def _evaluate(self, x, out, *_args, **_options):
        genomes = np.rint(x).astype(np.int64)
        n = len(genomes)
        F = np.full((n, self.n_obj), _HOPELESS)
        G = np.full((n, self.n_ieq_constr), _HOPELESS)
        rules = broken(self.encoding, genomes)
        G[:, -len(RULES) :] = rules
        shafts = can_be_evaluated(self.encoding, genomes)
        if shafts.any():
            _, scores = self.evaluate_genomes(genomes[shafts])
            F[shafts] = np.where(np.isfinite(scores.F), scores.F, _HOPELESS)
            G[shafts, : -len(RULES)] = np.minimum(scores.G, _HOPELESS)
        good = (G <= 0.0).all(axis=1)
        self.found.add(genomes, F, good, n)
        out["F"], out["G"] = F, G


def _repair_entries(sources):
    """Both steps of the repair by themselves, their machine code kept on disk."""

    @compiled_lean_entry
    def settled(genome, t, rng, order):
        _ = sources  # part of the key under which the machine code is kept
        return settle(genome, t, rng, order)

    @compiled_lean_entry
    def fitted(genome, t, rng):
        _ = sources
        return fit_diameters(genome, t, rng)

    return settled, fitted


settle_one, fit_one = _repair_entries(fingerprint(Path(settling.__file__).parent))


class ShopRepair(Repair):
    """The product's repair in the shape that pymoo asks for."""

    def __init__(self, encoding, seed):
        super().__init__()
        self.tables = encoding.tables
        self.rng = np.random.default_rng(seed)
        self.order = np.zeros(len(encoding.spec.places), dtype=np.int64)

    def _do(self, _problem, x, **_options):
        genomes = np.rint(x).astype(np.int64)
        t, rng, order = self.tables, self.rng, self.order
        for i, genome in enumerate(genomes):
            for _ in range(_REPAIR_TRIES):
                child = genome.copy()
                if (
                    settle_one(child, t, rng, order)
                    and fit_one(child, t, rng)
                    and settle_one(child, t, rng, order)
                ):
                    genomes[i] = child
                    break
        return genomes


def fresh_state(encoding, seed):
    """What the product's own search begins with."""
    return Search(_seeded(encoding, seed)).state


def _seeded(encoding, seed):
    spec = encoding.spec
    return replace(encoding, spec=replace(spec, search=replace(spec.search, seed=seed)))


def default(encoding, seed, listener, state=None):
    """The product's own search, or the rest of it from a state on, which it changes."""
    search = Search(_seeded(encoding, seed), state)

    def on_generation(state):
        progress, archive = state.progress, state.archive
        return listener(
            progress.evaluations,
            Front(archive.genomes, archive.F),
            feasible=progress.feasible,
            first=progress.first_feasible,
        )

    search.run(on_generation, evaluations=10**12)


def stock(encoding, seed, listener):
    """pymoo's NSGA-II with rounded integers, all constraints as they are given."""
    _pymoo(encoding, seed, listener, RoundingRepair(), settled=False)


def repaired(encoding, seed, listener):
    """The same, every child brought to the shop's rules and into the end diameters."""
    _pymoo(encoding, seed, listener, ShopRepair(encoding, seed), settled=True)


def _pymoo(encoding, seed, listener, repair, *, settled):
    problem = RuledProblem(encoding)
    rounding = {} if settled else {"repair": repair}
    algorithm = NSGA2(
        pop_size=encoding.spec.search.population,
        sampling=IntegerRandomSampling(),
        # the choices that pymoo's documentation gives for integers
        crossover=SBX(prob=1.0, eta=3.0, vtype=float, **rounding),
        mutation=PM(prob=1.0, eta=3.0, vtype=float, **rounding),
        repair=repair,
        eliminate_duplicates=True,
    )
    algorithm.setup(problem, termination=("n_gen", 10**9), seed=seed, verbose=False)
    found = problem.found
    going = True
    while going and algorithm.has_next():
        algorithm.next()
        going = listener(
            found.evaluations, found.front, feasible=found.feasible, first=found.first
        )


def random(encoding, seed, listener):
    """Designs bred out of nothing: random choices, repaired, evaluated, kept."""
    demand = Demand.of(encoding.spec)
    rng = np.random.default_rng(seed)
    none = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    found = Found(encoding)
    going = True
    while going:
        genomes, _ = breed(
            none, mates, encoding.tables, rng, encoding.spec.search.population
        )
        layups, _ = encoding.decode(genomes)
        scores = demand.score(evaluate_batch(layups, encoding.conditions))
        found.add(genomes, scores.F, scores.violation <= 0.0, len(genomes))
        going = listener(
            found.evaluations, found.front, feasible=found.feasible, first=found.first
        )


SEARCHES = {
    "default": default,
    "stock": stock,
    "repaired": repaired,
    "random": random,
}
