"""The course of a run: one search, and when it has nothing more to give.

What decides that a run ends is counted in evaluations and generations, and stands in
the checkpoint beside the search, so that a resumed run ends where an uninterrupted one
does.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from optimiser.encoding import Encoding
from optimiser.search import Search
from optimiser.settling import settled
from optimiser.state import Progress, State

Arrays = dict[str, NDArray[Any]]
IntArray = NDArray[np.int64]

#: Generations in a row without a new design after which there is no more to find.
BARREN_MOST = 12
#: Marks of the hypervolume in the evaluations that a stall is judged over.
_MARKS = 10
#: Key of what stands in a checkpoint beside a search.
COURSE = "course"


@dataclass
class Stall:
    """Whether the hypervolume still rises, seen at marks that lie evaluations apart."""

    rise: float = 0.0  #: share of itself that it must rise by; 0 for no such rule [-]
    over: int = 1  #: evaluations that it has for it
    marks: list[tuple[int, float]] = field(default_factory=list)

    def note(self, evaluations: int, hypervolume: Callable[[], float]) -> None:
        """Set a mark if it is time for one.

        Parameters
        ----------
        evaluations : int
            Where the search stands. [-]
        hypervolume : callable
            Gives it; asked only at a mark. [-]
        """
        if self.rise <= 0.0:
            return
        if self.marks and evaluations < self.marks[-1][0] + self.over / _MARKS:
            return
        self.marks.append((evaluations, hypervolume()))
        while len(self.marks) > 1 and self.marks[1][0] <= evaluations - self.over:
            del self.marks[0]

    @property
    def is_reached(self) -> bool:
        """Whether it rose by less than it must over the last evaluations."""
        if self.rise <= 0.0 or not self.marks:
            return False
        (then, before), (now, last) = self.marks[0], self.marks[-1]
        return (
            before > 0.0
            and now - then >= self.over
            and (last - before < self.rise * before)
        )


class Course(Protocol):
    """What a run follows: one search, or several that exchange designs."""

    encoding: Encoding
    stall: Stall
    trouble: str  #: what it waits for, if anything

    @property
    def states(self) -> list[State]:
        """Every state that it consists of."""

    @property
    def progress(self) -> Progress:
        """Where it stands."""

    @property
    def is_exhausted(self) -> bool:
        """Whether nothing new comes: all is seen, or nothing is possible."""

    def has_spent(self, evaluations: int | None) -> bool:
        """Whether none of a budget of evaluations is left that could be used."""

    def found(self) -> State:
        """What it has found; its archive and population."""

    def hypervolume(self) -> float:
        """Hypervolume of what it has found, as a share of a fixed box."""

    def to_arrays(self) -> Arrays:
        """All that it needs to go on."""

    def begin(self, genomes: IntArray) -> None:
        """Evaluate designs at hand before anything is bred."""

    def receive(self, genomes: IntArray) -> None:
        """Take in designs that were found elsewhere, to be bred from with the rest."""

    def measured_anew(self, encoding: Encoding, also: IntArray) -> "Course":
        """The same designs and some others, as they measure under other conditions."""

    def run(
        self,
        on_step: Callable[[], bool],
        *,
        evaluations: int | None,
        seconds: float | None,
    ) -> None:
        """Go on until a budget is spent, it has stalled, or the callable says stop."""


class Solo:
    """One search."""

    trouble = ""

    def __init__(
        self,
        encoding: Encoding,
        stall: Stall,
        state: State | None = None,
        barren: int = 0,
    ) -> None:
        self.encoding = encoding
        self.search = Search(encoding, state)
        self.stall = stall
        self.barren = barren

    @classmethod
    def from_arrays(cls, encoding: Encoding, stall: Stall, arrays: Arrays) -> "Solo":
        """The course that gave some arrays.

        Parameters
        ----------
        encoding : Encoding
            Its choices. [-]
        stall : Stall
            The rule as it is now; marks come from the arrays. [-]
        arrays : dict
            As given by ``to_arrays``. [-]

        Returns
        -------
        course : Solo
            Ready to go on. [-]
        """
        words = json.loads(str(arrays[COURSE])) if COURSE in arrays else {}
        stall = replace(stall, marks=read_marks(words.get("marks", [])))
        state = State.from_arrays({k: v for k, v in arrays.items() if k != COURSE})
        return cls(encoding, stall, state, int(words.get("barren", 0)))

    def to_arrays(self) -> Arrays:
        """All that it needs to go on.

        Returns
        -------
        arrays : dict
            Arrays and JSON texts, without pickled objects. [-]
        """
        words = {"marks": self.stall.marks, "barren": self.barren}
        return self.search.state.to_arrays() | {COURSE: np.array(json.dumps(words))}

    def begin(self, genomes: IntArray) -> None:
        """Evaluate designs at hand before anything is bred.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Settled. [-]
        """
        self.search.begin(genomes)

    def receive(self, genomes: IntArray) -> None:
        """Take in designs that were found elsewhere, to be bred from with the rest.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Feasible; evaluated even where the search looked at them and passed on. [-]
        """
        self.search.receive(self.search._evaluate(genomes))

    @property
    def states(self) -> list[State]:
        """The search's state, alone in a list."""
        return [self.search.state]

    @property
    def progress(self) -> Progress:
        """Where it stands."""
        return self.search.state.progress

    @property
    def is_exhausted(self) -> bool:
        """Whether nothing new comes: all is seen, or nothing is possible."""
        return self.barren >= BARREN_MOST

    def has_spent(self, evaluations: int | None) -> bool:
        """Whether none of a budget of evaluations is left that could be used.

        Parameters
        ----------
        evaluations : int or None
            Those of earlier sittings included; None for no such limit. [-]

        Returns
        -------
        has_spent : bool
            True once as many are done. [-]
        """
        return evaluations is not None and self.progress.evaluations >= evaluations

    def found(self) -> State:
        """What it has found.

        Returns
        -------
        state : State
            The search's own. [-]
        """
        return self.search.state

    def hypervolume(self) -> float:
        """Hypervolume of what it has found.

        Returns
        -------
        share : float
            Of a fixed box. [-]
        """
        return self.search.hypervolume()

    def measured_anew(self, encoding: Encoding, also: IntArray) -> "Solo":
        """The same designs and some others, as they measure under other conditions.

        Parameters
        ----------
        encoding : Encoding
            Of the same choices. [-]
        also : ndarray, shape (n, n_genes)
            The others. [-]

        Returns
        -------
        course : Solo
            Its marks begin anew. [-]
        """
        state = measured_anew(encoding, self.search.state, also)
        return Solo(encoding, replace(self.stall, marks=[]), state)

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
            Called after each generation; False stops. [-]
        evaluations : int or None
            Those of earlier sittings included; None for no such limit. [-]
        seconds : float or None
            Those of earlier sittings included; None for no such limit. [s]
        """
        before = self.progress.evaluations

        def on_generation(state: State) -> bool:
            nonlocal before
            now = state.progress.evaluations
            self.barren = 0 if now > before else self.barren + 1
            before = now
            self.stall.note(now, self.search.hypervolume)
            is_over = self.is_exhausted or self.stall.is_reached
            return on_step() and not is_over

        self.search.run(
            on_generation,
            evaluations=evaluations,
            seconds=np.inf if evaluations is None and seconds is None else seconds,
        )


def read_marks(words: Any) -> list[tuple[int, float]]:
    """Marks of a stall as they stand in a checkpoint.

    Parameters
    ----------
    words : list
        Pairs of evaluations and hypervolume. [-]

    Returns
    -------
    marks : list of (int, float)
        The same. [-]
    """
    return [(int(evaluations), float(share)) for evaluations, share in words]


def measured_anew(encoding: Encoding, state: State, also: IntArray) -> State:
    """Designs of a state and some others, measured under other conditions.

    Parameters
    ----------
    encoding : Encoding
        The conditions; of the same choices as the state's. [-]
    state : State
        Of a search. [-]
    also : ndarray, shape (n, n_genes)
        The others. [-]

    Returns
    -------
    state : State
        A new one; its evaluations are counted on. [-]
    """
    search = Search(encoding)
    fresh = search.state
    fresh.rng = state.rng
    fresh.progress = replace(state.progress, archive=0, least_violation=np.inf)
    both = np.concatenate([state.archive.genomes, state.living.genomes, also])
    if len(both) == 0:
        return fresh
    _, first = np.unique(both, axis=0, return_index=True)
    genomes = both[np.sort(first)]
    # flags may be of another thickness now: settled again, where that is still possible
    settled_so, kept = settled(genomes, encoding.tables, fresh.rng)
    # the others are brought to their diameters, rather than all beginning anew
    sized, fits = settled(genomes[~kept], encoding.tables, fresh.rng, to_size=True)
    search.begin(np.concatenate([settled_so[kept], sized[fits]]))
    return fresh
