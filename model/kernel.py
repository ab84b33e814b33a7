"""One shaft through the compiled evaluation: wall, section, strength, bench."""

import numpy as np
from numpy.typing import NDArray

from model import metrics as col
from model.beam import (
    cantilever_deflection,
    first_mode,
    integral,
    overhang_deflection,
    product_integral,
    twist,
)
from model.bearing import look_around, strain_plies
from model.compilation import compiled_stage
from model.conditions import (
    ANGLE,
    C2,
    DENSITY,
    MATERIAL,
    PIECES,
    PLY,
    PRICE,
    ROLL,
    S2,
    Layups,
    Numbers,
)
from model.cost import lay_together, roll_alone
from model.laminate import Q16, Q26, add_ring, close_section
from model.scratch import Work, lay_points, point_at, stiffness_at, torque_clamp
from model.wall import (
    SAME_STATION,
    THINNEST,
    find_brinks,
    finished_radius,
    least_wall,
    mandrel_radius,
    roll_flag,
    roll_straight_edged,
    steepest_step,
    whole_widths,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled_stage
def evaluate_one(
    numbers: Numbers,
    layups: Layups,
    i: int,
    work: Work,
    given: Array,
    metrics: Array,
    EI_points: Array,
    shop: Array,
) -> None:
    """Evaluate one design of a batch.

    Parameters
    ----------
    numbers : Numbers
        What the designs share. [SI]
    layups : Layups
        The designs. [SI]
    i : int
        Which of them. [-]
    work : Work
        Scratch; holds the profile afterwards. [SI]
    given : ndarray, shape (3, n_x) or (0, 0)
        EI, GJ and inverse of the curvature borne at the points, instead of those of
        the ring sums. [N·m², N·m², m]
    metrics, EI_points, shop : ndarray
        Row of each in the batch's report, written. [SI]
    """
    length = layups.length[i]
    sheet = layups.sheet[i]
    # flags that reach an end of the shaft are cut longer by the trim
    for k in range(len(sheet)):
        work.start[k] = layups.start[i, k]
        if work.start[k] <= 0.0:
            work.start[k] = -numbers.trim_tip
        work.end[k] = layups.end[i, k]
        if work.end[k] >= length - SAME_STATION:
            work.end[k] = length + numbers.trim_butt
    lay_points(numbers, layups, i, work)
    _roll(numbers, layups, i, work, metrics, shop)
    _grind(numbers, sheet, work, shop)
    _weigh(numbers, length, work, metrics, shop)
    _stiffen(numbers, sheet, work)
    if given.size > 0:
        for p in range(work.counts[0] + work.counts[4]):
            work.EI[p] = given[0, p]
            work.GJ[p] = given[1, p]
    strain_plies(numbers, length, sheet, work, given, metrics)
    look_around(numbers, layups, i, work, metrics)
    _test(numbers, length, work, metrics)
    for j in range(len(numbers.ei_stations)):
        EI_points[j] = stiffness_at(
            work.x, work.EI, work.counts[0], numbers.ei_stations[j]
        )


@compiled_stage
def _roll(
    numbers: Numbers, layups: Layups, i: int, work: Work, metrics: Array, shop: Array
) -> None:
    """Roll all flags; note what they take of the rolls."""
    n_x = work.counts[0]
    x, look = work.x, work.look
    cutting = numbers.cutting
    mandrel = layups.mandrel[i]
    mandrel_radius(
        x,
        n_x,
        numbers.distance[mandrel],
        numbers.radius[mandrel],
        numbers.breaks[mandrel],
        layups.mandrel_set[i],
        work.mandrel,
    )
    for p in range(np.uint64(n_x)):
        work.build[p] = work.mandrel[p]
    costs = numbers.costs
    cost = costs.labour_per_shaft + costs.consumables_per_shaft
    overhang = 0.0
    for k in range(layups.sheet.shape[1]):
        if layups.sheet[i, k] < 0:
            continue
        ply = numbers.sheets[layups.sheet[i, k]]
        start, end = work.start[k], work.end[k]
        first = 0
        while look[first] <= start:
            first += 1
        last = n_x - 1
        while look[last] >= end:
            last -= 1
        work.first[k] = first
        work.last[k] = last
        if layups.wraps[i, k] > 0.0:
            net = roll_flag(
                x,
                first,
                last,
                start,
                end,
                layups.wraps[i, k],
                layups.run_out_tip[i, k],
                layups.run_out_butt[i, k],
                ply[PLY],
                ply[PIECES],
                work.build,
                work.r_in[k],
                work.r_out[k],
            )
        else:
            net = roll_straight_edged(
                x,
                first,
                last,
                layups.width_tip[i, k],
                layups.width_butt[i, k],
                ply[PLY],
                ply[PIECES],
                work.build,
                work.r_in[k],
                work.r_out[k],
            )
        run_out_tip, run_out_butt = layups.run_out_tip[i, k], layups.run_out_butt[i, k]
        work.widths[k, 0], work.widths[k, 1] = whole_widths(
            x,
            first,
            last,
            start + run_out_tip,
            end - run_out_butt,
            ply[PLY] * ply[PIECES],
            work.r_in[k],
            work.r_out[k],
        )
        work.gross[k], work.row_end[k], over, work.splices[k] = roll_alone(
            net,
            end - start,
            ply[PIECES],
            ply[ANGLE],
            work.widths[k, 0],
            work.widths[k, 1],
            run_out_tip > 0.0 or run_out_butt > 0.0,
            ply[ROLL],
            cutting.gap,
            cutting.roll_edge,
            cutting.splice_from,
            cutting.batch,
        )
        for p in (first, last):
            if work.r_out[k, p] <= work.r_in[k, p]:
                # it begins at nothing
                work.r_in[k, p] *= THINNEST
        work.net[k] = net
        overhang = max(overhang, over)
    sheet = layups.sheet[i]
    lay_together(
        numbers.sheets,
        (MATERIAL, PIECES, ANGLE, ROLL),
        sheet,
        work.start,
        work.end,
        layups.run_out_tip[i],
        layups.run_out_butt[i],
        work.widths,
        work.net,
        cutting,
        work.gross,
        work.row_end,
        work.roll_room,
    )
    for k in range(len(sheet)):
        if sheet[k] >= 0:
            cost += work.gross[k] * numbers.sheets[sheet[k], PRICE]
            cost += costs.labour_per_flag
    metrics[col.MATERIAL_COST] = cost / (1.0 - costs.scrap)
    shop[col.ROLL_OVERHANG] = overhang


@compiled_stage
def _grind(numbers: Numbers, sheet: IntArray, work: Work, shop: Array) -> None:
    """Grind, clip the rings to what is left and add up their mass."""
    n_x, tip, butt = work.counts[0], work.counts[1], work.counts[2]
    finish = numbers.finish
    finished = work.finished
    shortage, depth = finished_radius(
        work.x,
        work.look,
        n_x,
        work.build,
        finish.grind,
        finish.tip_diameter,
        finish.tip_parallel,
        finish.tip_blend,
        finish.tip_taper,
        finished,
    )
    bias_ground = 0.0
    _find_brinks(sheet, work)
    work.m[:n_x] = 0.0
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        ply = numbers.sheets[sheet[k]]
        r_in, r_out = work.r_in[k], work.r_out[k]
        first, last = work.first[k], work.last[k]
        is_bias = ply[S2] > 0.0 and ply[C2] > 1e-12
        if is_bias:
            for p in range(max(first, tip), min(last, butt) + 1):
                cut = min(r_out[p] - finished[p], r_out[p] - r_in[p])
                bias_ground = max(bias_ground, cut)
        # unsigned, these loops run several points at a time
        a, b = np.uint64(first), np.uint64(last + 1)
        for p in range(a, b):
            r_out[p] = min(r_out[p], finished[p])
            r_in[p] = min(r_in[p], finished[p])
        area = ply[DENSITY] * np.pi
        for p in range(a, b):
            work.m[p] += area * (r_out[p] * r_out[p] - r_in[p] * r_in[p])
    if finish.coating > 0.0:
        bare = -np.inf if np.isnan(finish.tip_diameter) else finish.tip_parallel
        for p in range(n_x):
            if work.look[p] > bare:
                work.m[p] += finish.coating * 2.0 * np.pi * finished[p]
    shop[col.TIP_SHORTAGE] = shortage
    shop[col.TIP_GRIND_DEPTH] = depth
    shop[col.BIAS_GROUND] = bias_ground


@compiled_stage
def _find_brinks(sheet: IntArray, work: Work) -> None:
    """Put stations behind the points: where flags come to nothing between points.

    Only what the wall bears is looked at there.
    """
    n_x, tip, butt = work.counts[0], work.counts[1], work.counts[2]
    x, finished = work.x, work.finished
    n = 0
    for k in range(len(sheet) - 1, -1, -1):
        if sheet[k] < 0:
            continue
        r_in, r_out = work.r_in[k], work.r_out[k]
        first, last = work.first[k], work.last[k]
        gone = 0.0
        for p in range(np.uint64(first), np.uint64(last + 1)):
            gone += 1.0 if finished[p] <= r_in[p] else 0.0
        if gone > 0.0:
            n = find_brinks(
                k,
                x,
                r_in,
                r_out,
                finished,
                max(first, tip),
                min(last, butt),
                n,
                work.brink_cell,
                work.brink_share,
                work.brink_flag,
            )
        elif first == 0 and last == n_x - 1:
            # what lies under it is whole too
            break
    work.counts[4] = n
    n_all = n_x + n
    low, high = n_x, -1
    for i in range(n):
        q, p, share = n_x + i, work.brink_cell[i], work.brink_share[i]
        low, high = min(low, p), max(high, p)
        x[q] = x[p] + share * (x[p + 1] - x[p])
        finished[q] = finished[p] + share * (finished[p + 1] - finished[p])
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        r_in, r_out = work.r_in[k], work.r_out[k]
        first, last = work.first[k], work.last[k]
        work.more[k] = n_all if last <= low or first > high else n_x
        work.reach[k] = last
        if last == n_x - 1:
            # one range with its points
            work.more[k], work.reach[k] = n_all, n_all - 1
        for i in range(n):
            q, p, share = n_x + i, work.brink_cell[i], work.brink_share[i]
            inner = outer = finished[q]
            if first <= p < last:
                inner = min(r_in[p] + share * (r_in[p + 1] - r_in[p]), inner)
                outer = min(r_out[p] + share * (r_out[p + 1] - r_out[p]), outer)
            if work.brink_flag[i] == k:
                inner = outer * THINNEST
            r_in[q], r_out[q] = inner, outer


@compiled_stage
def _weigh(
    numbers: Numbers, length: float, work: Work, metrics: Array, shop: Array
) -> None:
    """What needs no stiffness."""
    tip, butt = work.counts[1], work.counts[2]
    weight = integral(work.x, work.m, tip, butt)
    moment = product_integral(work.x, work.m, work.x, tip, butt)
    metrics[col.WEIGHT] = weight
    metrics[col.BALANCE_POINT] = length - moment / weight
    metrics[col.TIP_DIAMETER] = 2.0 * work.finished[tip]
    metrics[col.BUTT_DIAMETER] = 2.0 * work.finished[butt]
    shop[col.WALL_MIN] = least_wall(work.finished, work.mandrel, tip, butt)
    shop[col.DIAMETER_STEP] = steepest_step(
        work.x, work.finished, tip, butt, numbers.step_length
    )


@compiled_stage
def _stiffen(numbers: Numbers, sheet: IntArray, work: Work) -> None:
    """Sum the rings and close the section at every point and brink."""
    n_x = work.counts[0]
    n_all = n_x + work.counts[4]
    # what cooling leaves needs all sums
    coupled = numbers.bench.temperature_drop > 0.0
    for k in range(len(sheet)):
        if sheet[k] >= 0:
            ply = numbers.sheets[sheet[k]]
            coupled = coupled or ply[Q16] != 0.0 or ply[Q26] != 0.0
    work.counts[3] = 1 if coupled else 0
    work.sums[:, :n_all] = 0.0
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        for part in range(2 if work.more[k] < n_all else 1):
            add_ring(
                numbers.sheets[sheet[k]],
                work.r_in[k],
                work.r_out[k],
                work.first[k] if part == 0 else work.more[k],
                work.reach[k] if part == 0 else n_all - 1,
                work.sums,
                coupled,
            )
    close_section(
        work.sums,
        n_all,
        coupled,
        work.EI,
        work.GJ,
        work.hoop,
        work.hoop_axis,
        work.hoop_slope,
        work.shear,
    )


@compiled_stage
def _test(numbers: Numbers, length: float, work: Work, metrics: Array) -> None:
    """Run the bench tests."""
    bench = numbers.bench
    x, EI = work.x, work.EI
    n_x, tip = work.counts[0], work.counts[1]
    metrics[col.FREQUENCY] = np.nan
    clamp_at = length - bench.frequency_clamp
    if 0.0 < clamp_at <= length:
        clamp = point_at(x, n_x, clamp_at, False)
        omega2 = first_mode(
            x,
            EI,
            work.m,
            tip,
            clamp,
            bench.tip_mass,
            bench.tip_mass_offset,
            bench.tip_mass_inertia,
            bench.frequency_clamp_compliance,
            work.y,
            work.moment,
        )
        metrics[col.FREQUENCY] = np.sqrt(omega2) / (2.0 * np.pi)
    metrics[col.TORQUE] = np.nan
    torque_to = torque_clamp(bench, length)
    if 0.0 <= bench.torque_grip < torque_to <= length:
        metrics[col.TORQUE] = twist(
            x,
            work.GJ,
            point_at(x, n_x, bench.torque_grip, True),
            point_at(x, n_x, torque_to, False),
            bench.torque_moment,
        )
    metrics[col.TIP_DEFLECTION] = np.nan
    if 0.0 <= bench.tip_hold < bench.tip_support < bench.tip_load_at <= length:
        metrics[col.TIP_DEFLECTION] = overhang_deflection(
            x,
            EI,
            n_x,
            bench.tip_load_at,
            bench.tip_support,
            bench.tip_hold,
            bench.tip_load,
        )
    metrics[col.BUTT_DEFLECTION] = np.nan
    if 0.0 <= bench.butt_hold < bench.butt_support < bench.butt_load_at <= length:
        metrics[col.BUTT_DEFLECTION] = overhang_deflection(
            x,
            EI,
            n_x,
            length - bench.butt_load_at,
            length - bench.butt_support,
            length - bench.butt_hold,
            bench.butt_load,
        )
    metrics[col.FLEX_POINT_RATIO] = metrics[col.TIP_DEFLECTION] / (
        metrics[col.TIP_DEFLECTION] + metrics[col.BUTT_DEFLECTION]
    )
    metrics[col.CANTILEVER_DEFLECTION] = np.nan
    fixed_at = length - bench.cantilever_clamp
    fits = 0.0 <= bench.cantilever_load_at < fixed_at <= length
    if fits and numbers.wants[col.CANTILEVER_DEFLECTION]:
        metrics[col.CANTILEVER_DEFLECTION] = cantilever_deflection(
            x,
            EI,
            point_at(x, n_x, bench.cantilever_load_at, True),
            point_at(x, n_x, fixed_at, False),
            bench.cantilever_load,
        )
