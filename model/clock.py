"""Around the clock: how bending stiffness depends on direction, and where edges go.

A flag of n turns has whole turns and, unless n is whole, a last partial ply on the arc
from its cut edge onward. Plies rolled on later ride over that step. The grind of the
whole length follows the surface, so a step stays as high as it was; grinding the tip
to its diameter makes it round, as far as it goes deep enough. To first order in the
step, the bending stiffness in direction φ is

    EI(φ) = mean + Re(H exp(-2iφ)),  max - min = 2 |H|,  stiffest at φ = arg(H) / 2

with H the sum of the second harmonics of all partial plies less S² / (2 EA): their
first harmonics S move the neutral axis. A harmonic is the change of the wall's strain
energy where the step stands, times ∫ exp(2iα) / 2 or ∫ exp(iα) over its arc, α being
the angle round the shaft from clock position zero in the sense of rolling. The mean is
that of the smeared wall, less |S|² / (2 EA).

What stiffness enters: the strain energy of a ply at unit curvature, at the hoop strain
h of the whole wall, is Q11 r² + 2 Q12 h r + Q22 h² per volume, whatever its angle. A
hoop ply counts with the contraction that it holds back, a bias ply with what is left
of Q11 when the wall contracts round it. It is the derivative of EI to the thickness of
a ply at a hoop strain common to the wall; that of the section formula, whose hoop
strain grows along the radius, differs by up to 2.5 %. The shear coupling of
single-angle flags and of the lone pieces at the edges of a bias pair is left out, and
so are the gap or lap of a cut edge itself: whole turns are taken to be the same in
every direction.

A run-out passes through every part of a turn within a few millimetres of shaft, and
the end of an arc goes round twice a turn, its second harmonic on a circle of radius
pieces / 4 about the mean of the arc. That radius and that mean are summed too, for the
search of the worst spread between stations (``spread``).

Where it does not hold: under a thin outermost flag that the whole-length grind takes
away on one side only (the surface is then of two materials), and at a tip that is
ground round through several steps but not yet below them all, where steps that overlap
are ground before others and the spread is rather understated.
"""

import numpy as np
from numpy.typing import NDArray

from model.arcs import (
    arc_harmonics,
    partial_turn,
    ride_energy,
    step_energy,
    turns_at,
)
from model.compilation import compiled_lean
from model.laminate import Q11, Q12, Q22
from model.wall import SAME_STATION

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Rows of the sums around the clock.
N_AROUND = 14
(
    COS2,
    SIN2,
    COS1,
    SIN1,
    MEAN_COS2,
    MEAN_SIN2,
    MEAN_COS1,
    MEAN_SIN1,
    RADIUS,
    PULL,
    RIDE,
    TOP,
    LIMIT,
    SCRATCH,
) = range(N_AROUND)

#: Columns of what is kept of flags that run out.
N_RUNNING = 6
FULL, SHORT, EDGE_COS, EDGE_SIN, TIP_RATE, BUTT_RATE = range(N_RUNNING)
#: The tip is ground if it is ground deeper than this. [m]
_TIP_GROUND = 1e-9


@compiled_lean
def innermost_step(
    sheets: Array,
    pieces_column: int,
    sheet: IntArray,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
) -> int:
    """Innermost flag that has a partial ply anywhere.

    Parameters
    ----------
    sheets : ndarray, shape (n_sheet, n_column)
        Sheets of the batch. [-]
    pieces_column : int
        Column of 1, or 2 for a pair. [-]
    sheet : ndarray, shape (n_flag,)
        Sheet of each flag in rolling order; negative for no flag. [-]
    wraps : ndarray, shape (n_flag,)
        Turns between the run-outs; 0 for a piece with straight edges. [-]
    run_out_tip, run_out_butt : ndarray, shape (n_flag,)
        Lengths over which the turns rise from none. [m]

    Returns
    -------
    inner : int
        Its index; -1 if all turns are whole everywhere. [-]
    """
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        if wraps[k] <= 0.0 or run_out_tip[k] > 0.0 or run_out_butt[k] > 0.0:
            return k
        if partial_turn(wraps[k] * sheets[sheet[k], pieces_column])[1] > 0.0:
            return k
    return -1


@compiled_lean
def around_the_clock(
    sheets: Array,
    ply_column: int,
    pieces_column: int,
    sheet: IntArray,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    width_tip: Array,
    width_butt: Array,
    clock: Array,
    inner: int,
    only: int,
    x: Array,
    n_x: int,
    hoop: Array,
    build: Array,
    finished: Array,
    grind: float,
    r_in: Array,
    r_out: Array,
    first: IntArray,
    last: IntArray,
    running: Array,
    around: Array,
) -> None:
    """Sum the harmonics of all partial plies of one design.

    Parameters
    ----------
    sheets : ndarray, shape (n_sheet, n_column)
        Stiffness of each sheet in its first six columns, as for the ring sums. [Pa]
    ply_column, pieces_column : int
        Columns of the ply's thickness in m and of 1, or 2 for a pair. [-]
    sheet : ndarray, shape (n_flag,)
        Sheet of each flag in rolling order; negative for no flag. [-]
    wraps : ndarray, shape (n_flag,)
        Turns between the run-outs; 0 for a piece with straight edges. [-]
    run_out_tip, run_out_butt : ndarray, shape (n_flag,)
        Lengths over which the turns rise from none. [m]
    width_tip, width_butt : ndarray, shape (n_flag,)
        Widths of a piece with straight edges. [m]
    clock : ndarray, shape (n_flag,)
        Position of the cut edge; NaN for evenly spread in rolling order. [rad]
    inner : int
        Innermost flag with a partial ply; not -1. [-]
    only : int
        The one flag whose harmonics are summed, or -1 for all. [-]
    x : ndarray, shape (n_x_max,)
        Points. [m]
    n_x : int
        Number of points. [-]
    hoop : ndarray, shape (n_x_max,)
        Hoop strain of the wall under unit curvature. [m]
    build, finished : ndarray, shape (n_x_max,)
        Radius of the build before grinding, and after it. [m]
    grind : float
        Part of the depth ground off that follows the surface and leaves its steps;
        the rest makes the surface round. [m]
    r_in, r_out : ndarray, shape (n_flag, n_x_max)
        Radii of the flags' rings, clipped to the finished radius. [m]
    first, last : ndarray, shape (n_flag,)
        Range of points that each flag covers. [-]
    running : ndarray, shape (n_flag, 6)
        First point with full turns and the last one; cosine and sine of the cut edge;
        turns gained per length at the tip and at the butt; written. [-, -, 1/m]
    around : ndarray, shape (14, n_x_max)
        Sums around the clock, written; what is to be added for the means of the arcs
        that run out, and how far these may be from their means. [N·m²]
    """
    n_flags = len(sheet)
    n_there = 0
    for k in range(n_flags):
        n_there += 1 if sheet[k] >= 0 else 0
    for row in range(LIMIT):
        sums = around[row]
        for p in range(np.uint64(n_x)):
            sums[p] = 0.0
    top, ride, limit = around[TOP], around[RIDE], around[LIMIT]

    # a step stands in what is left once the tip is ground; the whole-length grind
    # leaves it standing on the surface even where it takes the smeared ply
    for p in range(np.uint64(n_x)):
        depth = build[p] - grind - finished[p]
        limit[p] = finished[p] + max(grind - depth, 0.0)
    tip_end = n_x
    while tip_end > 0:
        p = tip_end - 1
        if build[p] - grind - finished[p] > _TIP_GROUND:
            break
        tip_end = p

    # mean height of the tip's surface over its valley: that of one step, the root of
    # the sum of squares of several, which seldom stand on each other
    for k in range(inner, n_flags):
        if sheet[k] < 0:
            continue
        ply = sheets[sheet[k], ply_column]
        pieces = sheets[sheet[k], pieces_column]
        full, short = _constant_range(
            x, first[k], last[k], wraps[k], run_out_tip[k], run_out_butt[k]
        )
        inside = r_in[k]
        whole, part = partial_turn(wraps[k] * pieces)
        if part > 0.0:
            lift = whole * ply
            height = (part * ply) ** 2
            for p in range(full, min(short, tip_end)):
                top[p] += height if inside[p] + lift < limit[p] else 0.0
        for end in range(2):
            from_point = first[k] if end == 0 else short
            to_point = full if end == 0 else last[k] + 1
            for p in range(from_point, min(to_point, tip_end)):
                turns = turns_at(
                    x[p],
                    inside[p],
                    x[first[k]],
                    x[last[k]],
                    wraps[k],
                    run_out_tip[k],
                    run_out_butt[k],
                    width_tip[k],
                    width_butt[k],
                    ply * pieces,
                )
                whole, part = partial_turn(turns * pieces)
                if inside[p] + whole * ply < limit[p]:
                    top[p] += (part * ply) ** 2
    _round_off(
        sheets,
        sheet,
        tip_end,
        hoop,
        build,
        finished,
        grind,
        r_in,
        r_out,
        first,
        last,
        top,
    )

    # from the outside in, so that each step knows what rides over it
    before = n_there
    for k in range(n_flags - 1, inner - 1, -1):
        if sheet[k] < 0:
            continue
        before -= 1
        row = sheets[sheet[k]]
        ply, pieces = row[ply_column], row[pieces_column]
        q11, q12, q22 = row[Q11], row[Q12], row[Q22]
        full, short = _constant_range(
            x, first[k], last[k], wraps[k], run_out_tip[k], run_out_butt[k]
        )
        whole, part = partial_turn(wraps[k] * pieces)
        varies = full > first[k] or short <= last[k]
        running[k, FULL], running[k, SHORT] = first[k], last[k]
        if (part > 0.0 or varies) and (only < 0 or only == k):
            position = clock[k]
            if np.isnan(position):
                position = 2.0 * np.pi * before / n_there
            c, s = np.cos(position), np.sin(position)
            if wraps[k] > 0.0 and varies:
                running[k, FULL], running[k, SHORT] = full, short - 1
                running[k, EDGE_COS], running[k, EDGE_SIN] = c, s
                running[k, TIP_RATE] = wraps[k] / max(run_out_tip[k], SAME_STATION)
                running[k, BUTT_RATE] = wraps[k] / max(run_out_butt[k], SAME_STATION)
            if part > 0.0:
                _add_step(
                    q11,
                    q12,
                    q22,
                    ply,
                    whole * ply,
                    arc_harmonics(part, pieces, c, s),
                    hoop,
                    r_in[k],
                    full,
                    short,
                    around,
                )
            for end in range(2):
                from_point = first[k] if end == 0 else short
                to_point = full if end == 0 else last[k] + 1
                runs_out = wraps[k] > 0.0 and to_point > from_point
                # with the point at which the turns are full
                low = (
                    max(from_point - 1, first[k])
                    if runs_out and end == 1
                    else from_point
                )
                high = min(to_point, last[k]) if runs_out and end == 0 else to_point - 1
                for p in range(low, high + 1):
                    turns = turns_at(
                        x[p],
                        r_in[k, p],
                        x[first[k]],
                        x[last[k]],
                        wraps[k],
                        run_out_tip[k],
                        run_out_butt[k],
                        width_tip[k],
                        width_butt[k],
                        ply * pieces,
                    )
                    whole, part = partial_turn(turns * pieces)
                    over = ride[p] - top[p]
                    a = r_in[k, p] + whole * ply
                    cos2 = sin2 = cos1 = sin1 = energy = 0.0
                    if a < limit[p]:
                        energy = step_energy(q11, q12, q22, ply, a, hoop[p], over)
                    if part > 0.0:
                        cos2, sin2, cos1, sin1 = arc_harmonics(part, pieces, c, s)
                        cos2 *= energy
                        sin2 *= energy
                        cos1 *= energy
                        sin1 *= energy
                    if from_point <= p < to_point:
                        around[COS2, p] += cos2
                        around[SIN2, p] += sin2
                        around[COS1, p] += cos1
                        around[SIN1, p] += sin1
                    if not runs_out:
                        continue
                    radius = 0.25 * pieces * energy
                    around[MEAN_COS2, p] -= cos2 + radius * 2.0 * s * c
                    around[MEAN_SIN2, p] -= sin2 - radius * (c * c - s * s)
                    around[MEAN_COS1, p] -= cos1
                    around[MEAN_SIN1, p] -= sin1
                    around[RADIUS, p] += abs(radius)
                    if pieces == 1.0:
                        around[PULL, p] += 4.0 * np.sqrt(2.0) * abs(radius)
        if k > inner:
            a_k, b_k = r_in[k], r_out[k]
            for p in range(np.uint64(first[k]), np.uint64(last[k] + 1)):
                ride[p] += ride_energy(q11, q12, q22, a_k[p], b_k[p], hoop[p])


@compiled_lean
def _constant_range(
    x: Array,
    first: int,
    last: int,
    wraps: float,
    run_out_tip: float,
    run_out_butt: float,
) -> tuple[int, int]:
    """First point with full turns, and the one behind the last such point."""
    if wraps <= 0.0:
        return last + 1, last + 1
    full = first
    short = last + 1
    if run_out_tip > 0.0:
        reach = x[first] + run_out_tip - SAME_STATION
        while full <= last and x[full] < reach:
            full += 1
    if run_out_butt > 0.0:
        reach = x[last] - run_out_butt + SAME_STATION
        while short > full and x[short - 1] > reach:
            short -= 1
    return full, short


@compiled_lean
def _round_off(
    sheets: Array,
    sheet: IntArray,
    tip_end: int,
    hoop: Array,
    build: Array,
    finished: Array,
    grind: float,
    r_in: Array,
    r_out: Array,
    first: IntArray,
    last: IntArray,
    top: Array,
) -> None:
    """From the height of steps to the energy per step that rounding the tip takes."""
    for p in range(tip_end):
        valley = np.sqrt(top[p])
        depth = max(build[p] - grind - finished[p], 0.0)
        taken = depth / valley if depth < valley else 1.0
        k = len(sheet) - 1
        while k > 0 and (
            sheet[k] < 0 or p < first[k] or p > last[k] or r_out[k, p] <= r_in[k, p]
        ):
            k -= 1
        row = sheets[sheet[k]]
        r, h = finished[p], hoop[p]
        energy = r * (r * (row[Q11] * r + 2.0 * row[Q12] * h) + row[Q22] * h * h)
        top[p] = taken * energy if depth > _TIP_GROUND else 0.0


@compiled_lean
def _add_step(
    q11: float,
    q12: float,
    q22: float,
    ply: float,
    lift: float,
    arc: tuple[float, float, float, float],
    hoop: Array,
    r_in: Array,
    full: int,
    short: int,
    around: Array,
) -> None:
    """Add a partial ply that covers the same arc at all its points."""
    cos2, sin2, cos1, sin1 = arc
    ride, top, limit = around[RIDE], around[TOP], around[LIMIT]
    scratch = around[SCRATCH]
    # few arrays in a loop, which the compiler turns into vector instructions
    first, last = np.uint64(full), np.uint64(short)
    for p in range(first, last):
        a = r_in[p] + lift
        energy = step_energy(q11, q12, q22, ply, a, hoop[p], ride[p] - top[p])
        scratch[p] = energy if a < limit[p] else 0.0
    s_cos, s_sin = around[COS2], around[SIN2]
    for p in range(first, last):
        s_cos[p] += cos2 * scratch[p]
        s_sin[p] += sin2 * scratch[p]
    if cos1 != 0.0 or sin1 != 0.0:
        s_cos, s_sin = around[COS1], around[SIN1]
        for p in range(first, last):
            s_cos[p] += cos1 * scratch[p]
            s_sin[p] += sin1 * scratch[p]
