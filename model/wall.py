"""The wall: flags rolled on a mandrel, station by station, then ground.

A *point* is a station with a side. Where the wall jumps (a flag begins or ends) two
points share a station, the first belonging to the tip side, the second to the butt
side; so every quantity is smooth between neighbouring points and no step is smeared
over a cell. Arrays run over the points from tip to butt.
"""

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Marks closer than this are one station. [m]
SAME_STATION = 1e-7
#: How far a point looks to its own side of a jump. [m]
SIDE = 1e-9
#: Inner over outer radius of a ring of next to no thickness.
THINNEST = 1.0 - 1e-12
#: Thickness that is none. [m]
NOTHING = 1e-12


@compiled_lean
def sort_marks(marks: Array, jumps: NDArray[np.bool_], n: int) -> int:
    """Sort stations in place and merge those that coincide.

    Parameters
    ----------
    marks : ndarray, shape (n_max,)
        Stations, the first n in use. [m]
    jumps : ndarray of bool, shape (n_max,)
        Whether the wall jumps there; a merged station jumps if one of its own does. [-]
    n : int
        Number of stations in use. [-]

    Returns
    -------
    n : int
        Number of stations that are left. [-]
    """
    for i in range(1, n):
        x = marks[i]
        jump = jumps[i]
        j = i - 1
        while j >= 0 and marks[j] > x:
            marks[j + 1] = marks[j]
            jumps[j + 1] = jumps[j]
            j -= 1
        marks[j + 1] = x
        jumps[j + 1] = jump
    kept = 0
    for i in range(1, n):
        if marks[i] - marks[kept] < SAME_STATION:
            jumps[kept] = jumps[kept] or jumps[i]
        else:
            kept += 1
            marks[kept] = marks[i]
            jumps[kept] = jumps[i]
    return kept + 1


@compiled_lean
def place_points(
    marks: Array, jumps: NDArray[np.bool_], n: int, cell: float, x: Array, look: Array
) -> int:
    """Fill the gaps between marks with equal cells and double the jumps.

    Parameters
    ----------
    marks : ndarray, shape (n_max,)
        Sorted stations. [m]
    jumps : ndarray of bool, shape (n_max,)
        Whether the wall jumps there. [-]
    n : int
        Number of marks in use. [-]
    cell : float
        Longest cell. [m]
    x : ndarray, shape (n_x_max,)
        Station of each point, written. [m]
    look : ndarray, shape (n_x_max,)
        Station moved a hair to the point's own side, written. [m]

    Returns
    -------
    n_x : int
        Number of points. [-]
    """
    x[0] = marks[0]
    look[0] = marks[0] + SIDE
    n_x = 1
    for i in range(1, n):
        gap = marks[i] - marks[i - 1]
        n_cells = int(np.ceil(gap / cell - 1e-9))
        for j in range(1, n_cells):
            x[n_x] = marks[i - 1] + gap * j / n_cells
            look[n_x] = x[n_x]
            n_x += 1
        x[n_x] = marks[i]
        look[n_x] = marks[i]
        if i == n - 1:
            look[n_x] = marks[i] - SIDE
        elif jumps[i]:
            look[n_x] = marks[i] - SIDE
            n_x += 1
            x[n_x] = marks[i]
            look[n_x] = marks[i] + SIDE
        n_x += 1
    return n_x


@compiled_lean
def mandrel_radius(
    x: Array,
    n_x: int,
    distance: Array,
    radius: Array,
    n: int,
    offset: float,
    out: Array,
) -> None:
    """Radius of the mandrel under each point, linear between its breakpoints.

    Parameters
    ----------
    x : ndarray, shape (n_x_max,)
        Station of each point, rising. [m]
    n_x : int
        Number of points. [-]
    distance : ndarray, shape (n_max,)
        Distance of the breakpoints from the mandrel's small end. [m]
    radius : ndarray, shape (n_max,)
        Radius there. [m]
    n : int
        Number of breakpoints. [-]
    offset : float
        The mandrel set: distance from its small end to station 0. [m]
    out : ndarray, shape (n_x_max,)
        Radius at the points, written. [m]
    """
    j = 0
    for p in range(n_x):
        s = x[p] + offset
        while j < n - 2 and s > distance[j + 1]:
            j += 1
        slope = (radius[j + 1] - radius[j]) / (distance[j + 1] - distance[j])
        out[p] = radius[j] + slope * (s - distance[j])


@compiled_lean
def roll_flag(
    x: Array,
    first: int,
    last: int,
    start: float,
    end: float,
    wraps: float,
    run_out_tip: float,
    run_out_butt: float,
    thickness: float,
    pieces: float,
    build: Array,
    r_in: Array,
    r_out: Array,
) -> float:
    """Roll one flag on the build and give the area of prepreg it takes.

    Parameters
    ----------
    x : ndarray, shape (n_x_max,)
        Points. [m]
    first, last : int
        First and last point that the flag covers. [-]
    start, end : float
        Ends of the flag. [m]
    wraps : float
        Turns between the run-outs. [-]
    run_out_tip, run_out_butt : float
        Length over which the turns rise from none at either end. [m]
    thickness : float
        Thickness of one ply. [m]
    pieces : float
        1, or 2 for a bias pair. [-]
    build : ndarray, shape (n_x_max,)
        Radius of the build, raised by the flag. [m]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the flag's ring, written at the points it covers. [m]

    Returns
    -------
    area : float
        Area of all pieces as cut. [m²]
    """
    turn = thickness * pieces
    constant = run_out_tip == 0.0 and run_out_butt == 0.0
    area = 0.0
    width_before = 0.0
    if constant:
        rise = wraps * turn
        for p in range(np.uint64(first), np.uint64(last + 1)):
            r_in[p] = build[p]
            r_out[p] = build[p] + rise
            build[p] = r_out[p]
        for p in range(first, last):
            area += (x[p + 1] - x[p]) * (r_in[p] + r_in[p + 1])
        area += (x[last] - x[first]) * rise
        return float(pieces * np.pi * wraps * area)
    for p in range(first, last + 1):
        share = 1.0
        if run_out_tip > 0.0:
            share = min(share, (x[p] - start) / run_out_tip)
        if run_out_butt > 0.0:
            share = min(share, (end - x[p]) / run_out_butt)
        n = wraps * max(share, 0.0)
        r_in[p] = build[p]
        r_out[p] = build[p] + n * turn
        width = n * np.pi * (r_in[p] + r_out[p])
        if p > first:
            area += (x[p] - x[p - 1]) * (width + width_before) / 2.0
        width_before = width
        build[p] = r_out[p]
    return float(pieces * area)


@compiled_lean
def roll_straight_edged(
    x: Array,
    first: int,
    last: int,
    width_tip: float,
    width_butt: float,
    thickness: float,
    pieces: float,
    build: Array,
    r_in: Array,
    r_out: Array,
) -> float:
    """Roll a piece with straight edges: it gives the turns that its width reaches for.

    Parameters
    ----------
    x : ndarray, shape (n_x_max,)
        Points. [m]
    first, last : int
        First and last point that the flag covers. [-]
    width_tip, width_butt : float
        Width of a piece at its two ends, linear between them. [m]
    thickness : float
        Thickness of one ply. [m]
    pieces : float
        1, or 2 for a bias pair. [-]
    build : ndarray, shape (n_x_max,)
        Radius of the build, raised by the flag. [m]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the flag's ring, written at the points it covers. [m]

    Returns
    -------
    area : float
        Area of all pieces as cut. [m²]

    Notes
    -----
    A piece that makes n turns is n π (2 r_in + n pieces thickness) wide, so the ring's
    outer radius is the root of r_in² + pieces thickness width / π.
    """
    length = x[last] - x[first]
    slope = (width_butt - width_tip) / length
    turn = thickness * pieces / np.pi
    for p in range(first, last + 1):
        width = width_tip + slope * (x[p] - x[first])
        r_in[p] = build[p]
        r_out[p] = np.sqrt(build[p] * build[p] + turn * width)
        build[p] = r_out[p]
    return float(pieces * length * (width_tip + width_butt) / 2.0)


@compiled_lean
def whole_widths(
    x: Array,
    first: int,
    last: int,
    whole_from: float,
    whole_to: float,
    turn: float,
    r_in: Array,
    r_out: Array,
) -> tuple[float, float]:
    """Width of a rolled piece at its ends, or where its run-outs end.

    Parameters
    ----------
    x : ndarray, shape (n_x_max,)
        Points; those where run-outs end are among them. [m]
    first, last : int
        First and last point that the flag covers. [-]
    whole_from, whole_to : float
        Where it has all its turns. [m]
    turn : float
        Thickness of a turn, that of both plies in a pair. [m]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the flag's ring before grinding. [m]

    Returns
    -------
    width_tip, width_butt : float
        Widths there. [m]
    """
    while x[first] < whole_from - SAME_STATION and first < last:
        first += 1
    while x[last] > whole_to + SAME_STATION and last > first:
        last -= 1
    tip = r_out[first] * r_out[first] - r_in[first] * r_in[first]
    butt = r_out[last] * r_out[last] - r_in[last] * r_in[last]
    return tip * np.pi / turn, butt * np.pi / turn


@compiled_lean
def finished_radius(
    x: Array,
    look: Array,
    n_x: int,
    build: Array,
    grind: float,
    tip_diameter: float,
    tip_parallel: float,
    tip_blend: float,
    tip_taper: float,
    out: Array,
) -> tuple[float, float]:
    """Outer radius after grinding the whole length, then the tip.

    Parameters
    ----------
    x, look : ndarray, shape (n_x_max,)
        Points. [m]
    n_x : int
        Number of points. [-]
    build : ndarray, shape (n_x_max,)
        Outer radius before grinding. [m]
    grind : float
        Radial depth taken off the whole length. [m]
    tip_diameter : float
        Diameter the tip is ground to; NaN for none. [m]
    tip_parallel, tip_blend : float
        Length ground to it, and length over which the limit rises to the build. [m]
    tip_taper : float
        Growth of the tip diameter per length. [-]
    out : ndarray, shape (n_x_max,)
        Outer radius of the finished shaft, written. [m]

    Returns
    -------
    shortage : float
        Most radius missing under the tip parallel; 0 where the build suffices. [m]
    depth : float
        Deepest radius ground off at the tip beyond the whole-length grind. [m]
    """
    shortage = 0.0
    depth = 0.0
    for p in range(n_x):
        out[p] = build[p] - grind
    if np.isnan(tip_diameter):
        return shortage, depth
    beyond = n_x - 1
    for p in range(n_x):
        if look[p] > tip_parallel + tip_blend:
            beyond = p
            break
    parallel_end = tip_diameter / 2.0 + tip_taper * tip_parallel / 2.0
    blend_end = out[beyond]
    for p in range(beyond + 1):
        if look[p] < tip_parallel:
            limit = tip_diameter / 2.0 + tip_taper * x[p] / 2.0
            if x[p] >= 0.0:
                shortage = max(shortage, limit - out[p])
        elif look[p] < tip_parallel + tip_blend:
            share = (x[p] - tip_parallel) / tip_blend
            limit = parallel_end + share * (blend_end - parallel_end)
        else:
            break
        if x[p] >= 0.0:
            depth = max(depth, out[p] - limit)
        out[p] = min(out[p], limit)
    return shortage, depth


@compiled_lean
def find_brinks(
    k: int,
    x: Array,
    r_in: Array,
    r_out: Array,
    finished: Array,
    first: int,
    last: int,
    n: int,
    cell: IntArray,
    share: Array,
    flag: IntArray,
) -> int:
    """Find where the ring of a flag comes to nothing, by run-out or by grinding.

    Just before such a *brink* it is a thin ply, strained like any other. At a point
    the ring is given next to no thickness, so that it is seen; between two points the
    place is noted.

    Parameters
    ----------
    k : int
        The flag. [-]
    x : ndarray, shape (n_x_max,)
        Points. [m]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of its ring before grinding. [m]
    finished : ndarray, shape (n_x_max,)
        Outer radius of the finished shaft. [m]
    first, last : int
        Range of points to look at, all covered by the flag. [-]
    n : int
        Number of brinks so far. [-]
    cell : ndarray, shape (n_brinks_max,)
        Point before each brink, written. [-]
    share : ndarray, shape (n_brinks_max,)
        How far along the cell to the next point it lies, written. [-]
    flag : ndarray, shape (n_brinks_max,)
        The flag, written. [-]

    Returns
    -------
    n : int
        Number of brinks with those of this flag. [-]
    """
    here = min(r_out[first], finished[first]) - r_in[first]
    for p in range(first, last):
        there = min(r_out[p + 1], finished[p + 1]) - r_in[p + 1]
        if (here > 0.0) != (there > 0.0) and x[p + 1] > x[p]:
            at = p if there > 0.0 else p + 1
            if min(here, there) > -NOTHING:
                r_in[at] *= THINNEST
            elif n < len(cell):
                cell[n] = p
                share[n] = here / (here - there)
                flag[n] = k
                n += 1
        here = there
    return n


@compiled_lean
def least_wall(finished: Array, mandrel: Array, first: int, last: int) -> float:
    """Least wall thickness over a range of points.

    Parameters
    ----------
    finished, mandrel : ndarray, shape (n_x_max,)
        Outer radius of the finished shaft and radius of its bore. [m]
    first, last : int
        Range of points. [-]

    Returns
    -------
    wall : float
        Least thickness. [m]
    """
    least = np.inf
    for p in range(first, last + 1):
        least = min(least, finished[p] - mandrel[p])
    return least


@compiled_lean
def steepest_step(
    x: Array, finished: Array, first: int, last: int, length: float
) -> float:
    """Largest change of outside diameter within a given length.

    Parameters
    ----------
    x, finished : ndarray, shape (n_x_max,)
        Points and outer radius of the finished shaft. [m]
    first, last : int
        Range of points. [-]
    length : float
        Length of shaft over which the change is taken. [m]

    Returns
    -------
    step : float
        Largest difference of diameter. [m]
    """
    steepest = 0.0
    for p in range(first, last):
        q = p + 1
        while q <= last and x[q] - x[p] <= length + SIDE:
            steepest = max(steepest, abs(finished[q] - finished[p]))
            q += 1
    return 2.0 * steepest
