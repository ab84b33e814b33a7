"""The largest difference of bending stiffness between directions, along one design.

Between two stations the spread is looked at 16 times a turn of a flag that runs out;
the other flags' harmonics are linear there. A cell that cannot be the worst, as the
most its run-outs can add to the rest shows, is passed over.
"""

import numpy as np
from numpy.typing import NDArray

from model.arcs import WHOLE, arc_harmonics, ride_energy, step_energy, turns_at
from model.clock import (
    BUTT_RATE,
    COS1,
    COS2,
    EDGE_COS,
    EDGE_SIN,
    FULL,
    LIMIT,
    MEAN_COS1,
    MEAN_COS2,
    MEAN_SIN1,
    MEAN_SIN2,
    PULL,
    RADIUS,
    SCRATCH,
    SHORT,
    SIN1,
    SIN2,
    TIP_RATE,
    TOP,
)
from model.compilation import compiled_lean
from model.laminate import Q11, Q12, Q22

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Looks a turn within a cell in which a flag runs out, and the most in a cell.
_LOOKS = 16.0
_MOST_LOOKS = 64
#: What the most spread of a cell is multiplied by before it is passed over.
_SAFE = 1.05


def fine_scratch() -> Array:
    """Make scratch for the stations within a cell.

    Returns
    -------
    fine : ndarray, shape (5, 65)
        Zeros. [-]
    """
    return np.zeros((5, _MOST_LOOKS + 1))


@compiled_lean
def worst_spread(
    sheets: Array,
    ply_column: int,
    pieces_column: int,
    sheet: IntArray,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    inner: int,
    x: Array,
    hoop: Array,
    EI: Array,
    mandrel: Array,
    finished: Array,
    r_in: Array,
    r_out: Array,
    begin: IntArray,
    end: IntArray,
    first: int,
    last: int,
    running: Array,
    around: Array,
    fine: Array,
) -> tuple[float, float]:
    """Largest difference of bending stiffness between directions, of its mean.

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
    inner : int
        Innermost flag with a partial ply; not -1. [-]
    x, hoop, EI : ndarray, shape (n_x_max,)
        Points, hoop strain under unit curvature, bending stiffness of the smeared
        wall. [m, m, N·m²]
    mandrel, finished : ndarray, shape (n_x_max,)
        Radius of the bore and of the finished shaft. [m]
    r_in, r_out : ndarray, shape (n_flag, n_x_max)
        Radii of the flags' rings, clipped to the finished radius. [m]
    begin, end : ndarray, shape (n_flag,)
        Range of points that each flag covers. [-]
    first, last : int
        Range of points. [-]
    running : ndarray, shape (n_flag, 6)
        Where flags run out, of ``around_the_clock``. [-]
    around : ndarray, shape (14, n_x_max)
        Sums around the clock. [N·m²]
    fine : ndarray, shape (5, 65)
        Scratch for the stations within a cell, as of ``fine_scratch``. [N·m²]

    Returns
    -------
    spread : float
        Largest (max - min) / mean. [-]
    station : float
        Where that is. [m]

    Notes
    -----
    Two things are taken as in a wall of even modulus, since they enter the small term
    of the neutral axis only: EA = 4 EI / (r_out² + r_in²), and S as the first harmonic
    of the energy over the outer radius.
    """
    c2, s2, c1, s1 = around[COS2], around[SIN2], around[COS1], around[SIN1]
    square = around[SCRATCH]
    for p in range(np.uint64(first), np.uint64(last + 1)):
        ratio = mandrel[p] / finished[p]
        square[p] = _squared_spread(c2[p], s2[p], c1[p], s1[p], EI[p], ratio)
    worst, station = square[first], x[first]
    for p in range(first + 1, last + 1):
        if square[p] > worst:
            worst, station = square[p], x[p]

    # the most that a cell may have; the highest is looked at first
    most = around[SCRATCH]
    highest = first
    for p in range(first, last + 1):
        most[p] = _most(p, EI, mandrel, finished, around)
        highest = p if most[p] > most[highest] else highest
    start = max(highest - 1, first)
    for i in range(last - first + 2):
        p = start + i if i < 2 else first + i - 2
        if p >= last or max(most[p], most[p + 1]) <= worst or x[p + 1] <= x[p]:
            continue
        if i >= 2 and (p == start or p == start + 1):
            continue
        rate = 0.0
        for k in range(inner, len(sheet)):
            if sheet[k] >= 0 and begin[k] <= p < end[k]:
                if p < running[k, FULL]:
                    rate = max(rate, running[k, TIP_RATE])
                if p >= running[k, SHORT]:
                    rate = max(rate, running[k, BUTT_RATE])
        n = int(np.ceil(_LOOKS * rate * (x[p + 1] - x[p]) - 1e-6))
        n = min(n, fine.shape[1] - 1)
        if n < 2:
            continue
        _fill_fine(
            p,
            n,
            sheets,
            ply_column,
            pieces_column,
            sheet,
            wraps,
            run_out_tip,
            run_out_butt,
            inner,
            x,
            hoop,
            r_in,
            r_out,
            begin,
            end,
            running,
            around,
            fine,
        )
        q = p + 1
        step = 1.0 / n
        c2_p, c2_q = c2[p] - fine[0, 0], c2[q] - fine[0, n]
        s2_p, s2_q = s2[p] - fine[1, 0], s2[q] - fine[1, n]
        c1_p, c1_q = c1[p] - fine[2, 0], c1[q] - fine[2, n]
        s1_p, s1_q = s1[p] - fine[3, 0], s1[q] - fine[3, n]
        bore_p, bore_q, out_p, out_q = mandrel[p], mandrel[q], finished[p], finished[q]
        EI_p, EI_q = EI[p], EI[q]
        f_c2, f_s2, f_c1, f_s1 = fine[0], fine[1], fine[2], fine[3]
        f = fine[4]
        for j in range(np.uint64(0), np.uint64(n + 1)):
            b = np.float64(j) * step
            a = 1.0 - b
            ratio = (a * bore_p + b * bore_q) / (a * out_p + b * out_q)
            f[j] = _squared_spread(
                a * c2_p + b * c2_q + f_c2[j],
                a * s2_p + b * s2_q + f_s2[j],
                a * c1_p + b * c1_q + f_c1[j],
                a * s1_p + b * s1_q + f_s1[j],
                a * EI_p + b * EI_q,
                ratio,
            )
        for j in range(1, n):
            if f[j] > worst:
                worst, station = f[j], x[p] + j * step * (x[q] - x[p])
    return float(2.0 * np.sqrt(worst)), float(station)


@compiled_lean
def _squared_spread(
    c2: float, s2: float, c: float, s: float, EI: float, ratio: float
) -> float:
    """Square of half the spread of a section, from its harmonics."""
    soft = (1.0 + ratio * ratio) * 0.125
    # all times EI, so that one division is enough
    along = EI * c2 - (c * c - s * s) * soft
    across = EI * s2 - 2.0 * c * s * soft
    mean = EI * EI - (c * c + s * s) * soft
    return (along * along + across * across) / (mean * mean)


@compiled_lean
def _most(p: int, EI: Array, mandrel: Array, finished: Array, around: Array) -> float:
    """Square of half the most spread near a point where flags run out; 0 elsewhere."""
    radius, pull = around[RADIUS, p], around[PULL, p]
    if radius == 0.0:
        return 0.0
    ratio = mandrel[p] / finished[p]
    soft = (1.0 + ratio * ratio) * 0.125
    c, s = (
        around[COS1, p] + around[MEAN_COS1, p],
        around[SIN1, p] + around[MEAN_SIN1, p],
    )
    along = EI[p] * (around[COS2, p] + around[MEAN_COS2, p]) - (c * c - s * s) * soft
    across = EI[p] * (around[SIN2, p] + around[MEAN_SIN2, p]) - 2.0 * c * s * soft
    first = c * c + s * s
    more = pull * (2.0 * np.sqrt(first) + pull) * soft
    size = np.sqrt(along * along + across * across) + EI[p] * radius + more
    half = _SAFE * size / (EI[p] * EI[p] - (first + more) * soft)
    return float(half * half)


@compiled_lean
def _fill_fine(
    p: int,
    n: int,
    sheets: Array,
    ply_column: int,
    pieces_column: int,
    sheet: IntArray,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    inner: int,
    x: Array,
    hoop: Array,
    r_in: Array,
    r_out: Array,
    begin: IntArray,
    end: IntArray,
    running: Array,
    around: Array,
    fine: Array,
) -> None:
    """Sum the harmonics of flags that run out, within the cell behind a point."""
    fine[:4, : n + 1] = 0.0
    f_c2, f_s2, f_c1, f_s1 = fine[0], fine[1], fine[2], fine[3]
    q = p + 1
    limit_p, limit_q = around[LIMIT, p], around[LIMIT, q]
    h_p, h_q = hoop[p], hoop[q]
    over_p, over_q = -around[TOP, p], -around[TOP, q]
    for k in range(len(sheet) - 1, inner - 1, -1):
        if sheet[k] < 0:
            continue
        row_k = sheets[sheet[k]]
        q11, q12, q22 = row_k[Q11], row_k[Q12], row_k[Q22]
        covers = begin[k] <= p < end[k]
        if covers and (p < running[k, FULL] or p >= running[k, SHORT]):
            ply, pieces = row_k[ply_column], row_k[pieces_column]
            c, s = running[k, EDGE_COS], running[k, EDGE_SIN]
            low, high, turns = x[begin[k]], x[end[k]], wraps[k]
            tip, butt = run_out_tip[k], run_out_butt[k]
            near = turns_at(x[p], 0.0, low, high, turns, tip, butt, 0.0, 0.0, 0.0)
            far = turns_at(x[q], 0.0, low, high, turns, tip, butt, 0.0, 0.0, 0.0)
            r_p, r_q = r_in[k, p], r_in[k, q]
            step = 1.0 / n
            for j in range(np.uint64(0), np.uint64(n + 1)):
                b = np.float64(j) * step
                layers = (near + b * (far - near)) * pieces
                whole = np.floor(layers + WHOLE)
                part = layers - whole
                a = r_p + b * (r_q - r_p) + whole * ply
                is_there = part > WHOLE and a < limit_p + b * (limit_q - limit_p)
                cos2, sin2, cos1, sin1 = arc_harmonics(part, pieces, c, s)
                energy = step_energy(
                    q11,
                    q12,
                    q22,
                    ply,
                    a,
                    h_p + b * (h_q - h_p),
                    over_p + b * (over_q - over_p),
                )
                energy = energy if is_there else 0.0
                f_c2[j] += cos2 * energy
                f_s2[j] += sin2 * energy
                f_c1[j] += cos1 * energy
                f_s1[j] += sin1 * energy
        if covers:
            over_p += ride_energy(q11, q12, q22, r_in[k, p], r_out[k, p], h_p)
            over_q += ride_energy(q11, q12, q22, r_in[k, q], r_out[k, q], h_q)
