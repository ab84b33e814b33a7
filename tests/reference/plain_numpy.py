"""The same formulas as the compiled evaluation, one design at a time in plain numpy.

Vectorised over stations; this is what speed is measured against. It gives the metrics
that are listed here; the others are left to the slow loops.
"""

import math
from functools import cache

import numpy as np

from tests.reference import plain_rolls

SAME, LOOK, CELL = 1e-7, 1e-9, 0.025

#: Metrics, in the order of their columns.
KEYS = (
    "weight",
    "balance_point",
    "frequency",
    "torque",
    "tip_diameter",
    "butt_diameter",
    "tip_deflection",
    "butt_deflection",
    "flex_point_ratio",
    "material_cost",
    "durability",
    "cantilever_deflection",
)


@cache
def cured(prepreg, bleed):
    """Plies are kept: the batch, too, works them out once for all its designs."""
    return prepreg.cured(bleed)


@cache
def stiffness(ply, angle, is_pair):
    """11, 12, 22, 66, 16, 26 of a ring, by rotating the ply's matrix; kept."""
    nu21 = ply.nu12 * ply.E2 / ply.E1
    share = 1.0 - ply.nu12 * nu21
    Q = np.array(
        [
            [ply.E1, ply.nu12 * ply.E2, 0.0],
            [ply.nu12 * ply.E2, ply.E2, 0.0],
            [0.0, 0.0, ply.G12 * share],
        ]
    )
    Q /= share
    c, s = math.cos(angle), math.sin(angle)
    strain = np.array(
        [
            [c * c, s * s, c * s],
            [s * s, c * c, -c * s],
            [-2 * c * s, 2 * c * s, c * c - s * s],
        ]
    )
    R = strain.T @ Q @ strain
    if is_pair:
        R[0, 2] = R[2, 0] = R[1, 2] = R[2, 1] = 0.0
    return R[0, 0], R[0, 1], R[1, 1], R[2, 2], R[0, 2], R[1, 2]


@cache
def through_the_wall(ply, angle, is_pair):
    """Radial strain per axial and hoop strain, its stiffness, loss of a pair; kept."""
    nu12, nu21 = ply.nu12, ply.nu12 * ply.E2 / ply.E1
    nu23 = nu12 * (1.0 - nu21) / (1.0 - nu12)
    whole = (1.0 + nu23) * (1.0 - nu23 - 2.0 * nu12 * nu21) / ply.E2
    radial = (1.0 - nu12 * nu21) / whole
    along, across = nu12 * (1.0 + nu23) / whole, (nu23 + nu12 * nu21) / whole
    c, s = math.cos(angle), math.sin(angle)
    p = (c * c * along + s * s * across) / radial
    q = (s * s * along + c * c * across) / radial
    shear = s * s * ply.G12 + c * c * ply.E2 / (2.0 * (1.0 + nu23))
    loss = 0.0
    if is_pair:
        loss = (stiffness(ply, angle, False)[5] * ply.thickness) ** 2 / (3.0 * radial)
    return p, q, 1.0 / (1.0 / shear + 1.0 / radial), loss


def torque_clamp(bench, length):
    at = bench.torque_clamp_at
    return length - bench.torque_clamp if at is None else at


def points_of(design, mandrel, starts, ends, low, high):
    L, bench, finish = design.shaft.length, design.bench, design.finish
    jumps = [*starts, *ends]
    if finish.tip_diameter is not None:
        jumps += [finish.tip_parallel, finish.tip_parallel + finish.tip_blend]
    kinks = [low, high, 0.0, L]
    kinks += [
        x + f.run_out_tip
        for x, f in zip(starts, design.flags, strict=True)
        if f.run_out_tip
    ]
    kinks += [
        x - f.run_out_butt
        for x, f in zip(ends, design.flags, strict=True)
        if f.run_out_butt
    ]
    kinks += [d - design.shaft.mandrel_set for d in mandrel.distance]
    from_tip = (
        bench.torque_grip,
        bench.tip_hold,
        bench.tip_support,
        bench.tip_load_at,
        bench.strength_tip_support,
        bench.strength_from,
        bench.strength_a,
        bench.strength_b,
        bench.cantilever_load_at,
        torque_clamp(bench, L),
    )
    if bench.impact_moment:
        from_tip = (*from_tip, bench.impact_at, bench.impact_to)
    from_butt = (
        bench.frequency_clamp,
        bench.butt_hold,
        bench.butt_support,
        bench.butt_load_at,
        bench.strength_to,
        bench.strength_butt_support,
        bench.cantilever_clamp,
    )
    on_bench = np.array([*from_tip, *(L - d for d in from_butt)])
    marks = np.concatenate([jumps, kinks, on_bench[(on_bench >= 0) & (on_bench <= L)]])
    jump = np.zeros(len(marks), dtype=bool)
    jump[: len(jumps)] = True
    keep = (marks >= low) & (marks <= high)
    marks, jump = marks[keep], jump[keep]
    order = np.argsort(marks, kind="stable")
    marks, jump = marks[order], jump[order]
    new = np.concatenate([[True], np.diff(marks) >= SAME])
    group = np.cumsum(new) - 1
    marks = marks[new]
    jump = np.bincount(group, weights=jump) > 0
    gaps = np.diff(marks)
    cells = np.ceil(gaps / CELL - 1e-9).astype(int)
    inner = np.concatenate(
        [
            x + g * np.arange(1, n) / n
            for x, g, n in zip(marks[:-1], gaps, cells, strict=True)
        ]
    )
    double = jump.copy()
    double[[0, -1]] = False
    tip_side = marks[1:-1][double[1:-1]] - LOOK
    x = np.concatenate([marks, marks[double], inner])
    look = np.concatenate([marks + LOOK * double, tip_side, inner])
    look[0] += LOOK
    look[len(marks) - 1] -= LOOK
    order = np.argsort(look, kind="stable")
    return x[order], look[order]


def with_brinks(x, look, finished, on, reach, rings):
    """Show where rings come to nothing, on points or on stations behind them.

    Just before, a ring is a thin ply that is strained like any other.
    """
    cell = np.diff(x) > 0
    cell[: on.start] = cell[on.stop - 1 :] = False
    near, share, whose, shown = [], [], [], []
    for k, ((start, end), (inner, outer)) in enumerate(zip(reach, rings, strict=True)):
        left = np.minimum(outer, finished) - inner
        there = cell & (start < look[:-1]) & (look[1:] < end)
        at = np.flatnonzero(there & ((left[:-1] > 0) != (left[1:] > 0)))
        on_point = np.minimum(left[at], left[at + 1]) > -1e-12
        thin = np.zeros(len(x))
        thin[at[on_point] + (left[at] > 0)[on_point]] = 1e-12
        at = at[~on_point]
        near += list(at)
        share += list(left[at] / (left[at] - left[at + 1]))
        whose += [k] * len(at)
        shown.append((inner * (1 - thin), outer))
    near, share = np.array(near, dtype=int), np.array(share)

    def behind(values):
        more = values[near] + share * (values[near + 1] - values[near])
        return np.concatenate([values, more])

    finished = behind(finished)
    cut = []
    for k, (inner, outer) in enumerate(shown):
        ri, ro = (
            np.minimum(behind(inner), finished),
            np.minimum(behind(outer), finished),
        )
        own = len(x) + np.flatnonzero(np.array(whose) == k)
        ri[own] = ro[own] * (1 - 1e-12)
        cut.append((ri, ro))
    return behind(x), behind(look), finished, cut


def product_integral(x, a, b):
    near, far = slice(None, -1), slice(1, None)
    both = a[near] * (2 * b[near] + b[far]) + a[far] * (b[near] + 2 * b[far])
    return float(np.sum(np.diff(x) * both) / 6.0)


def first_frequency(x, EI, m, bench):
    h = np.diff(x)
    u = (x[-1] - x) / (x[-1] - x[0])
    y, slope, before = u * u * (3 - u) / 2, 1.5 / (x[-1] - x[0]), 0.0
    moment, deflection = np.empty_like(x), np.zeros_like(x)
    for _ in range(60):
        q = m * y
        force = bench.tip_mass * (y[0] + bench.tip_mass_offset * slope)
        start = force * bench.tip_mass_offset + bench.tip_mass_inertia * slope
        shear = force + np.concatenate([[0], np.cumsum(h * (q[:-1] + q[1:]) / 2)])
        steps = shear[:-1] * h + h * h * (2 * q[:-1] + q[1:]) / 6
        moment[0] = start
        moment[1:] = start + np.cumsum(steps)
        k = moment / EI
        turn = h * (k[:-1] + k[1:]) / 2
        theta = np.concatenate([np.cumsum(turn[::-1])[::-1], [0.0]])
        theta += bench.frequency_clamp_compliance * moment[-1]
        drop = theta[1:] * h + h * h * (2 * k[1:] + k[:-1]) / 6
        deflection[:-1] = np.cumsum(drop[::-1])[::-1]
        value = deflection[0]
        y, slope = deflection / value, theta[0] / value
        if abs(value - before) <= 1e-13 * value:
            break
        before = value
    return math.sqrt(1.0 / value) / (2 * math.pi)


def overhang(x, EI, load_at, support, hold, load):
    side = 1.0 if support > load_at else -1.0
    reach, span = side * (support - load_at), side * (hold - support)
    arm = np.minimum(side * (x - load_at), reach * side * (hold - x) / span)
    arm = np.maximum(arm, 0.0)
    return load * product_integral(x, arm, arm / EI)


def evaluate(design, library, ei_stations=(), step_length=0.010, wanted=None):
    """Metrics (12), EI at stations, shop measures (6) of one design, in SI.

    What is not wanted (None: all is) and costs time is NaN, as in the batch.
    """
    shaft, finish, bench = design.shaft, design.finish, design.bench
    cutting, flags, L = design.cutting, design.flags, shaft.length
    mandrel = library.mandrels[shaft.mandrel]
    low, high = -shaft.trim_tip, L + shaft.trim_butt
    starts = [low if f.start == 0 else f.start for f in flags]
    ends = [high if f.end == L else f.end for f in flags]
    x, look = points_of(design, mandrel, starts, ends, low, high)
    bore = np.interp(x + shaft.mandrel_set, mandrel.distance, mandrel.diameter) / 2
    build = bore.copy()
    plies, rings = [], []
    costs = design.costs
    cost = costs.labour_per_shaft + costs.consumables_per_shaft
    on_rolls = []
    for flag, start, end in zip(flags, starts, ends, strict=True):
        prepreg = library.prepregs[flag.material]
        ply = cured(prepreg, finish.resin_bleed)
        pieces = 2 if flag.is_pair else 1
        there = (start < look) & (look < end)
        if flag.width_tip is not None:
            rise = (flag.width_butt - flag.width_tip) / (end - start)
            width = flag.width_tip + rise * (x[there] - start)
            outer = build.copy()
            area = ply.thickness * pieces / np.pi * width
            outer[there] = np.sqrt(build[there] ** 2 + area)
        else:
            turns = np.where(there, flag.wraps, 0.0)
            if flag.run_out_tip:
                turns = np.minimum(turns, flag.wraps * (x - start) / flag.run_out_tip)
            if flag.run_out_butt:
                turns = np.minimum(turns, flag.wraps * (end - x) / flag.run_out_butt)
            turns = np.maximum(turns, 0.0)
            outer = build + turns * ply.thickness * pieces
            width = np.pi * turns[there] * (build[there] + outer[there])
        net = pieces * float(np.trapezoid(width, x[there]))
        at = x[there]
        whole = (at >= start + flag.run_out_tip - SAME) & (
            at <= end - flag.run_out_butt + SAME
        )
        on_rolls.append(
            {
                "material": flag.material,
                "angle": abs(flag.angle),
                "length": end - start,
                "run_outs": (flag.run_out_tip, flag.run_out_butt),
                "widths": (float(width[whole][0]), float(width[whole][-1])),
                "net": net,
                "pieces": pieces,
            }
        )
        cost += costs.labour_per_flag
        plies.append(ply)
        rings.append((build, outer))
        build = outer
    gross, alone = plain_rolls.areas(on_rolls, library.prepregs, cutting)
    cost += sum(
        area * library.prepregs[flag.material].price
        for area, flag in zip(gross, flags, strict=True)
    )
    overhang_most = max(overhang for _, _, overhang, _ in alone)
    finished = build - finish.grind
    shortage = depth = 0.0
    if finish.tip_diameter is not None:
        parallel, blend_to = finish.tip_parallel, finish.tip_parallel + finish.tip_blend
        beyond = np.argmax(look > blend_to) if look[-1] > blend_to else len(x) - 1
        limit = finish.tip_diameter / 2 + finish.tip_taper * x / 2
        edge = finish.tip_diameter / 2 + finish.tip_taper * parallel / 2
        if finish.tip_blend:
            rise = (x - parallel) / finish.tip_blend * (finished[beyond] - edge)
            limit = np.where(look < parallel, limit, edge + rise)
        limited = look < blend_to
        spare = finished - limit
        shortage = max(0.0, float(np.max(-spare[(look < parallel) & (x >= 0)])))
        depth = max(0.0, float(np.max(spare[limited & (x >= 0)])))
        finished = np.where(limited, np.minimum(finished, limit), finished)
    a = np.searchsorted(look, 0.0 - LOOK / 2)
    b = np.searchsorted(look, L + LOOK / 2) - 1
    on = slice(int(a), int(b) + 1)
    n_x = len(x)
    ground = finished
    reach = list(zip(starts, ends, strict=True))
    x, look, finished, cut = with_brinks(x, look, finished, on, reach, rings)
    m = np.zeros_like(x)
    A = np.zeros((12, len(x)))
    K = np.zeros((3, 3, len(x)))  # hoop strain, its slope, shear strain
    f = np.zeros((3, len(x)))
    table = [
        stiffness(ply, flag.angle, flag.is_pair)
        for flag, ply in zip(flags, plies, strict=True)
    ]
    is_coupled = any(Q[4] or Q[5] for Q in table)
    bias_ground = 0.0
    for flag, ply, Q, (inner, outer), (ri, ro) in zip(
        flags, plies, table, rings, cut, strict=True
    ):
        if 1e-9 < abs(flag.angle) < math.pi / 2 - 1e-6:
            taken = np.minimum(outer - ground, outer - inner)[on]
            bias_ground = max(bias_ground, float(np.max(taken)))
        r2 = ro * ro - ri * ri
        d2, d3, d4 = r2 / 2, (ro**3 - ri**3) / 3, (ro**2 + ri**2) * r2 / 4
        m += ply.density * np.pi * r2
        p, q, G, loss = through_the_wall(ply, flag.angle, flag.is_pair)
        A[0] += (Q[0] + G * p * p) * d4
        f[0] += (Q[1] + G * p * q) * d3
        f[1] += (Q[1] + G * p * (1 + q)) * d4
        K[0, 0] += (Q[2] + G * q * q) * d2
        K[0, 1] += (Q[2] + G * q * (1 + q)) * d3
        K[1, 1] += (Q[2] + G * (1 + q) ** 2) * d4
        A[3] += Q[3] * d4 - loss * d2
        if is_coupled:
            A[2] += Q[2] * d2
            A[4] += Q[3] * d2
            A[5] += Q[4] * d3
            A[6] += Q[5] * d2
            A[7] += Q[0] * d2
            A[8] += Q[1] * d2
            A[10] += Q[5] * d3
    if finish.coating:
        painted = look > (finish.tip_parallel if finish.tip_diameter else -np.inf)
        m += np.where(painted, finish.coating * 2 * np.pi * finished, 0.0)
    if is_coupled:
        f[2], K[0, 2], K[1, 2], K[2, 2] = A[5], A[6], A[10], A[4]
        saved = (A[2] * A[5] ** 2 - 2 * A[8] * A[5] * A[10] + A[7] * A[10] ** 2) / (
            A[7] * A[2] - A[8] ** 2
        )
        K = np.moveaxis(K, 2, 0)
        K = K + np.swapaxes(np.triu(K, 1), 1, 2)
        at_axis, slope, shear = -np.linalg.solve(K, f.T[:, :, None])[:, :, 0].T
        EI = np.pi * (A[0] + f[0] * at_axis + f[1] * slope + f[2] * shear)
    else:
        saved = shear = 0.0
        det = K[0, 0] * K[1, 1] - K[0, 1] ** 2
        at_axis = (K[0, 1] * f[1] - K[1, 1] * f[0]) / det
        slope = (K[0, 1] * f[0] - K[0, 0] * f[1]) / det
        EI = np.pi * (A[0] + f[0] * at_axis + f[1] * slope)
    GJ = 2 * np.pi * (A[3] - saved)
    rise = (x - bench.strength_tip_support) / (
        bench.strength_from - bench.strength_tip_support
    )
    fall = (L - bench.strength_butt_support - x) / (
        bench.strength_to - bench.strength_butt_support
    )
    required = bench.strength_moment * np.clip(np.minimum(rise, fall), 0.0, 1.0)
    kappa = required / EI
    seen = np.arange(len(x)) >= n_x
    seen[on] = True
    use = 0.0
    for flag, ply, (ri, ro) in zip(flags, plies, cut, strict=True):
        c, s = math.cos(flag.angle), math.sin(flag.angle)
        strain = c * c * ro + s * s * (at_axis + slope * ro)
        skewed = c * s * shear
        if flag.is_pair:
            strain, skewed = np.abs(strain), np.abs(skewed)
        strain = np.abs(kappa * (strain + skewed))
        allowable = min(ply.strain_tension, ply.strain_compression)
        use = max(use, float(np.max(np.where(ro > ri, strain, 0.0)[seen])) / allowable)
    xs, ms, EIs = x[on], m[on], EI[on]
    weight = float(np.trapezoid(ms, xs))
    frequency = torque = tip = butt = cantilever = math.nan
    clamp = L - bench.frequency_clamp
    if 0 < clamp <= L:
        n = int(np.searchsorted(look[on], clamp + LOOK / 2))
        frequency = first_frequency(xs[:n], EIs[:n], ms[:n], bench)
    end = torque_clamp(bench, L)
    if 0 <= bench.torque_grip < end <= L:
        i = int(np.searchsorted(look[on], bench.torque_grip - LOOK / 2))
        j = int(np.searchsorted(look[on], end + LOOK / 2))
        torque = bench.torque_moment * float(np.trapezoid(1 / GJ[on][i:j], xs[i:j]))
    if 0 <= bench.tip_hold < bench.tip_support < bench.tip_load_at <= L:
        at = (bench.tip_load_at, bench.tip_support, bench.tip_hold)
        tip = overhang(xs, EIs, *at, bench.tip_load)
    if 0 <= bench.butt_hold < bench.butt_support < bench.butt_load_at <= L:
        at = (L - bench.butt_load_at, L - bench.butt_support, L - bench.butt_hold)
        butt = overhang(xs, EIs, *at, bench.butt_load)
    end = L - bench.cantilever_clamp
    is_wanted = wanted is None or "cantilever_deflection" in wanted
    if is_wanted and 0 <= bench.cantilever_load_at < end <= L:
        i = int(np.searchsorted(look[on], bench.cantilever_load_at - LOOK / 2))
        j = int(np.searchsorted(look[on], end + LOOK / 2))
        arm = xs[i:j] - xs[i]
        cantilever = bench.cantilever_load * product_integral(
            xs[i:j], arm, arm / EIs[i:j]
        )
    fin = finished[on]
    apart = xs[None, :] - xs[:, None]
    near = (apart >= 0) & (apart <= step_length + LOOK)
    step = float(np.max(np.abs(fin[None, :] - fin[:, None]) * near))
    # fibres by maximum strain, not strained by cooling; the loops have the rest
    is_plain = bench.strength_criterion == "maximum strain"
    is_plain = is_plain and not bench.temperature_drop
    is_borne = is_plain and bench.strength_from <= L - bench.strength_to
    metrics = (
        weight,
        L - product_integral(xs, ms, xs) / weight,
        frequency,
        torque,
        2 * fin[0],
        2 * fin[-1],
        tip,
        butt,
        tip / (tip + butt),
        cost / (1.0 - costs.scrap),
        1 / use - 1 if is_borne else math.nan,
        cantilever,
    )
    stiff = []
    for station in ei_stations:
        on_point = np.abs(x[:n_x] - station) < SAME
        stiff.append(
            EI[:n_x][on_point].mean()
            if on_point.any()
            else np.interp(station, x[:n_x], EI[:n_x])
        )
    wall = float(np.min(fin - bore[on]))
    shop = (wall, 2 * step, shortage, depth, bias_ground, overhang_most)
    return np.array(metrics), np.array(stiff), np.array(shop)
