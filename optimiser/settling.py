"""What makes a genome a design that the shop can roll: ends, wraps, materials, sizes.

A genome is *settled* (flag lengths, spacing of ends, the outer straight flag, the
number of materials) and its build at tip and butt is brought into the bands on the
diameters by cheap sums over the few flags that cover the ends. Where that fails it is
to be dropped.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import compiled_lean, compiled_lean_entry, fingerprint
from optimiser.decoding import (
    END,
    GENES,
    HEAD,
    LENGTH,
    MANDREL,
    PRESENT,
    RANK,
    SAME,
    SET,
    SHEET,
    START,
    Tables,
    flag_end,
    flag_start,
    rolling_order,
)
from optimiser.diameters import fit_diameters, misfit
from optimiser.genes import is_there, limit_wraps, nearest, pick

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled_lean
def _least_length(t: Tables, place: int) -> float:
    """Length that a place's flag must have, by the rules and for its run-outs.

    Whoever asks allows for SAME, so that twice as much is a flag that is there at all.
    """
    run_outs = t.run_out_tip[place] + t.run_out_butt[place] + SAME
    return float(max(t.flag_length_min, run_outs, 2.0 * SAME))


@compiled_lean
def _lengthen(genome: IntArray, t: Tables, place: int) -> bool:
    """Bring a flag to the least length; False if no choice of ends does."""
    base = HEAD + GENES * place
    least = _least_length(t, place)
    start = flag_start(genome, t, place)
    if flag_end(genome, t, place) - start >= least - SAME:
        return True
    keep = genome[base + END]
    for i in range(genome[base + END], t.n_end[place]):
        genome[base + END] = i
        if flag_end(genome, t, place) - start >= least - SAME:
            return True
    genome[base + END] = keep
    end = flag_end(genome, t, place)
    for i in range(genome[base + START], -1, -1):
        genome[base + START] = i
        if end - flag_start(genome, t, place) >= least - SAME:
            return True
    genome[base + START] = 0
    genome[base + END] = t.n_end[place] - 1
    gap = flag_end(genome, t, place) - flag_start(genome, t, place)
    return bool(gap >= least - SAME)


@compiled_lean
def _crowded(
    genome: IntArray, t: Tables, place: int, end: bool, station: float
) -> bool:
    """Whether another flag's inner end stands too near to a station."""
    length = t.length[genome[LENGTH]]
    if station <= SAME or station >= length - SAME:
        return False
    for other in range(len(t.optional)):
        if not is_there(genome, t, other):
            continue
        for which in range(2):
            if other == place and (which == 1) == end:
                continue
            if which == 0:
                x = flag_start(genome, t, other)
            else:
                x = flag_end(genome, t, other)
            if x <= SAME or x >= length - SAME:
                # an inner end must keep its distance from the shaft's ends too
                if abs(x - station) < t.end_spacing_min - SAME:
                    return True
                continue
            if abs(x - station) < t.end_spacing_min - SAME:
                return True
    return False


@compiled_lean
def _inner_end(genome: IntArray, t: Tables, end: int, length: float) -> float:
    """Station of one of the flags' ends; far off where it is none inside the shaft."""
    place = end // 2
    if not is_there(genome, t, place):
        return -1e9
    x = flag_end(genome, t, place) if end % 2 else flag_start(genome, t, place)
    return x if SAME < x < length - SAME else -1e9


@compiled_lean
def _is_crowded(genome: IntArray, t: Tables) -> bool:
    """Whether any two inner ends, or one and an end of the shaft, stand too near."""
    length = t.length[genome[LENGTH]]
    least = t.end_spacing_min - SAME
    n = 2 * len(t.optional)
    for end in range(n):
        x = _inner_end(genome, t, end, length)
        if x < 0.0:
            continue
        if x < least or length - x < least:
            return True
        for other in range(end):
            if abs(_inner_end(genome, t, other, length) - x) < least:
                return True
    return False


@compiled_lean
def _space_out(genome: IntArray, t: Tables, rng: Generator) -> bool:
    """Move ends that stand too near to another; False if there is no room."""
    if not _is_crowded(genome, t):
        return True
    for place in range(len(t.optional)):
        if not is_there(genome, t, place):
            continue
        base = HEAD + GENES * place
        for which in range(2):
            end = which == 1
            gene = base + (END if end else START)
            n = t.n_end[place] if end else t.n_start[place]
            x = flag_end(genome, t, place) if end else flag_start(genome, t, place)
            if not _crowded(genome, t, place, end, x):
                continue
            keep = genome[gene]
            side = 1 if rng.random() < 0.5 else -1
            found = False
            for step in range(1, 12):
                for sign in (side, -side):
                    i = keep + sign * step
                    if i < 0 or i >= n:
                        continue
                    genome[gene] = i
                    if end:
                        x = flag_end(genome, t, place)
                    else:
                        x = flag_start(genome, t, place)
                    long = flag_end(genome, t, place) - flag_start(genome, t, place)
                    if long < _least_length(t, place) - SAME:
                        continue
                    if not _crowded(genome, t, place, end, x):
                        found = True
                        break
                if found:
                    break
            if not found:
                genome[gene] = keep
                return False
    return True


@compiled_lean
def _straight_outside(genome: IntArray, t: Tables, order: IntArray) -> bool:
    """Put a straight flag outermost among the full-length ones."""
    n = rolling_order(genome, t, order)
    length = t.length[genome[LENGTH]]
    outer = -1
    straight = -1
    for k in range(n):
        place = order[k]
        if flag_start(genome, t, place) > SAME:
            continue
        if flag_end(genome, t, place) < length - SAME:
            continue
        outer = place
        sheet = t.sheet[place, genome[HEAD + GENES * place + SHEET]]
        if t.straight[sheet]:
            straight = place
    if straight < 0:
        return False
    if outer != straight:
        if not t.reorder:
            return False
        a = HEAD + GENES * outer + RANK
        b = HEAD + GENES * straight + RANK
        genome[a], genome[b] = genome[b], genome[a]
    return True


@compiled_lean
def _n_materials(genome: IntArray, t: Tables) -> int:
    n = 0
    for place in range(len(t.optional)):
        if not is_there(genome, t, place):
            continue
        material = t.material[t.sheet[place, genome[HEAD + GENES * place + SHEET]]]
        is_new = 1
        for other in range(place):
            if is_there(genome, t, other):
                sheet = t.sheet[other, genome[HEAD + GENES * other + SHEET]]
                if t.material[sheet] == material:
                    is_new = 0
                    break
        n += is_new
    return n


@compiled_lean
def _is_used(genome: IntArray, t: Tables, material: int) -> bool:
    for place in range(len(t.optional)):
        if is_there(genome, t, place):
            sheet = t.sheet[place, genome[HEAD + GENES * place + SHEET]]
            if t.material[sheet] == material:
                return True
    return False


@compiled_lean
def _limit_materials(genome: IntArray, t: Tables, rng: Generator) -> bool:
    """Bring the number of materials down to the most allowed."""
    for _ in range(20):
        if _n_materials(genome, t) <= t.materials_max:
            return True
        place = pick(rng, len(t.optional))
        if not is_there(genome, t, place):
            continue
        i = pick(rng, t.n_sheet[place])
        if _is_used(genome, t, t.material[t.sheet[place, i]]):
            genome[HEAD + GENES * place + SHEET] = i
    return False


@compiled_lean
def settle(genome: IntArray, t: Tables, rng: Generator, order: IntArray) -> bool:
    """Bring a genome to a design the shop can roll.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    t : Tables
        Choices and rules. [-]
    rng : Generator
        Source of randomness. [-]
    order : ndarray, shape (n_place,)
        Scratch. [-]

    Returns
    -------
    settled : bool
        False if the genome is to be dropped. [-]
    """
    low = t.set_low[genome[LENGTH], genome[MANDREL]]
    high = t.set_high[genome[LENGTH], genome[MANDREL]]
    if high < low:
        return False
    genome[SET] = min(max(genome[SET], low), high)
    for place in range(len(t.optional)):
        if not is_there(genome, t, place) or _lengthen(genome, t, place):
            continue
        if not t.optional[place]:
            return False
        genome[HEAD + GENES * place + PRESENT] = 0
    for place in range(len(t.optional)):
        limit_wraps(genome, t, place)
    if not _space_out(genome, t, rng):
        return False
    if not _limit_materials(genome, t, rng):
        return False
    return not t.outer_straight or _straight_outside(genome, t, order)


@compiled_lean
def fit(genome: IntArray, t: Tables, rng: Generator, order: IntArray) -> bool:
    """Bring a genome to a design that can be rolled, with its diameters in band.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    t : Tables
        Choices, bands and rules. [-]
    rng : Generator
        Source of randomness. [-]
    order : ndarray, shape (n_place,)
        Scratch. [-]

    Returns
    -------
    fits : bool
        False if the genome is to be dropped. [-]
    """
    return bool(
        settle(genome, t, rng, order)
        and fit_diameters(genome, t, rng)
        and settle(genome, t, rng, order)
        and misfit(genome, t) <= 1e-9
    )


@compiled_lean
def move_ends(
    genome: IntArray, shift: Array, t: Tables, rng: Generator, order: IntArray
) -> bool:
    """Move the ends of a genome's flags to the choices nearest to wanted stations.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    shift : ndarray, shape (n_place, 2)
        Wanted shift of start and end of each place; 0 leaves it alone. [m]
    t : Tables
        Choices and rules. [-]
    rng : Generator
        Source of randomness. [-]
    order : ndarray, shape (n_place,)
        Scratch. [-]

    Returns
    -------
    kept : bool
        False if the moved design cannot be rolled. [-]
    """
    for place in range(len(t.optional)):
        base = HEAD + GENES * place
        if shift[place, 0] != 0.0:
            wanted = flag_start(genome, t, place) + shift[place, 0]
            genome[base + START] = nearest(t.start[place], t.n_start[place], wanted)
        if shift[place, 1] != 0.0:
            wanted = flag_end(genome, t, place) + shift[place, 1]
            genome[base + END] = nearest(t.end[place], t.n_end[place], wanted)
    return bool(settle(genome, t, rng, order) and misfit(genome, t) <= 1e-9)


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _settle_entry(sources: int) -> Any:
    @compiled_lean_entry
    def settle_all(
        genomes: IntArray,
        t: Tables,
        rng: Generator,
        to_size: bool,
        kept: NDArray[np.bool_],
        order: IntArray,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for i in range(len(genomes)):
            if to_size:
                kept[i] = fit(genomes[i], t, rng, order)
            else:
                is_settled = settle(genomes[i], t, rng, order)
                kept[i] = is_settled and misfit(genomes[i], t) <= 1e-9

    return settle_all


_settle_all = _settle_entry(_SOURCES)


def settled(
    genomes: IntArray, tables: Tables, rng: Generator, *, to_size: bool = False
) -> tuple[IntArray, NDArray[np.bool_]]:
    """Genomes brought to what the shop can roll under other rules or materials.

    Parameters
    ----------
    genomes : ndarray, shape (n, n_genes)
        Integers. [-]
    tables : Tables
        Choices and rules. [-]
    rng : Generator
        Source of randomness. [-]
    to_size : bool
        Change wraps, sheets and mandrel set too, until the diameters fit. [-]

    Returns
    -------
    genomes : ndarray, shape (n, n_genes)
        Changed as little as that takes. [-]
    kept : ndarray of bool, shape (n,)
        False where a design cannot be rolled, or not to its diameters. [-]
    """
    out = genomes.copy()
    kept = np.zeros(len(genomes), dtype=np.bool_)
    if len(genomes):
        _settle_all(out, tables, rng, to_size, kept, room_for_order(tables))
    return out, kept


def room_for_order(tables: Tables) -> IntArray:
    """Scratch for a rolling order.

    Parameters
    ----------
    tables : Tables
        Choices. [-]

    Returns
    -------
    order : ndarray, shape (n_place,)
        Zeros. [-]
    """
    return np.zeros(len(tables.optional), dtype=np.int64)
