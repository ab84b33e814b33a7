"""What the wall of a shaft bears, and how it depends on direction."""

import numpy as np
from numpy.typing import NDArray

from model import metrics as col
from model.clock import around_the_clock, innermost_step
from model.compilation import compiled_stage
from model.conditions import C2, CS, PIECES, PLY, S2, STRAIN, Layups, Numbers
from model.failure import SHEARED
from model.laminate import Q22
from model.residual import add_cooling, free_strains
from model.scratch import Work
from model.shell import add_hoop, close_hoop, crush_ply_use, crush_use, flattening_use
from model.spread import worst_spread
from model.strength import (
    bending_field,
    envelope_margin,
    fibre_use,
    ply_use,
    shear_use,
    torsion_field,
    torsion_test,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled_stage
def strain_plies(
    numbers: Numbers,
    length: float,
    sheet: IntArray,
    work: Work,
    given: Array,
    metrics: Array,
) -> None:
    """Strain every ply: bent, twisted, flattened, crushed.

    Parameters
    ----------
    numbers : Numbers
        What the designs share. [SI]
    length : float
        Of the shaft. [m]
    sheet : ndarray, shape (n_flag,)
        Sheet of each flag; -1 for none. [-]
    work : Work
        Scratch with the sections; what each point bears is written. [SI]
    given : ndarray, shape (3, n_x) or (0, 0)
        Its last row is the inverse of the curvature borne, where it is known. [m]
    metrics : ndarray, shape (n_metric,)
        Margins and loads, written. [SI]
    """
    bench, wants = numbers.bench, numbers.wants
    n_x, tip, butt = work.counts[0], work.counts[1], work.counts[2]
    n_all = n_x + work.counts[4]
    quadratic = bench.strength_criterion > 0.0
    is_plain = not quadratic and bench.temperature_drop == 0.0
    twists = wants[col.TORSION_STRENGTH] or wants[col.TORSION_PRODUCT]
    flattens = wants[col.FLATTENING]
    crushes = wants[col.CRUSH_LOAD]
    bending_field(work.hoop_axis, work.hoop_slope, work.shear, n_all, work.bending)
    work.use[:n_all] = 0.0
    if twists:
        torsion_field(work.sums, work.GJ, n_all, work.counts[3] > 0, work.torsion)
        work.torsion_use[:n_all] = 0.0
        work.slack[:n_all] = np.inf
    if flattens or crushes:
        work.shell[:3, :n_all] = 0.0
        for k in range(len(sheet)):
            if sheet[k] < 0:
                continue
            q22 = numbers.sheets[sheet[k], Q22]
            for part in range(2 if work.more[k] < n_all else 1):
                first = work.first[k] if part == 0 else work.more[k]
                last = work.reach[k] if part == 0 else n_all - 1
                add_hoop(q22, work.r_in[k], work.r_out[k], first, last, work.shell)
        close_hoop(n_all, bench.crush_width, work.shell)
        work.crush_use[:n_all] = 0.0
    if not is_plain:
        work.free[:, :n_all] = 0.0
    if bench.temperature_drop > 0.0:
        work.cooling[:, :n_all] = 0.0
        for k in range(len(sheet)):
            if sheet[k] < 0:
                continue
            stress = numbers.cooling[sheet[k]]
            r_in, r_out = work.r_in[k], work.r_out[k]
            for part in range(2 if work.more[k] < n_all else 1):
                first = work.first[k] if part == 0 else work.more[k]
                last = work.reach[k] if part == 0 else n_all - 1
                add_cooling(stress, r_in, r_out, first, last, work.cooling)
        free_strains(work.sums, work.cooling, n_all, work.free)
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        ply = numbers.sheets[sheet[k]]
        limits = numbers.limits[sheet[k]]
        c2, s2, cs, is_pair = ply[C2], ply[S2], ply[CS], ply[PIECES] > 1.0
        r_in, r_out = work.r_in[k], work.r_out[k]
        for part in range(2 if work.more[k] < n_all else 1):
            first = max(work.first[k], tip) if part == 0 else work.more[k]
            last = work.reach[k] if part == 0 else n_all - 1
            if is_plain:
                weakest = ply[STRAIN]
                fibre_use(
                    c2,
                    s2,
                    cs,
                    is_pair,
                    weakest,
                    work.bending,
                    r_in,
                    r_out,
                    first,
                    last,
                    work.use,
                )
                if twists:
                    fibre_use(
                        c2,
                        s2,
                        cs,
                        is_pair,
                        weakest,
                        work.torsion,
                        r_in,
                        r_out,
                        first,
                        last,
                        work.torsion_use,
                    )
                if crushes:
                    crush_use(
                        limits,
                        c2,
                        s2,
                        cs,
                        work.shell,
                        r_in,
                        r_out,
                        first,
                        last,
                        work.crush_use,
                    )
            else:
                ply_use(
                    limits,
                    c2,
                    s2,
                    cs,
                    is_pair,
                    quadratic,
                    work.bending,
                    work.free,
                    r_in,
                    r_out,
                    first,
                    last,
                    work.use,
                )
                if twists:
                    ply_use(
                        limits,
                        c2,
                        s2,
                        cs,
                        is_pair,
                        quadratic,
                        work.torsion,
                        work.free,
                        r_in,
                        r_out,
                        first,
                        last,
                        work.torsion_use,
                    )
                if crushes:
                    crush_ply_use(
                        limits,
                        c2,
                        s2,
                        cs,
                        is_pair,
                        quadratic,
                        work.shell,
                        work.free,
                        r_in,
                        r_out,
                        first,
                        last,
                        work.crush_use,
                    )
            if twists and not quadratic:
                shear_use(
                    c2,
                    s2,
                    cs,
                    is_pair,
                    limits[SHEARED],
                    work.torsion,
                    work.finished,
                    r_in,
                    r_out,
                    first,
                    last,
                    work.slack,
                )
    if given.size > 0 and is_plain:
        for p in range(n_all):
            work.use[p] = given[2, p]

    # an envelope that is not full anywhere on the shaft tests nothing
    is_full = bench.strength_from <= length - bench.strength_to
    rise_from, rise_to = bench.strength_tip_support, bench.strength_from
    fall_from = length - bench.strength_to
    fall_to = length - bench.strength_butt_support
    moment = bench.strength_moment
    metrics[col.DURABILITY] = np.nan
    if is_full:
        metrics[col.DURABILITY] = envelope_margin(
            work.x,
            work.EI,
            work.use,
            tip,
            butt,
            moment,
            rise_from,
            rise_to,
            fall_from,
            fall_to,
            n_x,
            n_all,
        )
    metrics[col.FLATTENING] = np.nan
    if is_full and flattens:
        flattening_use(work.EI, work.shell, n_all, work.flat_use)
        metrics[col.FLATTENING] = envelope_margin(
            work.x,
            work.EI,
            work.flat_use,
            tip,
            butt,
            moment,
            rise_from,
            rise_to,
            fall_from,
            fall_to,
            n_x,
            n_all,
        )
    metrics[col.IMPACT] = np.nan
    if bench.impact_moment > 0.0 and bench.impact_to <= length:
        peak = bench.impact_at
        metrics[col.IMPACT] = envelope_margin(
            work.x,
            work.EI,
            work.use,
            tip,
            butt,
            bench.impact_moment,
            0.0,
            peak,
            peak,
            bench.impact_to,
            n_x,
            n_all,
        )
    metrics[col.TORSION_STRENGTH] = np.nan
    metrics[col.TORSION_PRODUCT] = np.nan
    grip = bench.torsion_grip
    if twists and 2.0 * grip < length:
        if not quadratic:
            # fibres gate, or resin once it has sheared in every ply
            for p in range(tip, n_all):
                work.torsion_use[p] = max(work.torsion_use[p], work.slack[p])
        torque, product = torsion_test(
            work.x,
            work.GJ,
            work.torsion_use,
            n_x,
            grip,
            length - grip,
            n_all - n_x,
        )
        metrics[col.TORSION_STRENGTH] = torque
        metrics[col.TORSION_PRODUCT] = product
    metrics[col.CRUSH_LOAD] = np.nan
    if crushes:
        most = 0.0
        for p in range(tip, butt + 1):
            most = max(most, work.crush_use[p])
        for p in range(n_x, n_all):
            most = max(most, work.crush_use[p])
        metrics[col.CRUSH_LOAD] = 1.0 / most


@compiled_stage
def look_around(
    numbers: Numbers, layups: Layups, i: int, work: Work, metrics: Array
) -> None:
    """Say how much bending stiffness depends on direction.

    Parameters
    ----------
    numbers : Numbers
        What the designs share. [SI]
    layups : Layups
        The designs. [SI]
    i : int
        Which of them. [-]
    work : Work
        Scratch with the sections; sums around the clock are written. [SI]
    metrics : ndarray, shape (n_metric,)
        The spread, written. [-]
    """
    metrics[col.DIRECTION_SPREAD] = np.nan
    if not numbers.wants[col.DIRECTION_SPREAD]:
        return
    sheet, wraps = layups.sheet[i], layups.wraps[i]
    run_tip, run_butt = layups.run_out_tip[i], layups.run_out_butt[i]
    inner = innermost_step(numbers.sheets, PIECES, sheet, wraps, run_tip, run_butt)
    metrics[col.DIRECTION_SPREAD] = 0.0
    if inner < 0:
        return
    n_x = work.counts[0]
    around_the_clock(
        numbers.sheets,
        PLY,
        PIECES,
        sheet,
        wraps,
        run_tip,
        run_butt,
        layups.width_tip[i],
        layups.width_butt[i],
        layups.clock[i],
        inner,
        -1,
        work.x,
        n_x,
        work.hoop,
        work.build,
        work.finished,
        numbers.finish.grind,
        work.r_in,
        work.r_out,
        work.first,
        work.last,
        work.running,
        work.around,
    )
    metrics[col.DIRECTION_SPREAD], _ = worst_spread(
        numbers.sheets,
        PLY,
        PIECES,
        sheet,
        wraps,
        run_tip,
        run_butt,
        inner,
        work.x,
        work.hoop,
        work.EI,
        work.mandrel,
        work.finished,
        work.r_in,
        work.r_out,
        work.first,
        work.last,
        work.counts[1],
        work.counts[2],
        work.running,
        work.around,
        work.fine,
    )
