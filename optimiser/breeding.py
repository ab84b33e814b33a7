"""Children of designs: whole flags of a near mate, or flag-wise moves.

Every child is brought back to what the shop can roll, with its end diameters in band;
one for which that fails is dropped before anything is looked at.
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
    WRAPS,
    Tables,
    flag_end,
    flag_start,
    rolling_order,
)
from optimiser.genes import copy_genome, is_there, nearest, pick, turn_of
from optimiser.settling import fit, room_for_order

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CHILD_TRIES = 40
#: Near mates of each design.
_MATES = 8
#: Designs whose mates are looked for at once, so that room does not grow as a square.
_MATES_AT_A_TIME = 1_000
_CROSSOVER = 0.2
#: Chance of one move more on a child.
_MORE_MOVES = 0.75
#: A change of wraps goes this many choices farther than one, on average.
_WRAPS_FARTHER = 1.0
#: Plies this close in thickness are swapped without a change of diameter.
_EQUAL_THICKNESS = 0.02


@compiled_lean
def _shift(keep: int, n: int, rng: Generator) -> int:
    """An index some steps away: mostly near, at times far."""
    reach = 1 + int(rng.exponential(0.03 * n + 1.0))
    step = reach if rng.random() < 0.5 else -reach
    return int(min(max(keep + step, 0), n - 1))


@compiled_lean
def _ends_covered(genome: IntArray, t: Tables, place: int) -> int:
    """Which ends of the shaft a place's flag covers in full: 1 tip, 2 butt, 3 both."""
    length = t.length[genome[LENGTH]]
    at_tip = flag_start(genome, t, place) <= SAME and t.at_tip[place] == 1.0
    at_butt = flag_end(genome, t, place) >= length - SAME and t.at_butt[place] == 1.0
    return (1 if at_tip else 0) + (2 if at_butt else 0)


@compiled_lean
def _change_wraps(genome: IntArray, t: Tables, rng: Generator, place: int) -> None:
    """Roll more or fewer wraps of a flag; mostly another makes up for the thickness."""
    gene = HEAD + GENES * place + WRAPS
    before = t.wraps[place, genome[gene]]
    step = 1 + int(rng.exponential(_WRAPS_FARTHER))
    i = genome[gene] + (step if rng.random() < 0.5 else -step)
    genome[gene] = min(max(i, 0), t.n_wraps[place] - 1)
    if rng.random() < 0.3:
        return
    rise = (t.wraps[place, genome[gene]] - before) * turn_of(genome, t, place)
    covered = _ends_covered(genome, t, place)
    for _ in range(6):
        other = pick(rng, len(t.optional))
        if other == place or not is_there(genome, t, other):
            continue
        if _ends_covered(genome, t, other) != covered:
            continue
        gene = HEAD + GENES * other + WRAPS
        wanted = t.wraps[other, genome[gene]] - rise / turn_of(genome, t, other)
        genome[gene] = nearest(t.wraps[other], t.n_wraps[other], wanted)
        return


@compiled_lean
def mutate(genome: IntArray, t: Tables, rng: Generator, order: IntArray) -> None:
    """Change one thing of a genome, or two that belong together.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    t : Tables
        Choices. [-]
    rng : Generator
        Source of randomness. [-]
    order : ndarray, shape (n_place,)
        Scratch. [-]
    """
    n_places = len(t.optional)
    chance = rng.random()
    if chance < 0.20:
        # order swap of two neighbours or of any two
        n = rolling_order(genome, t, order)
        if n < 2 or not t.reorder:
            return
        k = pick(rng, n - 1)
        other = k + 1 if rng.random() < 0.5 else pick(rng, n)
        a = HEAD + GENES * order[k] + RANK
        b = HEAD + GENES * order[other] + RANK
        genome[a], genome[b] = genome[b], genome[a]
        return
    if chance < 0.28:
        what = rng.random()
        if what < 0.75:
            genome[SET] = _shift(genome[SET], len(t.mandrel_set), rng)
        elif what < 0.9:
            genome[MANDREL] = t.mandrels[pick(rng, len(t.mandrels))]
        else:
            genome[LENGTH] = pick(rng, len(t.length))
        return
    place = pick(rng, n_places)
    for _ in range(4):
        if is_there(genome, t, place):
            break
        place = pick(rng, n_places)
    base = HEAD + GENES * place
    if chance < 0.50:
        # another sheet, mostly one of equal thickness
        turn = turn_of(genome, t, place)
        equal = rng.random() < 0.7
        for _ in range(12):
            i = pick(rng, t.n_sheet[place])
            other_turn = t.turn[t.sheet[place, i]]
            if i == genome[base + SHEET]:
                continue
            if equal and abs(other_turn - turn) > _EQUAL_THICKNESS * turn:
                continue
            genome[base + SHEET] = i
            break
        return
    if chance < 0.62:
        _change_wraps(genome, t, rng, place)
        return
    if chance < 0.70:
        for _ in range(8):
            place = pick(rng, n_places)
            if t.optional[place]:
                gene = HEAD + GENES * place + PRESENT
                genome[gene] = 1 - genome[gene]
                break
        return
    # ends: one, or two in opposite directions
    moved = 0
    direction = 0
    for _ in range(16):
        place = pick(rng, n_places)
        if not is_there(genome, t, place):
            continue
        base = HEAD + GENES * place
        end = rng.random() < 0.5
        n = t.n_end[place] if end else t.n_start[place]
        if n < 2:
            continue
        gene = base + (END if end else START)
        keep = genome[gene]
        i = _shift(keep, n, rng)
        longer = (i - keep) * (1 if end else -1)
        if direction != 0 and longer * direction > 0:
            i = min(max(2 * keep - i, 0), n - 1)
        genome[gene] = i
        direction = longer
        moved += 1
        if moved == 2 or (moved == 1 and rng.random() < 0.45):
            return


@compiled_lean
def _cross(genome: IntArray, mate: IntArray, t: Tables, rng: Generator) -> None:
    """Take some whole flags from a mate, each with its place in the order."""
    if rng.random() < 0.3:
        for gene in range(HEAD):
            genome[gene] = mate[gene]
    share = 0.2 + 0.4 * rng.random()
    for place in range(len(t.optional)):
        if rng.random() < share:
            base = HEAD + GENES * place
            for gene in range(base, base + RANK):
                genome[gene] = mate[gene]
    if rng.random() < 0.3:
        for place in range(len(t.optional)):
            gene = HEAD + GENES * place + RANK
            genome[gene] = mate[gene]


@compiled_lean
def _random_genome(genome: IntArray, t: Tables, rng: Generator) -> None:
    genome[LENGTH] = pick(rng, len(t.length))
    genome[MANDREL] = t.mandrels[pick(rng, len(t.mandrels))]
    genome[SET] = pick(rng, len(t.mandrel_set))
    for place in range(len(t.optional)):
        base = HEAD + GENES * place
        genome[base + PRESENT] = pick(rng, 2) if t.optional[place] else 0
        genome[base + SHEET] = pick(rng, t.n_sheet[place])
        genome[base + START] = pick(rng, t.n_start[place])
        genome[base + END] = pick(rng, t.n_end[place])
        genome[base + WRAPS] = pick(rng, t.n_wraps[place])
        # dealt as it goes, every order as likely as any other
        other = HEAD + GENES * pick(rng, place + 1)
        genome[base + RANK] = genome[other + RANK]
        genome[other + RANK] = place


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _breed_entry(sources: int) -> Any:
    @compiled_lean_entry
    def breed_all(
        parents: IntArray,
        mates: IntArray,
        t: Tables,
        rng: Generator,
        children: IntArray,
        parent_of: IntArray,
        order: IntArray,
    ) -> int:
        _ = sources  # part of the key under which the machine code is kept
        n_parents = len(parents)
        made = 0
        for _ in range(len(children) * _CHILD_TRIES):
            if made == len(children):
                break
            child = children[made]
            parent_of[made] = -1
            if n_parents == 0:
                _random_genome(child, t, rng)
            else:
                i = pick(rng, n_parents)
                parent_of[made] = i
                copy_genome(parents[i], child)
                if rng.random() < _CROSSOVER:
                    j = mates[i, pick(rng, mates.shape[1])]
                    _cross(child, parents[j], t, rng)
                else:
                    mutate(child, t, rng, order)
                    while rng.random() < _MORE_MOVES:
                        mutate(child, t, rng, order)
            if fit(child, t, rng, order):
                made += 1
        return made

    return breed_all


_breed_all = _breed_entry(_SOURCES)


def breed(
    parents: IntArray, mates: IntArray, tables: Tables, rng: Generator, n: int
) -> tuple[IntArray, IntArray]:
    """Children of designs, settled and with their diameters in band.

    Parameters
    ----------
    parents : ndarray, shape (n_parent, n_genes)
        Genomes; none for children out of nothing. [-]
    mates : ndarray, shape (n_parent, n_mate)
        Indices of each parent's near mates. [-]
    tables : Tables
        Choices and rules. [-]
    rng : Generator
        Source of randomness. [-]
    n : int
        Children wanted. [-]

    Returns
    -------
    children : ndarray, shape (at most n, n_genes)
        Fewer than wanted only where the rules leave hardly any design. [-]
    parent : ndarray, shape (at most n,)
        Index of the parent that each child mostly took after; -1 for none. [-]
    """
    n_genes = HEAD + GENES * len(tables.optional)
    children = np.zeros((n, n_genes), dtype=np.int64)
    parent = np.zeros(n, dtype=np.int64)
    made = _breed_all(
        parents.reshape(-1, n_genes),
        mates,
        tables,
        rng,
        children,
        parent,
        room_for_order(tables),
    )
    return children[:made], parent[:made]


def near_mates(F: Array) -> IntArray:
    """Designs that each design may be crossed with: those of similar objectives.

    Parameters
    ----------
    F : ndarray, shape (n, n_objective)
        Objectives. [-]

    Returns
    -------
    mates : ndarray, shape (n, n_mate)
        Indices. [-]
    """
    n = len(F)
    if n < 2:
        return np.zeros((n, 1), dtype=np.int64)
    with np.errstate(invalid="ignore"):
        span = np.ptp(F, axis=0)
    unit = F / np.where(np.isfinite(span) & (span > 0), span, 1.0)
    unit = np.nan_to_num(unit, posinf=1e3, neginf=-1e3)
    square = (unit**2).sum(axis=1)
    k = min(_MATES, n - 1)
    mates = np.zeros((n, k), dtype=np.int64)
    for first in range(0, n, _MATES_AT_A_TIME):
        rows = np.arange(first, min(first + _MATES_AT_A_TIME, n))
        # not by a matrix product, whose rounding depends on the number of its threads
        products = np.einsum("ik,jk->ij", unit[rows], unit)
        distance = square[rows, None] + square[None, :] - 2.0 * products
        distance[rows - first, rows] = np.inf
        mates[rows] = np.argpartition(distance, k - 1, axis=1)[:, :k]
    return mates
