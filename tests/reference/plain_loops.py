"""One shaft evaluated by plain loops over floats: slow, and easy to check by eye.

Nothing here shares code with the package. Stations, walls, section sums, beam and
strength follow the formulas one point and one ring at a time; the frequency comes from
a dense eigenvalue solve instead of an iteration.
"""

from bisect import bisect_right
from itertools import pairwise
from math import ceil, inf, nan, pi, radians, sqrt

import numpy as np
from scipy.linalg import eigvals

from tests.reference import plain_clock, plain_rolls, plain_strength
from tests.reference.plain_plies import cured_ply, ring_solid, ring_stiffness

LOOK = 1e-9  # how far a copy of a doubled point looks to its own side [m]
SAME = 1e-7  # marks closer than this are one [m]
CELL = 0.025  # longest cell [m]


# --- points ----------------------------------------------------------------------


def blank_ends(design):
    shaft = design.shaft
    return -shaft.trim_tip, shaft.length + shaft.trim_butt


def rolled_ends(flag, design):
    """Return start and end of a flag on the blank, before the trims are cut off."""
    low, high = blank_ends(design)
    start = low if flag.start == 0 else flag.start
    end = high if flag.end == design.shaft.length else flag.end
    return start, end


def torque_clamp(design):
    """Station where the clamp of the torque test begins."""
    if design.bench.torque_clamp_at is not None:
        return design.bench.torque_clamp_at
    return design.shaft.length - design.bench.torque_clamp


def marks_of(design, mandrel):
    """Return sorted (x, is_jump) of every place the mesh must hit."""
    shaft, finish, bench = design.shaft, design.finish, design.bench
    L = shaft.length
    low, high = blank_ends(design)
    found = [(low, False), (high, False), (0.0, False), (L, False)]
    for flag in design.flags:
        start, end = rolled_ends(flag, design)
        found += [(start, True), (end, True)]
        if flag.run_out_tip > 0:
            found.append((start + flag.run_out_tip, False))
        if flag.run_out_butt > 0:
            found.append((end - flag.run_out_butt, False))
    for distance in mandrel.distance:
        found.append((distance - shaft.mandrel_set, False))
    if finish.tip_diameter is not None:
        found.append((finish.tip_parallel, True))
        found.append((min(finish.tip_parallel + finish.tip_blend, L), True))
    on_shaft = [
        bench.torque_grip,
        bench.tip_hold,
        bench.tip_support,
        bench.tip_load_at,
        bench.strength_tip_support,
        bench.strength_from,
        bench.strength_a,
        bench.strength_b,
        bench.cantilever_load_at,
        torque_clamp(design),
    ]
    on_shaft += [
        L - distance
        for distance in (
            bench.frequency_clamp,
            bench.butt_hold,
            bench.butt_support,
            bench.butt_load_at,
            bench.strength_to,
            bench.strength_butt_support,
            bench.cantilever_clamp,
        )
    ]
    if bench.impact_moment > 0:
        on_shaft += [bench.impact_at, bench.impact_to]
    for x in on_shaft:
        if 0 <= x <= L:
            found.append((x, False))
    marks = []
    for x, is_jump in sorted(found):
        if x < low or x > high:
            continue
        if marks and x - marks[-1][0] < SAME:
            marks[-1] = (marks[-1][0], marks[-1][1] or is_jump)
        else:
            marks.append((x, is_jump))
    return marks


def points_of(design, mandrel, cell=CELL):
    """Points of the blank as (x, look): position and where it looks for its wall."""
    marks = marks_of(design, mandrel)
    last = len(marks) - 1
    points = []
    for i, (x, is_jump) in enumerate(marks):
        if i == 0:
            points.append((x, x + LOOK))
        elif i == last:
            points.append((x, x - LOOK))
        elif is_jump:
            points.append((x, x - LOOK))
            points.append((x, x + LOOK))
        else:
            points.append((x, x))
        if i < last:
            gap = marks[i + 1][0] - x
            n_cells = ceil(gap / cell - 1e-9)
            for j in range(1, n_cells):
                inner = x + gap * j / n_cells
                points.append((inner, inner))
    return points


def inside(points, a, b):
    """Indices of the points in [a, b], of doubled ones the copies that look inside."""
    tol = LOOK / 2
    return [i for i, (_, look) in enumerate(points) if a - tol <= look <= b + tol]


# --- wall ------------------------------------------------------------------------


def mandrel_diameter(mandrel, distance):
    d, dia = mandrel.distance, mandrel.diameter
    i = min(max(bisect_right(d, distance) - 1, 0), len(d) - 2)
    return dia[i] + (dia[i + 1] - dia[i]) * (distance - d[i]) / (d[i + 1] - d[i])


def wraps_at(flag, design, x, look, r_in, turn):
    start, end = rolled_ends(flag, design)
    if not start < look < end:
        return 0.0
    if flag.width_tip is not None:
        # n turns take a width of n π (2 r_in + n turn)
        width = flag.width_tip
        width += (flag.width_butt - flag.width_tip) * (x - start) / (end - start)
        more = width / (pi * turn)
        return more / (sqrt((r_in / turn) ** 2 + more) + r_in / turn)
    share = 1.0
    if flag.run_out_tip > 0:
        share = min(share, (x - start) / flag.run_out_tip)
    if flag.run_out_butt > 0:
        share = min(share, (end - x) / flag.run_out_butt)
    return flag.wraps * max(share, 0.0)


def walls_of(design, mandrel, plies, points):
    """Return rings, bore, build and finished radius and grinding limit of each point.

    A ring is (inner, outer, wraps) as rolled; `cut` holds the same rings after
    grinding as (inner, outer).
    """
    finish, shaft = design.finish, design.shaft
    walls = []
    for x, look in points:
        bore = mandrel_diameter(mandrel, shaft.mandrel_set + x) / 2
        r = bore
        rings, there = [], []
        for flag in design.flags:
            start, end = rolled_ends(flag, design)
            there.append(start < look < end)
            t = plies[flag.material]["thickness"] * (2 if flag.is_pair else 1)
            n = wraps_at(flag, design, x, look, r, t)
            rings.append((r, r + n * t, n))
            r = r + n * t
        walls.append({"bore": bore, "build": r, "rings": rings, "limit": None})
        walls[-1]["there"] = there
    if finish.tip_diameter is not None:
        parallel_end = finish.tip_parallel
        blend_end = min(parallel_end + finish.tip_blend, shaft.length)
        at_parallel_end = (finish.tip_diameter + finish.tip_taper * parallel_end) / 2
        beyond = len(points) - 1
        for i, (_, look) in enumerate(points):
            if look > blend_end:
                beyond = i
                break
        x_beyond = points[beyond][0]
        at_beyond = walls[beyond]["build"] - finish.grind
        for wall, (x, look) in zip(walls, points, strict=True):
            if look < parallel_end:
                wall["limit"] = (finish.tip_diameter + finish.tip_taper * x) / 2
            elif look < blend_end:
                share = (x - parallel_end) / (x_beyond - parallel_end)
                wall["limit"] = at_parallel_end + share * (at_beyond - at_parallel_end)
    for wall in walls:
        radius = wall["build"] - finish.grind
        if wall["limit"] is not None:
            radius = min(radius, wall["limit"])
        wall["finished"] = radius
        wall["cut"] = [(min(a, radius), min(b, radius)) for a, b, _ in wall["rings"]]
    return walls


def section_of(cut, stiffnesses, solids):
    """Return EI, GJ, EA, kGA and how the wall strains, as a dictionary.

    The hoop strain in bending is y + z r, the shear strain g; their energy is a sum
    of products of what each does to a ring: hoop strain, its shearing of the wall.
    In torsion the axial and hoop strains e and h are common to the wall.
    """
    A2 = [[0.0] * 3 for _ in range(3)]
    A3 = [[0.0] * 3 for _ in range(3)]
    GJ_held = bent = 0.0
    K = [[0.0] * 3 for _ in range(3)]
    load = [0.0] * 3
    for (a, b), Q, (p, q, G, loss) in zip(cut, stiffnesses, solids, strict=True):
        d2, d3, d4 = ((b**n - a**n) / n for n in (2, 3, 4))
        for i in range(3):
            for j in range(3):
                A2[i][j] += Q[i][j] * d2
                A3[i][j] += Q[i][j] * d3
        GJ_held += Q[2][2] * d4 - loss * d2
        # hoop strain and wall shear of: curvature (r-fold), y, z (r-fold), g
        bent += (Q[0][0] + G * p * p) * d4
        load[0] += (Q[0][1] + G * p * q) * d3
        load[1] += (Q[0][1] + G * p * (1 + q)) * d4
        load[2] += Q[0][2] * d3
        K[0][0] += (Q[1][1] + G * q * q) * d2
        K[0][1] += (Q[1][1] + G * q * (1 + q)) * d3
        K[1][1] += (Q[1][1] + G * (1 + q) * (1 + q)) * d4
        K[0][2] += Q[1][2] * d2
        K[1][2] += Q[1][2] * d3
        K[2][2] += Q[2][2] * d2
    y, z, g = solve_3x3(K, load)
    EI = pi * (bent - load[0] * y - load[1] * z - load[2] * g)
    e, h = solve_2x2(A2[0][0], A2[0][1], A2[1][1], A3[0][2], A3[1][2])
    GJ = 2 * pi * (GJ_held - A3[0][2] * e - A3[1][2] * h)
    EA = 2 * pi * (A2[0][0] - A2[0][1] ** 2 / A2[1][1])
    strains = {
        # per curvature, and per torque
        "bending": lambda r: (r, -y - z * r, -g),
        "torsion": lambda r: (-e / GJ, -h / GJ, r / GJ),
        # of the wall as a whole: no slope
        "hoop": -solve_2x2(K[0][0], K[0][2], K[2][2], load[0], load[2])[0],
    }
    return EI, GJ, EA, pi * A2[2][2], strains


def solve_3x3(K, f):
    """Solve by Cramer's rule, the upper half of a symmetric matrix given."""
    full = [[K[min(i, j)][max(i, j)] for j in range(3)] for i in range(3)]

    def det(m):
        return (
            m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
        )

    found = []
    for column in range(3):
        swapped = [
            [f[i] if j == column else full[i][j] for j in range(3)] for i in range(3)
        ]
        found.append(det(swapped) / det(full))
    return found


def solve_2x2(a, b, d, u, v):
    """Solve [a b; b d] z = (u, v)."""
    det = a * d - b * b
    return (d * u - b * v) / det, (a * v - b * u) / det


# --- where a flag comes to nothing ---


def show_brinks(design, points, walls):
    """Find where the ring of a flag begins or ends on the finished shaft.

    It runs out, or grinding takes the last of it. Just before, it is as strained as
    any ply: at a point it is left next to no thickness. Between points a station is
    added, returned as (x, index of the point before, share of the cell, wall); radii
    before grinding are linear between points.
    """
    on_shaft = inside(points, 0.0, design.shaft.length)
    brinks = []
    for k in range(len(design.flags)):
        for i in on_shaft[:-1]:
            ends = walls[i : i + 2]
            if points[i + 1][0] <= points[i][0] or not all(w["there"][k] for w in ends):
                continue
            left = []
            for wall in ends:
                a, b, _ = wall["rings"][k]
                left.append(min(b, wall["finished"]) - a)
            if (left[0] > 0) == (left[1] > 0):
                continue
            if min(left) > -1e-12:
                wall = ends[0] if left[0] < left[1] else ends[1]
                wall["cut"][k] = thin(wall["cut"][k][1])
                continue
            share = left[0] / (left[0] - left[1])
            x = points[i][0] + share * (points[i + 1][0] - points[i][0])
            finished = mixed(share, *(wall["finished"] for wall in ends))
            cut = []
            for j in range(len(design.flags)):
                if all(wall["there"][j] for wall in ends):
                    radii = mixed(share, *(wall["rings"][j][:2] for wall in ends))
                    cut.append(tuple(min(float(r), finished) for r in radii))
                else:
                    cut.append((finished, finished))
            cut[k] = thin(finished)
            brinks.append((x, i, share, {"finished": finished, "cut": cut}))
    return brinks


def thin(radius):
    return radius * (1 - 1e-12), radius


def mixed(share, a, b):
    return (1 - share) * np.array(a) + share * np.array(b)


# --- integrals and beam ----------------------------------------------------------


def trapezoid(x, y):
    total = 0.0
    for i in range(len(x) - 1):
        total += (x[i + 1] - x[i]) * (y[i] + y[i + 1]) / 2
    return total


def product_integral(x, a, b):
    """Integral of the product of two functions that are linear in every cell."""
    total = 0.0
    for i in range(len(x) - 1):
        h = x[i + 1] - x[i]
        total += (
            h
            / 6
            * (
                2 * a[i] * b[i]
                + a[i] * b[i + 1]
                + a[i + 1] * b[i]
                + 2 * a[i + 1] * b[i + 1]
            )
        )
    return total


def swing(x, EI, m, tip, give, y, slope):
    """Deflected shape under the inertia loads of the shape (y, slope at the tip).

    Loads and flexibilities are linear in each cell; clamped at the last point, where
    the clamp turns by `give` times the moment on it.
    """
    mass, offset, inertia = tip
    n = len(x)
    force = mass * (y[0] + offset * slope)
    shear = [force]
    moment = [force * offset + inertia * slope]
    for i in range(n - 1):
        h = x[i + 1] - x[i]
        qa, qb = m[i] * y[i], m[i + 1] * y[i + 1]
        moment.append(moment[i] + shear[i] * h + h * h * (2 * qa + qb) / 6)
        shear.append(shear[i] + h * (qa + qb) / 2)
    k = [moment[i] / EI[i] for i in range(n)]
    out = [0.0] * n
    theta = [0.0] * (n - 1) + [give * moment[-1]]
    for i in range(n - 2, -1, -1):
        h = x[i + 1] - x[i]
        theta[i] = theta[i + 1] + h * (k[i] + k[i + 1]) / 2
        out[i] = out[i + 1] + theta[i + 1] * h + h * h * (2 * k[i + 1] + k[i]) / 6
    return out, theta[0]


def first_frequency(x, EI, m, tip, give):
    """Lowest frequency from the eigenvalues of the dense flexibility operator."""
    n = len(x)
    A = np.zeros((n + 1, n + 1))
    for j in range(n + 1):
        unit = [0.0] * n
        slope = 0.0
        if j < n:
            unit[j] = 1.0
        else:
            slope = 1.0
        y, theta = swing(x, EI, m, tip, give, unit, slope)
        for i in range(n):
            A[i, j] = y[i]
        A[n, j] = theta
    return 1 / (2 * pi * sqrt(max(eigvals(A).real)))


def overhang_drop(x, EI, load_at, support, hold, load):
    """Drop under a load on the overhang beyond `support`, held down at `hold`."""
    arm = abs(support - load_at)
    moment = []
    for xi in x:
        # merged stations may stand a rounding error off the load or the support
        if min(load_at, support) - SAME <= xi <= max(load_at, support) + SAME:
            moment.append(abs(xi - load_at))
        else:
            moment.append(arm * abs(hold - xi) / abs(hold - support))
    k = [moment[i] / EI[i] for i in range(len(x))]
    return load * product_integral(x, moment, k)


# --- strength --------------------------------------------------------------------


def envelope_moment(bench, length, x):
    return plain_strength.trapeze(
        x,
        bench.strength_moment,
        bench.strength_tip_support,
        bench.strength_from,
        length - bench.strength_to,
        length - bench.strength_butt_support,
    )


def gate_of(bench):
    """Kind of failure that gates."""
    return "fibre" if bench.strength_criterion == "maximum strain" else "quadratic"


def least_margins(design, wall, section, moment):
    """Least gating margin and least cracking margin at a point, each with its flag."""
    gate = gate_of(design.bench)
    prefix = "quadratic, " if gate == "quadratic" else ""
    least, cracking = (inf, None, None), (inf, None, None)
    curvature = moment / section[0]
    for flag, ring in zip(design.flags, wall["plies"], strict=True):
        outer = ring[4]
        if not outer > ring[3] or moment == 0:
            continue
        strain = curvature * np.array(section[4]["bending"](outer))
        args = (ring, strain, wall["free"])
        factor, mode = plain_strength.ring_factor(gate, *args)
        if factor - 1 < least[0]:
            least = (factor - 1, flag.name, f"{prefix}{mode}")
        factor, mode = plain_strength.ring_factor("crack", *args)
        if factor - 1 < cracking[0]:
            cracking = (factor - 1, flag.name, mode)
    return least, cracking


#: What is told of a point of the strength test.
POINT = (
    "station",
    "margin",
    "flag",
    "mode",
    "cracking_margin",
    "cracking_flag",
    "cracking_mode",
)


def strength_points(design, points, walls, sections):
    L, bench = design.shaft.length, design.bench
    found = {}
    for name, station, span in (
        ("T", bench.strength_from, 0.150),
        ("A", bench.strength_a, 0.300),
        ("B", bench.strength_b, 0.300),
        ("C", L - bench.strength_to, 0.300),
    ):
        if station - span / 2 < -SAME or station + span / 2 > L + SAME:
            found[name] = dict.fromkeys(POINT)
            continue
        best, crack = (inf, None, None), (inf, None, None)
        for i, (x, _) in enumerate(points):
            if abs(x - station) < SAME:
                f, c = least_margins(
                    design, walls[i], sections[i], bench.strength_moment
                )
                best, crack = min(best, f, key=first), min(crack, c, key=first)
        found[name] = dict(zip(POINT, (station, *best, *crack), strict=True))
    return found


def first(item):
    return item[0]


def strength_metrics(design, stiffnesses, x, walls, sections, n):
    """Metrics of strength but durability; the first n are points, then come brinks."""
    bench, L = design.bench, design.shaft.length
    quadratic = gate_of(bench) == "quadratic"
    flattens, crushes, torques, moments = [], [], [], []
    for wall, section in zip(walls, sections, strict=True):
        rings, free = wall["plies"], wall["free"]
        neutral, bending, _ = plain_strength.hoop_bending(rings, stiffnesses)
        flattens.append(plain_strength.flattening_moment(section[0], neutral, bending))
        crushes.append(
            plain_strength.crush_load(
                rings,
                plain_strength.crushed_ring(rings, stiffnesses, bench.crush_width),
                free,
                quadratic,
            )
        )
        torques.append(
            plain_strength.torsion_factor(
                rings, section[4]["torsion"], free, quadratic, wall["finished"]
            )
        )
        curvature = plain_strength.station_factor(
            rings, section[4]["bending"], free, gate_of(bench)
        )
        moments.append(curvature * section[0])
    found = {
        "crush_load": min(crushes),
        "flattening": nan,
        "impact": nan,
        "torsion_strength": nan,
        "torsion_product": nan,
    }
    if bench.strength_from <= L - bench.strength_to:
        found["flattening"] = plain_strength.moment_margin(
            x, flattens, lambda xi: envelope_moment(bench, L, xi)
        )
    if bench.impact_moment > 0 and bench.impact_to <= L:
        at = bench.impact_at
        found["impact"] = plain_strength.moment_margin(
            x,
            moments,
            lambda xi: plain_strength.trapeze(
                xi, bench.impact_moment, 0.0, at, at, bench.impact_to
            ),
        )
    grip = bench.torsion_grip
    if 2 * grip < L:
        torque = min(
            t for xi, t in zip(x, torques, strict=True) if grip <= xi <= L - grip
        )
        GJ = [section[1] for section in sections[:n]]
        twist = torque * plain_strength.twist_between(x[:n], GJ, grip, L - grip)
        found["torsion_strength"], found["torsion_product"] = torque, torque * twist
    return found


def direction_spread(design, plies, stiffnesses, points, walls, sections):
    """Worst spread of EI round the clock over the finished shaft."""
    n = len(design.flags)
    shown = []
    for (x, _), wall, section in zip(points, walls, sections, strict=True):
        flags = []
        for k, flag in enumerate(design.flags):
            (_, _, turns), (a, b) = wall["rings"][k], wall["cut"][k]
            flags.append(
                {
                    "there": wall["there"][k],
                    "turns": turns,
                    "ply": plies[flag.material]["thickness"],
                    "pieces": 2 if flag.is_pair else 1,
                    "clock": 2 * pi * k / n if flag.clock is None else flag.clock,
                    "Q": stiffnesses[k],
                    "r_in": a,
                    "r_out": b,
                }
            )
        point = {name: wall[name] for name in ("bore", "build", "finished")}
        point |= {"x": x, "flags": flags, "grind": design.finish.grind}
        point |= {"hoop": section[4]["hoop"], "EI": section[0]}
        plain_clock.look(point)
        shown.append(point)
    worst = max(plain_clock.spread_at(point) for point in shown)
    for p, q in pairwise(shown):
        rates = [0.0] * n
        for k, flag in enumerate(design.flags):
            there = p["flags"][k]["there"] and q["flags"][k]["there"]
            if not there or q["x"] <= p["x"] or flag.width_tip is not None:
                continue
            start, end = rolled_ends(flag, design)
            if flag.run_out_tip > 0 and p["x"] < start + flag.run_out_tip - SAME:
                rates[k] = flag.wraps / flag.run_out_tip
            if flag.run_out_butt > 0 and q["x"] > end - flag.run_out_butt + SAME:
                rates[k] = max(rates[k], flag.wraps / flag.run_out_butt)
        if any(rates):
            worst = max(worst, *plain_clock.spreads_between(p, q, rates), 0.0)
    return worst


# --- flags on the roll -----------------------------------------------------------


def whole_cost(design, roll_costs):
    """Cost of a shaft that is sold, which bears those that are not."""
    costs = design.costs
    made = costs.labour_per_shaft + costs.consumables_per_shaft
    for roll_cost in roll_costs:
        made += roll_cost + costs.labour_per_flag
    return made / (1 - costs.scrap)


def flag_areas(design, library, plies, points, walls):
    """Areas, splices, cost and masses of all flags."""
    reports, on_rolls = [], []
    for i_flag, flag in enumerate(design.flags):
        prepreg, ply = library.prepregs[flag.material], plies[flag.material]
        pieces = 2 if flag.is_pair else 1
        start, end = rolled_ends(flag, design)
        x, w = [], []
        for i in inside(points, start, end):
            r_in, _, n = walls[i]["rings"][i_flag]
            x.append(points[i][0])
            w.append(n * pi * (2 * r_in + pieces * n * ply["thickness"]))
        whole = [
            width
            for at, width in zip(x, w, strict=True)
            if start + flag.run_out_tip - SAME <= at <= end - flag.run_out_butt + SAME
        ]
        net = pieces * trapezoid(x, w)
        on_rolls.append(
            {
                "material": flag.material,
                "angle": abs(flag.angle),
                "length": end - start,
                "run_outs": (flag.run_out_tip, flag.run_out_butt),
                "widths": (whole[0], whole[-1]),
                "net": net,
                "pieces": pieces,
            }
        )
        shaft_x, shaft_m = [], []
        for i in inside(points, 0.0, design.shaft.length):
            a, c = walls[i]["cut"][i_flag]
            shaft_x.append(points[i][0])
            shaft_m.append(ply["density"] * pi * (c * c - a * a))
        reports.append(
            {
                "cut_station": x,
                "cut_width": w,
                "cut_length": end - start,
                "pieces": pieces,
                "area_net": net,
                "mass": trapezoid(shaft_x, shaft_m),
                "mass_cut": net * prepreg.faw / (1 - prepreg.resin_content),
            }
        )
    gross, alone = plain_rolls.areas(on_rolls, library.prepregs, design.cutting)
    for report, flag, area, (_, _, overhang, splices) in zip(
        reports, design.flags, gross, alone, strict=True
    ):
        report["area_gross"] = area
        report["cost"] = area * library.prepregs[flag.material].price
        report["overhang"], report["splices"] = overhang, splices
    return reports


# --- shop ------------------------------------------------------------------------


def shop_measures(design, points, walls, on_shaft, step_length, flag_reports):
    finish = design.finish
    wall_min, step, bias = inf, 0.0, 0.0
    for i in on_shaft:
        wall = walls[i]
        wall_min = min(wall_min, wall["finished"] - wall["bore"])
        for flag, (a, b, _), (ca, cb) in zip(
            design.flags, wall["rings"], wall["cut"], strict=True
        ):
            if 1e-9 < abs(flag.angle) < radians(90) - 1e-9:
                bias = max(bias, (b - a) - (cb - ca))
        for j in on_shaft:
            if abs(points[i][0] - points[j][0]) <= step_length + LOOK:
                step = max(step, 2 * abs(wall["finished"] - walls[j]["finished"]))
    shortage, depth = 0.0, 0.0
    for i in on_shaft:
        limit = walls[i]["limit"]
        if limit is None:
            continue
        straight = walls[i]["build"] - finish.grind
        depth = max(depth, straight - limit)
        if points[i][1] < finish.tip_parallel:
            shortage = max(shortage, limit - straight)
    return {
        "wall_min": wall_min,
        "diameter_step": step,
        "tip_shortage": shortage,
        "tip_grind_depth": depth,
        "bias_ground": bias,
        "roll_overhang": max(f["overhang"] for f in flag_reports),
    }


# --- the whole -------------------------------------------------------------------


def evaluate(design, library, ei_stations=(), cell=CELL, step_length=0.010):
    """Everything the package reports on one design, in SI, as a dictionary."""
    shaft, finish, bench = design.shaft, design.finish, design.bench
    L = shaft.length
    mandrel = library.mandrels[shaft.mandrel]
    plies = {
        f.material: cured_ply(library.prepregs[f.material], finish.resin_bleed)
        for f in design.flags
    }
    stiffnesses = [
        ring_stiffness(plies[f.material], f.angle, f.is_pair) for f in design.flags
    ]
    solids = [ring_solid(plies[f.material], f.angle, f.is_pair) for f in design.flags]
    points = points_of(design, mandrel, cell)
    walls = walls_of(design, mandrel, plies, points)
    brinks = show_brinks(design, points, walls)
    brink_walls = [wall for *_, wall in brinks]
    sections = [section_of(wall["cut"], stiffnesses, solids) for wall in walls]
    brink_sections = [section_of(w["cut"], stiffnesses, solids) for w in brink_walls]
    drop = bench.temperature_drop
    for wall in walls + brink_walls:
        wall["plies"] = [
            (
                plain_strength.law_of(
                    library.prepregs[f.material], plies[f.material], drop
                ),
                f.angle,
                f.is_pair,
                *cut,
            )
            for f, cut in zip(design.flags, wall["cut"], strict=True)
        ]
        wall["free"] = np.zeros(3)
        if drop > 0:
            wall["free"] = plain_strength.residual_strain(wall["plies"], stiffnesses)
    m = []
    for wall, (_, look) in zip(walls, points, strict=True):
        line = 0.0
        for flag, (a, b) in zip(design.flags, wall["cut"], strict=True):
            line += plies[flag.material]["density"] * pi * (b * b - a * a)
        if finish.tip_diameter is None or look > finish.tip_parallel:
            line += finish.coating * 2 * pi * wall["finished"]
        m.append(line)

    on_shaft = inside(points, 0.0, L)
    x = [points[i][0] for i in on_shaft]
    EI = [sections[i][0] for i in on_shaft]
    GJ = [sections[i][1] for i in on_shaft]
    line = [m[i] for i in on_shaft]
    reports = flag_areas(design, library, plies, points, walls)

    weight = trapezoid(x, line)
    centre = product_integral(x, line, x) / weight

    def part(a, b):
        keep = inside(points, a, b)
        return [points[i][0] for i in keep], keep

    frequency = nan
    if 0 < L - bench.frequency_clamp <= L:
        xs, keep = part(0.0, L - bench.frequency_clamp)
        tip = (bench.tip_mass, bench.tip_mass_offset, bench.tip_mass_inertia)
        frequency = first_frequency(
            xs,
            [sections[i][0] for i in keep],
            [m[i] for i in keep],
            tip,
            bench.frequency_clamp_compliance,
        )
    twist = nan
    clamp = torque_clamp(design)
    if 0 <= bench.torque_grip < clamp <= L:
        xs, keep = part(bench.torque_grip, clamp)
        twist = bench.torque_moment * trapezoid(xs, [1 / sections[i][1] for i in keep])
    butt = nan
    if 0 <= L - bench.butt_load_at < L - bench.butt_support < L - bench.butt_hold <= L:
        stations = [
            L - d for d in (bench.butt_load_at, bench.butt_support, bench.butt_hold)
        ]
        xs, keep = part(stations[0], stations[2])
        butt = overhang_drop(
            xs, [sections[i][0] for i in keep], *stations, bench.butt_load
        )
    tip_drop = nan
    if 0 <= bench.tip_hold < bench.tip_support < bench.tip_load_at <= L:
        xs, keep = part(bench.tip_hold, bench.tip_load_at)
        tip_drop = overhang_drop(
            xs,
            [sections[i][0] for i in keep],
            bench.tip_load_at,
            bench.tip_support,
            bench.tip_hold,
            bench.tip_load,
        )

    cantilever = nan
    fixed = L - bench.cantilever_clamp
    if 0 <= bench.cantilever_load_at < fixed <= L:
        xs, keep = part(bench.cantilever_load_at, fixed)
        arms = [xi - xs[0] for xi in xs]
        bend = [arm / sections[i][0] for arm, i in zip(arms, keep, strict=True)]
        cantilever = bench.cantilever_load * product_integral(xs, arms, bend)

    finished = [walls[i] for i in on_shaft], [sections[i] for i in on_shaft]
    strength = strength_metrics(
        design,
        stiffnesses,
        x + [at for at, *_ in brinks],
        finished[0] + brink_walls,
        finished[1] + brink_sections,
        len(x),
    )

    margins, where, crack = [], (inf, None, None, None), (inf, None, None, None)
    for i in on_shaft:
        moment = envelope_moment(bench, L, points[i][0])
        f, c = least_margins(design, walls[i], sections[i], moment)
        margins.append(f[0])
        where = min(where, (*f, points[i][0]), key=first)
        crack = min(crack, (*c, points[i][0]), key=first)
    for (at, i, share, wall), section in zip(brinks, brink_sections, strict=True):
        moment = envelope_moment(bench, L, at)
        f, c = least_margins(design, wall, section, moment)
        # told of at the nearer end of the cell
        near = i - on_shaft[0] + (1 if share > 0.5 else 0)
        margins[near] = min(margins[near], f[0])
        where = min(where, (*f, at), key=first)
        crack = min(crack, (*c, at), key=first)

    envelope = (where[3], *where[:3], *crack[:3])
    if bench.strength_from > L - bench.strength_to:
        envelope = (None,) * len(POINT)

    EI_at = []
    for station in ei_stations:
        values = [
            sections[i][0]
            for i, (px, _) in enumerate(points)
            if abs(px - station) < SAME
        ]
        if not values:
            right = next(i for i, (px, _) in enumerate(points) if px > station)
            (a, _), (b, _) = points[right - 1], points[right]
            share = (station - a) / (b - a)
            near, far = sections[right - 1][0], sections[right][0]
            values = [near + share * (far - near)]
        EI_at.append(sum(values) / len(values))

    return {
        "metrics": {
            "weight": weight,
            "balance_point": L - centre,
            "frequency": frequency,
            "torque": twist,
            "tip_diameter": 2 * walls[on_shaft[0]]["finished"],
            "butt_diameter": 2 * walls[on_shaft[-1]]["finished"],
            "tip_deflection": tip_drop,
            "butt_deflection": butt,
            "flex_point_ratio": tip_drop / (tip_drop + butt),
            "material_cost": whole_cost(design, [r["cost"] for r in reports]),
            # an envelope that is full nowhere on the shaft tests nothing
            "durability": nan if envelope[0] is None else where[0],
            "cantilever_deflection": cantilever,
            **strength,
            "direction_spread": direction_spread(
                design, plies, stiffnesses, [points[i] for i in on_shaft], *finished
            ),
        },
        "profile": {
            "station": x,
            "inner_diameter": [2 * walls[i]["bore"] for i in on_shaft],
            "outer_diameter": [2 * walls[i]["finished"] for i in on_shaft],
            "build_diameter": [2 * walls[i]["build"] for i in on_shaft],
            "EI": EI,
            "GJ": GJ,
            "mass_per_length": line,
            "margin": margins,
        },
        "flags": reports,
        "envelope": dict(zip(POINT, envelope, strict=True)),
        "strength": strength_points(design, points, walls, sections),
        "EI_at": EI_at,
        "shop": shop_measures(design, points, walls, on_shaft, step_length, reports),
    }
