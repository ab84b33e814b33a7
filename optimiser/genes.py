"""One genome, gene by gene: what settling, sizing and breeding share."""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import compiled_lean
from optimiser.decoding import (
    GENES,
    HEAD,
    LENGTH,
    MANDREL,
    PRESENT,
    SAME,
    SHEET,
    WRAPS,
    Tables,
    flag_end,
    flag_start,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled_lean
def copy_genome(genome: IntArray, into: IntArray) -> None:
    """Copy a genome, without the array in between that an assignment makes.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    into : ndarray, shape (n_genes,)
        Written. [-]
    """
    for gene in range(len(genome)):
        into[gene] = genome[gene]


@compiled_lean
def pick(rng: Generator, n: int) -> int:
    """An index below a number, each as likely.

    Parameters
    ----------
    rng : Generator
        Source of randomness. [-]
    n : int
        How many there are. [-]

    Returns
    -------
    index : int
        0 to n - 1. [-]
    """
    # the generator's own integers come in an array, which takes far longer
    return int(rng.random() * n)


@compiled_lean
def is_there(genome: IntArray, t: Tables, place: int) -> bool:
    """Whether a place holds a flag.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices. [-]
    place : int
        Index of the place. [-]

    Returns
    -------
    is_there : bool
        True where the place is not optional, or taken. [-]
    """
    return not t.optional[place] or genome[HEAD + GENES * place + PRESENT] == 1


@compiled_lean
def turn_of(genome: IntArray, t: Tables, place: int) -> float:
    """Radius that one wrap of a place's flag adds.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices. [-]
    place : int
        Index of the place. [-]

    Returns
    -------
    turn : float
        Radius. [m]
    """
    base = HEAD + GENES * place
    return float(t.turn[t.sheet[place, genome[base + SHEET]]])


@compiled_lean
def rise(genome: IntArray, t: Tables, place: int) -> float:
    """Radius that a place's flag adds.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices. [-]
    place : int
        Which place. [-]

    Returns
    -------
    rise : float
        Wraps times the radius gained a turn. [m]
    """
    wraps = t.wraps[place, genome[HEAD + GENES * place + WRAPS]]
    return float(wraps * turn_of(genome, t, place))


@compiled_lean
def limit_wraps(genome: IntArray, t: Tables, place: int) -> None:
    """Lower the wraps of a flag whose edge would step by more than the rules allow.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    t : Tables
        Choices and rules. [-]
    place : int
        Which place. [-]
    """
    base = HEAD + GENES * place
    step = np.inf
    if flag_start(genome, t, place) > SAME and t.run_out_tip[place] == 0.0:
        step = t.diameter_step_max - t.taper[genome[MANDREL]]
    length = t.length[genome[LENGTH]]
    if flag_end(genome, t, place) < length - SAME and t.run_out_butt[place] == 0.0:
        step = min(step, t.diameter_step_max)
    while genome[base + WRAPS] > 0 and 2.0 * rise(genome, t, place) > step:
        genome[base + WRAPS] -= 1


@compiled_lean
def nearest(values: Array, n: int, wanted: float) -> int:
    """Index of the choice nearest to a value.

    Parameters
    ----------
    values : ndarray, shape (at least n,)
        Choices. [any]
    n : int
        How many of them count. [-]
    wanted : float
        Value. [as the choices]

    Returns
    -------
    index : int
        The first of the nearest. [-]
    """
    best = 0
    for i in range(1, n):
        if abs(values[i] - wanted) < abs(values[best] - wanted):
            best = i
    return best
