"""Designs out of nothing: random ones, annealed on their outlook, unevaluated.

A random design is changed move by move, its ends stepped into the bands after each. The
change stays where it is better, or worse by no more than a temperature lets it, which
falls to none; so kinds of layup compete (which flags have the wraps) that no few moves
lead from one to the other.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import compiled_lean_entry, fingerprint
from optimiser.cells import Cells
from optimiser.decoding import Tables
from optimiser.genes import copy_genome
from optimiser.helm import Course, Helm, Scratch, Towards, merit_of, weighted
from optimiser.steer import ROUNDS, jump, step_ends

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Temperature at first, in spans of the weighted objectives. It falls as a square.
_HEAT = 0.3
#: What a unit of missed bands counts beside the weighted objectives on the way.
_PER_MISS = 0.1
#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _anneal_entry(sources: int) -> Any:
    @compiled_lean_entry
    def anneal_all(
        t: Tables,
        cells: Cells,
        course: Course,
        s: Scratch,
        rng: Generator,
        n_moves: int,
        off: Array,
        towards: Towards,
        genomes: IntArray,
        violation: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        trial = s.trial
        for i in range(len(genomes)):
            best, height = np.inf, np.inf
            copy_genome(genomes[i], s.now)
            for move in range(n_moves + 1):
                copy_genome(s.now, trial)
                if move > 0 and not jump(trial, t, rng, s.order):
                    continue
                missed = step_ends(t, cells, course, s, rng, ROUNDS, off[i])
                cold = move / (n_moves + 1.0)
                heat = _HEAT * (1.0 - cold) * (1.0 - cold)
                after = _PER_MISS * missed + weighted(s.there, towards, i)
                if after <= height - heat * np.log(1.0 - rng.random()):
                    height = after
                    copy_genome(trial, s.now)
                merit = merit_of(missed, s.there, towards, i)
                if merit <= best:
                    best = merit
                    copy_genome(trial, genomes[i])
                    violation[i] = missed

    return anneal_all


_anneal_all = _anneal_entry(_SOURCES)


def anneal(
    helm: Helm,
    rng: Generator,
    genomes: IntArray,
    off: Array,
    towards: Towards,
    *,
    moves: int,
) -> tuple[IntArray, Array]:
    """Anneal designs by their outlook: into the bands, and far as asked.

    Parameters
    ----------
    helm : Helm
        What is asked. [-]
    rng : Generator
        Source of randomness. [-]
    genomes : ndarray, shape (n, n_genes)
        Integers, settled. [-]
    off : ndarray, shape (n, n_value)
        How far the outlook of each is off, as logarithms. [-]
    towards : Towards
        Where to go. [-]
    moves : int
        Moves that are tried on each. [-]

    Returns
    -------
    genomes : ndarray, shape (n, n_genes)
        The best that each came by. [-]
    violation : ndarray, shape (n,)
        How far they promise to miss what they should keep. [-]
    """
    best, violation = genomes.copy(), np.zeros(len(genomes))
    if len(genomes):
        _anneal_all(
            helm.tables,
            helm.cells,
            helm.course,
            helm.scratch,
            rng,
            moves,
            off,
            towards,
            best,
            violation,
        )
    return best, violation
