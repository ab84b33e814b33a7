"""Derivatives of what a shaft measures to the ends of its flags."""

import numpy as np
from numpy.typing import NDArray

from model.beam import overhang_arm
from model.compilation import compiled_lean
from model.conditions import PIECES, PLY, PRICE, Numbers
from model.scratch import Work, point_at, torque_clamp
from model.wall import SAME_STATION

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: What the derivatives to the flags' ends are taken of. ``omega2`` is the square of the
#: circular frequency, ``moment`` the first moment of mass about the tip.
GRADIENTS = (
    "weight",
    "moment",
    "ln_omega2",
    "torque",
    "tip_deflection",
    "butt_deflection",
    "material_cost",
)


@compiled_lean
def flag_end_gradient(
    numbers: Numbers,
    work: Work,
    n_x: int,
    length: float,
    sheet: IntArray,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    full: bool,
    omega2: float,
    mode_mass: float,
    out: Array,
) -> None:
    """Derivatives to flag ends: where an end moves, one section replaces another.

    Parameters
    ----------
    numbers : Numbers
        What the designs share. [SI]
    work : Work
        Scratch of the evaluation just done. [SI]
    n_x : int
        Number of points. [-]
    length : float
        Of the shaft. [m]
    sheet, wraps, run_out_tip, run_out_butt : ndarray, shape (n_flag,)
        As in Layups. [-, -, m, m]
    full : bool
        Whether the bench tests were run. [-]
    omega2, mode_mass : float
        Square of the circular frequency, and mass of the mode, 1 at the tip.
        [1/s², kg]
    out : ndarray, shape (n_flag, 2, n_gradient)
        Derivatives of GRADIENTS to start and end of each flag, written. [SI]
    """
    bench = numbers.bench
    cutting = numbers.cutting
    x, m, EI, GJ = work.x, work.m, work.EI, work.GJ
    clamp = length - bench.frequency_clamp
    for k in range(len(sheet)):
        out[k, :, :] = 0.0
        if sheet[k] < 0:
            continue
        for side in range(2):
            if side == 0:
                tip_point = work.first[k] - 1
                butt_point = work.first[k]
                if run_out_tip[k] > 0.0:
                    butt_point = point_at(x, n_x, x[butt_point] + run_out_tip[k], False)
            else:
                tip_point = work.last[k]
                butt_point = work.last[k] + 1
                if run_out_butt[k] > 0.0:
                    tip_point = point_at(x, n_x, x[tip_point] - run_out_butt[k], True)
            if tip_point < 0 or butt_point >= n_x:
                continue
            if x[tip_point] <= 0.0 or x[butt_point] >= length:
                continue
            grow = -1.0 if side == 0 else 1.0
            station = 0.5 * (x[tip_point] + x[butt_point])
            row = out[k, side]
            heavier = m[tip_point] - m[butt_point]
            row[0] = heavier
            row[1] = heavier * station
            for j in range(len(sheet)):
                if sheet[j] < 0:
                    continue
                ply = numbers.sheets[sheet[j]]
                turn = ply[PLY] * ply[PIECES] * wraps[j]
                width = 0.0
                if work.first[j] <= tip_point <= work.last[j]:
                    width += 2.0 * work.r_in[j, tip_point] + turn
                if work.first[j] <= butt_point <= work.last[j]:
                    width -= 2.0 * work.r_in[j, butt_point] + turn
                wider = width * wraps[j] * np.pi
                if j == k:
                    wider += grow * cutting.gap
                share = work.gross[j] / work.net[j]
                row[6] += ply[PRICE] * share * ply[PIECES] * wider
            if not full:
                continue
            softer = 1.0 / EI[tip_point] - 1.0 / EI[butt_point]
            if x[butt_point] <= clamp + SAME_STATION and mode_mass > 0.0:
                # at the clamp the mode ends with the copy on the tip side
                far = butt_point if x[butt_point] < clamp - SAME_STATION else tip_point
                y2 = 0.5 * (work.y[tip_point] ** 2 + work.y[far] ** 2)
                bend = 0.5 * (work.moment[tip_point] ** 2 + work.moment[far] ** 2)
                row[2] = -(
                    bend * softer * omega2 / mode_mass + heavier * y2 / mode_mass
                )
            if bench.torque_grip <= station <= torque_clamp(bench, length):
                row[3] = bench.torque_moment * (
                    1.0 / GJ[tip_point] - 1.0 / GJ[butt_point]
                )
            arm = overhang_arm(
                station, bench.tip_load_at, bench.tip_support, bench.tip_hold
            )
            row[4] = bench.tip_load * arm * arm * softer
            arm = overhang_arm(
                station,
                length - bench.butt_load_at,
                length - bench.butt_support,
                length - bench.butt_hold,
            )
            row[5] = bench.butt_load * arm * arm * softer
