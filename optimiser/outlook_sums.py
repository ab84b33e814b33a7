"""The outlook of one design: coarse cells, plane-stress rings, weighted sums.

Compiled, for one design at a time and into room that is handed in, so that steering
can look at a changed design without leaving compiled code.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import (
    Layups,
    compiled_lean,
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

#: Rows of what the cells hold.
EI, GJ, MASS, SPENT, HOOP, S_22, USE = range(7)


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
def width_of_edge(ramp: float, cell: float) -> float:
    """Length over which an edge rises: whole cells, so that their sum moves evenly.

    Parameters
    ----------
    ramp : float
        Length of the run-out. [m]
    cell : float
        Length of the cells there. [m]

    Returns
    -------
    wide : float
        At least a cell. [m]
    """
    return float(cell * max(np.ceil(ramp / cell - 1e-9), 1.0))


@compiled_lean
def first_beyond_blend(cells: Cells, x: Array) -> int:
    """First cell beyond the blend of a ground tip.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    x : ndarray, shape (n_cell,)
        Their middles. [m]

    Returns
    -------
    cell : int
        Its index. [-]
    """
    beyond = 0
    while beyond < N_CELLS - 1 and x[beyond] <= cells.tip_parallel + cells.tip_blend:
        beyond += 1
    return beyond


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
            per_tip = 1.0 / width_of_edge(ramp_tip, blur[first])
            per_butt = 1.0 / width_of_edge(ramp_butt, blur[first])
            for c in range(np.uint64(first), np.uint64(past)):
                up = 0.5 + (x[c] - start) * per_tip
                down = 0.5 + (end - x[c]) * per_butt
                r[k + 1, c] = r[k, c] + rise * min(max(min(up, down), 0.0), 1.0)
    for c in range(np.uint64(n)):
        top[c] = r[n_flags, c] - cells.grind
    if np.isnan(cells.tip_radius):
        return
    parallel_end = cells.tip_radius + cells.tip_taper * cells.tip_parallel / 2.0
    beyond = first_beyond_blend(cells, x)
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
def roll_over_net(
    cells: Cells, layups: Layups, i: int, k: int, start: float, end: float
) -> float:
    """Area of roll over that of the pieces of a flag, were it between these ends.

    Taken as rolled on a parabolic bore, the flags below left out: a few per cent of a
    width hardly matter to how pieces fit a roll, where the length does.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    layups : Layups
        Designs. [SI]
    i, k : int
        Which design, and which of its flags. [-]
    start, end : float
        Stations of its ends. [m]

    Returns
    -------
    ratio : float
        At least 1. [-]
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
            price[k] = cells.sheets[layups.sheet[i, k], PRICE] * roll_over_net(
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
def row_of(cells: Cells, length: float) -> int:
    """Row of the cells for shafts of a length.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    length : float
        One of the spec's lengths. [m]

    Returns
    -------
    row : int
        Its row. [-]
    """
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
    row = row_of(cells, layups.length[i])
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
