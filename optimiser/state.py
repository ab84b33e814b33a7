"""Where a search stands: designs with what was measured of them, counts, randomness."""

import json
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass
class Designs:
    """Genomes with what was measured of them."""

    genomes: IntArray
    metrics: Array  #: (n, n_metric) SI; NaN where not asked for
    EI: Array  #: (n, n_ei) at the spec's points [N·m²]
    F: Array  #: objectives, all to be small
    violation: Array  #: 0 for feasible

    @property
    def n(self) -> int:
        """Number of designs."""
        return len(self.genomes)

    def take(self, index: NDArray[Any]) -> "Designs":
        """Some of the designs.

        Parameters
        ----------
        index : ndarray
            Indices or mask. [-]

        Returns
        -------
        designs : Designs
            The picked ones. [-]
        """
        return Designs(
            self.genomes[index],
            self.metrics[index],
            self.EI[index],
            self.F[index],
            self.violation[index],
        )

    def join(self, other: "Designs") -> "Designs":
        """These designs and others.

        Parameters
        ----------
        other : Designs
            More designs. [-]

        Returns
        -------
        designs : Designs
            Both. [-]
        """
        return Designs(
            np.concatenate([self.genomes, other.genomes]),
            np.concatenate([self.metrics, other.metrics]),
            np.concatenate([self.EI, other.EI]),
            np.concatenate([self.F, other.F]),
            np.concatenate([self.violation, other.violation]),
        )


@dataclass
class Progress:
    """Where a search stands."""

    evaluations: int = 0
    foreseen: int = 0  #: children that were looked at by their outlook
    seconds: float = 0.0
    feasible: int = 0  #: feasible designs seen
    generation: int = 0
    archive: int = 0
    nurseries: int = 0  #: how many have grown up
    raised: int = 0  #: evaluations of the nursery
    nursery_generations: int = 0
    grown: int = 0  #: evaluations of the population since a nursery grew up
    first_feasible: int | None = None  #: evaluations until the first feasible design
    first_feasible_seconds: float | None = None
    least_violation: float = np.inf


_GROUPS = {"p": "population", "n": "nursery", "a": "archive"}


@dataclass
class State:
    """All that a search needs to go on."""

    population: Designs
    nursery: Designs  #: designs that breed apart until they are fit to compete
    archive: Designs
    progress: Progress
    memory: NDArray[np.uint64]  #: hashes of designs seen; a new one replaces an old
    reference: Array  #: (n_objective,) reference point; NaN until known
    ideal: Array  #: best values when the reference was fixed
    #: hashes of the archive's designs whose neighbours were looked at
    swept: NDArray[np.uint64] = field(default_factory=lambda: np.zeros(0, np.uint64))
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(1))

    @property
    def living(self) -> Designs:
        """All designs that breed."""
        return self.population.join(self.nursery)

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        """The state as plain arrays.

        Returns
        -------
        arrays : dict
            Arrays and one JSON text, without pickled objects. [-]
        """
        words = {
            "rng": self.rng.bit_generator.state,
            "progress": {
                key: None if value is not None and not np.isfinite(value) else value
                for key, value in vars(self.progress).items()
            },
        }
        arrays: dict[str, NDArray[Any]] = {
            "words": np.array(json.dumps(words)),
            "memory": self.memory,
            "swept": self.swept,
            "reference": self.reference,
            "ideal": self.ideal,
        }
        for name, group in _GROUPS.items():
            designs: Designs = getattr(self, group)
            for key, value in vars(designs).items():
                arrays[f"{name}_{key}"] = value
        return arrays

    @classmethod
    def from_arrays(cls, arrays: dict[str, NDArray[Any]]) -> "State":
        """State from plain arrays.

        Parameters
        ----------
        arrays : dict
            As given by ``to_arrays``. [-]

        Returns
        -------
        state : State
            Ready to go on. [-]
        """
        words = json.loads(str(arrays["words"]))
        rng = np.random.default_rng()
        rng.bit_generator.state = words["rng"]
        progress = Progress(**words["progress"])
        if progress.least_violation is None:
            progress.least_violation = np.inf
        groups = {
            group: Designs(*(arrays[f"{name}_{f.name}"] for f in fields(Designs)))
            for name, group in _GROUPS.items()
        }
        return cls(
            **groups,
            progress=progress,
            memory=arrays["memory"],
            reference=arrays["reference"],
            ideal=arrays["ideal"],
            swept=arrays["swept"],
            rng=rng,
        )
