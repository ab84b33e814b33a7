"""Where the flags' ends are to go, so that missed bands come into reach.

The outlook gives every banded value and its derivatives to the ends. From these a
bounded least-norm step towards the bands is solved, in a random metric so that equal
designs do not take equal steps.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import compiled_lean, compiled_lean_entry, fingerprint
from optimiser.breeding import mutate
from optimiser.cells import Cells
from optimiser.decoding import Tables
from optimiser.genes import copy_genome
from optimiser.helm import (
    Course,
    Helm,
    Scratch,
    Towards,
    by_logs,
    look_at,
    merit_of,
    value_of,
)
from optimiser.outlook_slopes import slopes_of_one
from optimiser.settling import fit, move_ends

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Farthest an end is moved in one step. [m]
FARTHEST = 0.12
#: Steps aim inside this share of the band.
_AIM = 0.9
#: A step is solved again without the ends that came to their bounds, this often.
_PASSES = 3
#: Steps of the ends after a move, each looked at.
ROUNDS = 2
#: Designs that miss their bands by more than this are not steered.
_HOPELESS = 3.0


@compiled_lean
def _solve(normal: Array, right: Array, n: int) -> None:
    """Solve a small symmetric positive system; the solution replaces the right side."""
    for j in range(n):
        pivot = normal[j, j]
        for i in range(j + 1, n):
            share = normal[i, j] / pivot
            for k in range(j + 1, n):
                normal[i, k] -= share * normal[j, k]
            right[i] -= share * right[j]
    for back in range(n):
        j = n - 1 - back
        for k in range(j + 1, n):
            right[j] -= normal[j, k] * right[k]
        right[j] /= normal[j, j]


@compiled_lean
def _step(course: Course, s: Scratch, rng: Generator) -> bool:
    """Shifts of the ends of the design in scratch; False where no band is missed."""
    layups, place, log, slope = s.layups, s.place[0], s.log, s.slope
    J, wanted, right, normal = s.J, s.rows[0], s.rows[1], s.normal
    weight, shift, least, most = s.ends[0], s.ends[1], s.ends[2], s.ends[3]
    length = layups.length[0]
    n_ends = 0
    for k in range(len(place)):
        for which in range(2):
            if place[k] >= 0 and course.movable[place[k], which]:
                s.free[n_ends] = 2 * k + which
                n_ends += 1
    n = 0
    misses = False
    for j in range(len(course.rows)):
        how, low, high = course.rows[j], course.low[j], course.high[j]
        unit = course.unit[j]
        value = value_of(how, log, length)
        if not np.isfinite(value):
            continue
        margin = (1.0 - _AIM) * unit
        is_out = value < low + margin or value > high - margin
        two_sided = np.isfinite(low) and np.isfinite(high)
        if not is_out and not two_sided:
            continue
        wanted[n] = 0.0
        if is_out:
            misses = True
            if two_sided:
                # somewhere inside: the grid of the ends may miss a little
                to = low + (0.15 + 0.7 * rng.random()) * (high - low)
            else:
                to = min(max(value, low + margin), high - margin)
            wanted[n] = (to - value) / unit
        by_a, by_b = by_logs(how, log)
        by_a, by_b = by_a / unit, by_b / unit
        a, b = how[1], how[2]
        for e in range(n_ends):
            at = slope[s.free[e] // 2, s.free[e] % 2]
            J[n, e] = by_a * at[a] + by_b * at[b]
        n += 1
    if not misses:
        return False
    for e in range(n_ends):
        k, which = s.free[e] // 2, s.free[e] % 2
        ease = rng.random()
        weight[e] = ease * ease + 1e-3
        shift[e] = 0.0
        at_now = layups.start[0, k] if which == 0 else layups.end[0, k]
        least[e] = max(course.reach[place[k], which, 0] - at_now, -FARTHEST)
        most[e] = min(course.reach[place[k], which, 1] - at_now, FARTHEST)
    for _ in range(_PASSES):
        trace = 0.0
        for a in range(n):
            right[a] = wanted[a]
            for e in range(n_ends):
                right[a] -= J[a, e] * shift[e]
            for b in range(a + 1):
                total = 0.0
                for e in range(n_ends):
                    total += J[a, e] * weight[e] * J[b, e]
                normal[a, b] = total
                normal[b, a] = total
            trace += normal[a, a]
        for a in range(n):
            normal[a, a] += 1e-6 * trace + 1e-12
        _solve(normal, right, n)
        is_bound = False
        for e in range(n_ends):
            if weight[e] == 0.0:
                continue
            for a in range(n):
                shift[e] += weight[e] * J[a, e] * right[a]
            if shift[e] < least[e] or shift[e] > most[e]:
                shift[e] = min(max(shift[e], least[e]), most[e])
                weight[e] = 0.0
                is_bound = True
        if not is_bound:
            break
    s.shift[:] = 0.0
    for e in range(n_ends):
        s.shift[place[s.free[e] // 2], s.free[e] % 2] = shift[e]
    return True


@compiled_lean
def jump(genome: IntArray, t: Tables, rng: Generator, order: IntArray) -> bool:
    """One or two moves on a genome, which is brought to what can be rolled.

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
    mutate(genome, t, rng, order)
    if rng.random() < 0.5:
        mutate(genome, t, rng, order)
    return fit(genome, t, rng, order)


@compiled_lean
def step_ends(
    t: Tables,
    cells: Cells,
    course: Course,
    s: Scratch,
    rng: Generator,
    rounds: int,
    off: Array,
) -> float:
    """Step the ends of the design in scratch towards the bands, and keep the best.

    Parameters
    ----------
    t : Tables
        Choices and rules. [-]
    cells : Cells
        What its outlook needs. [SI]
    course : Course
        What is asked. [SI]
    s : Scratch
        The genome in ``trial``, settled; replaced. What it promises then is in
        ``there``. [-]
    rng : Generator
        Source of randomness. [-]
    rounds : int
        Steps at most. [-]
    off : ndarray, shape (n_value,)
        How far its outlook is off, as logarithms. [-]

    Returns
    -------
    missed : float
        How far the best promises to miss what it should keep. [-]
    """
    copy_genome(s.trial, s.moved)
    least = np.inf
    for turn in range(rounds + 1):
        missed = look_at(s.moved, t, cells, course, s, off)
        if missed < least:
            least = missed
            for j in range(len(s.F)):
                s.there[j] = s.F[j]
            copy_genome(s.moved, s.trial)
        if turn == rounds or not 0.0 < missed <= _HOPELESS:
            break
        slopes_of_one(cells, s.layups, 0, s.room, s.plain, s.slope)
        if not _step(course, s, rng):
            break
        if not move_ends(s.moved, s.shift, t, rng, s.order):
            break
    return least


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _steer_entry(sources: int) -> Any:
    @compiled_lean_entry
    def steer_all(
        t: Tables,
        cells: Cells,
        course: Course,
        s: Scratch,
        rng: Generator,
        rounds: int,
        n_tries: int,
        off: Array,
        towards: Towards,
        genomes: IntArray,
        violation: Array,
        F: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        trial = s.trial
        for i in range(len(genomes)):
            best = np.inf
            for attempt in range(n_tries + 1):
                copy_genome(genomes[i], trial)
                if attempt > 0 and not jump(trial, t, rng, s.order):
                    continue
                missed = step_ends(t, cells, course, s, rng, rounds, off[i])
                merit = merit_of(missed, s.there, towards, i)
                if merit <= best:
                    best = merit
                    copy_genome(trial, genomes[i])
                    violation[i] = missed
                    for j in range(len(s.F)):
                        F[i, j] = s.there[j]

    return steer_all


_steer_all = _steer_entry(_SOURCES)


def steer(
    helm: Helm,
    rng: Generator,
    genomes: IntArray,
    off: Array,
    towards: Towards,
    *,
    tries: int,
    rounds: int = ROUNDS,
) -> tuple[IntArray, Array, Array]:
    """Improve designs by their outlook: into the bands first, then as asked.

    Parameters
    ----------
    helm : Helm
        What is asked. [-]
    rng : Generator
        Source of randomness. [-]
    genomes : ndarray, shape (n, n_genes)
        Integers. [-]
    off : ndarray, shape (n, n_value)
        How far the outlook of each is off, as logarithms. [-]
    towards : Towards
        Where to climb. [-]
    tries : int
        Moves that are tried on each, and kept where they are better; with none, only
        the ends are moved towards the bands. [-]
    rounds : int
        Steps of the ends after each move; with none of either, designs are only looked
        at. [-]

    Returns
    -------
    genomes : ndarray, shape (n, n_genes)
        Better ones. [-]
    violation : ndarray, shape (n,)
        How far they promise to miss what they should keep. [-]
    F : ndarray, shape (n, n_objective)
        Objectives that they promise, all to be small; NaN without an outlook. [SI]
    """
    better, violation = genomes.copy(), np.zeros(len(genomes))
    F = np.zeros((len(genomes), len(helm.course.objectives)))
    if len(genomes):
        _steer_all(
            helm.tables,
            helm.cells,
            helm.course,
            helm.scratch,
            rng,
            rounds,
            tries,
            off,
            towards,
            better,
            violation,
            F,
        )
    return better, violation, F


def _depth_entry(sources: int) -> Any:
    @compiled_lean_entry
    def depth_all(F: Array, best: Array, per_span: Array, depth: Array) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for i in range(len(F)):
            deepest = -np.inf
            for j in range(len(best)):
                least = np.inf
                for k in range(F.shape[1]):
                    share = (F[i, k] - best[j, k]) * per_span[k]
                    # an objective without an outlook may be as good as any
                    least = min(least, share if share == share else -np.inf)
                deepest = max(deepest, least)
            depth[i] = deepest

    return depth_all


_depth_all = _depth_entry(_SOURCES)


def depth_below(F: Array, best: Array) -> Array:
    """How deep points lie below a front; negative for points beyond it.

    Parameters
    ----------
    F : ndarray, shape (n, n_objective)
        Points, all to be small; NaN where not known. [-]
    best : ndarray, shape (n_best, n_objective)
        The front. [-]

    Returns
    -------
    depth : ndarray, shape (n,)
        By how much every objective could be better, as shares of the front's spans. [-]
    """
    depth = np.zeros(len(F))
    if len(best) and len(F):
        per_span = 1.0 / np.maximum(np.ptp(best, axis=0), 1e-12)
        _depth_all(F, best, per_span, depth)
    return depth
