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
from optimiser.encoding import (
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

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_DIAMETER_TRIES = 60


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
def _rise(genome: IntArray, t: Tables, place: int) -> float:
    """Radius that a place's flag adds."""
    wraps = t.wraps[place, genome[HEAD + GENES * place + WRAPS]]
    return float(wraps * turn_of(genome, t, place))


@compiled_lean
def _limit_wraps(genome: IntArray, t: Tables, place: int) -> None:
    """Lower the wraps of a flag whose edge would step by more than the rules allow."""
    base = HEAD + GENES * place
    step = np.inf
    if flag_start(genome, t, place) > SAME and t.run_out_tip[place] == 0.0:
        step = t.diameter_step_max - t.taper
    length = t.length[genome[LENGTH]]
    if flag_end(genome, t, place) < length - SAME and t.run_out_butt[place] == 0.0:
        step = min(step, t.diameter_step_max)
    while genome[base + WRAPS] > 0 and 2.0 * _rise(genome, t, place) > step:
        genome[base + WRAPS] -= 1


@compiled_lean
def _lengthen(genome: IntArray, t: Tables, place: int) -> bool:
    """Bring a flag to the least length; False if no choice of ends does."""
    base = HEAD + GENES * place
    least = max(t.flag_length_min, t.run_out_tip[place] + t.run_out_butt[place] + SAME)
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
                    if long < t.flag_length_min - SAME:
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
        _limit_wraps(genome, t, place)
    if not _space_out(genome, t, rng):
        return False
    if not _limit_materials(genome, t, rng):
        return False
    return not t.outer_straight or _straight_outside(genome, t, order)


@compiled_lean
def _mandrel_at(genome: IntArray, t: Tables, station: float) -> float:
    mandrel = genome[MANDREL]
    s = station + t.mandrel_set[genome[SET]]
    j = 0
    while j < t.breaks[mandrel] - 2 and s > t.distance[mandrel, j + 1]:
        j += 1
    share = (s - t.distance[mandrel, j]) / (
        t.distance[mandrel, j + 1] - t.distance[mandrel, j]
    )
    span = t.radius[mandrel, j + 1] - t.radius[mandrel, j]
    return float(t.radius[mandrel, j] + share * span)


@compiled_lean
def _end_radii(genome: IntArray, t: Tables) -> tuple[float, float]:
    """Radius of the build at tip and butt."""
    length = t.length[genome[LENGTH]]
    tip = _mandrel_at(genome, t, 0.0)
    butt = _mandrel_at(genome, t, length)
    for place in range(len(t.optional)):
        if not is_there(genome, t, place):
            continue
        rise = _rise(genome, t, place)
        if flag_start(genome, t, place) <= SAME and t.run_out_tip[place] == 0.0:
            tip += rise
        if flag_end(genome, t, place) >= length - SAME and t.run_out_butt[place] == 0.0:
            butt += rise
    return tip, butt


@compiled_lean
def misfit(genome: IntArray, t: Tables) -> float:
    """How far the build at tip and butt lies outside its bands.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices and bands. [-]

    Returns
    -------
    misfit : float
        Radius. [m]
    """
    tip, butt = _end_radii(genome, t)
    return float(
        max(t.tip_low - tip, tip - t.tip_high, 0.0)
        + max(t.butt_low - butt, butt - t.butt_high, 0.0)
    )


@compiled_lean
def fit_diameters(genome: IntArray, t: Tables, rng: Generator) -> bool:
    """Bring the build at tip and butt into its bands by cheap sums.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    t : Tables
        Choices and bands. [-]
    rng : Generator
        Source of randomness. [-]

    Returns
    -------
    fits : bool
        Whether both ends lie in their bands. [-]
    """
    short = misfit(genome, t)
    n_places = len(t.optional)
    length = t.length[genome[LENGTH]]
    tries = 0
    while short > 1e-9:
        if tries >= _DIAMETER_TRIES:
            return False
        tries += 1
        if len(t.mandrel_set) > 1 and rng.random() < 0.15:
            gene = SET
            low = t.set_low[genome[LENGTH], genome[MANDREL]]
            high = t.set_high[genome[LENGTH], genome[MANDREL]]
            keep = genome[gene]
            genome[gene] = low + pick(rng, high - low + 1)
            wraps = SET
            keep_wraps = keep
        else:
            place = pick(rng, n_places)
            at_tip = flag_start(genome, t, place) <= SAME
            at_butt = flag_end(genome, t, place) >= length - SAME
            if not at_tip and not at_butt:
                continue
            base = HEAD + GENES * place
            wraps = base + WRAPS
            keep_wraps = genome[wraps]
            chance = rng.random()
            if t.optional[place] and (chance < 0.15 or not is_there(genome, t, place)):
                gene = base + PRESENT
                keep = genome[gene]
                genome[gene] = 1 - keep
            elif chance < 0.6:
                gene = base + WRAPS
                n = t.n_wraps[place]
                keep = genome[gene]
                step = 1 if rng.random() < 0.5 else -1
                if rng.random() < 0.25:
                    step *= 2
                genome[gene] = min(max(keep + step, 0), n - 1)
            else:
                gene = base + SHEET
                keep = genome[gene]
                genome[gene] = pick(rng, t.n_sheet[place])
            _limit_wraps(genome, t, place)
        after = misfit(genome, t)
        # now and then a sideways step, so that the walk does not stick
        if after < short or (after == short and rng.random() < 0.3):
            short = after
        else:
            genome[wraps] = keep_wraps
            genome[gene] = keep
    return True


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
