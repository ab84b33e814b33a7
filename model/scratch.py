"""Scratch of one evaluation, and the points it stands on."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.clock import N_AROUND, N_RUNNING
from model.compilation import compiled_lean, compiled_stage
from model.conditions import Conditions, Layups, Numbers
from model.laminate import N_SUMS
from model.shell import N_HOOP
from model.spread import fine_scratch
from model.strength import N_FIELD
from model.wall import SAME_STATION, place_points, sort_marks

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Room for the places where a flag comes to nothing, a flag; two are usual.
_BRINKS = 12


class Work(NamedTuple):
    """Scratch of one evaluation; holds the profile of the design done last."""

    marks: Array
    jumps: BoolArray
    x: Array
    look: Array
    mandrel: Array
    build: Array
    finished: Array
    r_in: Array
    r_out: Array
    start: Array  #: ends of the flags as rolled, trims included
    end: Array
    first: IntArray
    last: IntArray
    reach: (
        IntArray  #: last of one range of a flag's points, brinks included if it can be
    )
    more: IntArray  #: first brink of another range, if any
    sums: Array
    EI: Array
    GJ: Array
    hoop: Array
    hoop_axis: Array
    hoop_slope: Array
    shear: Array
    m: Array
    bending: Array  #: strains of the wall under unit curvature
    torsion: Array  #: and under unit torque
    shell: Array  #: bending of the wall in the hoop direction
    cooling: Array  #: resultants of the wall, held while it cools
    free: Array  #: strains of the wall once let go
    use: Array  #: inverse of the curvature that each point bears
    torsion_use: Array  #: of the torque
    slack: Array  #: of the torque at which its last ply shears
    flat_use: Array  #: EI over the moment at which it flattens
    crush_use: Array  #: of the load on a ring cut there
    around: Array  #: sums around the clock
    fine: Array  #: and within a cell
    running: Array  #: where flags run out
    y: Array
    moment: Array
    net: Array
    gross: Array
    row_end: Array  #: what a batch wastes at its ends, flag by flag
    widths: Array  #: of pieces at their ends
    roll_room: Array
    splices: Array
    mass: Array
    brink_cell: IntArray  #: the point before each place where a flag comes to nothing
    brink_share: Array  #: how far along the cell it lies
    brink_flag: IntArray  #: whose ring it is
    #: points; first and last finished point; whether coupled; brinks, which stand
    #: behind the points
    counts: IntArray


def workspace(conditions: Conditions, n_flags: int, length: float) -> Work:
    """Allocate scratch for designs of at most some flags and length.

    Parameters
    ----------
    conditions : Conditions
        What the designs share. [-]
    n_flags : int
        Most flags of a design. [-]
    length : float
        Longest shaft. [m]

    Returns
    -------
    work : Work
        Scratch arrays. [-]
    """
    breaks = max(len(mandrel.distance) for mandrel in conditions.mandrels)
    n_marks = 29 + breaks + 4 * n_flags
    blank = length + conditions.trim_tip + conditions.trim_butt
    n_brinks = _BRINKS * n_flags
    n_x = int(blank / conditions.cell) + 3 * n_marks + n_brinks
    line = np.zeros((19, n_x))
    return Work(
        marks=np.zeros(n_marks),
        jumps=np.zeros(n_marks, dtype=np.bool_),
        x=line[0],
        look=line[1],
        mandrel=line[2],
        build=line[3],
        finished=line[4],
        r_in=np.zeros((n_flags, n_x)),
        r_out=np.zeros((n_flags, n_x)),
        start=np.zeros(n_flags),
        end=np.zeros(n_flags),
        first=np.zeros(n_flags, dtype=np.int64),
        last=np.zeros(n_flags, dtype=np.int64),
        reach=np.zeros(n_flags, dtype=np.int64),
        more=np.zeros(n_flags, dtype=np.int64),
        sums=np.zeros((N_SUMS, n_x)),
        EI=line[5],
        GJ=line[6],
        hoop=line[7],
        shear=line[8],
        m=line[9],
        bending=np.zeros((N_FIELD, n_x)),
        torsion=np.zeros((N_FIELD, n_x)),
        shell=np.zeros((N_HOOP, n_x)),
        cooling=np.zeros((3, n_x)),
        free=np.zeros((3, n_x)),
        around=np.zeros((N_AROUND, n_x)),
        fine=fine_scratch(),
        running=np.zeros((n_flags, N_RUNNING)),
        torsion_use=line[10],
        slack=line[16],
        flat_use=line[17],
        crush_use=line[18],
        use=line[11],
        y=line[12],
        moment=line[13],
        hoop_axis=line[14],
        hoop_slope=line[15],
        net=np.zeros(n_flags),
        gross=np.zeros(n_flags),
        row_end=np.zeros(n_flags),
        widths=np.zeros((n_flags, 2)),
        roll_room=np.zeros((3, n_flags)),
        splices=np.zeros(n_flags),
        mass=np.zeros(n_flags),
        brink_flag=np.zeros(n_brinks, dtype=np.int64),
        brink_cell=np.zeros(n_brinks, dtype=np.int64),
        brink_share=np.zeros(n_brinks),
        counts=np.zeros(5, dtype=np.int64),
    )


def between(work: Work, values: Array) -> Array:
    """Put values at the brinks behind those at the points.

    Parameters
    ----------
    work : Work
        Scratch of an evaluation. [-]
    values : ndarray, shape (..., n_x)
        Values at the points, linear between them. [any]

    Returns
    -------
    values : ndarray, shape (..., n_x + n_brinks)
        Values at the points, and where flags come to nothing. [any]
    """
    n_brinks = int(work.counts[4])
    share, p = work.brink_share[:n_brinks], work.brink_cell[:n_brinks]
    near, far = values[..., p], values[..., p + 1]
    return np.concatenate([values, near + share * (far - near)], axis=-1)


@compiled_lean
def _mark(
    marks: Array,
    jumps: BoolArray,
    n: int,
    station: float,
    low: float,
    high: float,
    jump: bool,
) -> int:
    if low <= station <= high:
        marks[n] = station
        jumps[n] = jump
        return n + 1
    return n


@compiled_lean
def point_at(x: Array, n_x: int, station: float, butt_side: bool) -> int:
    """Point at a marked station; at a jump the copy on the asked side.

    Parameters
    ----------
    x : ndarray, shape (n_x_max,)
        Points, rising. [m]
    n_x : int
        Number of points. [-]
    station : float
        Station that was marked. [m]
    butt_side : bool
        Which copy of a doubled point. [-]

    Returns
    -------
    point : int
        Index of the point. [-]
    """
    low = 0
    high = n_x - 1
    while low < high:
        middle = (low + high) // 2
        if x[middle] < station - SAME_STATION:
            low = middle + 1
        else:
            high = middle
    if butt_side and low + 1 < n_x and x[low + 1] - x[low] < SAME_STATION:
        return low + 1
    return low


@compiled_lean
def torque_clamp(bench: Any, length: float) -> float:
    """Station where the clamp of the torque test begins.

    Parameters
    ----------
    bench : namedtuple
        Distances of the bench, as numbers. [SI]
    length : float
        Of the shaft. [m]

    Returns
    -------
    station : float
        From the tip. [m]
    """
    if np.isnan(bench.torque_clamp_at):
        return float(length - bench.torque_clamp)
    return float(bench.torque_clamp_at)


@compiled_lean
def stiffness_at(x: Array, EI: Array, n_x: int, station: float) -> float:
    """Stiffness at any station: linear between points, the mean at a jump.

    Parameters
    ----------
    x, EI : ndarray, shape (n_x_max,)
        Points and bending stiffness. [m, N·m²]
    n_x : int
        Number of points. [-]
    station : float
        Where it is asked for. [m]

    Returns
    -------
    EI : float
        Bending stiffness there. [N·m²]
    """
    right = point_at(x, n_x, station, False)
    if abs(x[right] - station) < SAME_STATION:
        return float(0.5 * (EI[right] + EI[point_at(x, n_x, station, True)]))
    left = right - 1
    share = (station - x[left]) / (x[right] - x[left])
    return float(EI[left] + share * (EI[right] - EI[left]))


@compiled_stage
def lay_points(numbers: Numbers, layups: Layups, i: int, work: Work) -> None:
    """Lay the points of one design.

    Parameters
    ----------
    numbers : Numbers
        What the designs share. [SI]
    layups : Layups
        The designs. [SI]
    i : int
        Which of them. [-]
    work : Work
        Flag ends as rolled are read, points and counts are written. [-]
    """
    bench = numbers.bench
    marks, jumps = work.marks, work.jumps
    length, mandrel = layups.length[i], layups.mandrel[i]
    low = -numbers.trim_tip
    high = length + numbers.trim_butt
    n = _mark(marks, jumps, 0, low, low, high, False)
    n = _mark(marks, jumps, n, high, low, high, False)
    for station in (0.0, length):
        n = _mark(marks, jumps, n, station, low, high, False)
    for station in (
        bench.torque_grip,
        bench.tip_hold,
        bench.tip_support,
        bench.tip_load_at,
        bench.strength_tip_support,
        bench.strength_from,
        bench.strength_a,
        bench.strength_b,
        bench.cantilever_load_at,
        length - bench.frequency_clamp,
        torque_clamp(bench, length),
        length - bench.butt_hold,
        length - bench.butt_support,
        length - bench.butt_load_at,
        length - bench.strength_to,
        length - bench.strength_butt_support,
        length - bench.cantilever_clamp,
    ):
        n = _mark(marks, jumps, n, station, 0.0, length, False)
    if bench.impact_moment > 0.0:
        for station in (bench.impact_at, bench.impact_to):
            n = _mark(marks, jumps, n, station, 0.0, length, False)
    distance = numbers.distance[mandrel]
    for j in range(numbers.breaks[mandrel]):
        station = distance[j] - layups.mandrel_set[i]
        n = _mark(marks, jumps, n, station, low, high, False)
    finish = numbers.finish
    if not np.isnan(finish.tip_diameter):
        parallel = finish.tip_parallel
        n = _mark(marks, jumps, n, parallel, low, high, True)
        n = _mark(marks, jumps, n, parallel + finish.tip_blend, low, high, True)
    for k in range(layups.sheet.shape[1]):
        if layups.sheet[i, k] < 0:
            continue
        start, end = work.start[k], work.end[k]
        run_tip, run_butt = layups.run_out_tip[i, k], layups.run_out_butt[i, k]
        n = _mark(marks, jumps, n, start, low, high, True)
        n = _mark(marks, jumps, n, end, low, high, True)
        if run_tip > 0.0:
            n = _mark(marks, jumps, n, start + run_tip, low, high, False)
        if run_butt > 0.0:
            n = _mark(marks, jumps, n, end - run_butt, low, high, False)
    n = sort_marks(marks, jumps, n)
    n_x = place_points(marks, jumps, n, numbers.cell, work.x, work.look)
    work.counts[0] = n_x
    work.counts[1] = 0
    work.counts[2] = n_x - 1
    if numbers.trim_tip > 0.0:
        work.counts[1] = point_at(work.x, n_x, 0.0, True)
    if numbers.trim_butt > 0.0:
        work.counts[2] = point_at(work.x, n_x, length, False)
