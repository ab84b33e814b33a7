"""Genomes: shafts as whole numbers, and the arrays that they stand for.

A genome is a row of integers. The first three choose length, mandrel and mandrel set;
then each place has six: whether it is there, its sheet (a prepreg at an angle), start,
end, wraps, and its rank in the rolling order. Every number is an index into a list of
the spec, so every genome stands for choices that the spec allows.
"""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import Layups, compiled_lean, compiled_lean_entry, fingerprint, no_layups

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LENGTH, MANDREL, SET = range(3)
HEAD = 3
PRESENT, SHEET, START, END, WRAPS, RANK = range(6)
GENES = 6

#: Two stations are the same if they are closer than this. [m]
SAME = 1e-7


class Tables(NamedTuple):
    """The choices as padded arrays, for the compiled operators."""

    n_sheet: IntArray  #: (n_place,)
    sheet: IntArray  #: (n_place, most) index into the conditions' sheets
    n_start: IntArray
    start: Array  #: (n_place, most), rising [m]
    n_end: IntArray
    end: Array  #: rising; an end at the longest shaft's butt means the butt [m]
    n_wraps: IntArray
    wraps: Array  #: rising [-]
    optional: NDArray[np.bool_]  #: (n_place,)
    run_out_tip: Array  #: (n_place,) [m]
    run_out_butt: Array
    at_tip: Array  #: (n_place,) share of its wraps that a flag up to the tip has there
    at_butt: Array  #: likewise; a run-out lies in the trim as far as it goes
    length: Array  #: (n_length,) [m]
    mandrel_set: Array  #: (n_set,), rising [m]
    set_low: IntArray  #: (n_length, n_mandrel) first and last set that fits
    set_high: IntArray
    turn: Array  #: (n_sheet,) radius added by one wrap [m]
    straight: NDArray[np.bool_]  #: (n_sheet,) fibres along the axis
    material: IntArray  #: (n_sheet,) number of its material
    distance: Array  #: (n_mandrel, most) [m]
    radius: Array  #: [m]
    breaks: IntArray  #: (n_mandrel,)
    mandrels: IntArray  #: (at most n_mandrel,) those that may be chosen
    tip_low: float  #: radius the build must have at the tip [m]
    tip_high: float
    butt_low: float
    butt_high: float
    flag_length_min: float
    end_spacing_min: float
    outer_straight: bool
    materials_max: int
    reorder: bool
    diameter_step_max: float
    taper: Array  #: (n_mandrel,) most it grows in the length a step is taken over [m]


@compiled_lean
def flag_start(genome: IntArray, t: Tables, place: int) -> float:
    """Start of a place's flag.

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
    start : float
        Station. [m]
    """
    return float(t.start[place, genome[HEAD + GENES * place + START]])


@compiled_lean
def flag_end(genome: IntArray, t: Tables, place: int) -> float:
    """End of a place's flag; never past the butt.

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
    end : float
        Station. [m]
    """
    end = t.end[place, genome[HEAD + GENES * place + END]]
    length = t.length[genome[LENGTH]]
    longest = t.length[len(t.length) - 1]
    return float(length if end > length - SAME or end > longest - SAME else end)


@compiled_lean
def rolling_order(genome: IntArray, t: Tables, order: IntArray) -> int:
    """Places that are there, in rolling order.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices. [-]
    order : ndarray, shape (n_place,)
        Places from the mandrel outwards, written. [-]

    Returns
    -------
    n : int
        How many are there. [-]
    """
    n = 0
    for place in range(len(t.optional)):
        base = HEAD + GENES * place
        if t.optional[place] and genome[base + PRESENT] == 0:
            continue
        rank = genome[base + RANK] if t.reorder else place
        j = n - 1
        while j >= 0:
            before = order[j]
            its_rank = genome[HEAD + GENES * before + RANK] if t.reorder else before
            if its_rank <= rank:
                break
            order[j + 1] = before
            j -= 1
        order[j + 1] = place
        n += 1
    return n


@compiled_lean
def decode_all(
    genomes: IntArray, t: Tables, out: Layups, place_of: IntArray, order: IntArray
) -> None:
    """Write the designs of genomes as arrays.

    Parameters
    ----------
    genomes : ndarray, shape (n, n_genes)
        Integers. [-]
    t : Tables
        Choices. [-]
    out : Layups
        Arrays, written. [SI]
    place_of : ndarray, shape (n, n_place)
        Place of each flag, written. [-]
    order : ndarray, shape (n_place,)
        Scratch. [-]
    """
    for i in range(len(genomes)):
        genome = genomes[i]
        out.length[i] = t.length[genome[LENGTH]]
        out.mandrel[i] = genome[MANDREL]
        out.mandrel_set[i] = t.mandrel_set[genome[SET]]
        n = rolling_order(genome, t, order)
        for k in range(n):
            place = order[k]
            base = HEAD + GENES * place
            place_of[i, k] = place
            out.sheet[i, k] = t.sheet[place, genome[base + SHEET]]
            out.start[i, k] = flag_start(genome, t, place)
            out.end[i, k] = flag_end(genome, t, place)
            out.wraps[i, k] = t.wraps[place, genome[base + WRAPS]]
            out.run_out_tip[i, k] = t.run_out_tip[place]
            out.run_out_butt[i, k] = t.run_out_butt[place]


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _decode_entry(sources: int) -> Any:
    @compiled_lean_entry
    def decode_here(
        genomes: IntArray, t: Tables, out: Layups, place_of: IntArray, order: IntArray
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        decode_all(genomes, t, out, place_of, order)

    return decode_here


_decode = _decode_entry(_SOURCES)


def decode(genomes: IntArray, tables: Tables) -> tuple[Layups, IntArray]:
    """Arrays of the designs of genomes, and the place of each of their flags.

    Parameters
    ----------
    genomes : ndarray, shape (n, n_genes)
        Integers. [-]
    tables : Tables
        Choices. [-]

    Returns
    -------
    layups : Layups
        The designs. [SI]
    place : ndarray, shape (n, n_place)
        Place of each flag in rolling order; -1 for no flag. [-]
    """
    n, n_places = len(genomes), len(tables.optional)
    layups = no_layups(n, n_places)
    place = np.full((n, n_places), -1, dtype=np.int64)
    _decode(genomes, tables, layups, place, np.zeros(n_places, dtype=np.int64))
    return layups, place
