"""When a run has nothing left to do: as its spec says, and as somebody says instead."""

from dataclasses import dataclass, replace
from typing import Final

from optimiser.spec import SearchOptions
from optimiser.state import Progress

_DEFAULTS: Final = SearchOptions()


@dataclass(frozen=True, slots=True)
class Budget:
    """After how much a run stops, counted from its start."""

    evaluations: int | None  #: whole evaluations; None for no such limit
    seconds: float | None  #: None for no such limit [s]
    stall: float = _DEFAULTS.stall  #: share the hypervolume must rise by; 0: none
    stall_evaluations: int = _DEFAULTS.stall_evaluations  #: it has these for it

    def is_spent(self, progress: Progress) -> bool:
        """Whether a run has nothing left to do.

        Parameters
        ----------
        progress : Progress
            Where its search stands. [-]

        Returns
        -------
        is_spent : bool
            True once either limit is reached. [-]
        """
        return (
            self.evaluations is not None and progress.evaluations >= self.evaluations
        ) or (self.seconds is not None and progress.seconds >= self.seconds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When a run is to stop, where that is not as its spec or its start says."""

    evaluations: int | None = None  #: with ``seconds``, replaces both of the spec
    seconds: float | None = None  #: [s]
    stall: float | None = None  #: share the hypervolume must rise by; 0 for no rule [-]
    stall_evaluations: int | None = None  #: evaluations that it has for it

    def instead_of(self, budget: Budget) -> Budget:
        """The budget with these limits.

        Parameters
        ----------
        budget : Budget
            As it was. [-]

        Returns
        -------
        budget : Budget
            As it is now. [-]
        """
        if self.evaluations is not None or self.seconds is not None:
            budget = replace(budget, evaluations=self.evaluations, seconds=self.seconds)
        if self.stall is not None:
            budget = replace(budget, stall=self.stall)
        if self.stall_evaluations is not None:
            budget = replace(budget, stall_evaluations=self.stall_evaluations)
        return budget
