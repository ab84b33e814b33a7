"""The genetic search: breed, steer, evaluate, survive; an archive of the best.

Works on arrays. Knows nothing of files: it reports to a callable after every
generation, and its whole state goes in and out as arrays.
"""

import time
from collections.abc import Callable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from model import METRICS, Work, evaluate_batch, workspace
from optimiser.anneal import anneal
from optimiser.breeding import breed, near_mates
from optimiser.cells import cells_of
from optimiser.encoding import Encoding
from optimiser.helm import Helm, Towards
from optimiser.outlook import evaluated, foresee
from optimiser.outlook_sums import N_FORESEEN
from optimiser.problem import Demand, Scores
from optimiser.settling import settled
from optimiser.state import Designs, Progress, State
from optimiser.steer import depth_below, steer
from optimiser.survival import archived, fixed_box, share_of_box, survivors

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Designs bred out of nothing are no match for those that were bred for long, however
#: good the kind of layup that they are of. So some breed apart, in a nursery, until
#: they are on their own's best, and only then compete. Every second one keeps to a
#: mandrel, each in turn: on one much is feasible soon, and another may bear what is
#: better. The first are so many ...
_FIRST = 4
#: ... and ones later have this share of evaluations: one to so many of the population.
_GROWN_PER_RAISED = 3
#: A nursery lasts so many times its size in evaluations, or this share of all so far if
#: that is more; and at most so many times the generations that this takes at least.
_YOUNG, _LATER, _LONGEST = 80, 0.05, 4
_NURSERY_LEAST = 20
#: Share of each generation that is bred out of nothing.
_NEWCOMERS = 0.02
#: Moves tried on a child before it is evaluated.
_TRIES = 10
#: Moves that a design out of nothing is annealed by: one among many, and one that a
#: nursery begins with, which has this share of the nursery's evaluations if that is
#: more; so many in all, so that it takes seconds.
_MOVES, _NURSERY_MOVES, _MOVES_PER_LIFE, _MOST_MOVES = 300, 10_000, 0.3, 1_500_000
#: How far the directions that children climb in scatter about their parents' own.
_SCATTER = 0.5
#: Evaluated are children that promise to miss their bands by no more than this.
_PROMISED = 0.2
#: Where fewer children than this share of a generation are new and promise anything,
#: the neighbours of some designs of the archive are looked at, one by one; how many
#: designs, how far below the archive a neighbour may promise to lie, as a share of its
#: spans, and how far outside the bands.
_BARREN, _SWEPT, _NOT_BELOW, _NOT_BEYOND = 0.25, 8, 0.05, 0.6
#: Once all are looked at: designs of which two choices are changed, and how often.
_PAIRED, _PAIRS = 2, 2000
#: Designs that miss their bands by less than this are steered once more.
_NEARLY = 1.0
#: Random designs that say how far objectives reach while no feasible one is known.
_ROUGHLY = 60
_MEMORY = 1 << 17


class Search:
    """A search of one spec, generation by generation."""

    def __init__(
        self,
        encoding: Encoding,
        state: State | None = None,
        demand: Demand | None = None,
        *,
        has_nursery: bool = True,
    ) -> None:
        self.encoding = encoding
        #: whether it looks for other kinds of designs than it has
        self.has_nursery = has_nursery
        self.spec = encoding.spec
        #: what is asked; the spec's own unless something else is to be tried
        self.demand = demand if demand is not None else Demand.of(encoding.spec)
        self.cells = cells_of(encoding)
        self._helm = Helm(encoding, self.cells, self.demand)
        self._helms = [self._helm.on(i) for i in range(len(self.spec.mandrels))]
        self.state = state if state is not None else self._fresh()
        self._work: Work = workspace(
            encoding.conditions,
            len(self.spec.places),
            float(encoding.tables.length.max()),
        )

    def _fresh(self) -> State:
        n_objectives = len(self.demand.objective)
        return State(
            self._nobody(),
            self._nobody(),
            self._nobody(),
            Progress(),
            np.zeros(_MEMORY, dtype=np.uint64),
            np.full(n_objectives, np.nan),
            np.full(n_objectives, np.nan),
            rng=np.random.default_rng(self.spec.search.seed),
        )

    def _nobody(self) -> Designs:
        return Designs(
            np.zeros((0, self.encoding.n_genes), dtype=np.int64),
            np.zeros((0, len(METRICS))),
            np.zeros((0, len(self.demand.ei_low))),
            np.zeros((0, len(self.demand.objective))),
            np.zeros(0),
        )

    def run(
        self,
        on_generation: Callable[[State], bool] = lambda _: True,
        *,
        evaluations: int | None = None,
        seconds: float | None = None,
    ) -> State:
        """Search until a budget is spent or the callable says to stop.

        Parameters
        ----------
        on_generation : callable
            Called after each generation; False stops the search. [-]
        evaluations : int or None
            Whole evaluations, those of earlier sittings included; the spec's number if
            neither budget is given. [-]
        seconds : float or None
            Time, that of earlier sittings included. [s]

        Returns
        -------
        state : State
            Where the search stands. [-]
        """
        if evaluations is None and seconds is None:
            evaluations, seconds = self.spec.search.evaluations, self.spec.search.time
        progress = self.state.progress
        before = progress.seconds
        clock = time.perf_counter()
        while True:
            if evaluations is not None and progress.evaluations >= evaluations:
                break
            if seconds is not None and progress.seconds >= seconds:
                break
            self.generation()
            progress.seconds = before + time.perf_counter() - clock
            if progress.first_feasible is not None:
                progress.first_feasible_seconds = (
                    progress.first_feasible_seconds or progress.seconds
                )
            if not on_generation(self.state):
                break
        return self.state

    def generation(self) -> None:
        """One generation, of the population or of the nursery."""
        state, progress = self.state, self.state.progress
        size = self.spec.search.population
        before = progress.evaluations
        if self._is_nursery_due():
            size = self.nursery_size
            state.nursery = self._next(state.nursery, size, self._nursery_helm())
            progress.raised += progress.evaluations - before
            progress.nursery_generations += 1
            life = self._life()
            # where hardly anything is new, it ends nevertheless
            longest = _LONGEST * life / size if state.nursery.n else 1
            if progress.raised >= life or progress.nursery_generations >= longest:
                self._grow_up()
        else:
            state.population = self._next(
                state.population, size, self._helm, may_sweep=True
            )
            progress.grown += progress.evaluations - before
        progress.generation += 1

    @property
    def nursery_size(self) -> int:
        """Designs that breed apart from the population."""
        return max(_NURSERY_LEAST, self.spec.search.population // 5)

    def _nursery_helm(self) -> Helm:
        turn, is_open = divmod(self.state.progress.nurseries + 1, 2)
        return self._helm if is_open else self._helms[(turn - 1) % len(self._helms)]

    def _is_nursery_due(self) -> bool:
        progress = self.state.progress
        if not self.has_nursery:
            return False
        if progress.nurseries < _FIRST:
            return True
        return progress.raised * _GROWN_PER_RAISED < progress.grown

    def _grow_up(self) -> None:
        """Have the nursery's designs compete with all, and begin another."""
        state, progress = self.state, self.state.progress
        size = self.spec.search.population
        state.population = survivors(state.population.join(state.nursery), size)
        state.nursery = self._nobody()
        progress.nurseries += 1
        progress.raised = progress.grown = progress.nursery_generations = 0

    def _next(
        self,
        population: Designs,
        size: int,
        helm: Helm,
        *,
        may_sweep: bool = False,
    ) -> Designs:
        """Breed, climb by the outlook, evaluate what promises, and survive once."""
        n_new = int(_NEWCOMERS * size)
        if population.n == 0:
            n_new = size
        elif self.state.progress.generation == 0:
            # begun from designs at hand, which are not to be all there is
            n_new = size // 2
        children = [
            self._bred(population, size - n_new, helm),
            self._bred(population, n_new, helm, out_of_nothing=True),
        ]
        if may_sweep and sum(map(len, children)) < _BARREN * size:
            children.append(self._neighbours())
        offspring = self._measure(np.concatenate(children), population)
        self._store(offspring)
        return survivors(population.join(offspring), size)

    def _bred(
        self,
        population: Designs,
        n: int,
        helm: Helm,
        *,
        out_of_nothing: bool = False,
    ) -> IntArray:
        """Children that were not seen before and promise to keep the bands."""
        rng = self.state.rng
        if out_of_nothing:
            parents, mates = population.genomes[:0], np.zeros((0, 1), dtype=np.int64)
        else:
            parents, mates = population.genomes, near_mates(population.F)
        children, parent = breed(parents, mates, helm.tables, rng, n)
        off = np.zeros((len(children), N_FORESEEN + self.cells.n_points))
        if population.n:
            its = self._off(population)
            off[:] = np.where(parent[:, None] >= 0, its[parent], its.mean(axis=0))
        towards = self._towards(population, parent)
        if out_of_nothing:
            moves = self._moves(len(children)) if population.n == 0 else _MOVES
            children, violation = anneal(helm, rng, children, off, towards, moves=moves)
        else:
            children, violation, _ = steer(
                helm, rng, children, off, towards, tries=_TRIES
            )
        self.state.progress.foreseen += len(children)
        new = self._unseen(children)
        children, violation = children[new], violation[new]
        order = np.argsort(violation, kind="stable")
        # where hardly any promises to keep the bands, the best are evaluated still
        n_best = max(int((violation <= _PROMISED).sum()), n // 8)
        return children[order[:n_best]]

    def _moves(self, n: int) -> int:
        """Moves for each of the designs that a nursery, or a search, begins with."""
        if not self.has_nursery or self.state.progress.nurseries == 0:
            # a first answer is wanted at once
            return _MOVES
        many = max(_NURSERY_MOVES, int(_MOVES_PER_LIFE * self._life()))
        return min(many, max(_MOST_MOVES // max(n, 1), _MOVES))

    def _life(self) -> float:
        """Evaluations that a nursery lasts."""
        return max(_YOUNG * self.nursery_size, _LATER * self.state.progress.evaluations)

    def _neighbours(self) -> IntArray:
        """What lies next to some designs of the archive and may be as good as they."""
        state = self.state
        if state.archive.n == 0:
            return state.archive.genomes
        hashes = _hashes(self._canonical(state.archive.genomes))
        is_swept = np.isin(hashes, state.swept)
        new = np.flatnonzero(~is_swept)[:_SWEPT]
        state.swept = np.concatenate([hashes[is_swept], hashes[new]])
        picked = state.archive.take(new)
        beside = [self.encoding.neighbours(genome) for genome in picked.genomes]
        if picked.n == 0:
            # all are done: two changes at once, of some
            picked = state.archive.take(state.rng.integers(0, state.archive.n, _PAIRED))
            beside = [self._pairs(genome) for genome in picked.genomes]
        counts = [len(genomes) for genomes in beside]
        genomes = np.concatenate([state.archive.genomes[:0], *beside])
        genomes, kept = settled(genomes, self.encoding.tables, state.rng)
        off = np.repeat(self._off(picked), counts, axis=0)
        genomes, off = genomes[kept], off[kept]
        nowhere = self._towards(state.population, np.full(len(genomes), -1))
        genomes, violation, F = steer(
            self._helm, state.rng, genomes, off, nowhere, tries=0, rounds=0
        )
        state.progress.foreseen += len(genomes)
        depth = depth_below(F, state.archive.F)
        worth = (violation <= _NOT_BEYOND) & (depth < _NOT_BELOW)
        genomes = genomes[worth]
        return genomes[self._unseen(genomes)]

    def _pairs(self, genome: IntArray) -> IntArray:
        """Genomes that differ from one by two choices."""
        single = self.encoding.neighbours(genome)
        if len(single) == 0:
            return single
        first, second = self.state.rng.integers(0, len(single), (2, _PAIRS))
        pairs: IntArray = np.where(
            single[first] != genome, single[first], single[second]
        )
        return pairs

    def _off(self, designs: Designs) -> Array:
        """How far the outlook of evaluated designs is off, shape (n, n_value)."""
        layups, _ = self.encoding.decode(designs.genomes)
        there = evaluated(designs.metrics, designs.EI, layups.length)
        # nought where a test does not fit
        return np.nan_to_num(there - foresee(self.cells, layups).log)

    def _towards(self, population: Designs, parent: IntArray) -> Towards:
        """Where children are to climb: about the direction their parents excel in."""
        rng = self.state.rng
        n_objectives = len(self.demand.objective)
        best = population.F[population.violation <= 0.0]
        weight = rng.dirichlet(np.ones(n_objectives), len(parent))
        if len(best) < 2:
            best = self.state.archive.F
            near, span = _box(best) if len(best) > 1 else self._rough_box
            return Towards(near, span, weight)
        near, span = _box(best)
        has = parent >= 0
        share = np.clip((population.F[parent[has]] - near) / span, 0.0, 1.0)
        scatter = np.exp(_SCATTER * rng.standard_normal(share.shape))
        weight[has] = scatter / (share + 0.1)
        return Towards(near, span, weight)

    @cached_property
    def _rough_box(self) -> tuple[Array, Array]:
        """Near corner and spans of random designs' outlook, within the bounds asked."""
        rng = np.random.default_rng(0)
        nobody = np.zeros((0, self.encoding.n_genes), dtype=np.int64)
        mates = np.zeros((0, 1), dtype=np.int64)
        genomes, _ = breed(nobody, mates, self.encoding.tables, rng, _ROUGHLY)
        n_objectives = len(self.demand.objective)
        off = np.zeros((len(genomes), N_FORESEEN + self.cells.n_points))
        even = np.ones((len(genomes), n_objectives))
        nowhere = Towards(np.zeros(n_objectives), np.ones(n_objectives), even)
        _, _, F = steer(self._helm, rng, genomes, off, nowhere, tries=0, rounds=0)
        F = np.minimum(F, self.demand.worst())
        near, span = np.zeros(n_objectives), np.ones(n_objectives)
        for j in range(n_objectives):
            known = F[np.isfinite(F[:, j]), j]
            if len(known) > 1 and np.ptp(known) > 0.0:
                near[j], span[j] = known.min(), np.ptp(known)
        return near, span

    def _unseen(self, genomes: IntArray) -> BoolArray:
        """Mask of the genomes that were not bred lately; marks them as seen."""
        if len(genomes) == 0:
            return np.zeros(0, dtype=np.bool_)
        hashes = _hashes(self._canonical(genomes))
        slots = (hashes % np.uint64(_MEMORY)).astype(np.int64)
        new = self.state.memory[slots] != hashes
        _, first = np.unique(hashes, return_index=True)
        once = np.zeros(len(genomes), dtype=np.bool_)
        once[first] = True
        new &= once
        self.state.memory[slots[new]] = hashes[new]
        unseen: BoolArray = new
        return unseen

    def _canonical(self, genomes: IntArray) -> IntArray:
        """Genomes with what does not matter set to nought."""
        layups, place = self.encoding.decode(genomes)
        return np.concatenate(
            [
                np.stack([layups.mandrel, genomes[:, 0], genomes[:, 2]], axis=1),
                place,
                layups.sheet,
                np.rint(layups.start * 1e6).astype(np.int64),
                np.rint(layups.end * 1e6).astype(np.int64),
                np.rint(layups.wraps * 1e4).astype(np.int64),
            ],
            axis=1,
        )

    def _measure(self, genomes: IntArray, population: Designs) -> Designs:
        """Evaluate; where bands are barely missed, step and keep the better."""
        designs = self._evaluate(genomes)
        missed = np.flatnonzero(
            (designs.violation > 0.0) & (designs.violation < _NEARLY)
        )
        part = designs.take(missed)
        nowhere = self._towards(population, np.full(len(missed), -1))
        moved, _, _ = steer(
            self._helm, self.state.rng, part.genomes, self._off(part), nowhere, tries=0
        )
        changed = (moved != part.genomes).any(axis=1)
        changed[changed] &= self._unseen(moved[changed])
        missed, tried = missed[changed], self._evaluate(moved[changed])
        better = tried.violation < designs.violation[missed]
        for old, new in zip(vars(designs).values(), vars(tried).values(), strict=True):
            old[missed[better]] = new[better]
        return designs

    def _evaluate(self, genomes: IntArray) -> Designs:
        layups, _ = self.encoding.decode(genomes)
        report = evaluate_batch(layups, self.encoding.conditions, work=self._work)
        scores: Scores = self.demand.score(report)
        designs = Designs(
            genomes.copy(), report.metrics, report.EI, scores.F, scores.violation
        )
        progress = self.state.progress
        feasible = designs.violation <= 0.0
        if feasible.any():
            if progress.first_feasible is None:
                first = int(np.argmax(feasible))
                progress.first_feasible = progress.evaluations + first + 1
            progress.feasible += int(feasible.sum())
        elif designs.n:
            least = float(designs.violation.min())
            progress.least_violation = min(progress.least_violation, least)
        progress.evaluations += designs.n
        return designs

    def _store(self, designs: Designs) -> None:
        """Take what is feasible and not dominated into the archive."""
        state = self.state
        feasible = designs.take(np.flatnonzero(designs.violation <= 0.0))
        if feasible.n == 0:
            return
        if np.isnan(state.reference).any():
            state.reference, state.ideal = fixed_box(feasible.F, self.demand)
        state.archive = archived(state.archive, feasible)
        state.progress.archive = state.archive.n

    def hypervolume(self) -> float:
        """Hypervolume of the archive as a share of a fixed box.

        Returns
        -------
        share : float
            0 without a feasible design. [-]
        """
        state = self.state
        if state.archive.n == 0:
            return 0.0
        return share_of_box(state.archive.F, state.reference, state.ideal)

    def begin(self, genomes: IntArray) -> None:
        """Evaluate designs at hand before anything is bred.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Settled. [-]
        """
        if len(genomes) == 0:
            return
        designs = self._evaluate(genomes[self._unseen(genomes)])
        self._store(designs)
        size = self.spec.search.population
        self.state.population = survivors(designs, size)
        progress = self.state.progress
        progress.nurseries = max(progress.nurseries, _FIRST)

    def receive(self, designs: Designs) -> None:
        """Take in designs that another search of the same spec has evaluated.

        Parameters
        ----------
        designs : Designs
            Feasible ones; those that stand in the population already are left. [-]
        """
        own = {genome.tobytes() for genome in self.state.population.genomes}
        is_new = [genome.tobytes() not in own for genome in designs.genomes]
        designs = designs.take(np.array(is_new, dtype=np.bool_))
        if designs.n == 0:
            return
        self._unseen(designs.genomes)  # they need not be evaluated again
        self._store(designs)
        both = self.state.population.join(designs)
        self.state.population = survivors(both, self.spec.search.population)


def _box(F: Array) -> tuple[Array, Array]:
    """Near corner and spans of some objectives."""
    return F.min(axis=0), np.maximum(np.ptp(F, axis=0), 1e-12)


def _hashes(rows: IntArray) -> NDArray[np.uint64]:
    """A 64-bit hash of each row."""
    h = np.full(len(rows), 0xCBF29CE484222325, dtype=np.uint64)
    prime = np.uint64(0x100000001B3)
    for column in rows.T:
        h = (h ^ column.astype(np.uint64)) * prime
        h ^= h >> np.uint64(29)
    return h
