"""What a search steers by: the bands and objectives that have an outlook.

How each follows from an outlook, what a design promises by it, and how well that is
what is asked. Compiled, for one design at a time, in room that is made once.
"""

from copy import copy
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import METRICS, SHOP_MEASURES, Layups, compiled_lean, no_layups
from optimiser.cells import Cells
from optimiser.decoding import Tables, decode_all
from optimiser.encoding import Encoding
from optimiser.genes import copy_genome
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

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Share of a unit that is kept from the edges, since the outlook is not exact.
_KEEP = 0.1

#: How a value follows from the logarithms of an outlook.
_PLAIN, _BALANCE, _MARGIN, _RATIO = range(4)
FOLLOWS = {
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
    known = [j for j, key in enumerate(keys) if key in FOLLOWS]
    points = range(len(demand.ei_low))
    rows = [FOLLOWS[keys[j]] for j in known]
    rows += [(_PLAIN, N_FORESEEN + j, N_FORESEEN + j) for j in points]
    traded = [METRICS[column].key for column in demand.objective]
    objectives = [FOLLOWS.get(key, (-1, 0, 0)) for key in traded]
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
def value_of(how: IntArray, log: Array, length: float) -> float:
    """A value as it follows from the logarithms of an outlook.

    Parameters
    ----------
    how : ndarray, shape (3,)
        A row of ``Course.rows``. [-]
    log : ndarray, shape (n_value,)
        Outlook. [-]
    length : float
        Of the shaft. [m]

    Returns
    -------
    value : float
        What is banded. [SI]
    """
    kind = how[0]
    if kind == _BALANCE:
        return float(length - np.exp(log[how[1]] - log[how[2]]))
    if kind == _RATIO:
        return float(1.0 / (1.0 + np.exp(log[how[2]] - log[how[1]])))
    if kind == _MARGIN:
        return float(np.exp(log[how[1]]) - 1.0)
    return float(np.exp(log[how[1]]))


@compiled_lean
def by_logs(how: IntArray, log: Array) -> tuple[float, float]:
    """Derivatives of a value to the two logarithms that it follows from.

    Parameters
    ----------
    how : ndarray, shape (3,)
        A row of ``Course.rows``. [-]
    log : ndarray, shape (n_value,)
        Outlook. [-]

    Returns
    -------
    by_first, by_second : float
        Derivatives. [SI]
    """
    kind = how[0]
    if kind == _BALANCE:
        centre = np.exp(log[how[1]] - log[how[2]])
        return -centre, centre
    if kind == _RATIO:
        ratio = 1.0 / (1.0 + np.exp(log[how[2]] - log[how[1]]))
        return ratio * (1.0 - ratio), -ratio * (1.0 - ratio)
    return np.exp(log[how[1]]), 0.0


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
    now: IntArray  #: (n_genes,)
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
        now=np.zeros(encoding.n_genes, dtype=np.int64),
        J=np.zeros((n_rows, 2 * n_places)),
        rows=np.zeros((2, n_rows)),
        normal=np.zeros((n_rows, n_rows)),
        ends=np.zeros((4, 2 * n_places)),
        free=np.zeros(2 * n_places, dtype=np.int64),
        shift=np.zeros((n_places, 2)),
    )


@compiled_lean
def judge(course: Course, s: Scratch) -> float:
    """Violation that the design in scratch promises; its objectives go to F.

    Parameters
    ----------
    course : Course
        What is asked. [SI]
    s : Scratch
        With its outlook. [-]

    Returns
    -------
    missed : float
        Sum over bands and shop rules, in their units. [-]
    """
    length = s.layups.length[0]
    total = 0.0
    for j in range(len(course.rows)):
        value = value_of(course.rows[j], s.log, length)
        over = max(course.low[j] - value, value - course.high[j]) / course.unit[j]
        total += max(over + _KEEP, 0.0)
    for j in range(len(course.shop_sign)):
        over = (s.shop[j] * course.shop_sign[j] - course.shop_limit[j]) / SHOP_UNIT
        total += max(over - 1e-6, 0.0)
    for j in range(len(course.objectives)):
        s.F[j] = np.nan
        if course.objectives[j, 0] >= 0:
            s.F[j] = value_of(course.objectives[j], s.log, length) * course.sense[j]
    return total if np.isfinite(total) else 1e300


@compiled_lean
def weighted(F: Array, towards: Towards, i: int) -> float:
    """Weighted distance of objectives from where a design is to climb.

    Parameters
    ----------
    F : ndarray, shape (n_objective,)
        Objectives, all to be small; NaN where there is no outlook. [SI]
    towards : Towards
        Where designs are to climb. [-]
    i : int
        Which of them. [-]

    Returns
    -------
    distance : float
        The largest weighted share, and a tenth of their sum. [-]
    """
    worst, total = 0.0, 0.0
    for j in range(len(F)):
        if np.isfinite(F[j]):
            share = (F[j] - towards.near[j]) / towards.span[j] * towards.weight[i, j]
            worst = max(worst, share)
            total += share
    return worst + 0.1 * total


@compiled_lean
def merit_of(missed: float, F: Array, towards: Towards, i: int) -> float:
    """To be small: how far the bands are missed, else the objectives as weighted.

    Parameters
    ----------
    missed : float
        How far bands are missed. [-]
    F : ndarray, shape (n_objective,)
        Objectives, all to be small. [SI]
    towards : Towards
        Where designs are to climb. [-]
    i : int
        Which of them. [-]

    Returns
    -------
    merit : float
        Above a million where bands are missed. [-]
    """
    return 1e6 * (1.0 + missed) if missed > 0.0 else weighted(F, towards, i)


@compiled_lean
def look_at(
    genome: IntArray, t: Tables, cells: Cells, course: Course, s: Scratch, off: Array
) -> float:
    """Violation that a genome promises; its objectives go to F.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices. [-]
    cells : Cells
        What its outlook needs. [SI]
    course : Course
        What is asked. [SI]
    s : Scratch
        Written. [-]
    off : ndarray, shape (n_value,)
        How far its outlook is off, as logarithms. [-]

    Returns
    -------
    missed : float
        Sum over bands and shop rules, in their units. [-]
    """
    s.place[:] = -1
    s.layups.sheet[:] = -1
    copy_genome(genome, s.one[0])
    decode_all(s.one, t, s.layups, s.place, s.order)
    foresee_one(cells, s.layups, 0, s.room, s.plain, s.shop)
    for v in range(len(s.log)):
        s.log[v] = s.plain[v] + off[v]
    return judge(course, s)


class Helm:
    """What steering needs of a spec."""

    def __init__(self, encoding: Encoding, cells: Cells, demand: Demand) -> None:
        self.tables = encoding.tables
        self.cells = cells
        self.course = course_of(encoding, demand)
        self.scratch = _scratch(encoding, cells, self.course)

    def on(self, mandrel: int) -> "Helm":
        """The same for designs on one mandrel.

        Parameters
        ----------
        mandrel : int
            Index among the spec's. [-]

        Returns
        -------
        helm : Helm
            Shares its room with this one. [-]
        """
        other = copy(self)
        other.tables = self.tables._replace(mandrels=np.array([mandrel]))
        return other
