"""Where the flags' ends are to go, so that missed bands come into reach.

The outlook gives every banded value and its derivatives to the ends. From these a
bounded least-norm step towards the bands is solved, in a random metric so that equal
designs do not take equal steps.
"""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import (
    METRICS,
    SHOP_MEASURES,
    Layups,
    compiled_lean,
    compiled_lean_entry,
    fingerprint,
    no_layups,
)
from optimiser.breeding import mutate
from optimiser.cells import Cells
from optimiser.encoding import Encoding, Tables, decode_all
from optimiser.genes import copy_genome
from optimiser.outlook_slopes import slopes_of_one
from optimiser.outlook_sums import (
    BUTT,
    CANTILEVER,
    COST,
    DURABILITY,
    FORESEEN_SHOP,
    FREQUENCY,
    MOMENT,
    N_FORESEEN,
    TIP,
    TORQUE,
    WEIGHT,
    Room,
    foresee_one,
    room,
)
from optimiser.problem import SHOP_UNIT, Demand
from optimiser.settling import fit, move_ends

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

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
#: Share of a unit that is kept from the edges, since the outlook is not exact.
_KEEP = 0.1

#: How a value follows from the logarithms of an outlook.
_PLAIN, _BALANCE, _MARGIN, _RATIO = range(4)
_FOLLOWS = {
    "weight": (_PLAIN, WEIGHT, WEIGHT),
    "balance_point": (_BALANCE, MOMENT, WEIGHT),
    "material_cost": (_PLAIN, COST, COST),
    "frequency": (_PLAIN, FREQUENCY, FREQUENCY),
    "torque": (_PLAIN, TORQUE, TORQUE),
    "tip_deflection": (_PLAIN, TIP, TIP),
    "butt_deflection": (_PLAIN, BUTT, BUTT),
    "cantilever_deflection": (_PLAIN, CANTILEVER, CANTILEVER),
    "durability": (_MARGIN, DURABILITY, DURABILITY),
    "flex_point_ratio": (_RATIO, TIP, BUTT),
}


class Course(NamedTuple):
    """What steering follows: the bands and objectives that have an outlook."""

    rows: IntArray  #: (n_row, 3) how each band follows, and from which values
    low: Array  #: (n_row,) [SI]
    high: Array
    unit: Array  #: what counts as one unit of violation
    objectives: IntArray  #: (n_objective, 3) likewise; -1 where there is no outlook
    sense: Array  #: (n_objective,)
    shop: IntArray  #: column of each foreseen shop measure among the demand's
    shop_sign: Array
    shop_limit: Array
    movable: BoolArray  #: (n_place, 2) which ends the spec leaves free
    reach: Array  #: (n_place, 2, 2) least and greatest station of either end [m]


def course_of(encoding: Encoding, demand: Demand) -> Course:
    """Number what steering follows.

    Parameters
    ----------
    encoding : Encoding
        Choices of a spec. [-]
    demand : Demand
        Its bands and objectives. [SI]

    Returns
    -------
    course : Course
        For ``steer``. [SI]
    """
    keys = [METRICS[column].key for column in demand.column]
    known = [j for j, key in enumerate(keys) if key in _FOLLOWS]
    points = range(len(demand.ei_low))
    rows = [_FOLLOWS[keys[j]] for j in known]
    rows += [(_PLAIN, N_FORESEEN + j, N_FORESEEN + j) for j in points]
    traded = [METRICS[column].key for column in demand.objective]
    objectives = [_FOLLOWS.get(key, (-1, 0, 0)) for key in traded]
    shop = [SHOP_MEASURES.index(name) for name in FORESEEN_SHOP]
    t = encoding.tables
    places = np.arange(len(t.optional))
    starts = np.stack([t.start[:, 0], t.start[places, t.n_start - 1]], axis=1)
    ends = np.stack([t.end[:, 0], t.end[places, t.n_end - 1]], axis=1)
    return Course(
        rows=np.array(rows, dtype=np.int64).reshape(-1, 3),
        low=np.concatenate([demand.low[known], demand.ei_low]),
        high=np.concatenate([demand.high[known], demand.ei_high]),
        unit=np.concatenate([demand.unit[known], demand.ei_unit]),
        objectives=np.array(objectives, dtype=np.int64).reshape(-1, 3),
        sense=demand.sense,
        shop=np.array(shop, dtype=np.int64),
        shop_sign=demand.shop_sign[shop],
        shop_limit=demand.shop_limit[shop],
        movable=np.stack([t.n_start > 1, t.n_end > 1], axis=1),
        reach=np.stack([starts, ends], axis=1),
    )


@compiled_lean
def _value(how: IntArray, log: Array, length: float) -> float:
    kind = how[0]
    if kind == _BALANCE:
        return float(length - np.exp(log[how[1]] - log[how[2]]))
    if kind == _RATIO:
        return float(1.0 / (1.0 + np.exp(log[how[2]] - log[how[1]])))
    if kind == _MARGIN:
        return float(np.exp(log[how[1]]) - 1.0)
    return float(np.exp(log[how[1]]))


@compiled_lean
def _by_logs(how: IntArray, log: Array) -> tuple[float, float]:
    """Derivatives of a value to the two logarithms that it follows from."""
    kind = how[0]
    if kind == _BALANCE:
        centre = np.exp(log[how[1]] - log[how[2]])
        return -centre, centre
    if kind == _RATIO:
        ratio = 1.0 / (1.0 + np.exp(log[how[2]] - log[how[1]]))
        return ratio * (1.0 - ratio), -ratio * (1.0 - ratio)
    return np.exp(log[how[1]]), 0.0


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


class Towards(NamedTuple):
    """Where designs are to climb: to small weighted distances from a near point."""

    near: Array  #: (n_objective,) [SI]
    span: Array  #: (n_objective,) what counts as one [SI]
    weight: Array  #: (n, n_objective) of each design


class Scratch(NamedTuple):
    """Room for steering one design."""

    room: Room
    layups: Layups  #: one design
    place: IntArray  #: (1, n_place)
    plain: Array  #: (n_value,)
    log: Array  #: (n_value,)
    shop: Array  #: (4,)
    slope: Array  #: (n_flag, 2, n_value)
    F: Array  #: (n_objective,)
    there: Array  #: (n_objective,)
    order: IntArray  #: (n_place,)
    one: IntArray  #: (1, n_genes)
    trial: IntArray  #: (n_genes,)
    moved: IntArray  #: (n_genes,)
    J: Array  #: (n_row, 2 n_flag)
    rows: Array  #: (2, n_row)
    normal: Array  #: (n_row, n_row)
    ends: Array  #: (4, 2 n_flag)
    free: IntArray  #: (2 n_flag,) the ends that may move
    shift: Array  #: (n_place, 2)


def _scratch(encoding: Encoding, cells: Cells, course: Course) -> Scratch:
    n_places, n_rows = len(encoding.spec.places), len(course.rows)
    n_values = N_FORESEEN + cells.n_points
    return Scratch(
        room=room(cells, n_places),
        layups=no_layups(1, n_places),
        place=np.full((1, n_places), -1, dtype=np.int64),
        plain=np.zeros(n_values),
        log=np.zeros(n_values),
        shop=np.zeros(len(FORESEEN_SHOP)),
        slope=np.zeros((n_places, 2, n_values)),
        F=np.zeros(len(course.objectives)),
        there=np.zeros(len(course.objectives)),
        order=np.zeros(n_places, dtype=np.int64),
        one=np.zeros((1, encoding.n_genes), dtype=np.int64),
        trial=np.zeros(encoding.n_genes, dtype=np.int64),
        moved=np.zeros(encoding.n_genes, dtype=np.int64),
        J=np.zeros((n_rows, 2 * n_places)),
        rows=np.zeros((2, n_rows)),
        normal=np.zeros((n_rows, n_rows)),
        ends=np.zeros((4, 2 * n_places)),
        free=np.zeros(2 * n_places, dtype=np.int64),
        shift=np.zeros((n_places, 2)),
    )


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
        value = _value(how, log, length)
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
        by_a, by_b = _by_logs(how, log)
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
def _judge(course: Course, s: Scratch) -> float:
    """Violation that the design in scratch promises; its objectives go to F."""
    length = s.layups.length[0]
    total = 0.0
    for j in range(len(course.rows)):
        value = _value(course.rows[j], s.log, length)
        over = max(course.low[j] - value, value - course.high[j]) / course.unit[j]
        total += max(over + _KEEP, 0.0)
    for j in range(len(course.shop_sign)):
        over = (s.shop[j] * course.shop_sign[j] - course.shop_limit[j]) / SHOP_UNIT
        total += max(over - 1e-6, 0.0)
    for j in range(len(course.objectives)):
        s.F[j] = np.nan
        if course.objectives[j, 0] >= 0:
            s.F[j] = _value(course.objectives[j], s.log, length) * course.sense[j]
    return total if np.isfinite(total) else 1e300


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


@compiled_lean
def _merit(missed: float, F: Array, towards: Towards, i: int) -> float:
    """To be small: how far the bands are missed, else the objectives as weighted."""
    if missed > 0.0:
        return 1e6 * (1.0 + missed)
    worst, total = 0.0, 0.0
    for j in range(len(F)):
        if np.isfinite(F[j]):
            share = (F[j] - towards.near[j]) / towards.span[j] * towards.weight[i, j]
            worst = max(worst, share)
            total += share
    return worst + 0.1 * total


@compiled_lean
def _look(
    genome: IntArray, t: Tables, cells: Cells, course: Course, s: Scratch, off: Array
) -> float:
    """Violation that a genome promises; its objectives go to F."""
    s.place[:] = -1
    s.layups.sheet[:] = -1
    copy_genome(genome, s.one[0])
    decode_all(s.one, t, s.layups, s.place, s.order)
    foresee_one(cells, s.layups, 0, s.room, s.plain, s.shop)
    for v in range(len(s.log)):
        s.log[v] = s.plain[v] + off[v]
    return _judge(course, s)


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
        trial, moved = s.trial, s.moved
        for i in range(len(genomes)):
            best = np.inf
            for attempt in range(n_tries + 1):
                copy_genome(genomes[i], trial)
                if attempt > 0:
                    mutate(trial, t, rng, s.order)
                    if rng.random() < 0.5:
                        mutate(trial, t, rng, s.order)
                    if not fit(trial, t, rng, s.order):
                        continue
                copy_genome(trial, moved)
                least, merit = np.inf, np.inf
                for turn in range(rounds + 1):
                    missed = _look(moved, t, cells, course, s, off[i])
                    if missed < least:
                        least = missed
                        merit = _merit(missed, s.F, towards, i)
                        for j in range(len(s.F)):
                            s.there[j] = s.F[j]
                        copy_genome(moved, trial)
                    if turn == rounds or not 0.0 < missed <= _HOPELESS:
                        break
                    slopes_of_one(cells, s.layups, 0, s.room, s.plain, s.slope)
                    if not _step(course, s, rng):
                        break
                    if not move_ends(moved, s.shift, t, rng, s.order):
                        break
                if merit <= best:
                    best = merit
                    copy_genome(trial, genomes[i])
                    violation[i] = least
                    for j in range(len(s.F)):
                        F[i, j] = s.there[j]

    return steer_all


_steer_all = _steer_entry(_SOURCES)


class Helm:
    """What steering needs of a spec."""

    def __init__(self, encoding: Encoding, cells: Cells, demand: Demand) -> None:
        self.tables = encoding.tables
        self.cells = cells
        self.course = course_of(encoding, demand)
        self.scratch = _scratch(encoding, cells, self.course)


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
