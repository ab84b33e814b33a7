"""Islands: searches of one spec side by side that exchange designs now and then.

Each island searches until it has done its share of evaluations; then every island
takes in a few designs of the one before it in the ring, and the next leg begins. What
an island does between two exchanges depends on its own state alone, so it does not
matter who does it, in what order, or how often it is broken off and taken up again.
"""

import copy
import hashlib
import json
import platform
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

import numpy as np

import model
from optimiser.course import (
    BARREN_MOST,
    Arrays,
    IntArray,
    Stall,
    measured_anew,
    read_marks,
)
from optimiser.encoding import Encoding
from optimiser.executors import Alone, Crew
from optimiser.search import Search
from optimiser.state import Designs, Progress, State
from optimiser.survival import best_spread

#: Designs that an island takes in at an exchange, as a share of its population.
_SENT = 0.05
#: Of so many times as many, drawn at random, the best spread are sent.
_DRAWN = 4
#: Beyond its stint a worker is waited for so long when a run is to stop. [s]
_GRACE = 30.0
#: Key of what stands in a checkpoint beside the islands' states.
ISLANDS = "islands"
_PACKAGES = ("numpy", "numba", "scipy", "moocore")
_POPULATION_TO_WARM_UP = 20


@dataclass
class _Island:
    state: State
    barren: int = 0  #: generations in a row without a new design


def stint(
    encoding: Encoding, arrays: Arrays, barren: int, evaluations: int, seconds: float
) -> tuple[Arrays, int]:
    """Search on from a state; pure, and exact wherever it is broken off.

    Parameters
    ----------
    encoding : Encoding
        The choices. [-]
    arrays : dict
        A search's state. [-]
    barren : int
        Generations in a row without a new design so far. [-]
    evaluations : int
        Where to stop, counted from the start of the search. [-]
    seconds : float
        After how much time to stop anyway. [s]

    Returns
    -------
    arrays : dict
        The state then. [-]
    barren : int
        The same count then. [-]
    """
    # what comes from another process may be read-only, and is not ours to change
    state = State.from_arrays({key: value.copy() for key, value in arrays.items()})
    search = Search(encoding, state)
    before = state.progress.evaluations

    def on_generation(state: State) -> bool:
        nonlocal barren, before
        barren = 0 if state.progress.evaluations > before else barren + 1
        before = state.progress.evaluations
        return barren < BARREN_MOST

    until = state.progress.seconds + seconds
    search.run(on_generation, evaluations=evaluations, seconds=until)
    return search.state.to_arrays(), barren


class Islands:
    """Several searches of one spec that exchange designs."""

    def __init__(
        self,
        encoding: Encoding,
        stall: Stall,
        crew: Crew | None = None,
        abandon: Callable[[], bool] = lambda: False,
    ) -> None:
        options = encoding.spec.search
        self.encoding = encoding
        self.stall = stall
        self.crew = crew if crew is not None else Alone()
        self.abandon = abandon
        self.trouble = ""
        self.leg = 1  #: number of the one that is going on
        #: of all islands: the archive as it was at the last exchange, and the progress
        self.whole = Search(encoding)
        self.whole.state.memory = np.zeros(0, dtype=np.uint64)
        self.islands = [_Island(Search(encoding).state) for _ in range(options.islands)]
        for i, island in enumerate(self.islands):
            seed = np.random.SeedSequence(options.seed, spawn_key=(i,))
            island.state.rng = np.random.default_rng(seed)
        self._view: Search | None = None

    # ------------------------------------------------------------------- as arrays

    def to_arrays(self) -> Arrays:
        """All that they need to go on.

        Returns
        -------
        arrays : dict
            Arrays and JSON texts, without pickled objects. [-]
        """
        words = {
            "leg": self.leg,
            "barren": [island.barren for island in self.islands],
            "marks": self.stall.marks,
        }
        arrays: Arrays = {ISLANDS: np.array(json.dumps(words))}
        states = {f"island{i}": each.state for i, each in enumerate(self.islands)}
        for name, state in (states | {"whole": self.whole.state}).items():
            for key, value in state.to_arrays().items():
                arrays[f"{name}.{key}"] = value
        return arrays

    @classmethod
    def from_arrays(cls, encoding: Encoding, stall: Stall, arrays: Arrays) -> "Islands":
        """The islands that gave some arrays.

        Parameters
        ----------
        encoding : Encoding
            Their choices. [-]
        stall : Stall
            The rule as it is now; marks come from the arrays. [-]
        arrays : dict
            As given by ``to_arrays``. [-]

        Returns
        -------
        islands : Islands
            Ready to go on. [-]
        """
        words = json.loads(str(arrays[ISLANDS]))
        n = len(words["barren"])
        if n != encoding.spec.search.islands:
            raise ValueError(f"{n} islands, where the run has another number")

        def state(name: str) -> State:
            lead = f"{name}."
            return State.from_arrays(
                {
                    key.removeprefix(lead): value
                    for key, value in arrays.items()
                    if key.startswith(lead)
                }
            )

        islands = cls(encoding, replace(stall, marks=read_marks(words["marks"])))
        islands.leg = int(words["leg"])
        islands.whole.state = state("whole")
        islands.islands = [
            _Island(state(f"island{i}"), int(words["barren"][i])) for i in range(n)
        ]
        return islands

    def begin(self, genomes: IntArray) -> None:
        """Evaluate designs at hand on the first island; they spread from there.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Settled. [-]
        """
        Search(self.encoding, self.islands[0].state).begin(genomes)
        self._count()

    def receive(self, genomes: IntArray) -> None:
        """Take in designs that were found elsewhere, on the first island.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Feasible; evaluated even where the search looked at them and passed on. [-]
        """
        search = Search(self.encoding, self.islands[0].state)
        search.receive(search._evaluate(genomes))
        self._count()

    @property
    def states(self) -> list[State]:
        """States of the islands, and last that of their common archive."""
        return [*(island.state for island in self.islands), self.whole.state]

    # --------------------------------------------------------------- what is found

    @property
    def progress(self) -> Progress:
        """Where all of them together stand."""
        return self.whole.state.progress

    @property
    def is_exhausted(self) -> bool:
        """Whether nothing new comes on any island."""
        return all(island.barren >= BARREN_MOST for island in self.islands)

    def has_spent(self, evaluations: int | None) -> bool:
        """Whether none of a budget of evaluations is left that could be used.

        Parameters
        ----------
        evaluations : int or None
            Of all islands, those of earlier sittings included; None for no such
            limit. [-]

        Returns
        -------
        has_spent : bool
            True once each island has done its share, or nothing new comes on it. [-]
        """
        share = self._share(evaluations)
        return all(
            island.barren >= BARREN_MOST
            or (share is not None and island.state.progress.evaluations >= share)
            for island in self.islands
        )

    def found(self) -> State:
        """What they have found together.

        Returns
        -------
        state : State
            The common archive with what each has found since the last exchange, and
            all that breed. [-]
        """
        return self._seen().state

    def hypervolume(self) -> float:
        """Hypervolume of what they have found together.

        Returns
        -------
        share : float
            Of a fixed box. [-]
        """
        return self._seen().hypervolume()

    def _seen(self) -> Search:
        if self._view is None:
            view = copy.copy(self.whole)
            view.state = replace(self.whole.state)
            self._gather(view)
            groups = [island.state.living for island in self.islands]
            for group in groups:
                view.state.population = view.state.population.join(group)
            self._view = view
        return self._view

    def _gather(self, search: Search) -> None:
        """Bring the islands' archives together, in their order."""
        first = self.islands[0].state
        if np.isnan(search.state.reference).any():
            # one box from the beginning, whoever is ahead when it is asked for
            search.state.reference, search.state.ideal = first.reference, first.ideal
        for island in self.islands:
            if island.state.archive.n:
                search._store(island.state.archive)

    def _count(self) -> None:
        """Bring the common progress up to date."""
        whole = self.progress
        each = [island.state.progress for island in self.islands]
        whole.evaluations = sum(one.evaluations for one in each)
        whole.feasible = sum(one.feasible for one in each)
        whole.generation = sum(one.generation for one in each)
        whole.least_violation = min(one.least_violation for one in each)
        first = [one.first_feasible for one in each if one.first_feasible is not None]
        if first:
            # all are taken to have been as far as the one that was first
            whole.first_feasible = min(first) * len(each)
            whole.first_feasible_seconds = whole.first_feasible_seconds or whole.seconds
        self._view = None

    def measured_anew(self, encoding: Encoding, also: IntArray) -> "Islands":
        """The same designs and some others, as they measure under other conditions.

        Parameters
        ----------
        encoding : Encoding
            Of the same choices. [-]
        also : ndarray, shape (n, n_genes)
            The others, which the first measures. [-]

        Returns
        -------
        islands : Islands
            Their marks begin anew. [-]
        """
        stall = replace(self.stall, marks=[])
        new = Islands(encoding, stall, self.crew, self.abandon)
        new.leg = self.leg
        new.whole.state.progress = replace(self.progress)
        common = self.whole.state.archive
        for i, island in enumerate(self.islands):
            # what only the common archive still holds is measured by the first
            state = island.state
            if i == 0:
                state = replace(state, archive=common.join(state.archive))
            more = also if i == 0 else also[:0]
            new.islands[i] = _Island(measured_anew(encoding, state, more))
        new._gather(new.whole)
        new._count()
        return new

    # ------------------------------------------------------------------------ going

    def run(
        self,
        on_step: Callable[[], bool],
        *,
        evaluations: int | None,
        seconds: float | None,
    ) -> None:
        """Search on.

        Parameters
        ----------
        on_step : callable
            Called whenever something has come in, and now and then; False stops. [-]
        evaluations : int or None
            Of all islands, those of earlier sittings included. [-]
        seconds : float or None
            Those of earlier sittings included. [s]

        Raises
        ------
        CrewLostError
            If nobody is left to do the work; what came in stands.
        """
        share = self._share(evaluations)
        clock, before = time.perf_counter(), self.progress.seconds
        going: dict[int, float] = {}  # islands that are worked on, and since when
        is_stopping = False
        while True:
            is_over = self.stall.is_reached or self.has_spent(evaluations)
            if not going and (is_stopping or is_over):
                return
            if not is_stopping:
                self._send_out(going, share, seconds)
            if not going:
                self._exchange()
                is_stopping = not on_step() or self.stall.is_reached
                continue
            for i, (arrays, barren) in self.crew.finished():
                del going[i]
                self.islands[i] = _Island(State.from_arrays(arrays), barren)
            self.trouble = self.crew.trouble
            self.progress.seconds = before + time.perf_counter() - clock
            self._count()
            is_late = seconds is not None and self.progress.seconds >= seconds
            is_stopping = not on_step() or is_late or is_stopping
            if self.abandon() or (is_stopping and self._is_overdue(going)):
                self.crew.abandon()
                return

    def _share(self, evaluations: int | None) -> int | None:
        """Evaluations of each island that make up those of all."""
        return None if evaluations is None else -(-evaluations // len(self.islands))

    def _target(self, share: int | None) -> int:
        """Evaluations of each island at which this leg, or the run, is over."""
        leg_end = self.leg * self.encoding.spec.search.exchange
        return leg_end if share is None else min(leg_end, share)

    def _send_out(
        self, going: dict[int, float], share: int | None, seconds: float | None
    ) -> None:
        """Give the crew as many islands as it works on at once, the last ones first."""
        target, stint_seconds = self._target(share), self.crew.stint
        if seconds is not None:
            left = seconds - self.progress.seconds
            stint_seconds = min(stint_seconds, max(left, 1e-3))

        def done(i: int) -> int:
            return self.islands[i].state.progress.evaluations

        waiting = [
            i
            for i, island in enumerate(self.islands)
            if i not in going and island.barren < BARREN_MOST and done(i) < target
        ]
        for i in sorted(waiting, key=done)[: self.crew.size - len(going)]:
            island = self.islands[i]
            arrays = island.state.to_arrays()
            work = (self.encoding, arrays, island.barren, target, stint_seconds)
            self.crew.submit(i, stint, *work)
            going[i] = time.monotonic()

    def _is_overdue(self, going: dict[int, float]) -> bool:
        """Whether those that are worked on should long have come back."""
        allowed = self.crew.stint + _GRACE
        return bool(going) and time.monotonic() - max(going.values()) > allowed

    def _exchange(self) -> None:
        """End a leg: gather the archives, and send designs round the ring."""
        self._gather(self.whole)
        sent = [self._sample(i) for i in range(len(self.islands))]
        for i, island in enumerate(self.islands):
            if (designs := sent[i - 1]) is not None:
                Search(self.encoding, island.state).receive(designs)
            island.barren = 0
        self.leg += 1
        self._count()
        self.stall.note(self.progress.evaluations, self.whole.hypervolume)

    def _sample(self, i: int) -> Designs | None:
        """What an island sends: some of its archive, drawn and then spread out."""
        archive = self.islands[i].state.archive
        if archive.n == 0:
            return None
        options = self.encoding.spec.search
        n = max(1, round(_SENT * options.population))
        # a draw of its own for each island and leg, so that no state is to be kept
        seed = np.random.SeedSequence(options.seed, spawn_key=(i, self.leg))
        n_drawn = min(_DRAWN * n, archive.n)
        drawn = np.random.default_rng(seed).choice(archive.n, n_drawn, replace=False)
        designs = archive.take(np.sort(drawn))
        return designs.take(best_spread(designs.F, n))


# --------------------------------------------------------------- for far-off workers


@lru_cache(maxsize=1)
def footing() -> dict[str, str]:
    """What must be the same wherever islands are worked on.

    Returns
    -------
    versions : dict
        Of this program's sources and what they rest on, by name. [-]
    """
    digest = hashlib.sha256()
    for package in (Path(model.__file__).parent, Path(__file__).parent):
        for path in sorted(package.glob("*.py")):
            digest.update(path.name.encode() + path.read_bytes())
    own = {
        "the program": digest.hexdigest()[:12],
        "Python": ".".join(platform.python_version_tuple()[:2]),
    }
    return own | {name: version(name) for name in _PACKAGES}


def warm_up(encoding: Encoding) -> None:
    """Have everything compiled in this process.

    Parameters
    ----------
    encoding : Encoding
        Any choices. [-]
    """
    spec = encoding.spec
    options = replace(spec.search, population=_POPULATION_TO_WARM_UP)
    Search(replace(encoding, spec=replace(spec, search=options))).generation()
