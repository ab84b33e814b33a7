"""Derivatives of one design's outlook to the inner ends of its flags.

Adjoint: first of each value to what the cells hold, then of the cells to the ends.
"""

import numpy as np
from numpy.typing import NDArray

from model import Layups, compiled_lean
from optimiser.cells import (
    C2,
    DENSITY,
    N_CELLS,
    PRICE,
    Q11,
    Q12,
    Q22,
    Q66,
    RISE,
    S2,
    Cells,
)
from optimiser.outlook_sums import (
    AT,
    COST,
    DURABILITY,
    EI,
    FREQUENCY,
    GJ,
    HOOP,
    KINETIC,
    MASS,
    MOMENT,
    N_FORESEEN,
    S_22,
    SLOPE,
    SPENT,
    TALL,
    TORQUE,
    WEIGHT,
    WHO,
    Room,
    first_beyond_blend,
    roll_over_net,
    row_of,
    width_of_edge,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Step of differences with a flag's end. [m]
_STEP = 1e-6
#: A cell is ground to a limit if the limit lies this far below the build. [m]
_GROUND = 1e-12


@compiled_lean
def _way_of_frequency(
    cells: Cells,
    row: int,
    sums: Array,
    y: Array,
    way: Array,
    by_EI: Array,
    by_m: Array,
) -> None:
    """Derivatives of the logarithm of the frequency to EI and mass of each cell."""
    m = sums[MASS]
    free, arm, bent = cells.free[row], cells.arm[row], cells.bent[row]
    tall, slope, kinetic = way[TALL], way[SLOPE], way[KINETIC]
    inward = 0.0
    outward = 0.0
    for c in range(len(y)):
        x = arm[c] - cells.tip_mass_offset
        bend = arm[c] * free[c]
        less = 2.0 * (
            cells.tip_mass * tall * bent[c]
            + cells.tip_mass_inertia * slope * bend
            + (x * inward - outward) * bend
        )
        per_EI = 1.0 / sums[EI, c]
        by_EI[c] = (less / kinetic - bent[c] / tall) * per_EI * per_EI / 2.0
        by_m[c] = -free[c] * y[c] * y[c] / (2.0 * kinetic)
        inward += m[c] * free[c] * y[c]
        outward += m[c] * free[c] * y[c] * x


@compiled_lean
def _pass_on(
    cells: Cells,
    sheet: IntArray,
    r: Array,
    top: Array,
    sums: Array,
    by: Array,
    way: Array,
    c: int,
    grows: tuple[float, float, float, float, float, float],
    outer: float,
    out: Array,
) -> None:
    """Add to all values what it does to them that one cell's rings grow.

    ``grows`` are the derivatives of EI, GJ, mass and cost per length and of the two
    sums that the hoop strain is a ratio of; ``outer`` is that of the radius of the
    weakest ply, of which ``by`` knows nothing, nor of its hoop strain.
    """
    d_EI, d_GJ, d_m, d_spent, d_12, d_22 = grows
    for v in range(len(out)):
        out[v] += (
            by[v, EI, c] * d_EI
            + by[v, GJ, c] * d_GJ
            + by[v, MASS, c] * d_m
            + by[v, SPENT, c] * d_spent
        )
    if c == int(way[AT]):
        who, nu = int(way[WHO]), sums[HOOP, c]
        ply = cells.sheets[sheet[who]]
        radius = min(r[who + 1, c], top[c])
        d_nu = (d_12 - nu * d_22) / sums[S_22, c]
        strain = ply[C2] - ply[S2] * nu
        out[DURABILITY] += ply[S2] * d_nu / strain - outer / radius


@compiled_lean
def _lift(
    cells: Cells,
    sheet: IntArray,
    price: Array,
    r: Array,
    top: Array,
    sums: Array,
    by: Array,
    way: Array,
    c: int,
    k: int,
    lift: float,
    out: Array,
) -> None:
    """Add what it does that a flag grows at a cell and lifts all that lies on it."""
    n_flags = len(sheet)
    is_ground = top[c] < r[n_flags, c] - cells.grind - _GROUND
    nu = sums[HOOP, c]
    d_EI, d_GJ, d_m, d_spent, d_12, d_22, outer = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for j in range(n_flags):
        if sheet[j] < 0:
            continue
        ply = cells.sheets[sheet[j]]
        a, b = r[j, c], r[j + 1, c]
        moves_a = 1.0 if j > k else 0.0
        moves_b = 1.0 if j >= k else 0.0
        d_spent += price[j] * (moves_b * b - moves_a * a)
        if b >= top[c]:
            # what is ground to follows the build, but for the tip
            b = top[c]
            moves_b = 0.0 if is_ground else 1.0
        if j == int(way[WHO]):
            outer = moves_b * lift
        if a >= top[c] or moves_b + moves_a == 0.0:
            continue
        q11, q12, q22 = ply[Q11], ply[Q12], ply[Q22]
        cubes = moves_b * b * b * b - moves_a * a * a * a
        d_EI += (q11 - nu * (2.0 * q12 - nu * q22)) * cubes
        d_GJ += ply[Q66] * cubes
        d_12 += q12 * cubes
        d_22 += q22 * cubes
        d_m += ply[DENSITY] * (moves_b * b - moves_a * a)
    if not is_ground:
        d_m += cells.coating
    grows = (
        np.pi * lift * d_EI,
        2.0 * np.pi * lift * d_GJ,
        2.0 * np.pi * lift * d_m,
        2.0 * np.pi * lift * d_spent,
        4.0 * lift * d_12,
        4.0 * lift * d_22,
    )
    _pass_on(cells, sheet, r, top, sums, by, way, c, grows, outer, out)


@compiled_lean
def _lift_blend(
    cells: Cells,
    sheet: IntArray,
    r: Array,
    top: Array,
    sums: Array,
    by: Array,
    way: Array,
    x: Array,
    c: int,
    lift: float,
    out: Array,
) -> None:
    """Add what it does to the ground blend that its far end, a cell, is lifted."""
    n_flags = len(sheet)
    parallel = cells.tip_parallel
    far = first_beyond_blend(cells, x)
    parallel_end = cells.tip_radius + cells.tip_taper * parallel / 2.0
    if c != far or top[far] <= parallel_end:
        return
    for at in range(len(top)):
        past = x[at] - parallel
        if past <= 0.0 or past > cells.tip_blend:
            continue
        if top[at] >= r[n_flags, at] - cells.grind - _GROUND:
            continue
        more = lift * past / max(x[far] - parallel, 1e-9)
        k = n_flags - 1
        while k > 0 and (sheet[k] < 0 or r[k, at] >= top[at]):
            k -= 1
        ply = cells.sheets[sheet[k]]
        nu = sums[HOOP, at]
        q11, q12, q22 = ply[Q11], ply[Q12], ply[Q22]
        b = top[at]
        cube = more * b * b * b
        grows = (
            np.pi * (q11 - nu * (2.0 * q12 - nu * q22)) * cube,
            2.0 * np.pi * ply[Q66] * cube,
            2.0 * np.pi * (ply[DENSITY] * b + cells.coating) * more,
            0.0,
            4.0 * q12 * cube,
            4.0 * q22 * cube,
        )
        outer = more if k == int(way[WHO]) else 0.0
        _pass_on(cells, sheet, r, top, sums, by, way, at, grows, outer, out)


@compiled_lean
def _slopes(
    cells: Cells,
    layups: Layups,
    i: int,
    row: int,
    r: Array,
    top: Array,
    price: Array,
    sums: Array,
    by: Array,
    way: Array,
    out: Array,
) -> None:
    """Derivatives of all values to the flags' inner ends.

    ``by`` has the derivatives of each value to what the cells hold.
    """
    sheet, x = layups.sheet[i], cells.x[row]
    length = layups.length[i]
    has_tip = not np.isnan(cells.tip_radius)
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        rise = layups.wraps[i, k] * cells.sheets[sheet[k], RISE]
        for which in range(2):
            if which == 0:
                edge, ramp = layups.start[i, k], layups.run_out_tip[i, k]
                if edge <= 0.0:
                    continue
                edge += ramp / 2.0
            else:
                edge, ramp = layups.end[i, k], layups.run_out_butt[i, k]
                if edge >= length - 1e-7:
                    continue
                edge -= ramp / 2.0
            sign = -1.0 if which == 0 else 1.0
            to = out[k, which]
            for c in range(len(top)):
                wide = width_of_edge(ramp, cells.blur[row, c])
                if abs(x[c] - edge) >= wide / 2.0:
                    continue
                lift = sign * rise / wide
                _lift(cells, sheet, price, r, top, sums, by, way, c, k, lift, to)
                if has_tip:
                    _lift_blend(cells, sheet, r, top, sums, by, way, x, c, lift, to)


@compiled_lean
def _add_slope_of_price(
    cells: Cells,
    layups: Layups,
    i: int,
    row: int,
    k: int,
    room: "Room",
    cost: float,
    slope: Array,
) -> None:
    """Add what one flag's ends do to the share of the roll that its pieces waste."""
    lower, upper, long = room.r[k], room.r[k + 1], cells.long[row]
    volume = 0.0
    for c in range(np.uint64(len(long))):
        volume += (upper[c] * upper[c] - lower[c] * lower[c]) * long[c]
    spent = np.pi * volume * cells.sheets[layups.sheet[i, k], PRICE] / cost
    start, end = layups.start[i, k], layups.end[i, k]
    if start > 0.0:
        more = roll_over_net(cells, layups, i, k, start + _STEP, end)
        less = roll_over_net(cells, layups, i, k, start - _STEP, end)
        slope[0, COST] += spent * (more - less) / (2.0 * _STEP)
    if end < layups.length[i] - 1e-7:
        more = roll_over_net(cells, layups, i, k, start, end + _STEP)
        less = roll_over_net(cells, layups, i, k, start, end - _STEP)
        slope[1, COST] += spent * (more - less) / (2.0 * _STEP)


@compiled_lean
def slopes_of_one(
    cells: Cells, layups: Layups, i: int, room: Room, log: Array, slope: Array
) -> None:
    """Derivatives of the outlook of the design that was looked at last.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    layups : Layups
        Designs. [SI]
    i : int
        Which of them. [-]
    room : Room
        As ``foresee_one`` left it. [-]
    log : ndarray, shape (n_value,)
        Its outlook. [-]
    slope : ndarray, shape (n_flag, 2, n_value)
        Written. [1/m]
    """
    sums, by = room.sums, room.by
    n = len(room.top)
    row = row_of(cells, layups.length[i])
    by[:] = 0.0
    weight, moment = np.exp(log[WEIGHT]), np.exp(log[MOMENT])
    cost = np.exp(log[COST]) * cells.sold
    for c in range(n):
        long = cells.long[row, c]
        by[WEIGHT, MASS, c] = long / weight
        by[COST, SPENT, c] = long / cost
        by[MOMENT, MASS, c] = long * cells.x[row, c] / moment
    _way_of_frequency(
        cells, row, sums, room.y, room.way, by[FREQUENCY, EI], by[FREQUENCY, MASS]
    )
    for j in range(4):
        if cells.fits[row, j]:
            v = TORQUE + j
            which = GJ if j == 0 else EI
            per_total = np.exp(-log[v])
            for c in range(n):
                stiff = sums[which, c]
                by[v, which, c] = -cells.tests[row, j, c] * per_total / (stiff * stiff)
    at = int(room.way[AT])
    by[DURABILITY, EI, at] = 1.0 / sums[EI, at]
    for j in range(cells.n_points):
        by[N_FORESEEN + j, EI, N_CELLS + j] = 1.0 / sums[EI, N_CELLS + j]
    slope[:] = 0.0
    _slopes(
        cells, layups, i, row, room.r, room.top, room.price, sums, by, room.way, slope
    )
    for k in range(layups.sheet.shape[1]):
        if layups.sheet[i, k] >= 0:
            _add_slope_of_price(cells, layups, i, row, k, room, cost, slope[k])
