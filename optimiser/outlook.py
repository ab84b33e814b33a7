"""What a design's bench values will be, roughly, for the price of a few sums.

The outlook smears every flag over coarse cells, sums plane-stress rings and takes the
tests as weighted sums over the cells. It is off by a few per cent, but by nearly the
same for a design and for its child, so a child's value is foreseen as its own outlook
times what its parent's evaluation made of the parent's outlook. Nothing is judged by
it: it chooses what is worth a whole evaluation, and where ends are to go.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import (
    METRICS,
    Layups,
    compiled_lean,
    compiled_lean_entry,
    fingerprint,
    roll_alone,
)
from optimiser.cells import (
    ANGLE,
    C2,
    DENSITY,
    N_CELLS,
    PRICE,
    Q11,
    Q12,
    Q22,
    Q66,
    RISE,
    ROLL,
    S2,
    STRAIN,
    Cells,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: What has an outlook, as the logarithm: weight, its moment about the tip, cost,
#: frequency and so on, durability plus one; after them EI at the spec's points.
(
    WEIGHT,
    MOMENT,
    COST,
    FREQUENCY,
    TORQUE,
    TIP,
    BUTT,
    CANTILEVER,
    DURABILITY,
) = range(9)
N_FORESEEN = 9

#: Shop measures with an outlook, as lengths.
WALL_MIN, BIAS_GROUND, TIP_SHORTAGE, TIP_GRIND_DEPTH = range(4)
FORESEEN_SHOP = ("wall_min", "bias_ground", "tip_shortage", "tip_grind_depth")

#: What is kept for the derivatives: height and slope of the tip, kinetic energy, the
#: weakest cell and its flag.
TALL, SLOPE, KINETIC, AT, WHO = range(5)

#: Step of differences with a flag's end. [m]
_STEP = 1e-6

#: Rows of what the cells hold.
EI, GJ, MASS, SPENT, HOOP, S_22, USE = range(7)


@dataclass(frozen=True)
class Foreseen:
    """Outlook of some designs."""

    log: Array  #: (n, 9 + n_ei) logarithms; NaN where a test does not fit
    shop: Array  #: (n, 4) in the order of FORESEEN_SHOP [m]
    slope: Array  #: (n, n_flag, 2, 9 + n_ei) of log to start and end of each flag [1/m]


@compiled_lean
def _wide(ramp: float, cell: float) -> float:
    """Length over which an edge rises: whole cells, so that their sum moves evenly."""
    return float(cell * max(np.ceil(ramp / cell - 1e-9), 1.0))


@compiled_lean
def _build(
    cells: Cells, layups: Layups, i: int, row: int, r: Array, top: Array
) -> None:
    """Radius under each flag, cell by cell, and the finished radius on top."""
    n_flags = layups.sheet.shape[1]
    x, blur = cells.x[row], cells.blur[row]
    n = len(x)
    mandrel = layups.mandrel[i]
    length = layups.length[i]
    j = 0
    last = cells.breaks[mandrel] - 2
    for c in range(n):
        s = x[c] + layups.mandrel_set[i]
        if c >= N_CELLS:
            j = 0
        while j < last and s > cells.distance[mandrel, j + 1]:
            j += 1
        a, b = cells.distance[mandrel, j], cells.distance[mandrel, j + 1]
        low, high = cells.radius[mandrel, j], cells.radius[mandrel, j + 1]
        r[0, c] = low + (high - low) * (s - a) / (b - a)
    for k in range(n_flags):
        if layups.sheet[i, k] < 0:
            for c in range(np.uint64(n)):
                r[k + 1, c] = r[k, c]
            continue
        rise = layups.wraps[i, k] * cells.sheets[layups.sheet[i, k], RISE]
        start, end = layups.start[i, k], layups.end[i, k]
        if start <= 0.0:
            start = -cells.trim_tip
        if end >= length - 1e-7:
            end = length + cells.trim_butt
        ramp_tip, ramp_butt = layups.run_out_tip[i, k], layups.run_out_butt[i, k]
        start += ramp_tip / 2.0
        end -= ramp_butt / 2.0
        for part in range(2):
            # cells, then points
            first, past = (0, N_CELLS) if part == 0 else (N_CELLS, n)
            if first == past:
                break
            per_tip = 1.0 / _wide(ramp_tip, blur[first])
            per_butt = 1.0 / _wide(ramp_butt, blur[first])
            for c in range(np.uint64(first), np.uint64(past)):
                up = 0.5 + (x[c] - start) * per_tip
                down = 0.5 + (end - x[c]) * per_butt
                r[k + 1, c] = r[k, c] + rise * min(max(min(up, down), 0.0), 1.0)
    for c in range(np.uint64(n)):
        top[c] = r[n_flags, c] - cells.grind
    if np.isnan(cells.tip_radius):
        return
    parallel_end = cells.tip_radius + cells.tip_taper * cells.tip_parallel / 2.0
    beyond = 0
    while beyond < N_CELLS - 1 and x[beyond] <= cells.tip_parallel + cells.tip_blend:
        beyond += 1
    rise = (top[beyond] - parallel_end) / max(x[beyond] - cells.tip_parallel, 1e-9)
    for c in range(n):
        past = x[c] - cells.tip_parallel
        if past <= 0.0:
            limit = cells.tip_radius + cells.tip_taper * x[c] / 2.0
        elif past <= cells.tip_blend:
            limit = parallel_end + max(rise, 0.0) * past
        else:
            continue
        top[c] = min(top[c], limit)


@compiled_lean
def _roll_over_net(
    cells: Cells, layups: Layups, i: int, k: int, start: float, end: float
) -> float:
    """Area of roll over that of the pieces of a flag, were it between these ends.

    Taken as rolled on a parabolic bore, the flags below left out: a few per cent of a
    width hardly matter to how pieces fit a roll, where the length does.
    """
    ply = cells.sheets[layups.sheet[i, k]]
    if start <= 0.0:
        start = -cells.trim_tip
    if end >= layups.length[i] - 1e-7:
        end = layups.length[i] + cells.trim_butt
    girth = 2.0 * np.pi * layups.wraps[i, k]
    at_tip, slope, square = cells.bore
    tip = girth * (at_tip + start * (slope + start * square))
    butt = girth * (at_tip + end * (slope + end * square))
    # the mean width is more or less than that of the ends by what the edge bends
    long = end - start
    mean = (tip + butt) / 2.0 - girth * square * long * long / 6.0
    run_outs = layups.run_out_tip[i, k] + layups.run_out_butt[i, k]
    net = mean * (long - run_outs / 2.0)
    if run_outs > 0.0:
        tip = butt = max(tip, butt)
    body, batch_end, _, _ = roll_alone(
        net,
        end - start,
        1.0,
        ply[ANGLE],
        tip,
        butt,
        run_outs > 0.0,
        ply[ROLL],
        cells.gap,
        cells.roll_edge,
        cells.splice_from,
        cells.batch,
    )
    return float((body + batch_end) / net)


@compiled_lean
def _price(cells: Cells, layups: Layups, i: int, price: Array) -> None:
    """Price of each flag per volume of wall, with the roll that is wasted."""
    for k in range(layups.sheet.shape[1]):
        if layups.sheet[i, k] >= 0:
            price[k] = cells.sheets[layups.sheet[i, k], PRICE] * _roll_over_net(
                cells, layups, i, k, layups.start[i, k], layups.end[i, k]
            )


@compiled_lean
def _sum_rings(
    cells: Cells, sheet: IntArray, r: Array, top: Array, prices: Array, sums: Array
) -> None:
    """EI, GJ, mass and cost per length and hoop strain of the cells."""
    n = len(top)
    EI_of, GJ_of, mass, spent = sums[EI], sums[GJ], sums[MASS], sums[SPENT]
    hoop, S22 = sums[HOOP], sums[S_22]
    sums[:] = 0.0
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        ply = cells.sheets[sheet[k]]
        q11, q12, q22, q66 = ply[Q11], ply[Q12], ply[Q22], ply[Q66]
        density, price = ply[DENSITY], prices[k]
        for c in range(np.uint64(n)):
            a, b = r[k, c], r[k + 1, c]
            spent[c] += price * (b * b - a * a)
            a, b = min(a, top[c]), min(b, top[c])
            a2, b2 = a * a, b * b
            area = b2 - a2
            fourth = area * (b2 + a2)
            EI_of[c] += q11 * fourth
            hoop[c] += q12 * fourth
            S22[c] += q22 * fourth
            GJ_of[c] += q66 * fourth
            mass[c] += density * area
    coating = 2.0 * cells.coating
    for c in range(np.uint64(n)):
        nu = hoop[c] / S22[c]
        EI_of[c] = (EI_of[c] - nu * hoop[c]) * (np.pi / 4.0)
        GJ_of[c] *= np.pi / 2.0
        mass[c] = np.pi * (mass[c] + coating * top[c])
        spent[c] *= np.pi
        hoop[c] = nu


@compiled_lean
def _look_at_shop(
    cells: Cells, row: int, sheet: IntArray, r: Array, top: Array, shop: Array
) -> None:
    """Least wall, bias plies ground away, and stock at the tip."""
    n = len(top)
    n_flags = len(sheet)
    wall = np.inf
    for c in range(np.uint64(n)):
        wall = min(wall, top[c] - r[0, c])
    ground = 0.0
    for k in range(n_flags):
        if sheet[k] < 0:
            continue
        ply = cells.sheets[sheet[k]]
        if ply[S2] == 0.0 or ply[C2] < 1e-12:
            continue
        for c in range(np.uint64(n)):
            cut = min(r[k + 1, c] - top[c], r[k + 1, c] - r[k, c])
            ground = max(ground, cut)
    shortage, depth = 0.0, 0.0
    if not np.isnan(cells.tip_radius):
        for c in range(N_CELLS):
            if cells.x[row, c] >= cells.tip_parallel:
                break
            asked = cells.tip_radius + cells.tip_taper * cells.x[row, c] / 2.0
            stock = r[n_flags, c] - cells.grind - asked
            shortage, depth = max(shortage, -stock), max(depth, stock)
    shop[WALL_MIN] = wall
    shop[BIAS_GROUND] = ground
    shop[TIP_SHORTAGE] = shortage
    shop[TIP_GRIND_DEPTH] = depth


@compiled_lean
def _row(cells: Cells, length: float) -> int:
    row = 0
    while cells.lengths[row] < length - 1e-7:
        row += 1
    return row


@compiled_lean
def _vibrate(cells: Cells, row: int, sums: Array, y: Array, way: Array) -> float:
    """Logarithm of the frequency from the shape that a force on the tip mass makes."""
    n = len(y)
    stiff, m = sums[EI], sums[MASS]
    free, arm, bent = cells.free[row], cells.arm[row], cells.bent[row]
    off = cells.tip_mass_offset
    give = cells.compliance[row]
    clamp = 0.0
    tall = 0.0
    for c in range(np.uint64(n)):
        clamp += free[c]
        tall += bent[c] / stiff[c]
    tall += give * (clamp + off)
    # curvature outside of a cell, and its moment, from the clamp to the tip
    outside = give
    moment = give * clamp
    for back in range(n):
        c = n - 1 - back
        x = arm[c] - off
        y[c] = moment - x * outside
        bend = arm[c] * free[c] / stiff[c]
        outside += bend
        moment += x * bend
    kinetic = cells.tip_mass * tall * tall + cells.tip_mass_inertia * outside * outside
    for c in range(np.uint64(n)):
        kinetic += m[c] * free[c] * y[c] * y[c]
    way[TALL], way[SLOPE], way[KINETIC] = tall, outside, kinetic
    return float(0.5 * np.log(tall / kinetic) - np.log(2.0 * np.pi))


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
def _weakest(
    cells: Cells,
    row: int,
    sheet: IntArray,
    r: Array,
    top: Array,
    sums: Array,
    way: Array,
) -> float:
    """Logarithm of the least ratio of strength to load."""
    n = len(top)
    stiff, hoop, use = sums[EI], sums[HOOP], sums[USE]
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        ply = cells.sheets[sheet[k]]
        along, across = ply[C2] / ply[STRAIN], ply[S2] / ply[STRAIN]
        for c in range(np.uint64(n)):
            b = min(r[k + 1, c], top[c])
            there = 1.0 if b > r[k, c] else 0.0
            use[c] = max(use[c], abs(along - across * hoop[c]) * b * there)
    most = 0.0
    at = 0
    for c in range(n):
        strain = use[c] * cells.moment[row, c] / stiff[c]
        if strain > most:
            most = strain
            at = c
    for k in range(len(sheet)):
        if sheet[k] >= 0:
            ply = cells.sheets[sheet[k]]
            b = min(r[k + 1, at], top[at])
            its = abs(ply[C2] - ply[S2] * hoop[at]) / ply[STRAIN] * b
            if b > r[k, at] and its >= use[at] * (1.0 - 1e-9):
                way[WHO] = k
    way[AT] = at
    return float(-np.log(max(most, 1e-12)))


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

    ``by`` has the derivatives of each value to what the cells hold. Of durability that
    leaves the radius of the weakest ply, which is added, and its hoop strain, which is
    not: it matters to bias plies alone.
    """
    at, who = int(way[AT]), int(way[WHO])
    n_flags = layups.sheet.shape[1]
    n = len(top)
    length = layups.length[i]
    for k in range(n_flags):
        if layups.sheet[i, k] < 0:
            continue
        rise = layups.wraps[i, k] * cells.sheets[layups.sheet[i, k], RISE]
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
            for c in range(n):
                wide = _wide(ramp, cells.blur[row, c])
                if abs(cells.x[row, c] - edge) >= wide / 2.0:
                    continue
                # the ring grows and lifts all that lies on it
                sign = -1.0 if which == 0 else 1.0
                lift = sign * rise / wide
                is_ground = top[c] < r[n_flags, c] - cells.grind - 1e-12
                d_EI, d_GJ, d_m, d_spent = 0.0, 0.0, 0.0, 0.0
                nu = sums[HOOP, c]
                for j in range(n_flags):
                    if layups.sheet[i, j] < 0:
                        continue
                    ply = cells.sheets[layups.sheet[i, j]]
                    a, b = r[j, c], r[j + 1, c]
                    moves_a = 1.0 if j > k else 0.0
                    moves_b = 1.0 if j >= k else 0.0
                    d_spent += price[j] * (moves_b * b - moves_a * a)
                    if b >= top[c]:
                        # what is ground to follows the build, but for the tip
                        b = top[c]
                        moves_b = 0.0 if is_ground else 1.0
                    if a >= top[c] or moves_b + moves_a == 0.0:
                        continue
                    modulus = ply[Q11] - nu * (2.0 * ply[Q12] - nu * ply[Q22])
                    cubes = moves_b * b * b * b - moves_a * a * a * a
                    d_EI += modulus * cubes
                    d_GJ += ply[Q66] * cubes
                    d_m += ply[DENSITY] * (moves_b * b - moves_a * a)
                d_EI *= np.pi * lift
                d_GJ *= 2.0 * np.pi * lift
                if not is_ground:
                    d_m += cells.coating
                d_m *= 2.0 * np.pi * lift
                d_spent *= 2.0 * np.pi * lift
                if c == at:
                    outer = min(r[who + 1, c], top[c])
                    follows = who >= k if outer < top[c] else not is_ground
                    if follows:
                        out[k, which, DURABILITY] -= lift / outer
                for v in range(out.shape[2]):
                    out[k, which, v] += (
                        by[v, EI, c] * d_EI
                        + by[v, GJ, c] * d_GJ
                        + by[v, MASS, c] * d_m
                        + by[v, SPENT, c] * d_spent
                    )


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
        more = _roll_over_net(cells, layups, i, k, start + _STEP, end)
        less = _roll_over_net(cells, layups, i, k, start - _STEP, end)
        slope[0, COST] += spent * (more - less) / (2.0 * _STEP)
    if end < layups.length[i] - 1e-7:
        more = _roll_over_net(cells, layups, i, k, start, end + _STEP)
        less = _roll_over_net(cells, layups, i, k, start, end - _STEP)
        slope[1, COST] += spent * (more - less) / (2.0 * _STEP)


class Room(NamedTuple):
    """Room for one design's outlook."""

    r: Array  #: (n_flag + 1, n_cell) radius under each flag
    top: Array  #: (n_cell,) finished radius
    y: Array  #: (n_cell,) shape of the vibration
    price: Array  #: (n_flag,) per volume of wall [currency/m³]
    sums: Array  #: (7, n_cell) what the cells hold
    by: Array  #: (n_value, 4, n_cell) derivatives of the values to what the cells hold
    way: Array  #: (5,) what the derivatives need besides


def room(cells: Cells, n_flags: int) -> Room:
    """Room for the outlook of designs.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    n_flags : int
        Most flags of a design. [-]

    Returns
    -------
    room : Room
        To be handed to ``foresee_one``. [-]
    """
    n = cells.x.shape[1]
    return Room(
        r=np.zeros((n_flags + 1, n)),
        top=np.zeros(n),
        y=np.zeros(n),
        price=np.zeros(n_flags),
        sums=np.zeros((7, n)),
        by=np.zeros((N_FORESEEN + cells.n_points, 4, n)),
        way=np.zeros(5),
    )


@compiled_lean
def foresee_one(
    cells: Cells, layups: Layups, i: int, room: Room, log: Array, shop: Array
) -> None:
    """Outlook of one design.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    layups : Layups
        Designs. [SI]
    i : int
        Which of them. [-]
    room : Room
        Scratch; ``slopes_of_one`` reads it. [-]
    log, shop : ndarray, shape (n_value,) and (4,)
        Written. [-, m]
    """
    r, top, sums = room.r, room.top, room.sums
    n = len(top)
    row = _row(cells, layups.length[i])
    x, long = cells.x[row], cells.long[row]
    sheet = layups.sheet[i]
    _build(cells, layups, i, row, r, top)
    _look_at_shop(cells, row, sheet, r, top, shop)
    _price(cells, layups, i, room.price)
    _sum_rings(cells, sheet, r, top, room.price, sums)
    weight, moment, cost = 0.0, 0.0, cells.per_shaft
    for k in range(len(sheet)):
        if sheet[k] >= 0:
            cost += cells.per_flag
    for c in range(np.uint64(n)):
        mass = sums[MASS, c] * long[c]
        weight += mass
        moment += mass * x[c]
        cost += sums[SPENT, c] * long[c]
    log[WEIGHT] = np.log(weight)
    log[MOMENT] = np.log(moment)
    log[COST] = np.log(cost / cells.sold)
    log[FREQUENCY] = _vibrate(cells, row, sums, room.y, room.way)
    for j in range(4):
        log[TORQUE + j] = np.nan
        if cells.fits[row, j]:
            total = 0.0
            stiff = sums[GJ if j == 0 else EI]
            weights = cells.tests[row, j]
            for c in range(np.uint64(n)):
                total += weights[c] / stiff[c]
            log[TORQUE + j] = np.log(total)
    log[DURABILITY] = _weakest(cells, row, sheet, r, top, sums, room.way)
    for j in range(cells.n_points):
        log[N_FORESEEN + j] = np.log(sums[EI, N_CELLS + j])


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
    row = _row(cells, layups.length[i])
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


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _foresee_entry(sources: int) -> Any:
    @compiled_lean_entry
    def foresee_all(
        cells: Cells,
        layups: Layups,
        with_slopes: bool,
        room: Room,
        log: Array,
        shop: Array,
        slope: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for i in range(len(log)):
            foresee_one(cells, layups, i, room, log[i], shop[i])
            if with_slopes:
                slopes_of_one(cells, layups, i, room, log[i], slope[i])

    return foresee_all


_foresee_all = _foresee_entry(_SOURCES)


def foresee(cells: Cells, layups: Layups, *, slopes: bool = False) -> Foreseen:
    """Outlook of designs.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    layups : Layups
        Designs of the same spec. [SI]
    slopes : bool
        Also give the derivatives to the flags' inner ends. [-]

    Returns
    -------
    foreseen : Foreseen
        Logarithms of the values, and their derivatives. [SI]
    """
    n, n_flags = layups.sheet.shape
    n_values = N_FORESEEN + cells.n_points
    log = np.zeros((n, n_values))
    shop = np.zeros((n, len(FORESEEN_SHOP)))
    slope = np.zeros((n if slopes else 0, n_flags, 2, n_values))
    if n:
        _foresee_all(cells, layups, slopes, room(cells, n_flags), log, shop, slope)
    return Foreseen(log, shop, slope)


_AT = {metric.key: i for i, metric in enumerate(METRICS)}
_SAME_AS = {
    WEIGHT: "weight",
    COST: "material_cost",
    FREQUENCY: "frequency",
    TORQUE: "torque",
    TIP: "tip_deflection",
    BUTT: "butt_deflection",
    CANTILEVER: "cantilever_deflection",
}


def evaluated(metrics: Array, EI_points: Array, length: Array) -> Array:
    """Evaluated values as an outlook gives them.

    Parameters
    ----------
    metrics : ndarray, shape (n, n_metric)
        In the order of METRICS. [SI]
    EI_points : ndarray, shape (n, n_ei)
        At the spec's points. [N·m²]
    length : ndarray, shape (n,)
        Of the shafts. [m]

    Returns
    -------
    log : ndarray, shape (n, 9 + n_ei)
        NaN where a test does not fit or was not asked for. [-]
    """
    values = np.empty((len(metrics), N_FORESEEN))
    for v, key in _SAME_AS.items():
        values[:, v] = metrics[:, _AT[key]]
    centre = length - metrics[:, _AT["balance_point"]]
    values[:, MOMENT] = metrics[:, _AT["weight"]] * centre
    # a margin is a ratio less one
    values[:, DURABILITY] = metrics[:, _AT["durability"]] + 1.0
    with np.errstate(invalid="ignore", divide="ignore"):
        log: Array = np.log(np.concatenate([values, EI_points], axis=1))
    return log
